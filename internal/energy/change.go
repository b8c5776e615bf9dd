package energy

import (
	"fmt"

	"github.com/shopspring/decimal"

	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Change is the cost of one change-out of a bank.
type Change struct {
	Filters  units.Money
	Labour   units.Money
	Disposal units.Money
	Shared   units.Money // its part of the visit and of isolating the unit
	Total    units.Money
}

// ChangeOf adds up one change-out: every front at its item's price, labour,
// disposal, and the visit and isolation costs divided among the change-outs done
// together (sharedBy, at least 1). It returns units.ErrCurrency when an item is
// priced in another currency than the site's, and ErrInterval for an item that is
// not in the register.
func ChangeOf(site plant.Site, bank plant.Bank, find func(code string) (plant.Item, bool), sharedBy int) (Change, error) {
	filters, err := filtersOf(site, bank, find)
	if err != nil {
		return Change{}, err
	}
	money := func(d decimal.Decimal) units.Money { return units.Money{Amount: d, Currency: site.Currency} }
	shared := site.VisitCost.Add(site.IsolationCost).DivRound(decimal.NewFromInt(int64(max(1, sharedBy))), 8)
	c := Change{
		Filters:  filters,
		Labour:   money(site.LabourRate).Times(bank.LabourHours),
		Disposal: money(bank.DisposalCost),
		Shared:   money(shared).Times(1),
	}
	c.Total = money(c.Filters.Amount.Add(c.Labour.Amount).Add(c.Disposal.Amount).Add(c.Shared.Amount))
	return c, nil
}

func filtersOf(site plant.Site, bank plant.Bank, find func(string) (plant.Item, bool)) (units.Money, error) {
	sum := units.Money{Currency: site.Currency}
	for _, f := range bank.Fronts {
		code := f.Item
		if code == "" {
			code = bank.Item
		}
		item, ok := find(code)
		if !ok {
			return units.Money{}, fmt.Errorf("%w: item %q is not in the register", ErrInterval, code)
		}
		price := units.Money{Amount: item.Price, Currency: item.Currency}
		var err error
		if sum, err = sum.Add(price.Times(float64(f.Count))); err != nil {
			return units.Money{}, fmt.Errorf("item %s: %w", item.Code, err)
		}
	}
	return sum, nil
}
