package say

import (
	"fmt"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
)

// Reckoned says in one line, behind a prefix, what a bank's energy figures rest on:
// airflow, efficiency, price and carbon factor, each with its source. Empty where there
// are none.
func Reckoned(bank plant.BankID, reg *plant.Register, prefix string) string {
	r, ok := assess.ReckoningOf(reg, bank)
	if !ok {
		return ""
	}
	v := atPlace(reg, bank, time.Time{})
	in := v.In
	flow := in.Flow(r.FlowM3s, v.Units)
	if r.Varies {
		flow = in.Text("the airflow profile up to %s", flow)
	}
	parts := []string{flow, in.Text("efficiency %s (%s)", in.Number(r.Efficiency.Eta, 2), chained(r.Efficiency.Source, in)), priced(r, in), carbon(r.Carbon, in)}
	return prefix + in.Text("Reckoned with %s.", strings.Join(parts, ", "))
}

// chained retells the parts of an efficiency, each by itself.
func chained(source string, in locale.Locale) string {
	const times = " × "
	parts := strings.Split(source, times)
	for i, p := range parts {
		parts[i] = in.Retell(p)
	}
	return strings.Join(parts, times)
}

func priced(r assess.Reckoning, in locale.Locale) string {
	if !r.Price.PerKWh.IsPositive() {
		return in.Text("no tariff")
	}
	perKWh := r.Price.PerKWh.Round(4)
	figure := perKWh.String()
	if perKWh.Equal(perKWh.Round(2)) {
		figure = perKWh.StringFixed(2)
	}
	price := in.Figures(figure) + " " + r.Price.Currency + "/kWh"
	if r.Price.Basis == "flat" {
		return withSource(price, r.Price.Source)
	}
	return withSource(price+" "+in.Retell(r.Price.Basis), r.Price.Source)
}

func carbon(c plant.Carbon, in locale.Locale) string {
	if !(c.KgPerKWh > 0) {
		return in.Text("no carbon factor")
	}
	return fmt.Sprintf("%s kgCO2e/kWh (%s, %d)", in.Figures(fmt.Sprint(c.KgPerKWh)), c.Source, c.Year)
}

func withSource(s, source string) string {
	if source == "" {
		return s
	}
	return s + " (" + source + ")"
}
