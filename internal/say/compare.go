package say

import (
	"fmt"
	"math"
	"strings"

	"clogwise/internal/energy"
	"clogwise/internal/plant"
)

// CompareHow says how to ask for a comparison.
func CompareHow() string {
	return "Compare what in which bank? Write for example: compare BAG-F7 BAG-E60 for AHU-3 bag"
}

// Compare tells what items would cost a year in a bank, the fitted one first.
func Compare(bank plant.BankID, options []energy.Option, reg *plant.Register) string {
	lines := []string{"A year in " + reg.Name(bank) + ", on its own dust and airflow:"}
	for i, o := range options {
		s := fmt.Sprintf("%s (%s): %s = filters %s, energy %s (%.0f kWh, %.0f kgCO2e), labour and disposal %s; a change every %.0f run hours",
			o.Item.Code, o.Item.Class, o.Total, o.Filters, o.Energy, o.KWh, o.KgCO2e, addOf(o), o.Hours)
		if o.AtLimit {
			s += " (at its limit)"
		}
		if i == 0 {
			s += "; fitted now"
		}
		lines = append(lines, s+".")
		if i == 0 {
			continue
		}
		switch {
		case !o.Fits:
			lines = append(lines, "  It does not fit this bank's fronts.")
		case !o.Class.OK:
			lines = append(lines, "  Not advised: "+o.Class.Reason)
		case o.Better && o.PaybackYears > 0 && !math.IsInf(o.PaybackYears, 1):
			lines = append(lines, fmt.Sprintf("  Cheaper; the dearer set pays back in %.1f years.", o.PaybackYears))
		case o.Better:
			lines = append(lines, "  Cheaper.")
		default:
			lines = append(lines, "  Not cheaper.")
		}
		if o.Basis != "" {
			lines = append(lines, "  Basis: "+o.Basis+".")
		}
	}
	return strings.Join(lines, "\n")
}

func addOf(o energy.Option) string {
	sum, err := o.Labour.Add(o.Disposal)
	if err == nil {
		sum, err = sum.Add(o.Visits)
	}
	if err != nil {
		return "?"
	}
	return sum.String()
}

// Firm says in one line whether the cheapest date is firm; before says that it
// comes before the limit.
func Firm(rows []energy.Sensitivity, before bool) string {
	if len(rows) == 0 {
		return ""
	}
	what := "The cheapest date"
	if !before {
		what = "It costs least to wait for the limit. That"
	}
	var moved []string
	for _, r := range rows {
		if !r.Unchanged {
			moved = append(moved, r.What+" "+r.Change)
		}
	}
	if len(moved) == 0 {
		return what + " is firm: it holds with tariff, filter price or dust a fifth up or down."
	}
	return what + " is not firm: it moves with " + join(moved) + "."
}
