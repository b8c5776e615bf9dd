package energy

import (
	"errors"
	"fmt"
	"math"
)

// ErrInterval is returned for a change-out plan that cannot be costed.
var ErrInterval = errors.New("least-cost interval")

// Plan is what the interval between change-outs of one bank is weighed on. Money
// is in the site's currency, hours are run hours.
type Plan struct {
	ChangeCost   float64 // one change-out: filters, labour, disposal, its part of a visit
	FiltersCost  float64 // the filters' part of it
	PerPaHour    float64 // energy cost of 1 Pa at design airflow over one hour
	Curve        Curve   // expected resistance of a life
	CleanPa      float64
	LimitHours   float64 // run hours at which resistance ends the life, sooner with more dust; 0 = no limit
	CapHours     float64 // run hours at which age ends it whatever the dust; 0 = no cap
	HoursPerYear float64 // run hours; 0 = 8760
	Interest     float64 // a year, 0.05 = 5 %; 0 = no discounting
}

// PerPaHour is the money that 1 Pa at design airflow costs in one run hour; 0
// where no energy may be claimed.
func (d Duty) PerPaHour() float64 {
	if c := d.Claim(); c == NotEnergy || c == Unavailable {
		return 0
	}
	return d.WPerPa() / 1000 * d.Price.PerKWh.InexactFloat64()
}

// Least is the interval that costs least.
type Least struct {
	Hours   float64    // run hours from change-out to change-out
	Pa      float64    // resistance at its end
	PerHour float64    // average cost of a run hour, over clean filters
	PerYear float64    // of a year
	AtLimit bool       // the limit or the cap comes before the optimum: change there
	Open    bool       // no limit and no optimum within ten years: Hours is that horizon
	Near    [2]float64 // run hours between which the cost stays within 2 % of least
}

// horizonYears bounds the search where no limit does.
const horizonYears = 10

// near is how far above the least cost Least.Near and Sensitivity go.
const near = 0.02

// LeastCost returns the interval T that minimises the average cost of a life,
//
//	g(T) = [C + c k ∫₀ᵀ (Δp − Δp_clean) dt] / T,
//
// never beyond the limit or the cap. Its optimum is where c k (Δp − Δp_clean) equals g:
// another hour would cost more than the average. With interest the cost of a
// life is discounted to its start and spread over it as a level rate (capital
// recovery). A resistance that falls for a while counts as level. It returns
// ErrInterval for costs, hours or curves that are negative or not finite.
func LeastCost(p Plan) (Least, error) {
	t, err := newTable(p)
	if err != nil {
		return Least{}, err
	}
	return t.least(), nil
}

// newTable lays the curve out up to the limit, or without one as far as the
// optimum needs.
func newTable(p Plan) (*table, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	end := p.end()
	for {
		t, err := layOut(p, end)
		if err != nil || p.limited() {
			return t, err
		}
		h := t.least().Hours
		if h > end/8 {
			return t, nil
		}
		end = 4 * h
	}
}

func (p Plan) hoursPerYear() float64 {
	if p.HoursPerYear > 0 {
		return p.HoursPerYear
	}
	return 8760
}

func (p Plan) limited() bool { return positive(p.LimitHours) || positive(p.CapHours) }

// end is the limit or the cap, whichever comes first.
func (p Plan) end() float64 {
	switch {
	case positive(p.LimitHours) && positive(p.CapHours):
		return min(p.LimitHours, p.CapHours)
	case positive(p.LimitHours):
		return p.LimitHours
	case positive(p.CapHours):
		return p.CapHours
	}
	return horizonYears * p.hoursPerYear()
}

func (p Plan) check() error {
	for _, f := range []struct {
		what string
		x    float64
	}{
		{"cost of a change-out", p.ChangeCost}, {"cost of filters", p.FiltersCost}, {"energy cost", p.PerPaHour},
		{"clean resistance", p.CleanPa}, {"limit in hours", p.LimitHours}, {"cap in hours", p.CapHours}, {"interest", p.Interest},
	} {
		if !(f.x >= 0) || math.IsInf(f.x, 1) && f.what != "limit in hours" && f.what != "cap in hours" {
			return fmt.Errorf("%w: %s is %g", ErrInterval, f.what, f.x)
		}
	}
	if p.Curve == nil {
		return fmt.Errorf("%w: no resistance curve", ErrInterval)
	}
	return nil
}

// table holds a plan's curve as straight lines between hours, with its integral
// up to each: fine enough that intervals are right to a few parts in ten
// thousand and costs to a few in a hundred thousand, and cheap to weigh again
// under other prices. The hours are spaced as squares, closest at the start,
// where a fresh filter may rise like √h.
type table struct {
	Plan
	last   float64            // hours at the end of the table
	excess [cells + 1]float64 // Pa over clean at node(i), never falling
	area   [cells + 1]float64 // Pa·h up to node(i), discounted to the start
}

const cells = 512

// endless stands for a resistance that grows beyond all numbers, Pa.
const endless = 1e9

// node is the hours of one place in the table.
func (t *table) node(i int) float64 {
	u := float64(i) / cells
	return t.last * u * u
}

// cell finds the cell that holds h, its first hour and its width.
func (t *table) cell(h float64) (i int, from, width float64) {
	i = min(int(cells*math.Sqrt(h/t.last)), cells-1)
	from = t.node(i)
	return i, from, t.node(i+1) - from
}

func layOut(p Plan, end float64) (*table, error) {
	t := &table{Plan: p, last: end}
	for i := range t.excess {
		y := p.Curve(t.node(i)) - p.CleanPa
		if math.IsNaN(y) {
			return nil, fmt.Errorf("%w: the curve has no resistance at %.0f h", ErrInterval, t.node(i))
		}
		t.excess[i] = min(max(0, y), endless)
		if i > 0 {
			t.excess[i] = max(t.excess[i], t.excess[i-1])
		}
	}
	t.integrate()
	return t, nil
}

// integrate adds up the area under the excess.
func (t *table) integrate() {
	discount := t.discount()
	for i := 1; i <= cells; i++ {
		from, to := t.node(i-1), t.node(i)
		a := (t.excess[i] + t.excess[i-1]) / 2 * (to - from)
		if discount > 0 {
			a *= math.Exp(-discount * (from + to) / 2)
		}
		t.area[i] = t.area[i-1] + a
	}
}

// discount is the continuous rate an hour.
func (t *table) discount() float64 { return math.Log1p(t.Interest) / t.hoursPerYear() }

// levelHours is the length of a life of h hours when each hour counts discounted
// to the start.
func (t *table) levelHours(h float64) float64 {
	d := t.discount() * h
	if d < 1e-9 {
		return h
	}
	return h * -math.Expm1(-d) / d
}

// rate is the average cost of an hour over a life of h hours.
func (t *table) rate(h float64) float64 {
	return (t.ChangeCost + t.PerPaHour*t.areaTo(h)) / t.levelHours(h)
}

// nodeRate is rate at a place in the table.
func (t *table) nodeRate(i int) float64 {
	return (t.ChangeCost + t.PerPaHour*t.area[i]) / t.levelHours(t.node(i))
}

// areaTo is the area up to h hours: inside a cell that of its straight line.
func (t *table) areaTo(h float64) float64 {
	i, from, width := t.cell(h)
	x := (h - from) / width
	a, b := t.excess[i], t.excess[i+1]
	if a+b == 0 {
		return t.area[i]
	}
	return t.area[i] + (t.area[i+1]-t.area[i])*x*(2*a+(b-a)*x)/(a+b)
}

func (t *table) paAt(h float64) float64 {
	i, from, width := t.cell(h)
	return t.CleanPa + t.excess[i] + (h-from)/width*(t.excess[i+1]-t.excess[i])
}

// least finds the smallest rate among the nodes, then inside the cells beside it.
func (t *table) least() Least {
	best := 1
	for i := 2; i <= cells; i++ {
		if t.nodeRate(i) < t.nodeRate(best) {
			best = i
		}
	}
	hi := t.node(min(best+1, cells))
	h := golden(t.rate, max(t.node(best-1), t.shortest()), hi)
	if t.rate(hi) <= t.rate(h) {
		h = hi
	}
	atEnd := h >= t.last*(1-1e-9)
	return Least{
		Hours: h, Pa: t.paAt(h), PerHour: t.rate(h), PerYear: t.rate(h) * t.hoursPerYear(),
		AtLimit: atEnd && t.limited(), Open: atEnd && !t.limited(), Near: t.nearby(h),
	}
}

// shortest is the shortest interval looked at.
func (t *table) shortest() float64 { return t.node(1) / 2 }

// nearby is the stretch around h whose cost is within 2 % of the least.
func (t *table) nearby(h float64) [2]float64 {
	most := t.rate(h) * (1 + near)
	dear := func(x float64) bool { return t.rate(x) > most }
	out := [2]float64{t.shortest(), t.last}
	if dear(out[0]) {
		out[0] = edge(dear, out[0], h)
	}
	if dear(out[1]) {
		out[1] = edge(dear, out[1], h)
	}
	return out
}

// edge finds where a property that holds at outside and not at inside ends.
func edge(holds func(float64) bool, outside, inside float64) float64 {
	for range 50 {
		mid := (outside + inside) / 2
		if holds(mid) {
			outside = mid
		} else {
			inside = mid
		}
	}
	return inside
}

// golden minimises a function with one minimum between lo and hi by golden
// section.
func golden(f func(float64) float64, lo, hi float64) float64 {
	r := (math.Sqrt(5) - 1) / 2
	a, b := hi-r*(hi-lo), lo+r*(hi-lo)
	fa, fb := f(a), f(b)
	for range 64 {
		if fa <= fb {
			hi, b, fb = b, a, fa
			a = hi - r*(hi-lo)
			fa = f(a)
		} else {
			lo, a, fa = a, b, fb
			b = lo + r*(hi-lo)
			fb = f(b)
		}
	}
	return (lo + hi) / 2
}
