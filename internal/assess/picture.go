package assess

import (
	"time"

	"clogwise/internal/chart"
	"clogwise/internal/duelist"
	"clogwise/internal/locale"
	"clogwise/internal/resistance"
)

// bandPoints is the number of dates the forecast is drawn at.
const bandPoints = 40

// farYears is how far ahead the forecast is drawn at most.
const farYears = 3

// Picture is what the chart of a bank shows. Entries must be those of its whole
// history.
func Picture(in Input) (chart.Input, bool) {
	in.Carried = nil
	w, ok := settle(in)
	if !ok {
		return chart.Input{}, false
	}
	w.fit()
	w.energy()
	w.judge()
	o := w.out
	c := chart.Input{
		Title: w.title(), Subtitle: w.site.Name + ", " + w.bank.Item, Habit: w.site.Units, Loc: w.loc, Now: in.Now,
		LimitPa: o.LimitPa, CleanPa: o.CleanPa, Words: words(w.tongue()),
	}
	if o.NoGauge {
		c.LimitPa, c.CleanPa = 0, 0
		c.Words.NoReadings = w.tongue().Text("no gauge: its age decides")
	}
	if !w.capAt.IsZero() {
		c.CapAt = w.capAt.In(w.loc)
	}
	for _, l := range append(w.lives, w.cur) {
		if l.swap != nil {
			c.Swaps = append(c.Swaps, l.start)
		}
		for _, s := range l.seen {
			if s.fixed.Basis == resistance.NoAirflow {
				continue
			}
			c.Readings = append(c.Readings, chart.Reading{
				At: s.At, Pa: s.fixed.Pa, Doubtful: s.doubtful || s.wet || s.suspect, OverRange: s.over,
			})
		}
	}
	if w.hasPost && !o.NoGauge {
		w.draw(&c)
	}
	return c, true
}

// words are what is printed in the picture.
func words(in locale.Locale) chart.Words {
	w := chart.Words{
		Limit: in.Text("limit"), Clean: in.Text("clean"), Today: in.Text("today"), Changed: in.Text("changed"),
		Doubtful: in.Text("doubtful"), OverRange: in.Text("above"), Range: in.Text("likely range (4 in 5)"),
		NoReadings: in.Text("no readings yet"), Cap: in.Text("age cap"), AtDesign: in.Text("at design airflow"),
		Date: in.DayLayout(), Month: "Jan", Decimal: in.Figures("0.0")[1:2],
	}
	for i := range w.Months {
		w.Months[i] = in.Date(time.Date(2000, time.Month(i+1), 1, 0, 0, 0, 0, time.UTC), "Jan")
	}
	return w
}

// title is the chart's message as a sentence.
func (w *work) title() string {
	o, in := w.out, w.tongue()
	limit := in.ShortPressure(o.LimitPa, w.site.Units)
	caps := in.Retell(capWords(w.caps))
	switch {
	case o.Condition == duelist.Doubtful && o.DoubtedSwap != nil:
		return in.Text("%s: change-out of %s in doubt, readings have not fallen", o.Name, w.day(o.DoubtedSwap.At))
	case o.Condition == duelist.Doubtful:
		return in.Text("%s: readings do not fit, check before judging", o.Name)
	case o.Condition == duelist.Unread:
		return in.Text("%s: no recent reading to judge by", o.Name)
	case o.Condition == duelist.Overdue && !w.capAt.IsZero() && !w.capAt.After(o.Now):
		return in.Text("%s: past its age cap (%s) since %s", o.Name, caps, w.day(w.capAt))
	case o.Condition == duelist.Overdue && o.Dates.Median.After(o.Now):
		return in.Text("%s: read past %s", o.Name, limit)
	case o.Condition == duelist.Overdue:
		return in.Text("%s: past %s since about %s", o.Name, limit, w.day(o.Dates.Median))
	case o.Condition == duelist.Due:
		return in.Text("%s: at %s now", o.Name, limit)
	case o.Dates.Median.IsZero():
		return in.Text("%s: %s not in sight", o.Name, limit)
	case o.NoGauge:
		return in.Text("%s: its age cap (%s) is %s", o.Name, caps, w.day(w.capAt))
	case o.CapGoverns:
		return in.Text("%s: its age cap (%s) comes first, %s", o.Name, caps, w.day(w.capAt))
	}
	return in.Text("%s: reaches %s about %s (%s)", o.Name, limit, w.day(o.Dates.Median), in.Span(o.Dates.P10, o.Dates.P90, o.Now, w.loc))
}

// tongue is the language of the bank's site.
func (w *work) tongue() locale.Locale { return locale.Of(w.site.Language) }

// day is a date, with its year unless that is the present one.
func (w *work) day(t time.Time) string {
	t = t.In(w.loc)
	if t.Year() == w.in.Now.In(w.loc).Year() {
		return w.tongue().Date(t, "2 Jan")
	}
	return w.tongue().Date(t, "2 Jan 2006")
}

// draw adds the fitted curve of the present life and the forecast ahead.
func (w *work) draw(c *chart.Input) {
	o := w.out
	past := w.in.Now.Sub(w.cur.start)
	for i := range bandPoints + 1 {
		t := w.cur.start.Add(past * time.Duration(i) / bandPoints)
		c.Curve = append(c.Curve, chart.Point{At: t, Pa: w.post.MeanPa(w.along.at(t))})
	}
	end := o.Dates.P90
	if far := w.in.Now.AddDate(farYears, 0, 0); end.IsZero() || end.After(far) {
		end = far
	}
	if end.Before(w.in.Now.AddDate(0, 0, 21)) {
		end = w.in.Now.AddDate(0, 0, 21)
	}
	ahead := end.Sub(w.in.Now)
	for i := range bandPoints + 1 {
		t := w.in.Now.Add(ahead * time.Duration(i) / bandPoints)
		x := w.along.at(t)
		c.Forecast = append(c.Forecast, chart.Band{At: t, Low: w.post.ResistancePa(x, 0.1), Mid: w.post.ResistancePa(x, 0.5), High: w.post.ResistancePa(x, 0.9)})
	}
	if !o.Dates.Median.IsZero() && !o.Dates.P10.IsZero() && !o.CapGoverns {
		c.Reach = &chart.Reach{P10: o.Dates.P10, Median: o.Dates.Median, P90: o.Dates.P90}
	}
}
