package forecast

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

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

// farthest is how far beyond its limit a curve is looked at, in lives.
const farthest = 8.0

// crossing returns the smallest u at which the curve reaches fraction y of its
// limit. Beyond the limit the curve goes on along its tangent; u = 8 is the end.
func (c shape) crossing(y float64) float64 {
	if y > 1 {
		return math.Min(1+(y-1)/math.Max(c.slope(1), leastSlope), farthest)
	}
	lo, hi := 0.0, 1.0
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

// rebase returns the matrix that takes each c to that of the same curve seen from
// another limit, ratio times the old one and reached at u times the old life.
//
// A lower limit is exact: each c is multiplied by u^qₖ/ratio. A higher one is not,
// because the curve goes on along its tangent, where a power of eight would rise a
// thousandfold: there it is the least-squares fit of the family to curve and tangent.
func rebase(u, ratio float64) [terms][terms]float64 {
	var m [terms][terms]float64
	if u <= 1 {
		for k, f := range powers(u) {
			m[k][k] = f / ratio
		}
		return m
	}
	const places = 48
	const clean = 1e3 // weight of the clean set, which is kept
	family, seen := mat.NewDense(places+1, terms, nil), mat.NewDense(places+1, terms, nil)
	end := beyond(u)
	for i := range places + 1 {
		at := float64(i) / places
		here, pw := beyond(u*at), powers(at)
		weight := 1.0
		if i == 0 {
			weight = clean
		}
		for k := range terms {
			family.Set(i, k, weight*(1-pw[k]))
			seen.Set(i, k, weight*(end[k]-here[k])/ratio)
		}
	}
	var fit mat.Dense
	if err := fit.Solve(family, seen); err != nil {
		return rebase(1, ratio) // the family's columns are independent: never
	}
	for j := range terms {
		for k := range terms {
			m[j][k] = fit.At(j, k)
		}
	}
	return m
}

// beyond returns powers up to u = 1 and their tangents there from then on.
func beyond(u float64) [terms]float64 {
	if u <= 1 {
		return powers(u)
	}
	pw := slopes(1)
	for k := range pw {
		pw[k] = 1 + pw[k]*(u-1)
	}
	return pw
}

// through multiplies a matrix with a vector.
func through(m [terms][terms]float64, c shape) shape {
	var out shape
	for j := range m {
		for k := range c {
			out[j] += m[j][k] * c[k]
		}
	}
	return out
}

// leastU is where the slope of the power of a half is still looked at.
const leastU = 1e-3

// slope returns the derivative of the curve at u, limits per life.
func (c *shape) slope(u float64) float64 {
	pw := slopes(max(u, leastU))
	return pw[0]*c[0] + pw[1]*c[1] + pw[2]*c[2] + pw[3]*c[3] + pw[4]*c[4]
}
