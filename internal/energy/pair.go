package energy

import "fmt"

// Pair is a primary bank and the secondary behind it, changed together whenever
// the secondary is: primaries K times for every secondary.
type Pair struct {
	Primary, Secondary Plan
	// Effect is how many times as fast the secondary loads when primaries are
	// changed every h hours: 1 for no effect, growing with neglect. Nil is none.
	Effect func(primaryHours float64) float64
	// Shared is the part of both change costs that is paid once when both are
	// changed together: the visit and isolating the unit.
	Shared float64
	// SecondaryCap is the run hours that the secondary may stay in whatever it loads;
	// 0 = no cap. A cap on the primary's age is part of its plan's limit.
	SecondaryCap float64
	MaxK         int // most primaries per secondary looked at; 0 = 12
}

// PairPolicy is one policy for a pair.
type PairPolicy struct {
	K              int     // primaries for each secondary
	PrimaryHours   float64 // run hours between changes of the primaries
	SecondaryHours float64 // K times as many
	Effect         float64 // on the secondary's loading
	PerHour        float64 // both banks, average cost of a run hour over clean filters
	PerYear        float64
}

// Neglect is the effect of a primary that holds its dust back up to afterHours
// and from then on lets the secondary load factor times as fast: the mean over
// the primary's life.
func Neglect(afterHours, factor float64) func(float64) float64 {
	return func(h float64) float64 {
		if h <= afterHours || h <= 0 {
			return 1
		}
		return (afterHours + factor*(h-afterHours)) / h
	}
}

// pairNodes is how many primary intervals are tried for each K.
const pairNodes = 96

// PairPolicies returns the best policy for each K up to MaxK, never beyond either
// bank's limit, from K = 1. With interest, the energy of the secondary is
// discounted by the hours of its own curve, a small simplification. It returns
// ErrInterval when the plans cannot be costed.
func PairPolicies(p Pair) ([]PairPolicy, error) {
	first, err := newTable(p.Primary)
	if err != nil {
		return nil, fmt.Errorf("primary: %w", err)
	}
	second, err := newTable(p.Secondary)
	if err != nil {
		return nil, fmt.Errorf("secondary: %w", err)
	}
	if p.Effect == nil {
		p.Effect = func(float64) float64 { return 1 }
	}
	if p.MaxK <= 0 {
		p.MaxK = 12
	}
	w := pairWeigher{p, first, second}
	var out []PairPolicy
	for k := 1; k <= p.MaxK; k++ {
		if best, ok := w.best(k); ok {
			out = append(out, best)
		}
	}
	return out, nil
}

// BestPair returns the cheapest of policies; false for none.
func BestPair(policies []PairPolicy) (PairPolicy, bool) {
	var best PairPolicy
	for i, p := range policies {
		if i == 0 || p.PerHour < best.PerHour {
			best = p
		}
	}
	return best, len(policies) > 0
}

// pairWeigher holds both tables of a pair.
type pairWeigher struct {
	Pair
	first, second *table
}

// best tries primary intervals for one K, then refines around the cheapest.
func (w pairWeigher) best(k int) (PairPolicy, bool) {
	most := w.longest(k)
	at, cost := 0, 0.0
	for i := 1; i <= pairNodes; i++ {
		h := most * float64(i) / pairNodes
		if c, ok := w.rate(k, h); ok && (at == 0 || c < cost) {
			at, cost = i, c
		}
	}
	if at == 0 {
		return PairPolicy{}, false
	}
	lo, hi := most*max(float64(at-1), 0.5)/pairNodes, most*min(float64(at+1), pairNodes)/pairNodes
	h := golden(func(h float64) float64 {
		if c, ok := w.rate(k, h); ok {
			return c
		}
		return endless
	}, lo, hi)
	if c, ok := w.rate(k, h); !ok || c > cost {
		h = most * float64(at) / pairNodes
	}
	c, _ := w.rate(k, h)
	return PairPolicy{
		K: k, PrimaryHours: h, SecondaryHours: float64(k) * h, Effect: w.Effect(h),
		PerHour: c, PerYear: c * w.first.hoursPerYear(),
	}, true
}

// longest is a primary interval that neither bank's table ends before, whatever
// the effect.
func (w pairWeigher) longest(k int) float64 {
	least := 1.0
	for i := range 9 {
		if f := w.Effect(w.first.last * float64(i) / 8); f > 0 {
			least = min(least, f)
		}
	}
	longest := min(w.first.last, w.second.last/float64(k)/least)
	if w.SecondaryCap > 0 {
		longest = min(longest, w.SecondaryCap/float64(k))
	}
	return longest
}

// rate is the cost of an hour of both banks; false beyond the secondary's limit or
// cap.
// A secondary that loads f times as fast for T hours sees the area of f·T hours
// of its own curve, f times as quickly.
func (w pairWeigher) rate(k int, h float64) (float64, bool) {
	f := w.Effect(h)
	seen := f * float64(k) * h
	if !(f > 0) || seen > w.second.last*(1+1e-12) || w.SecondaryCap > 0 && float64(k)*h > w.SecondaryCap*(1+1e-12) {
		return 0, false
	}
	seen = min(seen, w.second.last)
	secondary := (w.second.ChangeCost - w.Shared + w.second.PerPaHour*w.second.areaTo(seen)/f) / w.second.levelHours(float64(k)*h)
	return w.first.rate(h) + secondary, true
}
