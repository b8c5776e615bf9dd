package view_test

import (
	"fmt"
	"testing"

	"clogwise/internal/entry"
	"clogwise/internal/view"
)

// A change-out that comes into doubt, is confirmed, taken back or followed by
// another: carried on step by step, each projection is that of the whole history.
func TestDoubtedChangeOutIsCarriedAsItIsRebuilt(t *testing.T) {
	t.Parallel()
	for _, end := range []string{"confirmed", "taken back", "fell after all", "changed again", "stays high"} {
		t.Run(end, func(t *testing.T) {
			t.Parallel()
			s := &scenario{t: t, store: seeded(t), bank: "clinic/ahu-3/secondary", clock: now.AddDate(-1, 0, 0)}
			s.view = view.New(s.store)
			n := 0
			put := func(body entry.Body, days int) int64 {
				s.clock = s.clock.AddDate(0, 0, days)
				n++
				x := entry.Entry{Source: fmt.Sprint("d", n), Kind: body.Kind(), Place: s.bank, At: s.clock, Received: s.clock, By: "Tove", Body: body}
				seq := commit(t, s.store, x)[0].Seq
				s.compare(fmt.Sprint(end, ", step ", n))
				return seq
			}
			read := func(pa float64) { put(entry.Reading{Pa: pa, Unit: "Pa"}, 4) }
			put(swap(s.bank, s.clock, 64, "").Body, 0)
			for i := range 10 {
				read(70 + 8*float64(i))
			}
			doubted := put(entry.Swap{}, 1)
			read(146)
			if a, _, err := s.view.Assessment(t.Context(), s.bank); err != nil || a.DoubtedSwap == nil {
				t.Fatalf("not in doubt: %v", err)
			}
			switch end {
			case "confirmed":
				put(entry.Amend{Target: doubted, Body: entry.Swap{Sure: true}}, 0)
			case "taken back":
				put(entry.Retract{Target: doubted}, 0)
			case "fell after all":
				read(68)
				read(70)
			case "changed again":
				put(swap(s.bank, s.clock, 66, "").Body, 5)
			}
			read(72)
			read(75)
			read(78)
		})
	}
}
