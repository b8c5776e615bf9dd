package webhook

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
)

// Outcomes of one item.
const (
	recorded  = "recorded"
	duplicate = "duplicate" // known by its once-only id; nothing was added
	held      = "held"      // recorded, kept out of the trend until somebody looks
	refused   = "refused"   // not recorded
)

// result is what became of one item.
type result struct {
	Index   int    `json:"index"`
	Outcome string `json:"outcome"`
	Seq     int64  `json:"seq,omitempty"`
	Bank    string `json:"bank,omitempty"`
	Why     string `json:"why,omitempty"`
}

// decoder makes the body of an entry from an item for a bank with its limit.
type decoder func(it item, bank plant.Bank, limitPa float64) (body entry.Body, held string, err error)

// futureSlack is how far a sender's clock may run ahead.
const futureSlack = 5 * time.Minute

func (s *Server) intake(decode decoder) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		k, body, ok := s.keyed(w, r)
		if !ok {
			return
		}
		most := s.MaxItems
		if most == 0 {
			most = 10_000
		}
		items, err := decodeItems(r.Header.Get("Content-Type"), body, most)
		switch {
		case errors.Is(err, errType):
			s.problem(w, http.StatusUnsupportedMediaType, err.Error()+"; nothing was recorded")
			return
		case err != nil:
			s.problem(w, http.StatusBadRequest, err.Error()+"; nothing was recorded")
			return
		}
		s.record(w, r, k, items, decode)
	}
}

// record commits every item that can be taken, in one transaction, and answers
// for each.
func (s *Server) record(w http.ResponseWriter, r *http.Request, k ledger.Key, items []item, decode decoder) {
	ctx := r.Context()
	reg, err := s.View.Register(ctx)
	if err != nil {
		s.unavailable(w, err)
		return
	}
	results := make([]result, len(items))
	var b ledger.Batch
	var at []int // index of each entry's item
	for i, it := range items {
		results[i] = result{Index: i, Outcome: recorded}
		x, why, err := s.entry(reg, k, it, decode, sourceOf(k, r.Header, i, it))
		if err != nil {
			results[i] = result{Index: i, Outcome: refused, Why: err.Error()}
			continue
		}
		results[i].Bank = string(x.Place)
		if why != "" {
			results[i].Outcome, results[i].Why = held, why
		}
		b.Entries, at = append(b.Entries, x), append(at, i)
	}
	if len(b.Entries) == 0 {
		s.answer(w, http.StatusUnprocessableEntity, map[string]any{"results": results})
		return
	}
	done, err := s.Store.Commit(ctx, b)
	if err != nil {
		s.unavailable(w, err)
		return
	}
	var notices []queue.Notice
	for n, d := range done {
		res := &results[at[n]]
		res.Seq = d.Seq
		if d.Duplicate {
			res.Outcome, res.Why = duplicate, "known by its id; nothing was added"
			continue
		}
		notices = append(notices, queue.Notice{Bank: string(b.Entries[n].Place), UpTo: d.Seq})
	}
	if err := s.Queue.Notify(ctx, notices...); err != nil {
		s.Log.Warn("notice not queued; the sweep will find it", "error", err)
	}
	s.answer(w, http.StatusAccepted, map[string]any{"results": results})
}

// entry makes the ledger entry of one item.
func (s *Server) entry(reg *plant.Register, k ledger.Key, it item, decode decoder, source string) (x entry.Entry, held string, err error) {
	id, err := bankOf(reg, k, it)
	if err != nil {
		return x, "", err
	}
	bank, _ := reg.Bank(id)
	now := s.Now()
	at := now
	if it.At != nil {
		at = *it.At
	}
	if at.After(now.Add(futureSlack)) {
		return x, "", fmt.Errorf("at is %s, in the future", at.Format(time.RFC3339))
	}
	if at.Before(now.AddDate(-20, 0, 0)) {
		return x, "", fmt.Errorf("at is %s, more than twenty years ago", at.Format(time.RFC3339))
	}
	limit := bank.LimitPa
	if item, ok := reg.Item(bank.Item); ok && limit == 0 {
		limit = item.FinalPa
	}
	body, held, err := decode(it, bank, limit)
	if err != nil {
		return x, "", err
	}
	if b, ok := body.(entry.Swap); ok && b.Item != "" {
		if _, known := reg.Item(b.Item); !known {
			return x, "", fmt.Errorf("item %q is not in the register", b.Item)
		}
	}
	return entry.Entry{
		Source: source, Kind: body.Kind(), Place: id, At: at.UTC(), Received: now.UTC(), By: k.Name, Body: body,
	}, held, nil
}

func bankOf(reg *plant.Register, k ledger.Key, it item) (plant.BankID, error) {
	var id plant.BankID
	switch {
	case it.Bank != "" && it.Point != "":
		return "", errors.New("give bank or point, not both")
	case it.Point != "":
		found, ok := reg.Point(it.Point)
		if !ok {
			return "", fmt.Errorf("point %q belongs to no bank; add it to the bank's points in the register", it.Point)
		}
		id = found
	case it.Bank != "":
		id = plant.BankID(it.Bank)
		if _, ok := reg.Bank(id); !ok {
			return "", fmt.Errorf("no bank %q; GET /v1/banks lists them", it.Bank)
		}
	default:
		return "", errors.New("no bank: give bank (\"site/ahu/bank\") or point")
	}
	if !mayWrite(k, id, it.Point) {
		return "", fmt.Errorf("this key may not write to %s", id)
	}
	return id, nil
}

// sourceOf is the once-only key of an item: its own id, else its place in the
// request's id, else what it says.
func sourceOf(k ledger.Key, h http.Header, i int, it item) string {
	switch id := h.Get(standardwebhooks.HeaderWebhookID); {
	case it.ID != "":
		return "hook:" + k.ID + ":item:" + it.ID
	case id != "":
		return fmt.Sprintf("hook:%s:%s:%06d", k.ID, id, i)
	}
	raw, err := json.Marshal(it)
	if err != nil {
		raw = fmt.Append(nil, it)
	}
	sum := sha256.Sum256(raw)
	return "hook:" + k.ID + ":said:" + hex.EncodeToString(sum[:12])
}
