package webhook

import (
	"context"
	"net/http"
	"time"

	"clogwise/bot/webhook/wire"
	"clogwise/internal/plant"
)

// read guards a GET by a key and narrows it to the key's sites.
func (s *api) read(do func(w http.ResponseWriter, r *http.Request, sites []plant.Site) error) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		k, _, err := s.admit(w, r)
		if err != nil {
			return err
		}
		reg, err := s.View.Register(r.Context())
		if err != nil {
			return err
		}
		var sites []plant.Site
		for _, site := range reg.Sites() {
			if coversSite(k, site.ID) {
				sites = append(sites, site)
			}
		}
		return do(w, r, sites)
	}
}

func (s *api) banks(w http.ResponseWriter, r *http.Request, sites []plant.Site) error {
	out := []any{}
	for _, site := range sites {
		as, err := s.View.Assessments(r.Context(), plant.BankID(site.ID), s.Now())
		if err != nil {
			return err
		}
		for _, a := range as {
			a.Lives = nil // what priors are learnt from is of no use outside
			out = append(out, a)
		}
	}
	s.answer(w, http.StatusOK, map[string]any{"banks": out})
	return nil
}

func (s *api) bank(w http.ResponseWriter, r *http.Request, sites []plant.Site) error {
	id := plant.MakeBankID(r.PathValue("site"), r.PathValue("ahu"), r.PathValue("bank"))
	for _, site := range sites {
		if site.ID != id.Site() {
			continue
		}
		a, ok, err := s.View.Assessment(r.Context(), id)
		if err != nil {
			return err
		}
		if ok {
			a = a.AsOf(s.Now())
			a.Lives = nil
			s.answer(w, http.StatusOK, a)
			return nil
		}
	}
	return faultf(http.StatusNotFound, "no bank %s for this key; GET /v1/banks lists them", wire.Clip(string(id)))
}

func (s *api) due(w http.ResponseWriter, r *http.Request, sites []plant.Site) error {
	out := []any{}
	for _, site := range sites {
		b, err := s.View.Board(r.Context(), site, s.Now())
		if err != nil {
			return err
		}
		for _, row := range b.Rows {
			out = append(out, row)
		}
	}
	s.answer(w, http.StatusOK, map[string]any{"due": out})
	return nil
}

func (s *api) alive(w http.ResponseWriter, _ *http.Request) error {
	s.answer(w, http.StatusOK, map[string]bool{"alive": true})
	return nil
}

// ready tells whether entries can be taken; a queue out of reach only delays
// forecasts, so it is told and does not make the answer a failure.
func (s *api) ready(w http.ResponseWriter, r *http.Request) error {
	ctx, cancel := context.WithTimeout(r.Context(), 2*time.Second)
	defer cancel()
	state := map[string]string{"ledger": "ready", "queue": "ready"}
	if err := s.Queue.Ping(ctx); err != nil {
		state["queue"] = "out of reach: readings are taken, forecasts follow later"
	}
	if err := s.Store.Ping(ctx); err != nil {
		return &fault{
			status: http.StatusServiceUnavailable, retry: 5 * time.Second,
			detail: "ledger out of reach: nothing is recorded now; queue " + state["queue"],
		}
	}
	s.answer(w, http.StatusOK, state)
	return nil
}
