package plant

import (
	"strings"

	"golang.org/x/text/currency"
)

func (v *validation) allItems() {
	seen := map[string]bool{}
	for _, it := range v.c.Items {
		v.at("item", it.Code)
		if seen[it.Code] {
			v.fault("code", "%q is given to two items; give every item its own", it.Code)
		}
		seen[it.Code] = true
		v.item(it)
	}
}

func (v *validation) item(it Item) {
	if strings.TrimSpace(it.Code) == "" {
		v.fault("code", "missing; write the reorder code")
	}
	if strings.TrimSpace(it.Name) == "" {
		v.fault("name", "missing; write what the filter is called")
	}
	if _, ok := ParseClass(it.Class); !ok {
		v.fault("class", "%s; write it as \"ISO ePM1 60%%\", \"F7\" or \"MERV 13\"", unknown(it.Class))
	}
	v.within(
		span{"width_mm", float64(it.WidthMM), 1, 5000, "mm"},
		span{"height_mm", float64(it.HeightMM), 1, 5000, "mm"},
		span{"depth_mm", float64(it.DepthMM), 1, 2000, "mm"},
		span{"final_pa", it.FinalPa, 0, 2500, "Pa"},
		span{"dust_g", it.DustG, 0, 20000, "g"},
		span{"lead_days", float64(it.LeadDays), 0, 730, "days"},
		span{"stock", float64(it.Stock), 0, 1e6, ""})
	v.curve("points", it.Points, true)
	if n := len(it.Points); n > 0 && it.FinalPa > 0 && it.FinalPa <= it.Points[0].Pa {
		v.fault("final_pa", "%.0f Pa is not above the clean resistance of %.0f Pa; check both", it.FinalPa, it.Points[0].Pa)
	}
	v.notNegative("price", it.Price)
	if _, err := currency.ParseISO(it.Currency); err != nil || it.Currency != strings.ToUpper(it.Currency) {
		v.fault("currency", "%s; write an ISO 4217 code such as EUR", unknown(it.Currency))
	}
	if it.Site == "" {
		return
	}
	s, ok := v.sites[it.Site]
	if !ok {
		v.fault("site", "%q is not a site; write one of %s, or leave it empty for all", it.Site, v.siteList())
	} else if s.Currency != it.Currency {
		v.fault("currency", "%s, but site %s reckons in %s; amounts of two currencies are never added", it.Currency, s.ID, s.Currency)
	}
}

func (v *validation) siteList() string {
	keys := sortedKeys(v.sites)
	if len(keys) == 0 {
		return "the sites (there are none yet)"
	}
	return strings.Join(keys, ", ")
}
