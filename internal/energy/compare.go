package energy

import (
	"fmt"
	"math"

	"clogwise/internal/plant"
	"clogwise/internal/resistance"
	"clogwise/internal/units"
)

// Bench is the bank in which items are compared: its own dust history, airflow
// and running hours.
type Bench struct {
	Site         plant.Site
	AHU          plant.AHU
	Bank         plant.Bank
	Find         func(code string) (plant.Item, bool) // items of fronts that keep theirs
	Law          resistance.Law                       // class default for items with one resistance point
	Duty         Duty
	Curve        Curve   // expected resistance of a life with the fitted item, on past its limit; nil without a gauge: age alone ends lives
	CleanPa      float64 // of the fitted item in this bank
	HoursPerYear float64 // run hours
	CapHours     float64 // age or run-hour cap of a life, in run hours; 0 = none
	SharedBy     int     // change-outs done together on a visit, at least 1
	Interest     float64 // a year; 0 = no discounting
}

// Option is an item as it would do in the bank.
type Option struct {
	Item    plant.Item
	Class   resistance.Verdict // against the class the bank requires, else that of the fitted item
	Fitted  resistance.Verdict // against the class of the fitted item
	Finer   bool               // in a finer group or class than the fitted item: it catches more of the dust
	Fits    bool               // its front is that of the bank, and it is not much deeper
	CleanPa float64
	Limit   resistance.Limit
	Hours   float64 // least-cost interval, run hours
	AtLimit bool    // the limit or the cap comes before the optimum
	AtCap   bool    // it is the cap
	Open    bool    // no optimum, limit or cap within ten years: Hours is that long
	Changes float64 // change-outs a year
	Set     units.Money

	// A year, on the same basis for every option. Energy is that of the whole
	// resistance of the bank, clean part included.
	Filters, Labour, Disposal, Visits, Energy, Total units.Money
	KWh, KgCO2e                                      float64

	Better       bool    // cheaper than the fitted item, fits, and its class is good enough
	PaybackYears float64 // in which a dearer set comes back from the other costs; 0 = at once, +Inf = never
	Basis        string  // how the dust history was carried over
	Note         string  // what limits the energy figure; may be empty
}

// ByAgeAlone is the basis of options in a bank without a gauge.
const ByAgeAlone = "no gauge: each is changed at the cap on age, and the cost of dirt is left out"

// Compare weighs the fitted item and others in the same bank. The first option is
// the fitted item. An item's rise over its clean resistance follows that of the
// fitted one on the same dust: slower by the ratio of dust held and scaled by the
// rise to the final resistance where both items state these by the same standard,
// else alike. Its
// clean resistance is that of its points, carried by the same factor by which the
// fitted item in this bank differs from its own.
//
// Without a curve every item is changed at the cap, and what dirt costs is left out.
//
// It returns units.ErrCurrency when an item is priced in another currency than
// the site's, resistance.ErrLaw when the clean resistance of an item is not
// known, and ErrInterval for a plan that cannot be costed.
func Compare(b Bench, fitted plant.Item, others ...plant.Item) ([]Option, error) {
	if b.Curve == nil && !positive(b.CapHours) {
		return nil, fmt.Errorf("%w: neither readings nor a cap on age tell when filters are changed", ErrInterval)
	}
	base, err := b.option(fitted, fitted)
	if err != nil {
		return nil, err
	}
	base.PaybackYears = 0
	out := []Option{base}
	for _, it := range others {
		o, err := b.option(fitted, it)
		if err != nil {
			return nil, err
		}
		o.judge(base)
		out = append(out, o)
	}
	return out, nil
}

// option works out one item.
func (b Bench) option(fitted, item plant.Item) (Option, error) {
	o := Option{Item: item, Fits: fits(b.Bank, item)}
	required := b.Bank.MinClass
	if required == "" {
		required = fitted.Class
	}
	o.Class = resistance.Meets(item.Class, required)
	o.Fitted = resistance.Meets(item.Class, fitted.Class)
	o.Finer = finer(item.Class, fitted.Class)
	var err error
	if o.CleanPa, err = b.cleanOf(fitted, item); err != nil {
		return Option{}, err
	}
	if o.Limit, err = resistance.LimitFor(b.Site, b.with(item), item, o.CleanPa); err != nil {
		return Option{}, fmt.Errorf("item %s: %w", item.Code, err)
	}
	curve, basis := b.carry(fitted, item, o.CleanPa)
	o.Basis = basis
	change, err := ChangeOf(b.Site, b.with(item), b.finding(item), b.SharedBy)
	if err != nil {
		return Option{}, err
	}
	t, err := newTable(Plan{
		ChangeCost: change.Total.Amount.InexactFloat64(), FiltersCost: change.Filters.Amount.InexactFloat64(),
		PerPaHour: b.Duty.PerPaHour(), Curve: curve, CleanPa: o.CleanPa, HoursPerYear: b.HoursPerYear, Interest: b.Interest,
		LimitHours: b.limitHours(curve, o.Limit.Pa), CapHours: b.CapHours,
	})
	if err != nil {
		return Option{}, fmt.Errorf("item %s: %w", item.Code, err)
	}
	o.yearly(b, t, change)
	return o, nil
}

// yearly turns the least-cost interval into a year's costs.
func (o *Option) yearly(b Bench, t *table, c Change) {
	best := t.least()
	year := t.hoursPerYear()
	o.Hours, o.AtLimit, o.Changes, o.Set, o.Open = best.Hours, best.AtLimit, year/best.Hours, c.Filters, best.Open
	o.AtCap = best.AtLimit && positive(t.CapHours) && !(positive(t.LimitHours) && t.LimitHours < t.CapHours)
	t.Interest = 0 // energy is counted, not discounted
	t.integrate()
	energy := b.Duty.Energy((o.CleanPa + t.areaTo(best.Hours)/best.Hours) * year)
	o.KWh, o.KgCO2e, o.Energy = energy.KWh, energy.KgCO2e, energy.Money
	o.Filters, o.Labour = c.Filters.Times(o.Changes), c.Labour.Times(o.Changes)
	o.Disposal, o.Visits = c.Disposal.Times(o.Changes), c.Shared.Times(o.Changes)
	o.Total = o.Filters
	for _, m := range []units.Money{o.Labour, o.Disposal, o.Visits, o.Energy} {
		o.Total.Amount = o.Total.Amount.Add(m.Amount)
	}
	o.Note = b.Duty.Claim().Note()
}

// judge holds an option against the fitted item.
func (o *Option) judge(base Option) {
	cheaper := o.Total.Amount.LessThan(base.Total.Amount)
	o.Better = cheaper && o.Fits && o.Class.OK
	dearer := o.Set.Amount.Sub(base.Set.Amount)
	other := base.Total.Amount.Sub(base.Filters.Amount).Sub(o.Total.Amount).Add(o.Filters.Amount)
	switch {
	case !cheaper:
		o.PaybackYears = math.Inf(1)
	case !dearer.IsPositive():
		o.PaybackYears = 0
	case !other.IsPositive():
		// Cheaper only because it is bought less often: the set is paid back when
		// the fitted item would have been bought again.
		o.PaybackYears = 1 / base.Changes
	default:
		o.PaybackYears = dearer.Div(other).InexactFloat64()
	}
}

// with is the bank with another item; fronts with an item of their own keep it.
func (b Bench) with(item plant.Item) plant.Bank {
	bank := b.Bank
	bank.Item = item.Code
	return bank
}

func (b Bench) finding(item plant.Item) resistance.Items {
	return func(code string) (plant.Item, bool) {
		if code == item.Code {
			return item, true
		}
		if b.Find == nil {
			return plant.Item{}, false
		}
		return b.Find(code)
	}
}

// finer reports whether one class filters finer dust than another: in ISO 16890
// another group, elsewhere a higher class.
func finer(class, than string) bool {
	a, errA := resistance.ParseClass(class)
	b, errB := resistance.ParseClass(than)
	if errA != nil || errB != nil || a.Group == b.Group {
		return false
	}
	return resistance.Meets(class, than).OK && !resistance.Meets(than, class).OK
}

// slackMM is how much deeper than the filter it replaces an item may be: common
// practice, no source.
const slackMM = 50

// fits reports whether an item has the front of every place it would go to, and is
// not much deeper than what the register has there.
func fits(bank plant.Bank, item plant.Item) bool {
	for _, f := range bank.Fronts {
		if f.Item != "" || f.WidthMM == 0 || item.WidthMM == 0 {
			continue
		}
		same := f.WidthMM == item.WidthMM && f.HeightMM == item.HeightMM
		turned := f.WidthMM == item.HeightMM && f.HeightMM == item.WidthMM
		if !same && !turned || f.DepthMM > 0 && item.DepthMM > f.DepthMM+slackMM {
			return false
		}
	}
	return true
}

// cleanOf is the clean resistance of an item in this bank.
func (b Bench) cleanOf(fitted, item plant.Item) (float64, error) {
	if item.Code == fitted.Code {
		return b.CleanPa, nil
	}
	byData := func(it plant.Item) (float64, bool) {
		bank := b.with(it)
		bank.CleanPa = 0
		c, ok := resistance.CleanFor(b.AHU, bank, b.finding(it), b.Law)
		return c.Pa, ok
	}
	pa, ok := byData(item)
	if !ok {
		return 0, fmt.Errorf("%w: item %s has no resistance points", resistance.ErrLaw, item.Code)
	}
	if own, ok := byData(fitted); ok {
		pa *= b.CleanPa / own
	}
	return pa, nil
}

// carry makes the item's curve out of the fitted item's.
func (b Bench) carry(fitted, item plant.Item, cleanPa float64) (Curve, string) {
	switch {
	case b.Curve == nil:
		return func(float64) float64 { return cleanPa }, ByAgeAlone
	case item.Code == fitted.Code:
		return b.Curve, "own readings"
	}
	slower, scale := 1.0, 1.0
	basis := fmt.Sprintf("rise on the same dust taken as that of %s", fitted.Code)
	switch {
	case !(fitted.DustG > 0 && item.DustG > 0):
	case !sameDust(fitted, item):
		basis = fmt.Sprintf("rise on the same dust taken as that of %s: dust held was measured by different tests", fitted.Code)
	default:
		slower = fitted.DustG / item.DustG
		basis = fmt.Sprintf("dust held %.0f g against %.0f g", item.DustG, fitted.DustG)
		if fitted.FinalPa > b.CleanPa && item.FinalPa > cleanPa {
			scale = (item.FinalPa - cleanPa) / (fitted.FinalPa - b.CleanPa)
			basis = fmt.Sprintf("dust held %.0f g against %.0f g, to %.0f Pa against %.0f Pa", item.DustG, fitted.DustG, item.FinalPa, fitted.FinalPa)
		}
	}
	return func(h float64) float64 {
		return cleanPa + scale*max(0, b.Curve(h*slower)-b.CleanPa)
	}, basis
}

// sameDust reports whether the dust that two items hold was measured alike. Each
// standard has a test dust of its own, and a filter holds much more of one than
// of another.
func sameDust(a, b plant.Item) bool {
	ca, errA := resistance.ParseClass(a.Class)
	cb, errB := resistance.ParseClass(b.Class)
	if errA != nil || errB != nil {
		return true
	}
	testA, okA := resistance.DustTestOf(ca)
	testB, okB := resistance.DustTestOf(cb)
	if okA && okB {
		return testA.Dust == testB.Dust
	}
	return ca.System == cb.System
}

// limitHours is where a curve reaches its limit; 0 when it does not within twenty
// years.
func (b Bench) limitHours(c Curve, limitPa float64) float64 {
	year := b.HoursPerYear
	if !(year > 0) {
		year = 8760
	}
	return HoursTo(c, limitPa, 20*year)
}

// HoursTo is the run hours at which a rising curve reaches pa; 0 when it does not
// within the hours given.
func HoursTo(c Curve, pa, within float64) float64 {
	hi := within / 1024
	for !(c(hi) >= pa) {
		if hi >= within {
			return 0
		}
		hi = min(2*hi, within)
	}
	lo := 0.0
	for range 60 {
		mid := (lo + hi) / 2
		if c(mid) >= pa {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi
}
