package view_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/view"
)

// Counted run hours are no exception: carried on or started over, told each
// night, late or anew, a bank comes out the same.
func TestCountedHoursAreCarriedOn(t *testing.T) {
	t.Parallel()
	for seed := range 3 {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			s := &scenario{t: t, store: seeded(t), rng: rand.New(rand.NewPCG(uint64(seed), 19)), bank: "clinic/ahu-3/secondary", clock: now.AddDate(0, -6, 0)}
			s.view = view.New(s.store)
			day := s.clock.Truncate(24 * time.Hour)
			for i := range 30 {
				s.clock = s.clock.Add(time.Duration(s.rng.IntN(10*24)+1) * time.Hour)
				for ; day.Before(s.clock.AddDate(0, 0, -1)); day = day.AddDate(0, 0, 1) {
					s.count(day)
				}
				what := s.step()
				if i%11 == 10 {
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

// count tells a day's hours, of some days not, of some once more.
func (s *scenario) count(day time.Time) {
	if s.rng.IntN(6) == 0 {
		return
	}
	s.n++
	body := entry.RunDay{Day: day.Format(time.DateOnly), Hours: 6 + 10*s.rng.Float64()}
	x := commit(s.t, s.store, entry.Entry{Source: fmt.Sprint("s:", s.n), Kind: body.Kind(), Place: s.bank.AHU(), At: day, Received: s.clock, Body: body})[0]
	if s.rng.IntN(20) == 0 {
		s.n++
		body.Hours = 3
		a := entry.Amend{Target: x.Seq, Body: body}
		commit(s.t, s.store, entry.Entry{Source: fmt.Sprint("s:", s.n), Kind: a.Kind(), Place: s.bank.AHU(), At: day, Received: s.clock, Body: a})
	}
}
