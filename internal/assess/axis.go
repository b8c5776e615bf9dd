package assess

import (
	"math"
	"slices"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
)

// axis is what a filter life is measured along: run hours since the change-out,
// or at sites that say so the air moved, in hours at design airflow. In the
// present life hours of dusty months count for more (the site's season), and so
// do those of outside events.
type axis struct {
	run    plant.Runner
	loc    *time.Location
	season *forecast.Season // nil: every month alike
	knots  []knot           // by time; the first is the change-out
	events []forecast.Event // on the axis before events
}

// knot is a moment of a life, what had been done by then, and the pace from then
// on: the airflow as a share of design, or 1.
type knot struct {
	at   time.Time
	x    float64
	pace float64
}

// axisOf lays out the axis of a life that began at start.
func (w *work) axisOf(l life, start time.Time, season *forecast.Season) axis {
	a := axis{run: w.run, loc: w.loc, season: season, knots: []knot{{start, 0, 1}}}
	if w.site.LoadingAxis != plant.AxisAir {
		return a
	}
	usual := usualPace(w.ahu, l.seen)
	a.knots[0].pace = usual
	for _, s := range l.seen {
		last := &a.knots[len(a.knots)-1]
		if !s.At.After(last.at) {
			continue
		}
		here := usual
		if r := s.fixed.Ratio; r > 0 && s.fixed.Basis != resistance.AsDesign {
			here = (usual + r) / 2 // between this reading and the next, neither is the whole truth
		}
		a.knots = append(a.knots, knot{s.At, last.x + a.span(last.at, s.At)*last.pace, here})
	}
	a.knots = append(a.knots, knot{a.knots[len(a.knots)-1].at, a.knots[len(a.knots)-1].x, usual})
	return a
}

// usualPace is the mean airflow of a unit as a share of design: of the readings
// that say it, else of the register's profile, else 1.
func usualPace(ahu plant.AHU, seen []seen) float64 {
	sum, n := 0.0, 0.0
	for _, s := range seen {
		if s.fixed.Ratio > 0 && s.fixed.Basis != resistance.AsDesign {
			sum += s.fixed.Ratio
			n++
		}
	}
	if n > 0 {
		return sum / n
	}
	for _, p := range ahu.FlowProfile {
		sum += p.Fraction * p.Share
		n += p.Share
	}
	if n > 0 && sum > 0 {
		return sum / n
	}
	return 1
}

// span is the run hours from a to b, each month's counted by its dust.
func (a axis) span(from, to time.Time) float64 {
	if a.season == nil || !to.After(from) {
		return a.run.Hours(from, to)
	}
	sum := 0.0
	for t := from; t.Before(to); {
		end := a.monthEnd(t)
		if end.After(to) {
			end = to
		}
		sum += a.dust(t) * a.run.Hours(t, end)
		t = end
	}
	return sum
}

func (a axis) dust(t time.Time) float64 {
	return a.season.Dose([]forecast.MonthHours{{Month: t.In(a.loc).Month(), Hours: 1}})
}

func (a axis) monthEnd(t time.Time) time.Time {
	y, m, _ := t.In(a.loc).Date()
	return time.Date(y, m+1, 1, 0, 0, 0, 0, a.loc)
}

// after is the moment at which h more has been done since t; zero when that is
// more than twenty years ahead.
func (a axis) after(t time.Time, h float64) time.Time {
	if a.season == nil {
		return a.run.After(t, h)
	}
	for range 12 * 20 {
		end := a.monthEnd(t)
		f := a.dust(t)
		if have := f * a.run.Hours(t, end); have >= h {
			return a.run.After(t, h/f)
		} else {
			h -= have
		}
		t = end
	}
	return time.Time{}
}

// months are what has been done by a time in each month of the year, January first.
func (a axis) months(to time.Time) [12]float64 {
	var out [12]float64
	for t := a.knots[0].at; t.Before(to); {
		end := a.monthEnd(t)
		if end.After(to) {
			end = to
		}
		done := a.span(t, end)
		if len(a.knots) > 1 {
			done = a.plain(end) - a.plain(t)
		}
		out[t.In(a.loc).Month()-1] += done
		t = end
	}
	return out
}

// plain is what has been done by t, before events count.
func (a axis) plain(t time.Time) float64 {
	i, _ := slices.BinarySearchFunc(a.knots, t, func(k knot, t time.Time) int {
		if k.at.After(t) {
			return 1
		}
		return -1
	})
	k := a.knots[max(i-1, 0)]
	return math.Max(0, k.x+a.span(k.at, t)*k.pace)
}

// at is the place of a moment on the axis.
func (a axis) at(t time.Time) float64 { return forecast.Dose(a.plain(t), a.events) }

// when is the moment at which the axis reaches x; zero when that is more than
// twenty years ahead.
func (a axis) when(x float64) time.Time {
	x = forecast.FromDose(x, a.events)
	i, _ := slices.BinarySearchFunc(a.knots, x, func(k knot, x float64) int {
		if k.x > x {
			return 1
		}
		return -1
	})
	k := a.knots[max(i-1, 0)]
	return a.after(k.at, (x-k.x)/k.pace)
}

// isPlain reports whether the axis is run hours and nothing else.
func (a axis) isPlain() bool { return len(a.knots) == 1 && a.season == nil && len(a.events) == 0 }

// eventsOf are the outside events of a life. How dusty each was is read from the
// readings of the life itself.
func (w *work) eventsOf(a axis, obs []forecast.Observation, life forecast.Life) []forecast.Event {
	var out []forecast.Event
	for _, x := range w.stand {
		e, ok := x.Body.(entry.Event)
		if !ok || x.At.After(w.in.Now) {
			continue
		}
		until := x.At.AddDate(0, 0, eventDays)
		if e.Until != nil {
			until = *e.Until
		}
		if !until.After(a.knots[0].at) {
			continue
		}
		from := x.At
		if start := a.knots[0].at; from.Before(start) {
			from = start // what it did to the life before is not this one's
		}
		ev := forecast.Event{FromX: a.plain(from), ToX: a.plain(until)}
		// What those before it explain is not to be explained once more: two people tell
		// of one smoke.
		life.Obs = slices.Clone(obs)
		for i := range life.Obs {
			life.Obs[i].X = forecast.Dose(life.Obs[i].X, out)
		}
		ev.Rate = forecast.EventRate(w.prior, life, forecast.Event{FromX: forecast.Dose(ev.FromX, out), ToX: forecast.Dose(ev.ToX, out)})
		out = append(out, ev)
	}
	return out
}
