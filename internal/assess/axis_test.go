package assess_test

import (
	"math"
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
)

var began = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)

const axisBank plant.BankID = "s/a/secondary"

// round the clock, one bank, no item data; along is the site's loading axis.
func oneBank(along plant.LoadingAxis) *plant.Register {
	return plant.NewRegister(plant.Contents{
		Sites: []plant.Site{{ID: "s", Zone: "Europe/Berlin", LoadingAxis: along}},
		AHUs:  map[plant.BankID]plant.AHU{"s/a": {ID: "a", Tag: "A", DesignFlowM3s: 2, FanControl: plant.FlowHeld}},
		Banks: map[plant.BankID]plant.Bank{axisBank: {ID: "secondary", Stage: plant.Secondary, LimitPa: 200, CleanPa: 60}},
	})
}

// weekly reads a bank every week from its change-out; pa gives what the gauge
// shows after so many days.
func weekly(days int, pa func(day float64) float64, flow *float64) []entry.Entry {
	out := []entry.Entry{{Seq: 1, Kind: entry.KindSwap, Place: axisBank, At: began, Body: entry.Swap{}}}
	for d := 7; d <= days; d += 7 {
		out = append(out, entry.Entry{Seq: int64(len(out) + 1), Kind: entry.KindReading, Place: axisBank,
			At: began.AddDate(0, 0, d), Body: entry.Reading{Pa: pa(float64(d)), FlowM3s: flow}})
	}
	return out
}

func assessed(reg *plant.Register, entries []entry.Entry, season *forecast.Season, now time.Time) assess.Assessment {
	return assess.Bank(assess.Input{
		Register: reg, Bank: axisBank, Entries: entries, Prior: forecast.ClassPrior("secondary"), Now: now, Season: season,
	})
}

// Dust of an outside event that was told is not taken for the usual dust: the
// limit comes later than when nobody told of it.
func TestToldEventIsNotTakenForUsualDust(t *testing.T) {
	smoky := func(d float64) float64 { return 60 + 0.35*(d+3*math.Max(0, math.Min(d, 84)-70)) } // four times the dust for a fortnight
	entries := weekly(84, smoky, nil)
	now := began.AddDate(0, 0, 85)
	until := began.AddDate(0, 0, 84)
	told := append(entries, entry.Entry{Seq: 99, Kind: entry.KindEvent, Place: "s", At: began.AddDate(0, 0, 70),
		Body: entry.Event{What: "smoke", Until: &until}})
	without, with := assessed(oneBank(""), entries, nil, now), assessed(oneBank(""), told, nil, now)
	if !with.Dates.Median.After(without.Dates.Median.AddDate(0, 0, 5)) {
		t.Errorf("told of smoke: %s, not told: %s", with.Dates.Median, without.Dates.Median)
	}
	if math.Abs(with.HoursRun-without.HoursRun) > 1e-9 {
		t.Errorf("run hours %g and %g: events must not alter them", with.HoursRun, without.HoursRun)
	}
}

// Smoke that two people tell of came once: the second telling moves the limit by little.
func TestEventToldTwiceCountsOnce(t *testing.T) {
	smoky := func(d float64) float64 { return 60 + 0.35*(d+3*math.Max(0, math.Min(d, 70)-42)) } // four times the dust for four weeks
	now := began.AddDate(0, 0, 113)
	tell := func(seq int64, day int) entry.Entry {
		until := began.AddDate(0, 0, day+28)
		return entry.Entry{Seq: seq, Kind: entry.KindEvent, Place: "s", At: began.AddDate(0, 0, day), Body: entry.Event{What: "smoke", Until: &until}}
	}
	left := func(events ...entry.Entry) float64 {
		a := assessed(oneBank(""), append(weekly(112, smoky, nil), events...), nil, now)
		return a.Dates.Median.Sub(now).Hours() / 24
	}
	never, once, twice, later := left(), left(tell(90, 42)), left(tell(90, 42), tell(91, 42)), left(tell(90, 42), tell(91, 43))
	t.Logf("days left: not told %.1f, once %.1f, twice %.1f, twice a day apart %.1f", never, once, twice, later)
	for _, got := range []float64{twice, later} {
		if math.Abs(got-once) > 0.5*(once-never) {
			t.Errorf("not told of smoke %.1f days left, told once %.1f, twice %.1f", never, once, got)
		}
	}
}

// Where the coming months are dustier than the past ones, the limit comes
// sooner; with a flat season nothing changes.
func TestSeasonMovesDates(t *testing.T) {
	entries := weekly(84, func(d float64) float64 { return 60 + 0.5*d }, nil)
	now := began.AddDate(0, 0, 85) // late May
	flat, dusty := forecast.FlatSeason(), forecast.Season{}
	for m := range dusty {
		dusty[m] = 0.8
		if m >= 5 && m <= 10 { // June to November
			dusty[m] = 1.2
		}
	}
	plain := assessed(oneBank(""), entries, nil, now)
	if same := assessed(oneBank(""), entries, &flat, now); same.Dates.Median.Sub(plain.Dates.Median).Abs() > time.Hour {
		t.Errorf("a flat season moves the date from %s to %s", plain.Dates.Median, same.Dates.Median)
	}
	got := assessed(oneBank(""), entries, &dusty, now)
	ahead := func(a assess.Assessment) float64 { return a.Dates.Median.Sub(now).Hours() }
	// Dust ahead is half as much again as dust behind: about two thirds of the time.
	if r := ahead(got) / ahead(plain); r < 0.5 || r > 0.85 {
		t.Errorf("%.0f h ahead against %.0f h, ratio %.2f", ahead(got), ahead(plain), r)
	}
	if got.Hours.Median <= 0 || math.Abs(got.Hours.Median-ahead(got)) > 1 {
		t.Errorf("round the clock, %g run hours left do not match %g h to the date", got.Hours.Median, ahead(got))
	}
}

// Along the air moved, a unit held at half its airflow has loaded as much in
// twice the hours, and will.
func TestAirMovedIsAnAxis(t *testing.T) {
	half := 1.0
	curve := func(d float64) float64 { return (60 + 0.4*d) * math.Pow(0.5, 1/0.85) } // as read at half airflow
	now := began.AddDate(0, 0, 85)
	byHours := assessed(oneBank(plant.AxisHours), weekly(84, curve, &half), nil, now)
	byAir := assessed(oneBank(plant.AxisAir), weekly(84, curve, &half), nil, now)
	if byAir.NowPa < 85 || math.Abs(byAir.NowPa-byHours.NowPa) > 5 {
		t.Errorf("now %.1f Pa by air, %.1f Pa by hours: the same readings", byAir.NowPa, byHours.NowPa)
	}
	// The class prior speaks of hours at design airflow: by air these are twice
	// as many days.
	if !byAir.Dates.P90.After(byHours.Dates.P90) {
		t.Errorf("P90 %s by air, %s by hours", byAir.Dates.P90, byHours.Dates.P90)
	}
	if byAir.HoursRun != byHours.HoursRun {
		t.Errorf("run hours %g and %g", byAir.HoursRun, byHours.HoursRun)
	}
}

// What a finished life did by month adds up to the life, along either axis: the season
// is learnt from it.
func TestMonthsAddUpToTheLife(t *testing.T) {
	half := 1.0 // of 2 m³/s
	for along, want := range map[plant.LoadingAxis]float64{plant.AxisHours: 350 * 24, plant.AxisAir: 350 * 12} {
		entries := weekly(364, func(d float64) float64 { return (60 + 0.4*d) * math.Pow(0.5, 1/0.85) }, &half) // 200 Pa after 350 days
		end := began.AddDate(0, 0, 365)
		entries = append(entries, entry.Entry{Seq: 900, Kind: entry.KindSwap, Place: axisBank, At: end, Body: entry.Swap{Sure: true}})
		a := assessed(oneBank(along), entries, nil, end.AddDate(0, 0, 1))
		if len(a.Lives) != 1 || !a.Lives[0].ReachedLimit || len(a.LifeMonths) != 1 {
			t.Fatalf("%s: %d lives, %d with months", along, len(a.Lives), len(a.LifeMonths))
		}
		sum := 0.0
		for m, done := range a.LifeMonths[0] {
			sum += done
			if done < want/12/3 || done > want/12*1.2 { // the last of February to come is not reached
				t.Errorf("%s, %s: %.0f of %.0f", along, time.Month(m+1), done, want)
			}
		}
		if got := a.Lives[0].EndX; math.Abs(sum/got-1) > 1e-6 || math.Abs(got/want-1) > 0.1 {
			t.Errorf("%s: months add up to %.1f, the life is %.1f, want about %.0f", along, sum, got, want)
		}
	}
}

// A fan that the schedule has round the clock and that ran ten hours a day by its
// meter: the life is as many counted hours long, the date of the limit lies where
// the days do, and the week ahead is as the weeks were.
func TestCountedHoursStandForTheSchedules(t *testing.T) {
	entries := weekly(84, func(d float64) float64 { return 60 + 0.7*d }, nil)
	now := began.AddDate(0, 0, 85)
	counted := entries
	for d := range 85 {
		at := began.AddDate(0, 0, d)
		counted = append(counted, entry.Entry{Seq: int64(100 + d), Kind: entry.KindRunDay, Place: axisBank.AHU(), At: at,
			Body: entry.RunDay{Day: at.Format(time.DateOnly), Hours: 10}})
	}
	elsewhere := append(append([]entry.Entry(nil), entries...), entry.Entry{Seq: 300, Kind: entry.KindRunDay, Place: "s", At: began.AddDate(0, 0, 3),
		Body: entry.RunDay{Day: "2026-03-04", Hours: 1}})
	reg := bankWith(func(*plant.Site, *plant.AHU, *plant.Bank) {}) // in UTC
	by, with := assessed(reg, entries, nil, now), assessed(reg, counted, nil, now)
	if math.Abs(by.HoursRun-85*24) > 1e-6 || math.Abs(with.HoursRun-850) > 1e-6 || by.HoursWeek != 168 || with.HoursWeek != 70 {
		t.Errorf("run %g and %g h, weeks of %g and %g h", by.HoursRun, with.HoursRun, by.HoursWeek, with.HoursWeek)
	}
	// 60 + 0.7 d reaches 200 Pa after 200 days of either. The prior's life is in hours,
	// so the two forecasts may differ; neither may by more than a sixth of the life.
	if d := with.Dates.Median.Sub(by.Dates.Median).Abs(); d > 33*24*time.Hour {
		t.Errorf("limit %s by the schedule, %s by counted hours", by.Dates.Median, with.Dates.Median)
	}
	if got := with.LifeHours / by.LifeHours; got > 0.6 {
		t.Errorf("life of %g h by counted hours, %g by the schedule", with.LifeHours, by.LifeHours)
	}
	if got := assessed(reg, elsewhere, nil, now).HoursRun; got != by.HoursRun {
		t.Errorf("hours of another place count: %g", got)
	}
}
