package energy

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"
)

// A Curve gives the resistance of a life at design airflow, Pa, at run hours
// since change-out.
type Curve func(hours float64) float64

// At is a resistance at run hours since change-out.
type At struct{ Hours, Pa float64 }

// Through is the curve of straight lines through points of growing hours; it is
// level before the first and after the last. Without points it is NaN.
func Through(points []At) Curve {
	return func(h float64) float64 {
		n := len(points)
		switch {
		case n == 0:
			return math.NaN()
		case h <= points[0].Hours:
			return points[0].Pa
		case h >= points[n-1].Hours:
			return points[n-1].Pa
		}
		i, _ := slices.BinarySearchFunc(points, h, func(p At, h float64) int {
			if p.Hours < h {
				return -1
			}
			return 1
		})
		a, b := points[i-1], points[i]
		return a.Pa + (b.Pa-a.Pa)*(h-a.Hours)/(b.Hours-a.Hours)
	}
}

// Onward is Through, but beyond the last point it goes on rising as it did towards
// it.
func Onward(points []At) Curve {
	c, n := Through(points), len(points)
	if n < 2 {
		return c
	}
	a, b := points[n-2], points[n-1]
	slope := max(0, (b.Pa-a.Pa)/(b.Hours-a.Hours))
	return func(h float64) float64 { return c(h) + slope*max(0, h-b.Hours) }
}

// Panels and nodes of the quadrature below: fixed, so that the same curve gives
// the same figure to the last digit.
const (
	panels = 12
	nodes  = 8
)

// excessPaHours integrates what a curve lies above floor between two run hours,
// in Pa·h, by composite Gauss–Legendre quadrature. Hours are taken as the square
// of the variable, so that a start like √h costs no accuracy.
func excessPaHours(c Curve, floor, from, to float64) float64 {
	if !(to > from) {
		return 0
	}
	var x, w [nodes]float64
	quad.Legendre{}.FixedLocations(x[:], w[:], 0, 1)
	sum := 0.0
	for p := range panels {
		for i := range nodes {
			t := (float64(p) + x[i]) / panels
			sum += w[i] * 2 * t * max(0, c(from+(to-from)*t*t)-floor)
		}
	}
	return sum / panels * (to - from)
}

// excessThrough is excessPaHours for straight lines through points, exact: the
// line is cut where it crosses floor.
func excessThrough(points []At, floor, from, to float64) float64 {
	if !(to > from) || len(points) == 0 {
		return 0
	}
	c := Through(points)
	sum := 0.0
	left := At{from, c(from)}
	for _, p := range points {
		if p.Hours <= from || p.Hours >= to {
			continue
		}
		sum += above(left, p, floor)
		left = p
	}
	return sum + above(left, At{to, c(to)}, floor)
}

// above is the area of a straight line over floor.
func above(a, b At, floor float64) float64 {
	ya, yb, dh := a.Pa-floor, b.Pa-floor, b.Hours-a.Hours
	switch {
	case ya <= 0 && yb <= 0:
		return 0
	case ya >= 0 && yb >= 0:
		return (ya + yb) / 2 * dh
	case ya > 0:
		return ya * ya / (ya - yb) / 2 * dh
	}
	return yb * yb / (yb - ya) / 2 * dh
}
