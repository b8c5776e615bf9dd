package energy

// Sensitivity is what the least-cost interval becomes when one figure is wrong.
type Sensitivity struct {
	What      string // "tariff", "filter price", "dust"
	Change    string // "+20 %"
	Hours     float64
	PerYear   float64
	AtLimit   bool
	Regret    float64 // share by which the base interval costs more than the best one here
	Unchanged bool    // following the base advice costs no more than 2 % over the best
}

// Sensitivities weighs the plan again with tariff, filter price and dust 20 % up
// and down. More dust runs the curve, and the way to the limit, faster by as
// much. The advice is firm when all rows are Unchanged.
func Sensitivities(p Plan) ([]Sensitivity, error) {
	base, err := newTable(p)
	if err != nil {
		return nil, err
	}
	advice := base.least()
	var out []Sensitivity
	for _, s := range [...]struct {
		what  string
		apply func(Plan, float64) Plan
	}{
		{"tariff", func(p Plan, f float64) Plan { p.PerPaHour *= f; return p }},
		{"filter price", func(p Plan, f float64) Plan { p.ChangeCost += (f - 1) * p.FiltersCost; return p }},
		{"dust", faster},
	} {
		for _, c := range [...]struct {
			name   string
			factor float64
		}{{"+20 %", 1.2}, {"-20 %", 0.8}} {
			row, err := sensitivity(s.apply(p, c.factor), advice)
			if err != nil {
				return nil, err
			}
			row.What, row.Change = s.what, c.name
			out = append(out, row)
		}
	}
	return out, nil
}

// faster runs the curve and the limit of a plan factor times as fast.
func faster(p Plan, factor float64) Plan {
	curve := p.Curve
	p.Curve = func(h float64) float64 { return curve(h * factor) }
	p.LimitHours /= factor
	return p
}

func sensitivity(p Plan, advice Least) (Sensitivity, error) {
	t, err := newTable(p)
	if err != nil {
		return Sensitivity{}, err
	}
	best := t.least()
	kept := advice.Hours
	if advice.AtLimit || kept > t.last {
		kept = t.last // the advice is to change at the limit, wherever that comes
	}
	regret := t.rate(kept)/best.PerHour - 1
	return Sensitivity{
		Hours: best.Hours, PerYear: best.PerYear, AtLimit: best.AtLimit,
		Regret: regret, Unchanged: regret <= near,
	}, nil
}
