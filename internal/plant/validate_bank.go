package plant

import (
	"fmt"
	"strings"

	"clogwise/internal/units"
)

func (v *validation) allBanks() {
	called := map[BankID]names{} // by AHU
	points := names{}
	for _, id := range sortedKeys(v.c.Banks) {
		b := v.c.Banks[id]
		v.at("bank", string(id))
		if _, ok := v.c.AHUs[id.AHU()]; !ok {
			v.fault("", "%q is not an AHU of the register; add it, or correct the place", id.AHU())
		}
		if _, _, bank := id.Split(); bank != b.ID {
			v.fault("id", "%q does not fit its place %q; write it as site/ahu/bank", b.ID, id)
		}
		v.bank(b, v.sites[id.Site()])
		if called[id.AHU()] == nil {
			called[id.AHU()] = names{}
		}
		v.bankNames(b, called[id.AHU()], points)
	}
}

func (v *validation) bankNames(b Bank, inAHU, points names) {
	for _, n := range append([]string{b.ID}, b.Aliases...) {
		if other, clash := inAHU.claim(n, v.id); clash {
			v.fault("aliases", "%q is a name of %s too; choose another", n, other)
		}
	}
	for _, p := range b.Points {
		key := "point " + strings.ToLower(p) // points differ by punctuation too
		if other, ok := points[key]; ok && other != v.id {
			v.fault("points", "point %q feeds %s already; a point belongs to one bank", p, other)
			continue
		}
		points[key] = v.id
	}
}

func (v *validation) bank(b Bank, s Site) {
	v.slug(b.ID)
	oneOf(v, "stage", b.Stage, Primary, Secondary, Third, Return)
	v.limitRule(b.Rule)
	v.within(
		span{"clean_pa", b.CleanPa, 0, 2500, "Pa"},
		span{"limit_pa", b.LimitPa, 0, 2500, "Pa"},
		span{"max_months", b.MaxMonths, 0, 120, "months"},
		span{"max_hours", b.MaxHours, 0, 100000, "h"},
		span{"flow_share", b.FlowShare, 0, 1, ""},
		span{"labour_hours", b.LabourHours, 0, 200, "h"},
		span{"read_every_days", float64(b.ReadEvery), 0, 366, "days"})
	v.notNegative("disposal_cost", b.DisposalCost)
	v.gauge(b.Gauge)
	v.bankItem(b.Item, "item", s)
	v.fronts(b, s)
	v.limits(b)
	v.minClass(b)
}

func (v *validation) gauge(g Gauge) {
	oneOf(v, "gauge.unit", g.Unit, "", units.Pa, units.KPa, units.HPa, units.Mbar, units.MmH2O, units.InH2O, units.Psi)
	v.within(
		span{"gauge.top_pa", g.TopPa, 0, 10000, "Pa"},
		span{"gauge.step_pa", g.StepPa, 0, 1000, "Pa"},
		span{"gauge.accuracy_pct", g.AccuracyPc, 0, 20, "%"})
	if g.Absent && (g.TopPa > 0 || g.StepPa > 0 || g.Unit != "") {
		v.fault("gauge", "absent, and yet it has a face; take out absent, or unit, top_pa and step_pa")
	}
	if g.TopPa > 0 && g.StepPa >= g.TopPa {
		v.fault("gauge.step_pa", "%.4g Pa is not finer than the whole gauge; write the finest division", g.StepPa)
	}
}

func (v *validation) bankItem(code, field string, s Site) {
	if code == "" {
		return
	}
	it, ok := v.items[code]
	if !ok {
		v.fault(field, "%q is not an item; add it to the items, or correct the code", code)
		return
	}
	if s.Currency != "" && it.Currency != "" && it.Currency != s.Currency {
		v.fault(field, "%s is priced in %s and site %s reckons in %s; add an item priced in %s", code, it.Currency, s.ID, s.Currency, s.Currency)
	}
	if it.Site != "" && it.Site != s.ID {
		v.fault(field, "%s is kept for site %s; leave the item's site empty, or add one for %s", code, it.Site, s.ID)
	}
}

func (v *validation) fronts(b Bank, s Site) {
	for i, f := range b.Fronts {
		field := fmt.Sprintf("fronts[%d]", i+1)
		v.within(
			span{field + ".width_mm", float64(f.WidthMM), 1, 5000, "mm"},
			span{field + ".height_mm", float64(f.HeightMM), 1, 5000, "mm"},
			span{field + ".depth_mm", float64(f.DepthMM), 1, 2000, "mm"},
			span{field + ".count", float64(f.Count), 1, 1000, ""})
		v.bankItem(f.Item, field+".item", s)
		code := f.Item
		if code == "" {
			code = b.Item
		}
		it, ok := v.items[code]
		if ok && (it.WidthMM != f.WidthMM || it.HeightMM != f.HeightMM || it.DepthMM != f.DepthMM) {
			v.fault(field, "%d×%d×%d mm, but %s is %d×%d×%d mm; correct the size, or name the item of this front",
				f.WidthMM, f.HeightMM, f.DepthMM, code, it.WidthMM, it.HeightMM, it.DepthMM)
		}
	}
}

// limits faults a limit that no filter could reach, or no gauge could show.
func (v *validation) limits(b Bank) {
	it := v.items[b.Item]
	clean, limit, limitField := b.CleanPa, b.LimitPa, "limit_pa"
	if clean == 0 && len(it.Points) > 0 {
		clean = it.Points[0].Pa // the least it can be
	}
	if limit == 0 {
		limit, limitField = it.FinalPa, "item"
	}
	if limit == 0 {
		return
	}
	if limit <= clean {
		v.fault(limitField, "limit %.0f Pa is not above the clean resistance of %.0f Pa; check both", limit, clean)
	}
	if b.Gauge.TopPa > 0 && b.Gauge.TopPa < limit {
		v.fault("gauge.top_pa", "the gauge ends at %.0f Pa, below the limit of %.0f Pa; correct one, or fit another gauge", b.Gauge.TopPa, limit)
	}
}

func (v *validation) minClass(b Bank) {
	if b.MinClass == "" {
		return
	}
	least, ok := ParseClass(b.MinClass)
	if !ok {
		v.fault("min_class", "%q is unknown; write it as \"ISO ePM1 60%%\", \"F7\" or \"MERV 13\"", b.MinClass)
		return
	}
	for _, code := range b.codes() {
		c, ok := ParseClass(v.items[code].Class)
		if ok && c.System == least.System && c.Rank < least.Rank {
			v.fault("item", "%s is %s, below the %s the rooms require; fit a finer item, or correct min_class", code, v.items[code].Class, b.MinClass)
		}
	}
}

// codes lists the reorder codes of the bank's filters, each once.
func (b Bank) codes() []string {
	var out []string
	add := func(code string) {
		for _, c := range out {
			if c == code {
				return
			}
		}
		if code != "" {
			out = append(out, code)
		}
	}
	add(b.Item)
	for _, f := range b.Fronts {
		add(f.Item)
	}
	return out
}
