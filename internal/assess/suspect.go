package assess

import (
	"slices"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/resistance"
)

// What a fault put right makes suspect: the run of readings just before it, of so
// many days at most, that show far less than the first reading after it. The run
// begins where readings fell. Common practice, no source.
const (
	brokenShare = 0.75
	brokenFall  = 1.1
	brokenDays  = 45
	brokenGap   = 3 // reading intervals from the last of them to the mending
)

// suspects are the readings, by Seq, taken under a fault that was put right later
// ("tube was off, refitted, now 190 Pa").
func (w *work) suspects() map[int64]bool {
	var out map[int64]bool
	mark := func(x *entry.Entry) {
		if out == nil {
			out = map[int64]bool{}
		}
		out[x.Seq] = true
	}
	for i := range w.stand {
		d, ok := w.stand[i].Body.(entry.Defect)
		if !ok || !d.Fixed {
			continue
		}
		if d.From != nil {
			for k := range w.stand[:i] {
				if x := &w.stand[k]; w.reads(x) && !x.At.Before(*d.From) {
					mark(x)
				}
			}
			continue
		}
		w.runBefore(i, mark)
	}
	return out
}

// runBefore marks the run of low readings just before the fault put right at i.
func (w *work) runBefore(i int, mark func(*entry.Entry)) {
	fixed := w.stand[i].At
	for i > 0 && w.stand[i-1].At.Equal(fixed) { // said in one message, in any order
		i--
	}
	after := slices.IndexFunc(w.stand[i:], func(x entry.Entry) bool { return w.reads(&x) || w.swaps(&x) })
	if after < 0 || w.swaps(&w.stand[i+after]) {
		return
	}
	sound, next := w.readPa(&w.stand[i+after]), 0.0
	for k := i - 1; k >= 0; k-- {
		x := &w.stand[k]
		if w.swaps(x) || fixed.Sub(x.At) > brokenDays*24*time.Hour {
			return
		}
		if !w.reads(x) {
			continue
		}
		pa := w.readPa(x)
		if next == 0 && fixed.Sub(x.At) > time.Duration(brokenGap*readEvery(w.bank))*24*time.Hour {
			return // too old to have been read under it
		}
		if pa >= brokenShare*sound || next > 0 && pa > brokenFall*next {
			return
		}
		mark(x)
		next = pa
	}
}

func (w *work) reads(x *entry.Entry) bool { return x.Kind == entry.KindReading && x.Place == w.in.Bank }

func (w *work) swaps(x *entry.Entry) bool { return x.Kind == entry.KindSwap && x.Place == w.in.Bank }

// readPa is a reading corrected to design airflow.
func (w *work) readPa(x *entry.Entry) float64 {
	r, _ := x.Body.(entry.Reading)
	return w.fix.Correct(r.Pa, resistance.Stated{FlowM3s: r.FlowM3s, FanHz: r.FanHz, FanPct: r.FanPct}).Pa
}

// firstReadingFrom is the first reading at or after a time.
func (w *work) firstReadingFrom(t time.Time) (entry.Entry, bool) {
	for _, y := range w.stand {
		if y.Kind == entry.KindReading && y.Place == w.in.Bank && !y.At.Before(t) {
			return y, true
		}
	}
	return entry.Entry{}, false
}

// unsettled reports whether readings of the present life can still make earlier
// ones suspect: a fault put right is judged by the first reading after it.
func (w *work) unsettled() bool {
	return slices.ContainsFunc(w.stand, func(x entry.Entry) bool {
		d, ok := x.Body.(entry.Defect)
		if !ok || !d.Fixed || d.From != nil {
			return false
		}
		after, read := w.firstReadingFrom(x.At)
		return !read || !after.At.Before(w.cur.start)
	})
}
