package forecast

import "math"

// The growth curve. With u = x/L, L being the life (the axis value at which
// the limit is reached):
//
//	Pa(x) = limit · (1 − Σ cₖ (1 − u^qₖ)),  q = ½, 1, 2, 4, 8
//
// Every curve passes through the limit at u = 1, so that L is a parameter and
// not a consequence of growth rates. The power 1 is cake filtration (resistance
// straight in dust), higher powers bend upward as depth filtration does and
// give slow starts, ½ gives the quick first rise of a fresh surface filter. The
// family is closed under a change of limit and of axis unit: only the c change.

// terms is the number of power terms.
const terms = 5

// powers returns u^½, u, u², u⁴, u⁸.
func powers(u float64) [terms]float64 {
	if u < 0 {
		u = 0
	}
	u2 := u * u
	u4 := u2 * u2
	return [terms]float64{math.Sqrt(u), u, u2, u4, u4 * u4}
}

// slopes returns the derivatives of powers at u > 0.
func slopes(u float64) [terms]float64 {
	u3 := u * u * u
	return [terms]float64{0.5 / math.Sqrt(u), 1, 2 * u, 4 * u3, 8 * u3 * u3 * u}
}

// shape holds the c of one curve: the share of the limit that each power
// contributes to the rise from clean to limit.
type shape [terms]float64

// at returns the resistance at u = x/L as a fraction of the limit.
func (c shape) at(u float64) float64 {
	pw := powers(u)
	y := 1.0
	for k, ck := range c {
		y -= ck * (1 - pw[k])
	}
	return y
}

// crossing returns the smallest u at which the curve reaches fraction y of its
// limit, searched up to u = 8, where it stops.
func (c shape) crossing(y float64) float64 {
	const most = 8.0
	lo, hi := 0.0, 1.0
	if y > 1 {
		lo, hi = 1, 1.25
		for c.at(hi) < y {
			if hi >= most {
				return most
			}
			lo, hi = hi, hi*1.25
		}
	}
	for range 60 {
		mid := (lo + hi) / 2
		if c.at(mid) < y {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// rebaseFactors returns what each c is multiplied by when the limit becomes
// ratio times the old one and is reached at u times the old life.
func rebaseFactors(u, ratio float64) [terms]float64 {
	f := powers(u)
	for k := range f {
		f[k] /= ratio
	}
	return f
}

// slope returns the derivative of the curve at u, limits per life.
func (c *shape) slope(u float64) float64 {
	pw := slopes(math.Max(u, 1e-3))
	sum := 0.0
	for k, ck := range c {
		sum += ck * pw[k]
	}
	return sum
}
