package doubt

import (
	"cmp"
	"slices"
	"time"
)

// middle is the median of the four values nearest to t; 0 of none.
func middle(vs []Value, t time.Time) float64 {
	slices.SortFunc(vs, func(a, b Value) int {
		return cmp.Or(cmp.Compare(a.At.Sub(t).Abs(), b.At.Sub(t).Abs()), cmp.Compare(a.Pa, b.Pa))
	})
	vs = vs[:min(len(vs), 4)]
	slices.SortFunc(vs, func(a, b Value) int { return cmp.Compare(a.Pa, b.Pa) })
	switch n := len(vs); {
	case n == 0:
		return 0
	case n%2 == 1:
		return vs[n/2].Pa
	default:
		return (vs[n/2-1].Pa + vs[n/2].Pa) / 2
	}
}
