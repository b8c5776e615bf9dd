package view_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
	"clogwise/internal/view"
)

// The decisive one: projections kept up entry by entry are, to the last byte,
// those that a rebuild makes from the ledger alone.
func TestRebuildGivesWhatWasKeptUp(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	store := seeded(t)
	v := view.New(store)
	reg, err := v.Register(ctx)
	must(t, err)
	for _, x := range demo.History(demo.Portfolio(), now, 1) {
		if x.Place.Site() != "clinic" && x.Place.AHU() != "works/ahu-11" { // enough, and quick: one site and a bank read daily
			continue
		}
		commit(t, store, x)
		if x.Kind == entry.KindStock || x.Kind == entry.KindOrder {
			continue
		}
		for _, bank := range reg.Banks(x.Place) {
			if _, err := v.Recompute(ctx, bank, x.Received); err != nil {
				t.Fatal(err)
			}
		}
	}
	settle := func() map[plant.BankID]string {
		must(t, v.LearnPriors(ctx, now))
		for _, bank := range reg.Banks("") {
			_, err := v.Recompute(ctx, bank, now)
			must(t, err)
		}
		return projections(t, store)
	}
	kept := settle()
	if _, err := v.Rebuild(ctx, now, nil); err != nil {
		t.Fatal(err)
	}
	rebuilt := projections(t, store)
	if len(kept) != len(rebuilt) {
		t.Errorf("%d projections kept, %d rebuilt", len(kept), len(rebuilt))
	}
	for bank, a := range kept {
		if b := rebuilt[bank]; a != b {
			t.Errorf("%s differs:\n%s", bank, firstDifference(a, b))
		}
	}
	lags, err := store.Lagging(ctx, 0)
	must(t, err)
	if len(lags) != 0 {
		t.Errorf("still lagging: %+v", lags)
	}
}

// Whatever comes in whatever order: what is carried on from the last projection
// is what the whole history gives.
func TestCarryingOnEqualsStartingOver(t *testing.T) {
	t.Parallel()
	seeds := 5
	if testing.Short() {
		seeds = 2
	}
	for seed := range seeds {
		for _, known := range []bool{true, false} {
			t.Run(fmt.Sprintf("%d, item data %t", seed, known), func(t *testing.T) {
				t.Parallel()
				s := &scenario{t: t, store: seeded(t), rng: rand.New(rand.NewPCG(uint64(seed), 7)), bank: "clinic/ahu-3/secondary",
					clock: now.AddDate(-1, 0, 0)}
				s.view = view.New(s.store)
				if !known {
					s.forgetItem()
				}
				for i := range 45 {
					s.clock = s.clock.Add(time.Duration(s.rng.IntN(14*24)+1) * time.Hour)
					what := s.step()
					if i%11 == 10 { // as every night
						must(t, s.view.LearnPriors(t.Context(), s.clock))
					}
					s.compare(what)
					if t.Failed() {
						return
					}
				}
			})
		}
	}
}

// forgetItem takes away what the register knows of the bank's filters, so that
// the law, the clean value and the limit come from readings and priors.
func (s *scenario) forgetItem() {
	reg, err := s.view.Register(s.t.Context())
	must(s.t, err)
	c := reg.Contents()
	b := c.Banks[s.bank]
	b.Item, b.LimitPa = "", 0
	c.Banks[s.bank] = b
	commit(s.t, s.store, edits(reg, c, s.clock)...)
}

// scenario is a random history of one bank.
type scenario struct {
	t     *testing.T
	store ledger.Store
	view  *view.View
	rng   *rand.Rand
	bank  plant.BankID
	clock time.Time
	made  []entry.Entry
	n     int
}

func (s *scenario) step() string {
	at := s.clock
	if s.rng.IntN(4) == 0 { // told late
		at = at.AddDate(0, 0, -s.rng.IntN(120))
	}
	put := func(place plant.BankID, body entry.Body) string {
		s.n++
		x := entry.Entry{Source: fmt.Sprint("s:", s.n), Kind: body.Kind(), Place: place, At: at, Received: s.clock, By: "Tove", Body: body}
		x.Seq = commit(s.t, s.store, x)[0].Seq
		s.made = append(s.made, x)
		return fmt.Sprintf("#%d %s at %s", x.Seq, x.Kind, x.At.Format(time.DateOnly))
	}
	pa := 60 + 160*s.rng.Float64()
	switch k := s.rng.IntN(20); {
	case k < 8:
		hz := 25 + 25*s.rng.Float64()
		return put(s.bank, entry.Reading{Pa: pa * hz / 50, Unit: "Pa", FanHz: &hz, Wet: s.rng.IntN(12) == 0})
	case k < 11:
		body := entry.Swap{}
		if s.rng.IntN(3) > 0 {
			n, clean := 4, 80+20*s.rng.Float64()
			body = entry.Swap{Count: &n, CleanPa: &clean, Confirmed: true}
		}
		return put(s.bank, body)
	case k < 13 && len(s.made) > 0:
		x := s.made[s.rng.IntN(len(s.made))]
		at = s.clock
		return put(x.Place, entry.Retract{Target: x.Seq}) + fmt.Sprintf(" of #%d", x.Seq)
	case k < 15 && len(s.made) > 0:
		x := s.made[s.rng.IntN(len(s.made))]
		if x.Kind == entry.KindReading {
			at = x.At
			return put(x.Place, entry.Amend{Target: x.Seq, Body: entry.Reading{Pa: pa, Unit: "Pa"}}) + fmt.Sprintf(" of #%d", x.Seq)
		}
		return put(s.bank, entry.Skip{Reason: "locked"})
	case k < 16:
		until := at.AddDate(0, 0, 10)
		return put(plant.BankID(s.bank.Site()), entry.Event{What: "smoke", Until: &until})
	case k < 17:
		return put(s.bank, entry.Defect{Note: "tube was off", Fixed: true})
	case k < 18:
		return put(s.bank.AHU(), entry.FanOff{Reason: "works"})
	case k < 19:
		return put(s.bank, entry.OverRange{TopPa: 500})
	}
	return s.editRegister()
}

// editRegister alters the site, the AHU, the bank or its item.
func (s *scenario) editRegister() string {
	reg, err := s.view.Register(s.t.Context())
	must(s.t, err)
	c := reg.Contents()
	ahu, bank := c.AHUs[s.bank.AHU()], c.Banks[s.bank]
	switch s.rng.IntN(3) {
	case 0:
		ahu.DesignFlowM3s += 0.1
		c.AHUs[s.bank.AHU()] = ahu
	case 1:
		bank.LimitPa = 150 + float64(s.rng.IntN(100))
		c.Banks[s.bank] = bank
	case 2:
		ahu.Schedule = &plant.Schedule{Hours: map[string]float64{"daily": float64(8 + s.rng.IntN(17))}}
		c.AHUs[s.bank.AHU()] = ahu
	}
	commit(s.t, s.store, edits(reg, c, s.clock)...)
	return "register edit"
}

func (s *scenario) compare(what string) {
	s.t.Helper()
	ctx := s.t.Context()
	carried, err := s.view.Recompute(ctx, s.bank, s.clock)
	must(s.t, err)
	anew, err := s.view.Assess(ctx, s.bank, s.clock)
	must(s.t, err)
	if a, b := asJSON(s.t, carried), asJSON(s.t, anew); a != b {
		s.t.Errorf("after %s (carried against anew):\n%s", what, firstDifference(a, b))
		for _, x := range s.made {
			s.t.Logf("#%d %s %s received %s %+v", x.Seq, x.Kind, x.At.Format(time.DateOnly), x.Received.Format(time.DateOnly), x.Body)
		}
	}
}

func TestProjectionNeverGoesBack(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	store := seeded(t)
	v := view.New(store)
	const bank plant.BankID = "clinic/ahu-1/primary"
	commit(t, store, reading(bank, now, 80, "a"))
	old, err := v.Assess(ctx, bank, now) // a slow worker has read this much …
	must(t, err)
	commit(t, store, reading(bank, now.Add(time.Hour), 90, "b"))
	if _, err := v.Recompute(ctx, bank, now.Add(time.Hour)); err != nil { // … when another is done with more
		t.Fatal(err)
	}
	must(t, store.PutProjection(ctx, ledger.Projection{Bank: bank, UpTo: old.UpTo, At: now.Add(2 * time.Hour), Data: []byte(asJSON(t, old))}))
	a, _, err := v.Assessment(ctx, bank)
	must(t, err)
	if a.Last == nil || a.Last.Pa != 90 {
		t.Errorf("last reading %+v, want the newer, 90 Pa", a.Last)
	}
}

func TestBankThatLeftTheRegisterDoesNotLag(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	store := seeded(t)
	v := view.New(store)
	const bank plant.BankID = "clinic/ahu-1/primary"
	commit(t, store, reading(bank, now, 80, "a"))
	reg, err := v.Register(ctx)
	must(t, err)
	c := reg.Contents()
	delete(c.Banks, bank)
	commit(t, store, edits(reg, c, now)...)
	if _, err := v.Recompute(ctx, bank, now); !errors.Is(err, view.ErrNoBank) {
		t.Errorf("error %v, want ErrNoBank", err)
	}
	lags, err := store.Lagging(ctx, 0)
	must(t, err)
	for _, l := range lags {
		if l.Bank == bank {
			t.Errorf("lags for ever: %+v", l)
		}
	}
	as, err := v.Assessments(ctx, "clinic", now)
	must(t, err)
	for _, a := range as {
		if a.Bank == bank {
			t.Error("still among the assessments")
		}
	}
}

// An edit of the site's register concerns every bank, though no entry of theirs.
func TestRegisterEditBringsBanksUpToDate(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	store := seeded(t)
	v := view.New(store)
	const bank plant.BankID = "clinic/sf-1/primary"
	if _, err := v.Recompute(ctx, bank, now); err != nil {
		t.Fatal(err)
	}
	reg, err := v.Register(ctx)
	must(t, err)
	c := reg.Contents()
	for i := range c.Sites {
		c.Sites[i].LabourRate = c.Sites[i].LabourRate.Add(c.Sites[i].LabourRate)
	}
	_, err = store.Commit(ctx, ledger.Batch{Entries: edits(reg, c, now), Touch: []plant.BankID{bank}})
	must(t, err)
	lagging := func() bool {
		lags, err := store.Lagging(ctx, 0)
		must(t, err)
		return slices.ContainsFunc(lags, func(l ledger.Lag) bool { return l.Bank == bank })
	}
	if !lagging() {
		t.Fatal("the edit left the bank up to date")
	}
	if _, err := v.Recompute(ctx, bank, now); err != nil {
		t.Fatal(err)
	}
	if lagging() {
		t.Error("lags after the recompute")
	}
}

func TestProjectionOfAnotherVersionIsMadeAnew(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	store := seeded(t)
	v := view.New(store)
	const bank plant.BankID = "clinic/ahu-1/primary"
	commit(t, store, reading(bank, now, 80, "a"))
	must(t, store.PutProjection(ctx, ledger.Projection{Bank: bank, UpTo: 1, At: now, Data: []byte(`{"readings":"many"}`)}))
	if _, _, err := v.Assessment(ctx, bank); !errors.Is(err, view.ErrUnreadable) {
		t.Errorf("error %v, want ErrUnreadable", err)
	}
	a, err := v.Recompute(ctx, bank, now)
	must(t, err)
	if a.Last == nil || a.Last.Pa != 80 {
		t.Errorf("last reading %+v", a.Last)
	}
}

func TestAssessmentsComeInTheRegistersOrder(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	store := seeded(t)
	v := view.New(store)
	if _, err := v.Rebuild(ctx, now, nil); err != nil {
		t.Fatal(err)
	}
	reg, err := v.Register(ctx)
	must(t, err)
	as, err := v.Assessments(ctx, "works", now)
	must(t, err)
	banks := reg.Banks("works")
	if len(as) != len(banks) {
		t.Fatalf("%d assessments of %d banks", len(as), len(banks))
	}
	for i, a := range as {
		if a.Bank != banks[i] {
			t.Errorf("place %d holds %s, want %s", i, a.Bank, banks[i])
		}
	}
}

// A law that the present life's readings teach must not alter what earlier lives
// were.
func TestLawLearntLaterLeavesEarlierLivesAlone(t *testing.T) {
	t.Parallel()
	s := &scenario{t: t, store: seeded(t), bank: "clinic/ahu-3/secondary", clock: now.AddDate(-1, 0, 0)}
	s.view = view.New(s.store)
	s.forgetItem()
	for i := range 30 {
		s.clock = s.clock.AddDate(0, 0, 3)
		hz := []float64{28, 40, 33, 47, 36}[i%5]
		x := reading(s.bank, s.clock, (90+float64(i%15)*3)*math.Pow(hz/50, 1.5), fmt.Sprint("r", i)) // n = 1.5, chosen here
		x.Body = entry.Reading{Pa: x.Body.(entry.Reading).Pa, FanHz: &hz, Unit: "Pa"}
		if i%15 == 0 {
			x = swap(s.bank, s.clock, 90, fmt.Sprint("s", i))
		}
		commit(t, s.store, x)
		s.compare(x.Source)
	}
	a, _, err := s.view.Assessment(t.Context(), s.bank)
	must(t, err)
	if a.LawBasis != string(resistance.LawLife) {
		t.Fatalf("law from %q: the life taught none, so nothing was tested", a.LawBasis)
	}
}
