package energy_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/optimize"

	"clogwise/internal/energy"
	"clogwise/internal/plant"
)

// plan is a change-out of 800 at 0.20 a kWh, 3 m³/s and an efficiency of 0.5.
func plan(c energy.Curve) energy.Plan {
	return energy.Plan{ChangeCost: 800, FiltersCost: 500, PerPaHour: duty(plant.FlowHeld).PerPaHour(), Curve: c}
}

func exponential(from, to, hours float64) energy.Curve {
	b := math.Log(to/from) / hours
	return func(h float64) float64 { return from * math.Exp(b*h) }
}

func TestLeastCost(t *testing.T) {
	t.Parallel()
	linear := plan(ramp(60, 145, 4380))
	l, err := energy.LeastCost(linear)
	if err != nil {
		t.Fatal(err)
	}
	// T* = √(2C/(c k r)), g* = c k p₀ + √(2 C c k r).
	within(t, "linear T*", l.Hours, 8288.901, 1e-5, computed)
	within(t, "linear resistance", l.Pa, 220.8577, 1e-5, computed)
	within(t, "linear cost of an hour", l.PerHour, 0.2650292, 1e-7, computed)
	within(t, "linear cost of a year", l.PerYear, 2321.656, 1e-6, computed)

	over := linear // counted over clean: the same interval, a lower rate
	over.CleanPa = 60
	o, err := energy.LeastCost(over)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "interval over clean", o.Hours, 8288.901, 1e-5, computed)
	within(t, "rate over clean", o.PerHour, 0.2650292-linear.PerPaHour*60, 1e-6, computed)

	e, err := energy.LeastCost(plan(exponential(60, 145, 4380)))
	if err != nil {
		t.Fatal(err)
	}
	within(t, "exponential T*", e.Hours, 6592.64, 1e-4, computed)
	within(t, "exponential resistance", e.Pa, 226.442, 1e-4, computed)
	within(t, "exponential cost of an hour", e.PerHour, 0.2717305, 1e-5, computed)

	linear.LimitHours = 4380
	limited, err := energy.LeastCost(linear)
	if err != nil {
		t.Fatal(err)
	}
	if limited.Hours != 4380 || !limited.AtLimit {
		t.Errorf("beyond the limit of 4380 h: %+v", limited)
	}
	within(t, "cost at a limit of 4380 h", limited.PerHour, 800.0/4380+linear.PerPaHour*102.5, 1e-9, computed)
	// The published check of the same plan counts 0.3056484 an hour at 4380 h.
	within(t, "the same, as stated elsewhere", limited.PerHour, 0.3056484, 1e-6, computed)
}

// Any increasing curve against gonum: quadrature for the cost, Nelder–Mead for
// its minimum.
func TestLeastCostAgainstGonum(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 6))
	for range 25 {
		from, rise, power := 40+60*rng.Float64(), 50+200*rng.Float64(), 0.4+2.6*rng.Float64()
		c := func(h float64) float64 { return from + rise*math.Pow(h/4000, power) }
		p := plan(c)
		p.ChangeCost = 100 + 2000*rng.Float64()
		p.CleanPa = from
		got, err := energy.LeastCost(p)
		if err != nil {
			t.Fatal(err)
		}
		rate := func(h float64) float64 { // the square as variable smooths the start
			area := quad.Fixed(func(x float64) float64 { return 2 * x * (c(x*x) - from) }, 0, math.Sqrt(h), 80, nil, 0)
			return (p.ChangeCost + p.PerPaHour*area) / h
		}
		res, err := optimize.Minimize(optimize.Problem{Func: func(x []float64) float64 { return rate(math.Exp(x[0])) }},
			[]float64{math.Log(3000)}, nil, &optimize.NelderMead{})
		if err != nil {
			t.Fatal(err)
		}
		if got.Open {
			continue
		}
		within(t, "interval", got.Hours, math.Exp(res.X[0]), 2e-3, "gonum quad and optimize")
		within(t, "cost", got.PerHour, res.F, 1e-4, "gonum quad and optimize")
	}
}

func TestLeastCostProperties(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(7, 8))
	least := func(p energy.Plan) energy.Least {
		t.Helper()
		l, err := energy.LeastCost(p)
		if err != nil {
			t.Fatal(err)
		}
		return l
	}
	for range 60 {
		p := plan(ramp(60, 100+300*rng.Float64(), 4380))
		p.CleanPa = 60
		p.ChangeCost = 50 + 3000*rng.Float64()
		base := least(p)
		dearPower := p
		dearPower.PerPaHour *= 1.5
		dearFilters := p
		dearFilters.ChangeCost *= 1.5
		if !(least(dearPower).Hours < base.Hours) {
			t.Fatal("dearer electricity must bring change-outs forward")
		}
		if !(least(dearFilters).Hours > base.Hours) {
			t.Fatal("dearer filters must put change-outs off")
		}
		within(t, "marginal cost equals the average", p.PerPaHour*(base.Pa-60), base.PerHour, 1e-5, "first-order condition")
		if !(base.Near[0] < base.Hours && base.Hours < base.Near[1]) {
			t.Fatalf("%g is not inside %v", base.Hours, base.Near)
		}
		for _, h := range base.Near {
			atEdge := (p.ChangeCost + p.PerPaHour*(p.Curve(h)-60)*h/2) / h
			within(t, "2 % above the least", atEdge, 1.02*base.PerHour, 1e-4, "definition")
		}
		last := math.Inf(1)
		for _, limit := range []float64{500, 1000, 2000, 5000, 20000} { // a later limit never costs more
			p.LimitHours = limit
			l := least(p)
			if l.Hours > limit || l.PerHour > last*(1+1e-9) {
				t.Fatalf("limit %g h: %+v after a cost of %g", limit, l, last)
			}
			last = l.PerHour
		}
	}
}

func TestLeastCostAtTheEdges(t *testing.T) {
	t.Parallel()
	free := plan(ramp(60, 145, 4380))
	free.PerPaHour = 0 // speed-held: only filters cost
	free.LimitHours = 6000
	if l, err := energy.LeastCost(free); err != nil || !l.AtLimit || l.Hours != 6000 {
		t.Errorf("without an energy cost: %+v, %v, want the limit", l, err)
	}
	free.LimitHours = 0
	if l, err := energy.LeastCost(free); err != nil || !l.Open || l.AtLimit {
		t.Errorf("without limit and energy cost: %+v, %v, want it left open", l, err)
	}
	sawtooth := plan(func(h float64) float64 { return 60 + 0.02*h - 30*math.Floor(h/3000) })
	sawtooth.LimitHours = 9000
	if l, err := energy.LeastCost(sawtooth); err != nil || !(l.Hours > 0 && l.Hours <= 9000) {
		t.Errorf("a curve that falls: %+v, %v", l, err)
	}
	steep := plan(func(h float64) float64 { return 60 * math.Exp(h) })
	if l, err := energy.LeastCost(steep); err != nil || !(l.Hours > 0 && l.Hours < 50) {
		t.Errorf("a curve beyond all numbers: %+v, %v", l, err)
	}
	for name, bad := range map[string]energy.Plan{
		"negative cost": {ChangeCost: -1, Curve: level(60)}, "no curve": {ChangeCost: 1},
		"cost not a number":  {ChangeCost: math.NaN(), Curve: level(60)},
		"curve not a number": {ChangeCost: 1, Curve: level(math.NaN())}, "negative limit": {ChangeCost: 1, Curve: level(60), LimitHours: -3},
	} {
		if l, err := energy.LeastCost(bad); !errors.Is(err, energy.ErrInterval) {
			t.Errorf("%s: %+v, %v, want ErrInterval", name, l, err)
		}
	}
}

func TestLeastCostDiscounted(t *testing.T) {
	t.Parallel()
	p := plan(ramp(60, 145, 4380))
	plain, err := energy.LeastCost(p)
	if err != nil {
		t.Fatal(err)
	}
	p.Interest = 1e-7
	if l, err := energy.LeastCost(p); err != nil || math.Abs(l.PerHour/plain.PerHour-1) > 1e-5 {
		t.Errorf("hardly any interest: %+v, %v, want %+v", l, err, plain)
	}
	p.Interest = 0.08
	l, err := energy.LeastCost(p)
	if err != nil {
		t.Fatal(err)
	}
	// The level rate whose worth is that of one life, by gonum and its minimum.
	d := math.Log(1.08) / 8760
	rate := func(h float64) float64 {
		worth := quad.Fixed(func(x float64) float64 { return p.PerPaHour * p.Curve(x) * math.Exp(-d*x) }, 0, h, 60, nil, 0)
		return (p.ChangeCost + worth) * d / (1 - math.Exp(-d*h))
	}
	res, err := optimize.Minimize(optimize.Problem{Func: func(x []float64) float64 { return rate(1000 * x[0]) }}, []float64{8}, nil, &optimize.NelderMead{})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "interval", l.Hours, 1000*res.X[0], 2e-3, "gonum quad and optimize")
	within(t, "cost", l.PerHour, res.F, 1e-5, "gonum quad and optimize")
	if !(l.Hours > plain.Hours) {
		t.Error("interest favours paying for filters later")
	}
}

func TestSensitivities(t *testing.T) {
	t.Parallel()
	p := plan(ramp(60, 145, 4380))
	p.CleanPa = 60
	rows, err := energy.Sensitivities(p)
	if err != nil {
		t.Fatal(err)
	}
	r := 85.0 / 4380
	optimum := func(cost, perPaHour, rise float64) float64 { return math.Sqrt(2 * cost / (perPaHour * rise)) }
	k := p.PerPaHour
	want := []energy.Sensitivity{ // T* = √(2C/(c k r)); filters are 500 of 800
		{What: "tariff", Change: "+20 %", Hours: optimum(800, 1.2*k, r)},
		{What: "tariff", Change: "-20 %", Hours: optimum(800, 0.8*k, r)},
		{What: "filter price", Change: "+20 %", Hours: optimum(900, k, r)},
		{What: "filter price", Change: "-20 %", Hours: optimum(700, k, r)},
		{What: "dust", Change: "+20 %", Hours: optimum(800, k, 1.2*r)},
		{What: "dust", Change: "-20 %", Hours: optimum(800, k, 0.8*r)},
	}
	if len(rows) != len(want) {
		t.Fatalf("%d rows, want %d", len(rows), len(want))
	}
	base := optimum(800, k, r)
	for i, w := range want {
		got := rows[i]
		if got.What != w.What || got.Change != w.Change {
			t.Errorf("row %d is %s %s, want %s %s", i, got.What, got.Change, w.What, w.Change)
		}
		within(t, w.What+" "+w.Change, got.Hours, w.Hours, 1e-4, computed)
		// For a straight line the cost of another interval is (T/T* + T*/T)/2 of the least.
		x := base / w.Hours
		within(t, "regret", 1+got.Regret, (x+1/x)/2, 1e-5, computed)
		if got.Unchanged != (got.Regret <= 0.02) {
			t.Errorf("%s %s: regret %g, unchanged %v", w.What, w.Change, got.Regret, got.Unchanged)
		}
	}
	p.LimitHours = 3000 // the limit rules by far: the advice is to change at the limit
	rows, err = energy.Sensitivities(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows {
		if !row.AtLimit || !row.Unchanged || row.Regret > 1e-12 {
			t.Errorf("at the limit: %+v", row)
		}
	}
	within(t, "more dust reaches the limit sooner", rows[4].Hours, 2500, 1e-9, "3000 h / 1.2")
}

func TestCapitalRecovery(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ interest, years, want float64 }{
		{0.10, 3, 0.402115}, {0.05, 10, 1 / 7.721735}, {0.08, 5, 1 / 3.992710}, {0, 4, 0.25},
	} {
		within(t, "A/P", energy.CapitalRecovery(c.interest, c.years), c.want, 1e-6, "A/P = i(1+i)ⁿ/((1+i)ⁿ−1), computed")
	}
}

func TestEUAC(t *testing.T) {
	t.Parallel()
	check := func(name string, got, want []float64, abs float64, source string) {
		t.Helper()
		if len(got) != len(want) {
			t.Fatalf("%s: %v, want %v", name, got, want)
		}
		for i := range want {
			if math.Abs(got[i]-want[i]) > abs {
				t.Errorf("%s, %d years: %.2f, want %.2f (%s)", name, i+1, got[i], want[i], source)
			}
		}
	}
	check("30 000", energy.EUAC(30000, 0.10, []float64{22500, 16875, 12750, 9750, 7125}, []float64{3000, 4500, 7000, 10000, 13000}),
		[]float64{13500, 12964, 12918, 13211, 13766}, 1, "Sullivan et al., Engineering Economy, example 9-4")
	check("20 000", energy.EUAC(20000, 0.10, []float64{17000, 14450, 12282.5}, []float64{700, 1400, 2100}),
		[]float64{5700, 5676.19, 5687.16}, 0.01, "published exercise, expenses 700 in the first year and 700 more each")
}

func BenchmarkLeastCost(b *testing.B) {
	p := plan(exponential(60, 145, 4380))
	p.LimitHours = 7000
	for b.Loop() {
		if _, err := energy.LeastCost(p); err != nil {
			b.Fatal(err)
		}
	}
}

// A resistance that stays low for long and then rises steeply makes the advice depend
// on the dust: y = a hⁿ has T* = (C (n+1)/(c k a n))^(1/(n+1)), and keeping to an
// interval of x T* costs (1/x + xⁿ/n)/(1 + 1/n) times the least.
func TestSensitivityThatIsNotFirm(t *testing.T) {
	t.Parallel()
	const n, a = 8.0, 100.0 // Pa over clean after 4000 h
	p := plan(func(h float64) float64 { return 60 + a*math.Pow(h/4000, n) })
	p.CleanPa = 60
	rows, err := energy.Sensitivities(p)
	if err != nil {
		t.Fatal(err)
	}
	costs := func(x float64) float64 { return (1/x + math.Pow(x, n)/n) / (1 + 1/n) }
	optimum := math.Pow(p.ChangeCost*(n+1)/(p.PerPaHour*a*n*math.Pow(4000, -n)), 1/(n+1))
	for i, c := range []struct {
		x    float64 // the advice as a share of the best interval then
		firm bool
	}{
		{math.Pow(1.2, 1/(n+1)), true}, {math.Pow(0.8, 1/(n+1)), true}, // tariff
		{math.Pow(800.0/900, 1/(n+1)), true}, {math.Pow(800.0/700, 1/(n+1)), true}, // filters are 500 of 800
		{math.Pow(1.2, n/(n+1)), false}, {math.Pow(0.8, n/(n+1)), false}, // dust
	} {
		within(t, rows[i].What+" "+rows[i].Change, rows[i].Hours, optimum/c.x, 2e-3, computed)
		within(t, "cost of keeping to the advice", 1+rows[i].Regret, costs(c.x), 1e-3, computed)
		if rows[i].Unchanged != c.firm {
			t.Errorf("%s %s: keeping to the advice costs %.1f %% more, firm %v", rows[i].What, rows[i].Change, 100*rows[i].Regret, rows[i].Unchanged)
		}
	}
}

// A cap on age comes when it comes: less dust does not put it off, more dust does
// not bring it forward.
func TestSensitivitiesKeepTheCap(t *testing.T) {
	t.Parallel()
	p := plan(ramp(60, 145, 4380))
	p.CleanPa, p.LimitHours, p.CapHours = 60, 3300, 3000
	rows, err := energy.Sensitivities(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows {
		want := 3000.0
		if row.What == "dust" && row.Change == "+20 %" {
			want = 3300 / 1.2
		}
		if !row.AtLimit || !row.Unchanged {
			t.Errorf("at the cap: %+v", row)
		}
		within(t, row.What+" "+row.Change, row.Hours, want, 1e-9, "the cap, or the limit where that comes first")
	}
	for _, limit := range []float64{0, math.Inf(1), 20000} {
		p.LimitHours = limit
		if l, err := energy.LeastCost(p); err != nil || l.Hours != 3000 || !l.AtLimit {
			t.Errorf("limit %g h, cap 3000 h: %+v, %v", limit, l, err)
		}
	}
}
