package resistance

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"clogwise/internal/plant"
)

// LawBasis says where a law of resistance against airflow comes from.
type LawBasis string

// Bases, in the order they are preferred.
const (
	LawItem    LawBasis = "item"          // the item's resistance points
	LawLife    LawBasis = "life"          // readings at several airflows in the same life
	LawDefault LawBasis = "class default" // a setting
)

// A Law gives resistance against airflow, either in two terms
//
//	Δp = A q + B q²
//
// (friction in the media and inertia in the element) or as a power
//
//	Δp = C q^N.
//
// A power law with C = 0 knows the shape alone: Ratio and Exponent work, Pa
// does not.
type Law struct {
	A, B   float64 // Pa/(m³/s), Pa/(m³/s)²; both zero: the power form rules
	C, N   float64 // Pa/(m³/s)^N and the exponent
	Basis  LawBasis
	Source string // in words: "two-term fit through 4 points of BAG-592"
}

// DefaultExponent is the class default: 1/0.85, as in the filter model of the
// open Modelica Buildings library after Li et al., Sep. Purif. Technol. 284
// (2022) 120209. A Belgian public specification (CCT 105:2023, C16 §5) takes 1;
// since the sources disagree the figure is a setting of the site, see SiteLaw.
const DefaultExponent = 1 / 0.85

// Exponents beyond these are not those of a filter: laminar media give 1, pure
// inertia 2, and measured points scatter a little.
const (
	leastExponent = 0.9
	mostExponent  = 2.1
)

// ErrLaw is returned when points do not make a law.
var ErrLaw = errors.New("no law of resistance against airflow")

// ClassDefault is the law of a setting: exponent n and the source of it.
func ClassDefault(n float64, source string) Law {
	return Law{N: n, Basis: LawDefault, Source: source}
}

// DefaultLaw is the class default where no setting says otherwise.
func DefaultLaw() Law {
	return ClassDefault(DefaultExponent, "n = 1/0.85, Li et al., Sep. Purif. Technol. 284 (2022) 120209")
}

// SiteLaw is the class default of a site: the exponent it has set, else DefaultLaw.
func SiteLaw(s plant.Site) Law {
	if s.FlowExponent > 0 {
		return ClassDefault(s.FlowExponent, fmt.Sprintf("n = %g, set for the site", s.FlowExponent))
	}
	return DefaultLaw()
}

// LawFrom fits a law through resistance points: in two terms where both come
// out positive, else as a power. Two points are met exactly, more by least
// squares of the relative error. It returns ErrLaw for fewer than two airflows
// or an exponent that no filter has.
//
// The points of an item are those of one filter: see Law.Parallel and BankLaw.
func LawFrom(points []plant.FlowPoint) (Law, error) {
	if err := checkPoints(points); err != nil {
		return Law{}, err
	}
	if l, err := TwoTerm(points); err == nil {
		return l, nil
	}
	return Power(points)
}

// TwoTerm fits Δp = A q + B q². It returns ErrLaw when a term comes out negative.
func TwoTerm(points []plant.FlowPoint) (Law, error) {
	if err := checkPoints(points); err != nil {
		return Law{}, err
	}
	rows := mat.NewDense(len(points), 2, nil)
	ones := mat.NewVecDense(len(points), nil)
	for i, p := range points {
		rows.SetRow(i, []float64{p.FlowM3s / p.Pa, p.FlowM3s * p.FlowM3s / p.Pa})
		ones.SetVec(i, 1)
	}
	c, err := leastSquares(rows, ones)
	if err != nil {
		return Law{}, err
	}
	a, b := settle(c[0], c[1], points[0])
	if a < 0 || b < 0 {
		return Law{}, fmt.Errorf("%w: two-term fit gives %.4g q + %.4g q²", ErrLaw, a, b)
	}
	return Law{A: a, B: b, Basis: LawItem, Source: fmt.Sprintf("two-term fit through %d points", len(points))}, nil
}

// settle clears a term that is negative by rounding alone.
func settle(a, b float64, p plant.FlowPoint) (float64, float64) {
	const rounding = 1e-9
	if a < 0 && -a*p.FlowM3s < rounding*p.Pa {
		a = 0
	}
	if b < 0 && -b*p.FlowM3s*p.FlowM3s < rounding*p.Pa {
		b = 0
	}
	return a, b
}

// Power fits Δp = C q^N. It returns ErrLaw for an exponent outside 0.9 to 2.1.
func Power(points []plant.FlowPoint) (Law, error) {
	if err := checkPoints(points); err != nil {
		return Law{}, err
	}
	rows := mat.NewDense(len(points), 2, nil)
	logs := mat.NewVecDense(len(points), nil)
	for i, p := range points {
		rows.SetRow(i, []float64{1, math.Log(p.FlowM3s)})
		logs.SetVec(i, math.Log(p.Pa))
	}
	c, err := leastSquares(rows, logs)
	if err != nil {
		return Law{}, err
	}
	if n := c[1]; n < leastExponent || n > mostExponent {
		return Law{}, fmt.Errorf("%w: the points give an exponent of %.2f, filters have 1 to 2; check the points", ErrLaw, n)
	}
	return Law{C: math.Exp(c[0]), N: c[1], Basis: LawItem, Source: fmt.Sprintf("power fit through %d points", len(points))}, nil
}

func checkPoints(points []plant.FlowPoint) error {
	flows := map[float64]bool{}
	for _, p := range points {
		if !positive(p.FlowM3s) || !positive(p.Pa) {
			return fmt.Errorf("%w: a point of %g Pa at %g m³/s", ErrLaw, p.Pa, p.FlowM3s)
		}
		flows[p.FlowM3s] = true
	}
	if len(flows) < 2 {
		return fmt.Errorf("%w: points at two airflows are needed, there are %d", ErrLaw, len(flows))
	}
	return nil
}

func positive(x float64) bool { return x > 0 && !math.IsInf(x, 1) }

// leastSquares solves rows · c ≈ y by orthogonal factorisation.
func leastSquares(rows *mat.Dense, y *mat.VecDense) ([]float64, error) {
	var qr mat.QR
	qr.Factorize(rows)
	var c mat.VecDense
	if err := qr.SolveVecTo(&c, false, y); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrLaw, err)
	}
	return c.RawVector().Data, nil
}

func (l Law) twoTerm() bool { return l.A != 0 || l.B != 0 }

// Pa returns the resistance at airflow q m³/s; NaN for a law that knows the
// shape alone.
func (l Law) Pa(q float64) float64 {
	switch {
	case l.twoTerm():
		return q * (l.A + l.B*q)
	case l.C > 0:
		return l.C * math.Pow(q, l.N)
	}
	return math.NaN()
}

// Exponent returns the local exponent d ln Δp / d ln q at airflow q m³/s.
func (l Law) Exponent(q float64) float64 {
	if !l.twoTerm() {
		return l.N
	}
	if l.A == 0 {
		return 2
	}
	return (l.A + 2*l.B*q) / (l.A + l.B*q)
}

// Ratio returns Δp(to)/Δp(from).
func (l Law) Ratio(from, to float64) float64 {
	if l.twoTerm() {
		return to / from * (l.A + l.B*to) / (l.A + l.B*from)
	}
	return math.Pow(to/from, l.N)
}

// Through returns the law of the same shape that passes through a point.
func (l Law) Through(p plant.FlowPoint) Law {
	if l.twoTerm() {
		f := p.Pa / l.Pa(p.FlowM3s)
		l.A *= f
		l.B *= f
		return l
	}
	l.C = p.Pa / math.Pow(p.FlowM3s, l.N)
	return l
}

// Parallel returns the law of n such filters side by side, as a function of the
// airflow through all of them.
func (l Law) Parallel(n float64) Law {
	l.A /= n
	l.B /= n * n
	l.C /= math.Pow(n, l.N)
	return l
}

// Flow returns the airflow at which the law gives pa.
func (l Law) Flow(pa float64) float64 {
	switch {
	case l.twoTerm() && l.B == 0:
		return pa / l.A
	case l.twoTerm():
		// The form without cancellation when A dominates.
		return 2 * pa / (l.A + math.Sqrt(l.A*l.A+4*l.B*pa))
	case l.C > 0:
		return math.Pow(pa/l.C, 1/l.N)
	}
	return math.NaN()
}
