package assess

import (
	"fmt"
	"time"

	"clogwise/internal/chart"
	"clogwise/internal/duelist"
	"clogwise/internal/resistance"
	"clogwise/internal/units"
)

// bandPoints is the number of dates the forecast is drawn at.
const bandPoints = 40

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
		LimitPa: o.LimitPa, CleanPa: o.CleanPa,
	}
	if o.NoGauge {
		c.LimitPa = 0
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

// title is the chart's message as a sentence.
func (w *work) title() string {
	o, h := w.out, w.site.Units
	day := func(t time.Time) string { return t.In(w.loc).Format("2 Jan 2006") }
	limit := units.ShortPressure(o.LimitPa, h)
	switch {
	case o.Condition == duelist.Doubtful:
		return o.Name + ": readings do not fit, check before judging"
	case o.Condition == duelist.Unread:
		return o.Name + ": no recent reading to judge by"
	case o.Condition == duelist.Overdue && o.NoGauge:
		return o.Name + ": past its age cap"
	case o.Condition == duelist.Overdue:
		return fmt.Sprintf("%s: past %s since about %s", o.Name, limit, w.out.Dates.Median.In(w.loc).Format("2 Jan"))
	case o.Condition == duelist.Due:
		return fmt.Sprintf("%s: at %s now", o.Name, limit)
	case o.Dates.Median.IsZero():
		return fmt.Sprintf("%s: %s not in sight", o.Name, limit)
	case o.NoGauge:
		return fmt.Sprintf("%s: age cap on %s", o.Name, day(o.Dates.Median))
	}
	return fmt.Sprintf("%s: reaches %s about %s", o.Name, limit, o.Dates.Median.In(w.loc).Format("2 Jan"))
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
	if end.IsZero() || end.Sub(w.in.Now) > 540*24*time.Hour {
		end = w.in.Now.AddDate(0, 0, 540)
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
	if !o.Dates.Median.IsZero() && !o.Dates.P10.IsZero() {
		c.Reach = &chart.Reach{P10: o.Dates.P10, Median: o.Dates.Median, P90: o.Dates.P90}
	}
}
