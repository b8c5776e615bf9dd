package assess

import (
	"math"
	"time"

	"clogwise/internal/doubt"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
)

// doubtPast marks readings of finished lives that do not fit, so that priors do
// not learn from torn bags.
func (w *work) doubtPast(usual forecast.Prior) {
	if len(w.lives) == 0 {
		return
	}
	hours := usual.AtLimit(w.out.LimitPa).MedianLife()
	prev := 0.0
	for i := range w.lives {
		l := &w.lives[i]
		in := w.doubtInput(*l)
		in.LifeHours, in.Scatter = hours, usual.Noise.Rel
		in.PrevCleanPa, in.BeforeSwapPa = prev, w.lastOf(i-1)
		w.mark(l, in)
		prev = 0
		if c := l.clean(); c != nil && !c.doubtful {
			prev = c.fixed.Pa
		}
	}
}

// lastOf is the last resistance seen in a finished life; 0 of none.
func (w *work) lastOf(i int) float64 {
	if i < 0 || len(w.lives[i].seen) == 0 {
		return 0
	}
	return w.lives[i].seen[len(w.lives[i].seen)-1].fixed.Pa
}

// doubt marks readings of the present life that do not fit and says so.
func (w *work) doubt() {
	in := w.doubtInput(w.cur)
	in.LifeHours, in.Scatter = w.prior.AtLimit(w.out.LimitPa).MedianLife(), w.prior.Noise.Rel
	in.Siblings = w.in.Beside
	if s := w.out.LastSwap; s != nil && s.BeforePa != nil {
		in.BeforeSwapPa = *s.BeforePa
	}
	if n := len(w.out.Lives); n > 0 {
		in.PrevCleanPa = w.out.Lives[n-1].CleanPa
	}
	for _, f := range w.mark(&w.cur, in) {
		w.out.Findings = append(w.out.Findings, Finding{
			Code: string(f.Code), At: f.At, Seq: f.Seq, Text: f.Text, Check: f.Check,
			Open: f.Open, Blocks: f.Blocks, Evidence: f.Evidence,
		})
	}
	if c := w.cur.clean(); c != nil && c.doubtful {
		w.limits(w.in.Prior) // without it
	}
}

// clean is the reading taken with the change-out; nil if there was none.
func (l *life) clean() *seen {
	if len(l.seen) > 0 && l.seen[0].clean {
		return &l.seen[0]
	}
	return nil
}

// mark examines a life and marks its doubtful readings.
func (w *work) mark(l *life, in doubt.Input) []doubt.Finding {
	if w.out.NoGauge || len(l.seen) == 0 {
		return nil
	}
	doubtful, found := doubt.Examine(in)
	for i, d := range doubtful {
		l.seen[i].doubtful = d
	}
	return found
}

// doubtInput is a life as package doubt sees it.
func (w *work) doubtInput(l life) doubt.Input {
	in := doubt.Input{
		CleanPa: w.out.CleanPa, LimitPa: w.out.LimitPa, Start: l.start,
		Gauge: w.bank.Gauge, Habit: w.site.Units, Loc: w.loc,
	}
	if c, ok := resistance.CleanFor(w.ahu, w.bank, w.in.Register.Item, w.law); ok {
		in.ItemCleanPa = c.Pa
	}
	dusty := w.tell(l, &in)
	start := l.start
	if start.IsZero() && len(l.seen) > 0 {
		start = l.seen[0].At
	}
	in.Readings = make([]doubt.Reading, 0, len(l.seen))
	for i, o := range w.observations(l, w.axisOf(l, start, nil)) {
		s := l.seen[i]
		in.Readings = append(in.Readings, doubt.Reading{
			At: s.At, Seq: s.Seq, X: o.X, RawPa: s.pa, Pa: o.Pa, Weight: o.Weight, StepPa: o.StepPa / math.Max(s.fixed.Factor, 1e-9),
			Censored: s.over, Clean: s.clean, NoAir: s.fixed.Basis == resistance.NoAirflow,
			Wet: s.wet, Suspect: s.suspect, Dusty: dusty(s.At),
		})
	}
	return in
}

// tell adds what else was reported during a life: zero checks, faults put right.
// It returns the test whether a time lies within an outside event.
func (w *work) tell(l life, in *doubt.Input) func(time.Time) bool {
	var events []entry.Entry
	for _, x := range w.stand {
		if x.At.Before(l.start) || !l.end.IsZero() && !x.At.Before(l.end) || x.At.After(w.in.Now) {
			continue
		}
		switch b := x.Body.(type) {
		case entry.ZeroCheck:
			in.Zeros = append(in.Zeros, doubt.ZeroCheck{At: x.At, Seq: x.Seq, OffsetPa: b.OffsetPa})
		case entry.Defect:
			if b.Fixed {
				in.Fixed = append(in.Fixed, x.At)
			}
		case entry.Event:
			events = append(events, x)
		}
	}
	return func(t time.Time) bool {
		for _, x := range events {
			b, _ := x.Body.(entry.Event)
			until := x.At.AddDate(0, 0, eventDays)
			if b.Until != nil {
				until = b.Until.AddDate(0, 0, readEvery(w.bank))
			}
			if !t.Before(x.At) && t.Before(until) {
				return true
			}
		}
		return false
	}
}

// eventDays is how long an outside event of no stated end bears on readings.
const eventDays = 14

// Beside are the readings of the other banks of an AHU, for telling a reading
// that was given for the wrong one. Entries may be of any banks, in any order.
func Beside(reg *plant.Register, bank plant.BankID, entries []entry.Entry) []doubt.Sibling {
	by := map[plant.BankID]int{}
	var out []doubt.Sibling
	for _, x := range entry.Standing(entries) {
		r, ok := x.Body.(entry.Reading)
		if !ok || x.Place == bank || x.Place.AHU() != bank.AHU() || r.Wet || r.Suspect {
			continue
		}
		i, known := by[x.Place]
		if !known {
			i = len(out)
			by[x.Place] = i
			out = append(out, doubt.Sibling{Name: reg.Name(x.Place)})
		}
		out[i].Values = append(out[i].Values, doubt.Value{At: x.At, Pa: r.Pa})
	}
	return out
}
