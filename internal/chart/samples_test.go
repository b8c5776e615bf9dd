package chart_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"time"

	"clogwise/internal/chart"
	"clogwise/internal/units"
)

// samples is where the pictures of all cases are written, to be looked at after
// any change of the drawing:
//
//	go test ./internal/chart -run TestEveryCase -samples /some/folder
var samples = flag.String("samples", "", "folder to write the sample pictures to")

var zone = time.FixedZone("site", 3600)

func date(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 9, 0, 0, 0, zone) }

// loading is an invented bank: lives of the given length, readings every so many
// days with noise, a curve bending up from clean towards limit, and a forecast
// of the running life whose spread grows with the time ahead.
type loading struct {
	clean, limit float64
	life         float64 // days to the limit
	start, now   time.Time
	swaps        []time.Time
	every        int
	noise        float64
	spread       float64 // relative, of the forecast's end
}

func (l loading) pa(day float64) float64 {
	u := day / l.life
	return l.clean + (l.limit-l.clean)*(0.6*u+0.4*u*u)
}

func (l loading) began(t time.Time) time.Time {
	b := l.start
	for _, s := range l.swaps {
		if !s.After(t) {
			b = s
		}
	}
	return b
}

func (l loading) input() chart.Input {
	r := rand.New(rand.NewPCG(7, 7))
	in := chart.Input{Loc: zone, Now: l.now, Habit: units.SI, LimitPa: l.limit, CleanPa: l.clean, Swaps: l.swaps}
	for t := l.start; !t.After(l.now); t = t.AddDate(0, 0, 1) {
		age := t.Sub(l.began(t)).Hours() / 24
		in.Curve = append(in.Curve, chart.Point{At: t, Pa: l.pa(age)})
		if l.every > 0 && int(t.Sub(l.start).Hours()/24)%l.every == 0 {
			in.Readings = append(in.Readings, chart.Reading{At: t, Pa: l.pa(age) + l.noise*r.NormFloat64()})
		}
	}
	began := l.began(l.now)
	age := l.now.Sub(began).Hours() / 24
	for d := age; d < l.life*(1+2*l.spread)+10; d += 2 {
		ahead := (d - age) / l.life
		in.Forecast = append(in.Forecast, chart.Band{
			At:  began.Add(time.Duration(d * 24 * float64(time.Hour))),
			Low: l.pa(age + (d-age)*(1-l.spread)), Mid: l.pa(d), High: l.pa(age+(d-age)*(1+l.spread)) + 3*math.Sqrt(ahead),
		})
	}
	end := func(f float64) time.Time {
		return began.Add(time.Duration((age + (l.life-age)*f) * 24 * float64(time.Hour)))
	}
	if age < l.life {
		in.Reach = &chart.Reach{P10: end(1 / (1 + l.spread)), Median: end(1), P90: end(1 / (1 - l.spread))}
	}
	return in
}

func reachWords(in chart.Input, layout string) string {
	f := func(t time.Time) string { return t.In(zone).Format(layout) }
	return f(in.Reach.Median) + " (" + f(in.Reach.P10) + " – " + f(in.Reach.P90) + ")"
}

// cases are the situations every change to the drawing is looked at in.
func cases() map[string]chart.Input {
	out := map[string]chart.Input{}

	ordinary := loading{clean: 62, limit: 200, life: 150, start: date(2025, 9, 20), now: date(2026, 2, 18),
		swaps: []time.Time{date(2025, 10, 20)}, every: 7, noise: 4, spread: 0.35}
	in := ordinary.input()
	in.Title = "AHU-3 secondary: reaches 200 Pa about " + reachWords(in, "2 Jan")
	in.Subtitle = "North works · 12 bags ePM1 60 % · read 18 Feb: 145 Pa"
	in.LimitNote = "manufacturer"
	out["ordinary"] = in

	dense := loading{clean: 55, limit: 150, life: 70, start: date(2025, 3, 1), now: date(2026, 3, 1), every: 1, noise: 5, spread: 0.3}
	for t := dense.start.AddDate(0, 0, 60); t.Before(dense.now); t = t.AddDate(0, 0, 62) {
		dense.swaps = append(dense.swaps, t)
	}
	in = dense.input()
	in.Title = "AHU-11 primary: reaches 150 Pa about " + reachWords(in, "2 Jan")
	in.Subtitle = "North works · 8 panels coarse 60 % · read daily"
	out["dense-year"] = in

	empty := loading{clean: 60, limit: 200, life: 180, start: date(2026, 2, 1), now: date(2026, 2, 1), spread: 0.6}
	in = empty.input()
	in.Curve, in.CleanPa = nil, 0
	in.Title = "AHU-7 secondary: no readings yet; banks like it reach 200 Pa in Jul–Jan"
	in.Subtitle = "North works · tell me its clean reading to narrow this"
	out["no-readings"] = in

	one := loading{clean: 60, limit: 200, life: 180, start: date(2026, 1, 12), now: date(2026, 2, 1), swaps: []time.Time{date(2026, 1, 12)}, every: 400, spread: 0.55}
	in = one.input()
	in.Title = "AHU-7 secondary: reaches 200 Pa about " + reachWords(in, "2 Jan")
	in.Subtitle = "North works · one reading so far"
	out["one-reading"] = in

	torn := loading{clean: 70, limit: 250, life: 200, start: date(2025, 10, 6), now: date(2026, 3, 2), swaps: []time.Time{date(2025, 10, 6)}, every: 7, noise: 4, spread: 0.3}
	in = torn.input()
	for i := range in.Readings {
		if in.Readings[i].At.After(date(2026, 2, 8)) {
			in.Readings[i].Pa *= 0.55
			in.Readings[i].Doubtful = true
		}
	}
	in.Readings = append(in.Readings,
		chart.Reading{At: date(2025, 12, 24), Pa: 700, Doubtful: true})
	in.Title = "AHU-3 secondary: fell from 161 to 92 Pa without a swap; look for a torn bag"
	in.Subtitle = "North works · 4 readings held back since 9 Feb"
	out["torn-bag"] = in

	ip := loading{clean: 0.28 * units.PaPerInH2O, limit: units.PaPerInH2O, life: 120, start: date(2025, 12, 1), now: date(2026, 3, 2), swaps: []time.Time{date(2025, 12, 1)}, every: 5, noise: 5, spread: 0.3}
	in = ip.input()
	in.Habit = units.IP
	in.Title = "SF-2 prefilter: reaches 1.00 in wc about " + reachWords(in, "Jan 2")
	in.Subtitle = "Lakeside plant · twelve 24×24 MERV 8 · read Mar 2: 0.72 in wc"
	in.Words = chart.English()
	in.Words.Date = "Jan 2"
	out["ip"] = in

	over := loading{clean: 62, limit: 200, life: 100, start: date(2025, 11, 1), now: date(2026, 2, 18), swaps: []time.Time{date(2025, 11, 1)}, every: 7, noise: 4, spread: 0.3}
	in = over.input()
	in.Reach = nil
	for i := range in.Readings {
		if in.Readings[i].At.After(date(2026, 2, 13)) {
			in.Readings[i].Pa, in.Readings[i].OverRange = 250, true
		}
	}
	in.Readings = append(in.Readings, chart.Reading{At: date(2026, 2, 17), Pa: 250, OverRange: true})
	in.Title = "AHU-9 secondary: overdue, past 200 Pa since 9 Feb"
	in.Subtitle = "North works · waiting costs £14.30 a week"
	out["overdue"] = in

	in = ordinary.input()
	in.Title = "Extract and heat-recovery unit 12B West Wing third-stage return bank behind plant room door 4: reaches 200 Pa about 18 Mar, with a range of 9 to 31 Mar, and nobody has read it for five weeks now"
	in.Subtitle = "Llanfairpwllgwyngyll-by-the-Water regional distribution centre and cold store · 12 bags"
	in.LimitNote = "initial + 100 Pa, standard rule for ePM filters"
	out["long-names"] = in

	in = chart.Input{Loc: zone, Now: date(2026, 2, 1), Title: "AHU-20 return: nothing known yet", Habit: units.SI}
	out["nothing"] = in

	in = over.input()
	in.Now = date(2026, 1, 20)
	in.Reach, in.Forecast, in.Curve = nil, nil, nil
	in.LimitPa, in.CleanPa = 0, 0
	in.Title = "AHU-21 return: no limit known; send the filter's final resistance"
	out["no-limit"] = in
	return out
}
