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
		c.LimitPa, c.CleanPa = 0, 0
		c.Words = chart.English()
		c.Words.NoReadings = "no gauge: its age decides"
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

// title is the chart's message as a sentence.
func (w *work) title() string {
	o, h := w.out, w.site.Units
	limit := units.ShortPressure(o.LimitPa, h)
	switch {
	case o.Condition == duelist.Doubtful && o.DoubtedSwap != nil:
		return o.Name + ": change-out of " + w.day(o.DoubtedSwap.At) + " in doubt, readings have not fallen"
	case o.Condition == duelist.Doubtful:
		return o.Name + ": readings do not fit, check before judging"
	case o.Condition == duelist.Unread:
		return o.Name + ": no recent reading to judge by"
	case o.Condition == duelist.Overdue && !w.capAt.IsZero() && !w.capAt.After(o.Now):
		return fmt.Sprintf("%s: past its age cap (%s) since %s", o.Name, capWords(w.caps), w.day(w.capAt))
	case o.Condition == duelist.Overdue && o.Dates.Median.After(o.Now):
		return fmt.Sprintf("%s: read past %s", o.Name, limit)
	case o.Condition == duelist.Overdue:
		return fmt.Sprintf("%s: past %s since about %s", o.Name, limit, w.day(o.Dates.Median))
	case o.Condition == duelist.Due:
		return fmt.Sprintf("%s: at %s now", o.Name, limit)
	case o.Dates.Median.IsZero():
		return fmt.Sprintf("%s: %s not in sight", o.Name, limit)
	case o.NoGauge:
		return fmt.Sprintf("%s: its age cap (%s) is %s", o.Name, capWords(w.caps), w.day(w.capAt))
	case o.CapGoverns:
		return fmt.Sprintf("%s: its age cap (%s) comes first, %s", o.Name, capWords(w.caps), w.day(w.capAt))
	}
	return fmt.Sprintf("%s: reaches %s about %s", o.Name, limit, w.day(o.Dates.Median))
}

// day is a date, with its year unless that is the present one.
func (w *work) day(t time.Time) string {
	t = t.In(w.loc)
	if t.Year() == w.in.Now.In(w.loc).Year() {
		return t.Format("2 Jan")
	}
	return t.Format("2 Jan 2006")
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
	if !o.Dates.Median.IsZero() && !o.Dates.P10.IsZero() && !o.CapGoverns {
		c.Reach = &chart.Reach{P10: o.Dates.P10, Median: o.Dates.Median, P90: o.Dates.P90}
	}
}
