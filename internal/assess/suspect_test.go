package assess_test

import (
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
)

// tubeOff is a bank whose gauge tube was off from day 28 on: it shows 70 % of the
// true 60 Pa + 1 Pa a day. On day 56 the tube is refitted.
func tubeOff(told, low bool) *history {
	h := (&history{}).at(0, entry.Swap{Sure: true})
	for d := 7; d < 28; d += 7 {
		h.at(d, entry.Reading{Pa: 60 + float64(d)})
	}
	if low {
		for d := 28; d < 56; d += 7 {
			h.at(d, entry.Reading{Pa: 0.7 * (60 + float64(d))})
		}
	}
	if told {
		h.at(56, entry.Defect{Note: "tube was off, refitted", Fixed: true})
	}
	return h.at(57, entry.Reading{Pa: 117})
}

// "Tube was off, refitted, now 117 Pa": the run of low readings before counts no
// more, and the forecast is the one that the sound readings give.
func TestRefittedTubeTakesTheRunBeforeOutOfTheForecast(t *testing.T) {
	t.Parallel()
	told, without := tubeOff(true, true).assess(58), tubeOff(true, false).assess(58)
	if told.Readings != 4 || !told.Dates.Median.Equal(without.Dates.Median) || told.NowPa != without.NowPa {
		t.Errorf("%d readings, %v, %.1f Pa; without the run %d, %v, %.1f Pa",
			told.Readings, told.Dates.Median, told.NowPa, without.Readings, without.Dates.Median, without.NowPa)
	}
	for _, f := range told.Findings {
		if f.Open {
			t.Errorf("still in doubt: %s", f.Text)
		}
	}
}

// The readings under a fault need not look odd by themselves: where the whole life
// was read with the tube off, its being put right brings the date forward.
func TestRefittedTubeBringsTheDateForward(t *testing.T) {
	t.Parallel()
	life := func(told bool) assess.Assessment {
		h := &history{}
		for d := 7; d <= 35; d += 7 {
			h.at(d, entry.Reading{Pa: 0.6 * (90 + 0.5*float64(d))})
		}
		if told {
			h.at(40, entry.Defect{Note: "tube was off, refitted", Fixed: true}).at(41, entry.Reading{Pa: 111})
		}
		return h.assess(42)
	}
	before, after := life(false), life(true)
	if before.Readings != 5 || after.Readings != 1 {
		t.Errorf("%d readings count before, %d after; want 5 and the one since", before.Readings, after.Readings)
	}
	if !after.Dates.Median.Before(before.Dates.Median.Add(-7 * 24 * time.Hour)) {
		t.Errorf("reached %v, before the tube was refitted %v", after.Dates.Median, before.Dates.Median)
	}
}

// A fault of another time, or one that hid nothing, makes nothing suspect.
func TestRefittedTubeSparesSoundReadings(t *testing.T) {
	t.Parallel()
	h := loaded().at(71, entry.Defect{Note: "tube was loose, refitted", Fixed: true}).at(72, entry.Reading{Pa: 134})
	if a := h.assess(73); a.Readings != 11 {
		t.Errorf("%d readings count, want all eleven", a.Readings)
	}
}
