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
		Site: w.site, AHU: w.ahu, Bank: w.bank, Find: in.Register.Item, Law: resistance.DefaultLaw(),
		Duty: energy.DutyOf(w.ahu, w.bank, w.site, w.law, price), Curve: energy.Through(w.expected()), CleanPa: w.out.CleanPa,
		HoursPerYear: w.run.PerWeek() * 365.25 / 7, SharedBy: 1,
	}
	if !w.capAt.IsZero() {
		b.CapHours = w.hours(w.cur.start, w.capAt)
	}
	return energy.Compare(b, w.item, others...)
}

// Firmness says how the least-cost date moves when tariff, filter price or dust
// are a fifth higher or lower; empty where there is nothing to weigh.
func Firmness(in Input) ([]energy.Sensitivity, error) {
	w, ok := fitted(in)
	if !ok {
		return nil, nil
	}
	price, err := energy.UsualPrice(w.site.Tariff, w.site.Currency, in.Register.ScheduleOf(in.Bank))
	if err != nil {
		return nil, err
	}
	change, err := energy.ChangeOf(w.site, w.bank, in.Register.Item, 1)
	if err != nil {
		return nil, err
	}
	plan, ok := w.plan(energy.DutyOf(w.ahu, w.bank, w.site, w.law, price), w.expected(), change)
	if !ok {
		return nil, nil
	}
	return energy.Sensitivities(plan)
}
