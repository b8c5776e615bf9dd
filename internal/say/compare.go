package say

import (
	"math"
	"strings"
	"time"

	"clogwise/internal/energy"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
)

// CompareHow says how to ask for a comparison, with items and a bank of the site
// as its example; unknown are codes of the question that the register does not hold.
func CompareHow(in locale.Locale, bank plant.BankID, reg *plant.Register, unknown []string) string {
	s := ""
	if len(unknown) > 0 {
		s = in.Text("Not in the register: %s.", strings.Join(unknown, ", ")) + " "
	}
	b, _ := reg.Bank(bank)
	for _, it := range reg.Items() {
		if it.Code != b.Item && b.Item != "" && (it.Site == "" || it.Site == bank.Site()) {
			return s + in.Text("Compare what in which bank? Write for example: `compare %s %s for %s`", b.Item, it.Code, reg.Name(bank))
		}
	}
	return s + in.Text("Compare what in which bank? Write for example: `compare BAG-F7 BAG-E60 for AHU-3 bag`")
}

// NoComparison says why items cannot be compared.
func NoComparison(in locale.Locale, why error) string {
	return in.Text("No comparison: %s.", in.Retell(why.Error()))
}

// Compare tells what items would cost a year in a bank, the fitted one first. What
// does not fit is named without figures: they would be of nothing that can be had.
func Compare(bank plant.BankID, options []energy.Option, reg *plant.Register) string {
	v := atPlace(reg, bank, time.Time{})
	in := v.In
	head := in.Text("A year in %s, on its own dust and airflow:", reg.Name(bank))
	blind := len(options) > 0 && options[0].Basis == energy.ByAgeAlone
	if blind {
		head = in.Text("A year in %s:", reg.Name(bank))
	}
	lines := []string{head}
	for i, o := range options {
		if i > 0 && !o.Fits {
			lines = append(lines, in.Text("%s (%s): it does not fit this bank's fronts, so it is not reckoned.", o.Item.Code, o.Item.Class))
			continue
		}
		s := year(o, in)
		if i == 0 {
			lines = append(lines, s+in.Text("; fitted now")+".")
			continue
		}
		lines = append(lines, s+".", "  "+verdict(o, in))
		if o.Basis != "" && !blind {
			lines = append(lines, "  "+in.Text("Basis: %s.", v.inHabit(in.Retell(o.Basis))))
		}
	}
	if blind {
		lines = append(lines, in.Text("Basis: %s.", in.Retell(energy.ByAgeAlone)))
	}
	if len(options) > 0 && options[0].Note != "" {
		lines = append(lines, capital(in.Retell(options[0].Note))+".")
	}
	if len(options) > 0 && options[0].KWh > 0 {
		lines[len(lines)-1] += Reckoned(bank, reg, "\n")
	}
	return strings.Join(lines, "\n")
}

// year is what an item costs in a year, and how often it is changed.
func year(o energy.Option, in locale.Locale) string {
	s := in.Text("%s (%s): %s = filters %s, labour, visits and disposal %s; ", o.Item.Code, o.Item.Class, in.Money(o.Total), in.Money(o.Filters), addOf(o, in))
	if o.KWh > 0 { // else none is claimed, which is not to say that there is none
		s = in.Text("%s (%s): %s = filters %s, energy %s (%s kWh, %s kgCO2e), labour, visits and disposal %s; ",
			o.Item.Code, o.Item.Class, in.Money(o.Total), in.Money(o.Filters), in.Money(o.Energy), in.Number(o.KWh, 0), in.Number(o.KgCO2e, 0), addOf(o, in))
	}
	if o.Open {
		return s + in.Text("no change within ten years")
	}
	s += in.Text("a change every %s run hours", in.Number(o.Hours, 0))
	switch {
	case o.AtCap:
		s += in.Text(" (at the cap on its age)")
	case o.AtLimit:
		s += in.Text(" (at its limit)")
	}
	return s
}

// verdict says what speaks for or against an item that fits in place of the fitted
// one.
func verdict(o energy.Option, in locale.Locale) string {
	if !o.Class.OK {
		return in.Text("Not advised: %s", in.Retell(o.Class.Reason)) + "."
	}
	return cost(o, in) + caveat(o, in)
}

// caveat says what an item that is good enough for the bank lacks: no lower class
// goes unsaid.
func caveat(o energy.Option, in locale.Locale) string {
	switch {
	case !o.Fitted.OK:
		return " " + in.Text("The bank requires no more, but it filters less than what is fitted now, or cannot be held against it: %s.", in.Retell(o.Fitted.Reason))
	case o.Finer:
		return " " + in.Text("It is finer than what is fitted now: it catches more of the dust and fills sooner than reckoned here.")
	case o.Class.Guidance:
		return " " + in.Text("Class: %s.", in.Retell(o.Class.Reason))
	}
	return ""
}

func cost(o energy.Option, in locale.Locale) string {
	const weeksOfYear = 365.25 / 7
	weeks := max(1, int(math.Round(o.PaybackYears*weeksOfYear)))
	dearer := o.PaybackYears > 0 && !math.IsInf(o.PaybackYears, 1)
	proven := o.Note != energy.AtMost.Note()
	switch {
	case !o.Better:
		return in.Text("Not cheaper.")
	case !dearer && !proven:
		return in.Text("Cheaper, if the fan holds its airflow.")
	case !dearer:
		return in.Text("Cheaper.")
	case o.PaybackYears < 1 && !proven:
		return in.Count(weeks, "Cheaper, if the fan holds its airflow; the dearer set pays back in %d week then.", "Cheaper, if the fan holds its airflow; the dearer set pays back in %d weeks then.")
	case o.PaybackYears < 1:
		return in.Count(weeks, "Cheaper; the dearer set pays back in %d week.", "Cheaper; the dearer set pays back in %d weeks.")
	case !proven:
		return in.Text("Cheaper, if the fan holds its airflow; the dearer set pays back in %s years then.", in.Number(o.PaybackYears, 1))
	}
	return in.Text("Cheaper; the dearer set pays back in %s years.", in.Number(o.PaybackYears, 1))
}

func addOf(o energy.Option, in locale.Locale) string {
	sum, err := o.Labour.Add(o.Disposal)
	if err == nil {
		sum, err = sum.Add(o.Visits)
	}
	if err != nil {
		return "?"
	}
	return in.Money(sum)
}

// Firm says in one line whether the cheapest date is firm; before says that it
// comes before the limit.
func Firm(in locale.Locale, rows []energy.Sensitivity, before bool) string {
	if len(rows) == 0 {
		return ""
	}
	var moved []string
	for _, r := range rows {
		if !r.Unchanged {
			moved = append(moved, fifth(r, in))
		}
	}
	switch {
	case len(moved) == 0 && before:
		return in.Text("The cheapest date is firm: it holds with tariff, filter price or dust a fifth up or down.")
	case len(moved) == 0:
		return in.Text("It costs least to wait for the limit. That is firm: it holds with tariff, filter price or dust a fifth up or down.")
	case before:
		return in.Text("The cheapest date is not firm: it moves with %s.", in.And(moved))
	}
	return in.Text("It costs least to wait for the limit. That is not firm: it moves with %s.", in.And(moved))
}

// priceWord names what a sensitivity is to.
func priceWord(what string, in locale.Locale) string {
	switch what {
	case "tariff":
		return in.Text("tariff")
	case "filter price":
		return in.Text("filter price")
	case "dust":
		return in.Text("dust")
	}
	return what
}

// fifth words a change of a sensitivity, which is a fifth either way.
func fifth(r energy.Sensitivity, in locale.Locale) string {
	if strings.HasPrefix(r.Change, "-") {
		return in.Text("%s a fifth less", priceWord(r.What, in))
	}
	return in.Text("%s a fifth more", priceWord(r.What, in))
}
