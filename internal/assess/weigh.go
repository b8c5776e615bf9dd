package assess

import (
	"fmt"

	"clogwise/internal/energy"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
)

// fitted works an assessment up to its forecast.
func fitted(in Input) (*work, bool) {
	in.Carried = nil
	w, ok := settle(in)
	if !ok {
		return nil, false
	}
	w.fit()
	return w, w.hasPost
}

// Compare weighs other items against the fitted one on the bank's own dust
// history and airflow. The first option is the fitted item. Entries must be
// those of the bank's whole history.
func Compare(in Input, codes []string) ([]energy.Option, error) {
	w, ok := fitted(in)
	if !ok {
		return nil, fmt.Errorf("%s has no forecast yet: record a reading first", in.Register.Name(in.Bank))
	}
	price, err := energy.UsualPrice(w.site.Tariff, w.site.Currency, in.Register.ScheduleOf(in.Bank))
	if err != nil {
		return nil, err
	}
	var others []plant.Item
	for _, c := range codes {
		it, known := in.Register.Item(c)
		if !known {
			return nil, fmt.Errorf("no item %q in the register", c)
		}
		if c != w.item.Code {
			others = append(others, it)
		}
	}
	b := energy.Bench{
		Site: w.site, AHU: w.ahu, Bank: w.bank, Find: in.Register.Item, Law: resistance.SiteLaw(w.site),
		Duty: energy.DutyOf(w.ahu, w.bank, w.site, w.law, price), CleanPa: w.out.CleanPa,
		HoursPerYear: w.run.PerWeek() * 365.25 / 7, Interest: w.site.Interest, SharedBy: 1,
	}
	if !w.out.NoGauge {
		b.Curve = energy.Onward(w.expected())
	}
	if !w.capAt.IsZero() {
		b.CapHours = w.hours(w.cur.start, w.capAt)
	}
	return energy.Compare(b, w.item, others...)
}

// Firmness says how the least-cost date moves when tariff, filter price or dust
// are a fifth higher or lower; empty where there is nothing to weigh.
func Firmness(in Input) ([]energy.Sensitivity, error) {
	plan, _, ok, err := costed(in)
	if err != nil || !ok {
		return nil, err
	}
	return energy.Sensitivities(plan)
}

// costed is what a bank's change-out interval is weighed on, and what one
// change-out costs; ok is false where there is nothing to weigh.
func costed(in Input) (plan energy.Plan, change energy.Change, ok bool, err error) {
	w, ok := fitted(in)
	if !ok {
		return plan, change, false, nil
	}
	return w.costed()
}

func (w *work) costed() (plan energy.Plan, change energy.Change, ok bool, err error) {
	price, err := energy.UsualPrice(w.site.Tariff, w.site.Currency, w.in.Register.ScheduleOf(w.in.Bank))
	if err != nil {
		return plan, change, false, err
	}
	if change, err = energy.ChangeOf(w.site, w.bank, w.in.Register.Item, 1); err != nil {
		return plan, change, false, err
	}
	plan, ok = w.plan(energy.DutyOf(w.ahu, w.bank, w.site, w.law, price), w.expected(), change)
	return plan, change, ok, nil
}

// Pairs weighs how many primaries to use up for each set of the secondary behind
// them: the cheapest interval of each number, from one on, neither bank beyond its
// limit. Both are changed on one visit when the secondary is. How the secondary
// loads behind an ageing primary is read from its readings. Entries must be those of
// each bank's whole history. Empty where either cannot be costed, as behind a fan of
// fixed speed.
func Pairs(primary, secondary Input) ([]energy.PairPolicy, error) {
	front, ok := fitted(primary)
	if !ok {
		return nil, nil
	}
	first, visit, ok, err := front.costed()
	if err != nil || !ok {
		return nil, err
	}
	back, ok := fitted(secondary)
	if !ok {
		return nil, nil
	}
	second, _, ok, err := back.costed()
	if err != nil || !ok {
		return nil, err
	}
	p := energy.Pair{Primary: first, Secondary: second, Effect: effectOf(front, back), Shared: visit.Shared.Amount.InexactFloat64()}
	p.SecondaryCap, p.Secondary.CapHours = second.CapHours, 0 // a cap is not stretched by what it loads
	return energy.PairPolicies(p)
}
