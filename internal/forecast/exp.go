package forecast

import "math"

// exp is math.Exp within 1e-15 of its value, four times as fast, for the filter spends
// most of its time in it. From table and polynomial, as in P. T. P. Tang, ACM Trans.
// Math. Softw. 15 (1989) 144: e^x = 2^k · 2^(j/32) · e^r, |r| ≤ ln 2 / 64. Below −700
// it is 0.
func exp(x float64) float64 {
	const (
		perStep = 32 / math.Ln2
		stepHi  = 0x1.62e42fefp-6 // ln 2 / 32 in 33 bits, so that a multiple of it is exact
		stepLo  = math.Ln2/32 - stepHi
		round   = 3 << 51 // adding and taking it off rounds to a whole number
	)
	if !(x > -700 && x < 700) {
		if x < 0 {
			return 0
		}
		return math.Exp(x)
	}
	shifted := x*perStep + round
	n := shifted - round
	i := int64(math.Float64bits(shifted)<<12) >> 12 // n, in the low bits
	r := (x - n*stepHi) - n*stepLo
	p := r + r*r*(1.0/2+r*(1.0/6+r*(1.0/24+r*(1.0/120+r*(1.0/720)))))
	t := roots[i&31]
	return math.Float64frombits(uint64(int64(math.Float64bits(t+t*p)) + i>>5<<52))
}

// roots are 2^(j/32).
var roots = func() (out [32]float64) {
	for j := range out {
		out[j] = math.Exp2(float64(j) / 32)
	}
	return out
}()
