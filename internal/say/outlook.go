package say

import (
	"math"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/duelist"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
)

// Outlook says when a bank reaches what governs it.
func Outlook(a assess.Assessment, v Setting) string {
	s := reaches(a, v)
	if a.Condition == duelist.Doubtful && a.LeastCost.Before(v.Now) {
		return s // of no use any more
	}
	if !a.LeastCost.IsZero() && a.Condition != duelist.Overdue && a.Condition != duelist.Due && a.LeastCost.Before(latest(a.Dates.Median, a.LeastCost)) {
		if a.Energy.AtMost() {
			return s + " " + v.In.Text("Cheapest date %s if the fan holds its airflow.", cheapest(a.LeastCost, v))
		}
		s += " " + v.In.Text("Cheapest date %s.", cheapest(a.LeastCost, v))
	}
	return s
}

func reaches(a assess.Assessment, v Setting) string {
	limit, d := v.governing(a.Governing, a.LimitPa), a.Dates
	switch {
	case a.Condition == duelist.Overdue && d.Median.After(v.Now):
		return v.In.Text("Overdue: read past %s.", limit)
	case a.Condition == duelist.Overdue:
		return v.In.Text("Overdue: past %s since about %s.", limit, v.day(d.Median))
	case a.Condition == duelist.Doubtful && a.DoubtedSwap != nil:
		return v.In.Text("Change-out of %s in doubt; until it is confirmed the forecast goes on without it: %s", v.day(a.DoubtedSwap.At), rangeOf(d, v))
	case a.Condition == duelist.Doubtful && past(d, v):
		return v.In.Text("Doubtful: what was read since does not count. By the readings before, %s is likely past since %s. Check now what the doubt says.", limit, v.day(d.Median))
	case a.Condition == duelist.Doubtful:
		return v.In.Text("Doubtful until it is checked; the forecast stays as it was: %s", rangeOf(d, v))
	case a.Condition == duelist.Due:
		return v.In.Text("Due now: at or near %s.", limit)
	case d.Median.IsZero():
		return v.In.Text("Not expected to reach %s within years.", limit)
	case a.CapGoverns && !a.NoGauge && d.P10.Before(d.Median):
		return v.In.Text("Reaches %s on %s; %s may come first, from %s (1 in 10).", limit, v.day(d.Median), v.short(a.LimitPa), v.day(d.P10))
	case sameDay(d.P10, d.P90, v.Loc):
		return v.In.Text("Reaches %s on %s.", limit, v.day(d.Median))
	}
	return v.In.Text("Reaches %s %s, most likely %s.", limit, v.span(d.P10, d.P90), v.day(d.Median))
}

// past reports whether the most likely date has gone by.
func past(d assess.Dates, v Setting) bool { return !d.Median.IsZero() && d.Median.Before(v.Now) }

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func sameDay(a, b time.Time, loc *time.Location) bool {
	return !a.IsZero() && a.In(loc).Format(time.DateOnly) == b.In(loc).Format(time.DateOnly)
}

// rangeOf is a range of dates in a few words, after a colon.
func rangeOf(d assess.Dates, v Setting) string {
	if d.Median.IsZero() {
		return v.In.Text("not due for years.")
	}
	return v.In.Text("due %s, likely %s.", v.span(d.P10, d.P90), v.day(d.Median))
}

// ShortOutlook is Outlook in a few words, for a list.
func ShortOutlook(a assess.Assessment, v Setting) string {
	switch d := a.Dates; {
	case a.Condition == duelist.Overdue && d.Median.After(v.Now):
		return v.In.Text("Overdue: read past its limit.")
	case a.Condition == duelist.Overdue:
		return v.In.Text("Overdue since about %s.", v.day(d.Median))
	case a.Condition == duelist.Due:
		return v.In.Text("Due now.")
	case a.Condition == duelist.Doubtful && past(d, v):
		return v.In.Text("Likely past its limit since %s.", v.day(d.Median))
	}
	return capital(rangeOf(a.Dates, v))
}

// CostLine says what the dirt costs a day, or what a speed-held fan loses; nothing
// while readings are in doubt, for the figures go by the forecast before them.
func CostLine(a assess.Assessment, in locale.Locale) string {
	e := a.Energy
	switch {
	case a.Condition == duelist.Doubtful:
		return ""
	case e.Held == string(plant.SpeedHeld) && e.AirLostPct >= 0.5:
		return lostAir(e, in)
	case e.Note != "" && (e.Held == string(plant.SpeedHeld) || e.KWhPerDay == 0):
		return capital(strings.TrimSuffix(in.Retell(e.Note), ".")) + "."
	case e.Held == string(plant.SpeedHeld):
		return ""
	case e.KWhPerDay < 0.05:
		return ""
	case e.Held != string(plant.FlowHeld):
		return in.Text("If the fan holds its airflow, dirt costs %s a day (%s kWh).", in.Money(e.MoneyPerDay), in.Number(e.KWhPerDay, 1))
	}
	return in.Text("Dirt costs %s a day now (%s kWh).", in.Money(e.MoneyPerDay), in.Number(e.KWhPerDay, 1))
}

// lostAir says what dirt takes from a speed-held fan with a known curve.
func lostAir(e assess.Energy, in locale.Locale) string {
	const worthSaying = 5 // W
	lost, watts := in.Number(e.AirLostPct, 0), e.FanChangeW
	switch {
	case math.Abs(watts) < worthSaying:
		return in.Text("The rooms get about %s %% less air than with clean filters; the fan takes about the same power.", lost)
	case watts < 0:
		return in.Text("The rooms get about %s %% less air than with clean filters; the fan takes %s W less.", lost, in.Number(-watts, 0))
	}
	return in.Text("The rooms get about %s %% less air than with clean filters; the fan takes %s W more.", lost, in.Number(watts, 0))
}
