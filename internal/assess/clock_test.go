package assess_test

import (
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
)

// A machine whose clock is behind leaves out what is ahead of it. Nothing may be
// carried on from there: the entry would never be looked at again.
func TestNothingIsCarriedFromAClockThatWasBehind(t *testing.T) {
	t.Parallel()
	const bank = plant.BankID("clinic/ahu-1/primary")
	clean := 60.0
	begun := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	at := func(seq int64, day int, b entry.Body) entry.Entry {
		when := begun.AddDate(0, 0, day)
		return entry.Entry{Seq: seq, Kind: b.Kind(), Place: bank, At: when, Received: when, Body: b}
	}
	in := assess.Input{
		Register: plant.NewRegister(demo.Portfolio()), Bank: bank, Prior: forecast.ClassPrior(string(plant.Primary)),
		Entries: []entry.Entry{
			at(1, 0, entry.Swap{Confirmed: true, CleanPa: &clean}), at(2, 7, entry.Reading{Pa: 70}), at(3, 14, entry.Reading{Pa: 80}),
		},
		Now: begun.AddDate(0, 0, 14),
	}
	if a := assess.Bank(in); a.LifeSeq == 0 {
		t.Fatal("nothing is carried by a right clock either")
	}
	in.Now = in.Now.Add(-time.Hour)
	if a := assess.Bank(in); a.LifeSeq != 0 {
		t.Errorf("the reading at the end is ahead of the clock, and yet the next assessment begins at entry %d", a.LifeSeq)
	}
}
