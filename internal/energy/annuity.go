package energy

import "math"

// CapitalRecovery is the yearly payment for one unit of money now over years at
// interest a year: A/P = i(1+i)ⁿ/((1+i)ⁿ−1).
func CapitalRecovery(interest, years float64) float64 {
	if interest == 0 {
		return 1 / years
	}
	return interest / -math.Expm1(-years*math.Log1p(interest))
}

// EUAC returns the equivalent uniform annual cost of keeping an asset for 1, 2, …
// years: first is what it costs, market[i] what it is worth and expense[i] what it
// has cost to run in year i+1, interest a year. It is as long as the shorter of
// the two.
func EUAC(first, interest float64, market, expense []float64) []float64 {
	n := min(len(market), len(expense))
	out := make([]float64, n)
	running := 0.0 // worth now of all expenses so far
	for i := range n {
		discount := math.Pow(1+interest, -float64(i+1))
		running += expense[i] * discount
		out[i] = (first + running - market[i]*discount) * CapitalRecovery(interest, float64(i+1))
	}
	return out
}
