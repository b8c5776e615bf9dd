package assess

import (
	"cmp"
	"math"
	"slices"
	"time"

	"clogwise/internal/doubt"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
)

// doubtedSwap is a change-out after which readings did not fall.
type doubtedSwap struct {
	seq     int64
	finding Finding
}

// inDoubt picks the finding, if any, that puts a life's change-out in doubt.
func (w *work) inDoubt(l *life, found []Finding) (out []doubtedSwap) {
	for _, f := range found {
		if f.Code == string(doubt.SwapNoDrop) && f.Open {
			f.Check = locale.Of(w.site.Language).Text("If it was changed, type: `confirm %d`. If not: `undo %d`.", l.swap.Seq, l.swap.Seq)
			out = append(out, doubtedSwap{l.swap.Seq, f})
		}
	}
	return out
}

// leftOut reports whether a change-out is in doubt and so begins no life.
func (w *work) leftOut(seq int64) bool {
	return slices.ContainsFunc(w.doubted, func(d doubtedSwap) bool { return d.seq == seq })
}

// tellDoubted says which change-outs of the present life are in doubt.
func (w *work) tellDoubted() {
	for i := range w.stand {
		x := &w.stand[i]
		s, ok := x.Body.(entry.Swap)
		if !ok || x.At.Before(w.cur.start) || !w.leftOut(x.Seq) {
			continue
		}
		w.out.DoubtedSwap = &SwapSeen{Seq: x.Seq, At: x.At, CleanPa: s.CleanPa, Count: s.Count, Who: cmp.Or(s.Who, x.By)}
		for _, d := range w.doubted {
			if d.seq == x.Seq {
				w.out.Findings = append(w.out.Findings, d.finding)
			}
		}
	}
}

// doubtPast marks readings of finished lives that do not fit, so that priors do
// not learn from torn bags.
func (w *work) doubtPast(usual forecast.Prior) (found []doubtedSwap) {
	if len(w.lives) == 0 {
		return nil
	}
	hours := usual.AtLimit(w.out.LimitPa).MedianLife()
	prev := 0.0
	for i := range w.lives {
		l := &w.lives[i]
		in := w.doubtInput(*l)
		in.LifeHours, in.Scatter = hours, usual.Noise.Rel
		in.PrevCleanPa, in.BeforeSwapPa = prev, w.lastOf(i-1)
		found = append(found, w.inDoubt(l, w.mark(l, in))...)
		prev = 0
		if c := l.clean(); c != nil && !c.doubtful {
			prev = c.fixed.Pa
		}
	}
	return found
}

// lastOf is the last resistance seen in a finished life; 0 of none.
func (w *work) lastOf(i int) float64 {
	if i < 0 || len(w.lives[i].seen) == 0 {
		return 0
	}
	return w.lives[i].seen[len(w.lives[i].seen)-1].fixed.Pa
}

// doubtOpening asks whether the change-out that began the present life is in
// doubt, by the same measure as for the lives before.
func (w *work) doubtOpening(usual forecast.Prior) []doubtedSwap {
	before := w.lastOf(len(w.lives) - 1)
	if c := w.in.Carried; c != nil && c.LastSwap != nil && c.LastSwap.BeforePa != nil {
		before = *c.LastSwap.BeforePa
	}
	if w.cur.swap == nil || before <= 0 || !w.cur.opensAbove(0.8*before) {
		return nil
	}
	in := w.doubtInput(w.cur)
	in.LifeHours, in.Scatter, in.BeforeSwapPa = usual.AtLimit(w.out.LimitPa).MedianLife(), usual.Noise.Rel, before
	in.PrevCleanPa = w.prevClean()
	found := w.mark(&w.cur, in)
	for i := range w.cur.seen {
		w.cur.seen[i].doubtful = false // still to be judged
	}
	return w.inDoubt(&w.cur, found)
}

// opensAbove reports whether the first reading of a life that can be judged by is
// above a resistance. It errs towards yes.
func (l *life) opensAbove(pa float64) bool {
	const worth = 0.2
	for _, s := range l.seen {
		if s.wet || s.suspect || !(s.fixed.Pa > 0) || s.fixed.Basis == resistance.NoAirflow {
			continue
		}
		if s.fixed.Pa > pa {
			return true
		}
		if s.fixed.Weight > worth {
			return false
		}
	}
	return false
}

// prevClean is the clean resistance of the life before the present one; 0 where
// it was not read.
func (w *work) prevClean() float64 {
	if n := len(w.out.Lives); n > 0 {
		return w.out.Lives[n-1].CleanPa
	}
	return 0
}

// doubt marks readings of the present life that do not fit and says so. Its
// change-out is in no doubt: that was settled before.
func (w *work) doubt() {
	in := w.doubtInput(w.cur)
	in.Sure = true
	in.LifeHours, in.Scatter = w.prior.AtLimit(w.out.LimitPa).MedianLife(), w.prior.Noise.Rel
	in.Siblings = w.in.Beside
	if s := w.out.LastSwap; s != nil && s.BeforePa != nil {
		in.BeforeSwapPa = *s.BeforePa
	}
	in.PrevCleanPa = w.prevClean()
	found := w.mark(&w.cur, in)
	w.out.Findings = append(w.out.Findings, found...)
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
func (w *work) mark(l *life, in doubt.Input) (out []Finding) {
	if w.out.NoGauge || len(l.seen) == 0 {
		return nil
	}
	doubtful, found, odd := doubt.Examine(in)
	for i, d := range doubtful {
		l.seen[i].doubtful = d
	}
	w.out.Odd = odd // of the present life, which comes last
	for _, f := range found {
		out = append(out, Finding{
			Code: string(f.Code), At: f.At, Seq: f.Seq, Text: f.Text, Check: f.Check,
			Open: f.Open, Blocks: f.Blocks, Evidence: f.Evidence,
		})
	}
	return out
}

// doubtInput is a life as package doubt sees it.
func (w *work) doubtInput(l life) doubt.Input {
	in := doubt.Input{
		CleanPa: w.out.CleanPa, LimitPa: w.out.LimitPa, Start: l.start,
		Gauge: w.bank.Gauge, Habit: w.site.Units, Loc: w.loc, In: locale.Of(w.site.Language),
	}
	if l.swap != nil {
		s, _ := l.swap.Body.(entry.Swap)
		in.Sure = s.Sure
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
