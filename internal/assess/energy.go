package assess

import (
	"fmt"
	"math"

	"github.com/shopspring/decimal"

	"clogwise/internal/energy"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
	"clogwise/internal/units"
)

// samples is the number of points the expected curve is laid out on for costs.
const samples = 64

// expected lays out the expected resistance of the life from the change-out to
// well past the limit.
func (w *work) expected() []energy.At {
	end := math.Max(w.post.Quantile(0.9), w.nowX) * 1.1
	if !(end > 0) {
		return nil
	}
	out := make([]energy.At, samples+1)
	for i := range out {
		x := end * float64(i) / samples
		out[i] = energy.At{Hours: x, Pa: w.post.MeanPa(x)}
		if !w.along.isPlain() {
			t := w.along.when(x)
			if t.IsZero() {
				return out[:i]
			}
			out[i].Hours = w.hours(w.cur.start, t)
		}
	}
	return out
}

// energy works out what the dirt costs and when a change-out costs least.
func (w *work) energy() {
	o := &w.out
	o.Energy.Held = string(w.ahu.FanControl)
	change, err := energy.ChangeOf(w.site, w.bank, w.in.Register.Item, 1)
	if err != nil {
		o.Energy.Note = fmt.Sprintf("No cost: %v.", err)
		return
	}
	o.Energy.ChangeCost = change.Total
	if o.NoGauge {
		o.Energy.Note = "No gauge: no energy figure."
		return
	}
	if !w.hasPost {
		return
	}
	price, err := energy.UsualPrice(w.site.Tariff, w.site.Currency, w.in.Register.ScheduleOf(w.in.Bank))
	if err != nil {
		o.Energy.Note = fmt.Sprintf("No cost: the tariff cannot be read (%v).", err)
		return
	}
	curve := w.expected()
	if curve == nil {
		return
	}
	duty := energy.DutyOf(w.ahu, w.bank, w.site, w.law, price)
	week := w.hours(w.in.Now, w.in.Now.AddDate(0, 0, 7))
	p := duty.PenaltyThrough(curve, o.CleanPa, o.HoursRun, week)
	o.Energy.KWNow = p.NowW / 1000
	o.Energy.KWhPerDay, o.Energy.MoneyPerDay, o.Energy.KgPerDay = p.PerDay.KWh, p.PerDay.Money, p.PerDay.KgCO2e
	o.Energy.KWhLife, o.Energy.MoneyLife, o.Energy.KgLife = p.SoFar.KWh, p.SoFar.Money, p.SoFar.KgCO2e
	o.Energy.WaitWeek = p.Week.Money
	if p.Claim == energy.Claimed {
		perKPa := duty.Energy(1000 * week / 7)
		o.Energy.KWhPerPaDay, o.Energy.MoneyPerKPaDay = perKPa.KWh/1000, perKPa.Money
	}
	o.Energy.Note = p.Note
	if p.Claim == energy.NotEnergy {
		w.airLost()
	}
	w.leastCost(duty, curve, change)
}

// Reckoning is what the energy figures of a bank rest on.
type Reckoning struct {
	FlowM3s    float64 // through the bank at design
	Varies     bool    // over an airflow profile, which the figures are a mean of
	Efficiency energy.Efficiency
	Price      energy.Price
	Carbon     plant.Carbon
}

// ReckoningOf finds what the energy figures of a bank rest on; false where there are
// none: an unknown bank, no design airflow, or a tariff that cannot be read.
func ReckoningOf(reg *plant.Register, id plant.BankID) (Reckoning, bool) {
	site, okSite := reg.Site(id.Site())
	ahu, okAHU := reg.AHU(id)
	bank, okBank := reg.Bank(id)
	price, err := energy.UsualPrice(site.Tariff, site.Currency, reg.ScheduleOf(id))
	r := Reckoning{resistance.BankFlowM3s(ahu, bank), len(ahu.FlowProfile) > 1, energy.EfficiencyOf(ahu.Efficiency), price, site.Carbon}
	return r, okSite && okAHU && okBank && err == nil && r.FlowM3s > 0
}

// plan is what the change-out interval of the bank is weighed on; false where
// there is nothing to weigh.
func (w *work) plan(duty energy.Duty, curve []energy.At, change energy.Change) (energy.Plan, bool) {
	p := energy.Plan{
		ChangeCost: change.Total.Amount.InexactFloat64(), FiltersCost: change.Filters.Amount.InexactFloat64(),
		PerPaHour: duty.PerPaHour(), Curve: energy.Through(curve), CleanPa: w.out.CleanPa,
		LimitHours: w.lifeHours(0.5), HoursPerYear: w.run.PerWeek() * 365.25 / 7, Interest: w.site.Interest,
	}
	if !w.capAt.IsZero() {
		p.CapHours = w.hours(w.cur.start, w.capAt)
	}
	return p, p.PerPaHour > 0 && p.ChangeCost > 0 && !w.out.NoGauge
}

// leastCost finds the date on which a change-out costs least, never later than
// what governs, and whether the advice is firm.
func (w *work) leastCost(duty energy.Duty, curve []energy.At, change energy.Change) {
	o := &w.out
	plan, ok := w.plan(duty, curve, change)
	if !ok {
		return
	}
	least, err := energy.LeastCost(plan)
	if err != nil || least.Open {
		return
	}
	at := w.run.After(w.cur.start, least.Hours).In(w.loc)
	if !o.Dates.Median.IsZero() && (least.AtLimit || at.After(o.Dates.Median)) {
		at = o.Dates.Median
	}
	o.LeastCost = at
	o.Energy.LeastPerYear = units.Money{Amount: decimal.NewFromFloat(least.PerYear), Currency: w.site.Currency}.Times(1)
}

// airLost says what a speed-held fan no longer delivers.
func (w *work) airLost() {
	loss := energy.SpeedHeld(w.ahu, w.bank, w.law, w.out.CleanPa, w.out.NowPa)
	w.out.Energy.Note = loss.String()
	if loss.Known {
		w.out.Energy.AirLostPct, w.out.Energy.FanChangeW = loss.LostPct, loss.NowW-loss.CleanW
	}
}
