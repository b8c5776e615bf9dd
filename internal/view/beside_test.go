package view_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/view"
)

// Two banks of one AHU whose readings get mixed up, are put right and taken back,
// in any order: the projections that are kept up are those that the whole
// history gives, though only the bank that an entry is of is told of it.
func TestBanksBesideKeepUpWithEachOther(t *testing.T) {
	t.Parallel()
	seeds := 3
	if testing.Short() {
		seeds = 1
	}
	for seed := range seeds {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			mixUps := 0
			s := &pair{t: t, rng: rand.New(rand.NewPCG(uint64(seed), 3)), clock: now.AddDate(0, -8, 0)}
			s.scenario = scenario{t: t, store: seeded(t)}
			s.scenario.view = view.New(s.store)
			for range 50 {
				s.clock = s.clock.Add(time.Duration(s.rng.IntN(5*24)+1) * time.Hour)
				what := s.step()
				mixUps += s.compare(what)
				if t.Failed() {
					return
				}
			}
			if mixUps == 0 {
				t.Error("no reading was ever taken for the other bank's: nothing was tested")
			}
		})
	}
}

// pair is a random history of two banks of one AHU.
type pair struct {
	scenario
	t     *testing.T
	rng   *rand.Rand
	clock time.Time
	made  []entry.Entry
}

var pairBanks = [2]plant.BankID{"clinic/ahu-3/primary", "clinic/ahu-3/secondary"}

func (s *pair) step() string {
	i := s.rng.IntN(2)
	at := s.clock
	if s.rng.IntN(5) == 0 { // told late
		at = at.AddDate(0, 0, -s.rng.IntN(40))
	}
	put := func(place plant.BankID, body entry.Body) string {
		x := entry.Entry{Source: fmt.Sprint("p:", len(s.made)), Kind: body.Kind(), Place: place, At: at, Received: s.clock, By: "Tove", Body: body}
		x.Seq = commit(s.t, s.store, x)[0].Seq
		s.made = append(s.made, x)
		if _, err := s.view.Recompute(s.t.Context(), place, s.clock); err != nil {
			s.t.Fatal(err)
		}
		return fmt.Sprintf("#%d %s of %s at %s", x.Seq, x.Kind, x.Place, x.At.Format(time.DateOnly))
	}
	days := s.clock.Sub(now.AddDate(0, -8, 0)).Hours() / 24
	pa := [2]float64{60 + 0.3*days, 110 + 0.3*days}[i] * (1 + 0.02*s.rng.NormFloat64())
	if s.rng.IntN(6) == 0 {
		pa = [2]float64{110 + 0.3*days, 60 + 0.3*days}[i] // the other one's
	}
	switch k := s.rng.IntN(12); {
	case k < 1 && len(s.made) > 0:
		x := s.made[s.rng.IntN(len(s.made))]
		at = s.clock
		return put(x.Place, entry.Retract{Target: x.Seq})
	case k < 3 && len(s.made) > 0:
		if x := s.made[s.rng.IntN(len(s.made))]; x.Kind == entry.KindReading {
			at = x.At
			return put(x.Place, entry.Amend{Target: x.Seq, Body: entry.Reading{Pa: pa, Unit: "Pa", Wet: s.rng.IntN(4) == 0}})
		}
	}
	return put(pairBanks[i], entry.Reading{Pa: pa, Unit: "Pa"})
}

// compare looks at both banks and counts the mix-ups found.
func (s *pair) compare(what string) (mixUps int) {
	ctx := s.t.Context()
	for _, bank := range pairBanks {
		kept, ok, err := s.view.Assessment(ctx, bank)
		must(s.t, err)
		if !ok {
			continue
		}
		anew, err := s.view.Assess(ctx, bank, kept.Now)
		must(s.t, err)
		anew.UpTo = kept.UpTo // of the whole ledger
		a, b := asJSON(s.t, kept), asJSON(s.t, anew)
		if a != b {
			s.t.Errorf("%s after %s (kept against anew):\n%s", bank, what, firstDifference(a, b))
		}
		mixUps += strings.Count(a, "wrong-bank")
	}
	return mixUps
}
