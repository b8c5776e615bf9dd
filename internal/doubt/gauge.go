package doubt

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// stillAir takes a reading with the fan standing still for a zero check.
func (w *walk) stillAir(i int) {
	r := &w.rs[i]
	w.in.Zeros = append(slices.Clip(w.in.Zeros), ZeroCheck{At: r.At, Seq: r.Seq, OffsetPa: r.RawPa})
}

// zeroChecks finds a zero that is off and not yet put right.
func (w *walk) zeroChecks() {
	zeros := slices.Clone(w.in.Zeros)
	for _, t := range w.in.Fixed {
		zeros = append(zeros, ZeroCheck{At: t})
	}
	slices.SortFunc(zeros, func(a, b ZeroCheck) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Seq, b.Seq), cmp.Compare(a.OffsetPa, b.OffsetPa))
	})
	var f *Finding
	for _, z := range zeros {
		switch bad := math.Abs(z.OffsetPa) > w.zeroBound(); {
		case !bad && f != nil:
			f.Open = false
			f = nil
		case bad:
			if f == nil {
				f = &Finding{Code: ZeroOff, Index: w.indexAt(z.At), At: z.At, Seq: z.Seq, Open: true}
				w.out = append(w.out, f)
			}
			w.tellZero(f, z)
		}
	}
}

// zeroBound is how far off a zero may be, Pa: what the gauge promises, or one of
// its steps. Dials promise 2 % of full scale; common practice, no source.
func (w *walk) zeroBound() float64 {
	g := w.in.Gauge
	return max(cmp.Or(g.AccuracyPc, 2)/100*g.TopPa, g.StepPa, 2)
}

// indexAt is the reading at a time, or -1.
func (w *walk) indexAt(t time.Time) int {
	return slices.IndexFunc(w.rs, func(r Reading) bool { return r.At.Equal(t) })
}
