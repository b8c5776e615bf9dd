package digest_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/digest"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

func TestSinceOf(t *testing.T) {
	t.Parallel()
	const bag, pre = plant.BankID("hall/ahu-3/secondary"), plant.BankID("hall/ahu-3/primary")
	from := time.Date(2026, 11, 16, 7, 0, 0, 0, time.UTC)
	to := from.AddDate(0, 0, 7)
	old := func(s *said, body entry.Body) int64 { // recorded before the week
		keep := s.t
		s.t = from.Add(-48 * time.Hour)
		n := s.add(bag, "Tove", body)
		s.t = keep
		return n
	}
	for _, tc := range []struct {
		name string
		say  func(s *said)
		want digest.Since
	}{
		{"nothing", func(*said) {}, digest.Since{}},
		{"readings of every sort", func(s *said) {
			s.add(bag, "Tove", entry.Reading{Pa: 100})
			s.add(bag, "Tove", entry.OverRange{TopPa: 500})
			s.add(pre, "Tove", entry.Range{LowPa: 90, HighPa: 110})
		}, digest.Since{Readings: 3}},
		{"earlier ones do not count", func(s *said) { old(s, entry.Reading{Pa: 100}) }, digest.Since{}},
		{"reported late, counted now", func(s *said) {
			s.add(bag, "Tove", entry.Swap{Who: "Idris"})
			s.out[0].At = from.Add(-72 * time.Hour)
		}, digest.Since{Swaps: []digest.Done{{Bank: bag, At: from.Add(-72 * time.Hour), Who: "Idris"}}}},
		{"history imported", func(s *said) {
			s.add(bag, "Tove", entry.Swap{})
			s.out[0].At = from.Add(-90 * 24 * time.Hour)
		}, digest.Since{}},
		{"change-outs, jobs and defects", func(s *said) {
			s.add(bag, "Tove", entry.JobStart{})
			s.add(bag, "Tove", entry.Swap{})
			s.add(bag, "Tove", entry.JobDone{})
			s.add("hall/ahu-3", "Pell", entry.Defect{Note: "belt squeals"})
			s.add("hall/ahu-3", "Idris", entry.Defect{Note: "belt changed", Fixed: true})
		}, digest.Since{
			Begun: 1, Finished: 1, Swaps: []digest.Done{{Bank: bag, At: from.Add(2 * time.Hour), Who: "Tove"}},
			Defects: []digest.Noted{{Place: "hall/ahu-3", Note: "belt squeals", By: "Pell"}, {Place: "hall/ahu-3", Note: "belt changed", By: "Idris", Fixed: true}},
		}},
		{"taken back", func(s *said) {
			s.add(bag, "Tove", entry.Retract{Target: s.add(bag, "Tove", entry.Swap{})})
		}, digest.Since{TakenBack: 1, Where: []plant.BankID{bag}}},
		{"something of the week before taken back", func(s *said) {
			s.add(bag, "Tove", entry.Retract{Target: old(s, entry.Reading{Pa: 100})})
		}, digest.Since{TakenBack: 1, Where: []plant.BankID{bag}}},
		{"taken back twice is once", func(s *said) {
			n := s.add(bag, "Tove", entry.Reading{Pa: 100})
			s.add(bag, "Tove", entry.Retract{Target: n})
			s.add(bag, "Maren", entry.Retract{Target: n})
		}, digest.Since{TakenBack: 1, Where: []plant.BankID{bag}}},
		{"taking back taken back", func(s *said) {
			n := s.add(bag, "Tove", entry.Reading{Pa: 100})
			s.add(bag, "Tove", entry.Retract{Target: s.add(bag, "Tove", entry.Retract{Target: n})})
		}, digest.Since{Readings: 1}},
		{"corrected", func(s *said) {
			n := s.add(bag, "Tove", entry.Reading{Pa: 100})
			s.add(bag, "Tove", entry.Amend{Target: n, Body: entry.Reading{Pa: 110}})
		}, digest.Since{Readings: 1, Corrected: 1}},
		{"corrected, then taken back", func(s *said) {
			n := s.add(bag, "Tove", entry.Reading{Pa: 100})
			s.add(bag, "Tove", entry.Amend{Target: n, Body: entry.Reading{Pa: 110}})
			s.add(bag, "Tove", entry.Retract{Target: n})
		}, digest.Since{TakenBack: 1, Where: []plant.BankID{bag}}},
		{"after the end", func(s *said) { s.t = to; s.add(bag, "Tove", entry.Reading{Pa: 100}) }, digest.Since{}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			s := said{t: from}
			tc.say(&s)
			tc.want.From, tc.want.To = from, to
			if diff := cmp.Diff(tc.want, digest.SinceOf(s.out, from, to)); diff != "" {
				t.Errorf("want -, got +:\n%s", diff)
			}
			rand.New(rand.NewPCG(5, 6)).Shuffle(len(s.out), func(i, j int) { s.out[i], s.out[j] = s.out[j], s.out[i] })
			if diff := cmp.Diff(tc.want, digest.SinceOf(append(s.out, s.out...), from, to)); diff != "" {
				t.Errorf("in another order, each twice:\n%s", diff)
			}
		})
	}
}

// An entry on the border of two weeks is told in one of them only.
func TestWeeksDoNotOverlap(t *testing.T) {
	t.Parallel()
	border := time.Date(2026, 11, 16, 7, 0, 0, 0, time.UTC)
	x := []entry.Entry{{Seq: 1, Kind: entry.KindReading, Place: "hall/ahu-3/primary", At: border, Received: border, Body: entry.Reading{Pa: 1}}}
	before := digest.SinceOf(x, border.AddDate(0, 0, -7), border).Readings
	after := digest.SinceOf(x, border, border.AddDate(0, 0, 7)).Readings
	if before != 0 || after != 1 {
		t.Errorf("told %d times before and %d times after", before, after)
	}
}
