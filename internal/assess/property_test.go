package assess_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
	"clogwise/internal/units"
)

// lived is a year and a half of a bank: two finished lives and a present one,
// with swaps, events, an amendment, a retraction and a zero check among the
// readings.
func lived(rate float64) []entry.Entry {
	rnd := rand.New(rand.NewPCG(8, 3))
	var out []entry.Entry
	put := func(day float64, body entry.Body) int64 {
		seq := int64(len(out) + 1)
		at := began.Add(time.Duration(day * 24 * float64(time.Hour)))
		out = append(out, entry.Entry{Seq: seq, Kind: body.Kind(), Place: axisBank, At: at, Received: at, Body: body})
		return seq
	}
	clean := 60.0
	for day, since := 0.0, 0.0; day < 500; day, since = day+7, since+7 {
		if day == 0 || since >= 210/rate {
			put(day, entry.Swap{CleanPa: &clean, Confirmed: true})
			since = 0
			continue
		}
		seq := put(day, entry.Reading{Pa: (60 + 140*math.Pow(rate*since/210, 1.3)) * (1 + 0.02*rnd.NormFloat64())})
		switch int(day) {
		case 70:
			put(day+1, entry.Amend{Target: seq, Body: entry.Reading{Pa: 75}})
		case 84:
			put(day+1, entry.Retract{Target: seq})
		case 448:
			put(day+1, entry.ZeroCheck{})
			put(day+2, entry.Skip{Reason: "locked"})
		}
	}
	return out
}

func bankWith(alter func(*plant.Site, *plant.AHU, *plant.Bank)) *plant.Register {
	c := oneBank("").Contents()
	ahu, bank := c.AHUs[axisBank.AHU()], c.Banks[axisBank]
	c.Sites[0].Zone = "UTC"
	alter(&c.Sites[0], &ahu, &bank)
	c.AHUs[axisBank.AHU()], c.Banks[axisBank] = ahu, bank
	return plant.NewRegister(c)
}

func asJSON(t *testing.T, a assess.Assessment) string {
	t.Helper()
	raw, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

// The same lives a year of weeks later give the same dates a year of weeks later.
func TestShiftingTimeShiftsDates(t *testing.T) {
	t.Parallel()
	const shift = 52 * 7 * 24 * time.Hour
	for name, hours := range map[string]map[string]float64{"round the clock": nil, "working days": {"Mon-Fri": 12}} {
		reg := bankWith(func(s *plant.Site, _ *plant.AHU, _ *plant.Bank) { s.Schedule.Hours = hours })
		now := began.AddDate(0, 0, 501)
		early := lived(1)
		late := lived(1)
		for i := range late {
			late[i].At, late[i].Received = late[i].At.Add(shift), late[i].Received.Add(shift)
		}
		a, b := assessed(reg, early, nil, now), assessed(reg, late, nil, now.Add(shift))
		for i, d := range [][2]time.Time{
			{a.Dates.Median, b.Dates.Median}, {a.Dates.P10, b.Dates.P10}, {a.Dates.P90, b.Dates.P90}, {a.Dates.P025, b.Dates.P025}, {a.LeastCost, b.LeastCost},
		} {
			if d[0].IsZero() != d[1].IsZero() || !d[0].IsZero() && !d[1].Equal(d[0].Add(shift)) {
				t.Errorf("%s, date %d: %s, and %s a year of weeks later", name, i, d[0], d[1])
			}
		}
		if !(a.Hours.Median > 0) || a.Hours != b.Hours || a.NowPa != b.NowPa || a.ProbWeek != b.ProbWeek {
			t.Errorf("%s: %+v, then %+v", name, a.Hours, b.Hours)
		}
	}
}

// Entries told twice, or in another order, change nothing to the last digit.
func TestOrderAndDuplicatesLeaveNoTrace(t *testing.T) {
	t.Parallel()
	reg := bankWith(func(*plant.Site, *plant.AHU, *plant.Bank) {})
	now := began.AddDate(0, 0, 501)
	entries := lived(1)
	want := asJSON(t, assessed(reg, entries, nil, now))
	rnd := rand.New(rand.NewPCG(1, 1))
	for range 10 {
		told := append([]entry.Entry(nil), entries...)
		for range 15 {
			told = append(told, entries[rnd.IntN(len(entries))])
		}
		rnd.Shuffle(len(told), func(i, j int) { told[i], told[j] = told[j], told[i] })
		if got := asJSON(t, assessed(reg, told, nil, now)); got != want {
			t.Fatalf("shuffled and partly doubled:\n%s\nwant\n%s", got, want)
		}
	}
}

// A higher limit is reached later, more dust reaches it sooner, and neither turns
// a range about.
func TestDatesFollowLimitAndDust(t *testing.T) {
	t.Parallel()
	now := began.AddDate(0, 0, 501)
	ahead := func(limit, rate float64) assess.Assessment {
		reg := bankWith(func(_ *plant.Site, _ *plant.AHU, b *plant.Bank) { b.LimitPa = limit })
		return assessed(reg, lived(rate), nil, now)
	}
	last := 0.0
	for _, limit := range []float64{170, 185, 200, 220, 250} {
		a := ahead(limit, 1)
		if !(a.Hours.Median > last) || !(a.Hours.P10 <= a.Hours.Median && a.Hours.Median <= a.Hours.P90) {
			t.Errorf("to %g Pa: %+v after a median of %g h", limit, a.Hours, last)
		}
		last = a.Hours.Median
	}
	last = math.Inf(1)
	for _, rate := range []float64{0.8, 0.9, 1, 1.1} {
		if a := ahead(250, rate); !(a.LifeHours < last) {
			t.Errorf("dust × %g: a life of %g h after one of %g h", rate, a.LifeHours, last)
		} else {
			last = a.LifeHours
		}
	}
}

// A site that reads in inches of water gets the same figures from the same
// pressures; a fan at 60 Hz counts as at full speed there when that is the design.
func TestUnitHabitDoesNotMatter(t *testing.T) {
	t.Parallel()
	now := began.AddDate(0, 0, 501)
	figures := func(h units.Habit) assess.Assessment {
		reg := bankWith(func(s *plant.Site, a *plant.AHU, _ *plant.Bank) { s.Units, a.DesignHz = h, 60 })
		entries := lived(1)
		for i, x := range entries {
			r, ok := x.Body.(entry.Reading)
			if !ok {
				continue
			}
			hz := 54.0
			r.FanHz = &hz
			r.Pa *= math.Pow(0.9, resistance.DefaultExponent) // as read at 90 % of the speed
			if h == units.IP {                                // typed in inches, carried to Pa at the edge
				r.Pa = units.InH2O.ToPa(units.InH2O.FromPa(r.Pa))
			}
			entries[i].Body = r
		}
		return assess.Bank(assess.Input{Register: reg, Bank: axisBank, Entries: entries, Prior: forecast.ClassPrior("secondary"), Now: now})
	}
	si, ip := figures(units.SI), figures(units.IP)
	for what, v := range map[string][2]float64{
		"median hours": {si.Hours.Median, ip.Hours.Median}, "now": {si.NowPa, ip.NowPa}, "chance in 30 days": {si.Prob30, ip.Prob30},
		"power": {si.Energy.KWNow, ip.Energy.KWNow},
	} {
		if !(v[0] > 0) || math.Abs(v[1]/v[0]-1) > 1e-9 {
			t.Errorf("%s: %.12g in SI, %.12g in IP", what, v[0], v[1])
		}
	}
}

// What a site has set governs where the bank and its item say nothing: the cap on
// age, and the exponent of resistance against airflow.
func TestSiteSettingsGovern(t *testing.T) {
	t.Parallel()
	now := began.AddDate(0, 0, 501)
	with := func(alter func(*plant.Site)) assess.Assessment {
		reg := bankWith(func(s *plant.Site, _ *plant.AHU, b *plant.Bank) { b.LimitPa = 2000; alter(s) })
		return assessed(reg, lived(1), nil, now)
	}
	free, capped := with(func(*plant.Site) {}), with(func(s *plant.Site) { s.AgeRule = plant.AgeEN13779 })
	if want := capped.LifeStart.Add(4000 * time.Hour); capped.Dates.Median.Sub(want).Abs() > time.Second {
		t.Errorf("due %s, want %s: later stages 4000 h (EN 13779:2007 annex, from memory), round the clock", capped.Dates.Median, want)
	}
	if !free.Dates.Median.IsZero() && !free.Dates.Median.After(capped.Dates.Median) {
		t.Errorf("without a cap due %s, with one %s", free.Dates.Median, capped.Dates.Median)
	}
	half := 1.0 // of 2 m³/s
	entries := lived(1)
	last := entry.Reading{Pa: 40, FlowM3s: &half}
	entries = append(entries, entry.Entry{Seq: int64(len(entries) + 1), Kind: entry.KindReading, Place: axisBank, At: now.Add(-time.Hour), Body: last})
	for n, want := range map[float64]float64{0: 40 * math.Pow(2, 1/0.85), 1: 80, 2: 160} {
		reg := bankWith(func(s *plant.Site, _ *plant.AHU, _ *plant.Bank) { s.FlowExponent = n })
		if got := assessed(reg, entries, nil, now).Last.DesignPa; math.Abs(got-want) > 1e-6 {
			t.Errorf("exponent %g: 40 Pa at half airflow are %g Pa at design, want %g (Δp·2ⁿ)", n, got, want)
		}
	}
}
