package say

import (
	"strings"

	"clogwise/internal/assess"
	"clogwise/internal/digest"
	"clogwise/internal/energy"
	"clogwise/internal/locale"
)

// Pairs tells how many primaries to use up for each secondary: in full for one
// AHU, in a line each for several.
func Pairs(in locale.Locale, pairs []digest.Pair) string {
	if len(pairs) == 0 {
		return in.Text("Nothing to weigh: it takes a primary and a secondary, each with a gauge, a forecast and prices, behind a fan that holds its airflow.")
	}
	if len(pairs) == 1 {
		return strings.Join(pairInFull(pairs[0], in), "\n")
	}
	var lines []string
	for _, p := range pairs {
		best := p.Choices[p.Best]
		s := in.Text("%s: %s, %s a year", p.Tag, eachSecondary(best.K, in), in.Money(best.PerYear))
		if saved, ok := p.Saves(); ok {
			s += in.Text(" (%s less than with %d as now)", in.Money(saved), p.Choices[p.Now].K)
		}
		if p.AtMost {
			s += in.Text(", if its fan holds its airflow")
		}
		lines = append(lines, s+".")
	}
	head := in.Text("Primaries for each set of secondaries that cost least:")
	return strings.Join(append([]string{head}, andMore(in, lines, len(pairs))...), "\n")
}

func pairInFull(p digest.Pair, in locale.Locale) []string {
	best := p.Choices[p.Best]
	lines := []string{in.Text("%s: cheapest is %s: primary every %s weeks, secondary every %s. Both cost %s a year (filters, labour, dirt).",
		p.Tag, eachSecondary(best.K, in), in.Number(best.PrimaryWeeks, 0), in.Number(best.SecondaryWeeks, 0), in.Money(best.PerYear))}
	var beside []string
	for _, i := range []int{p.Best - 1, p.Best + 1} {
		if i >= 0 && i < len(p.Choices) {
			c := p.Choices[i]
			beside = append(beside, in.Text("with %d: %s (primary every %s weeks)", c.K, in.Money(c.PerYear), in.Number(c.PrimaryWeeks, 0)))
		}
	}
	if len(beside) > 0 {
		lines = append(lines, capital(strings.Join(beside, "; "))+".")
	}
	if saved, ok := p.Saves(); ok {
		lines = append(lines, in.Text("As they load now it comes to about %d: %s a year, %s more.", p.Choices[p.Now].K, in.Money(p.Choices[p.Now].PerYear), in.Money(saved)))
	} else if p.Now == p.Best {
		lines = append(lines, in.Text("That is about what it comes to as they load now."))
	}
	last := in.Text("Neither goes past its limit.") + " " + paceLine(best.Pace, in)
	if p.AtMost {
		last += " " + in.Text("Fan control is not known: all this holds only if the fan holds its airflow.")
	}
	return append(lines, last)
}

// paceLine tells how the age of the primaries bears on the secondary's loading.
func paceLine(pace float64, in locale.Locale) string {
	percent := 100 * (pace - 1)
	switch {
	case pace == 1 || !(pace > 0):
		return in.Text("What an older primary lets through is not in these figures: the secondary's readings do not tell it.")
	case percent >= 0.5:
		return in.Text("By its readings, and with what older primaries let through, the secondary loads %s %% faster then than in its present life; that is in these figures.", in.Number(percent, 0))
	case percent <= -0.5:
		return in.Text("By its readings, and with what older primaries let through, the secondary loads %s %% more slowly then than in its present life; that is in these figures.", in.Number(-percent, 0))
	}
	return in.Text("By its readings, and with what older primaries let through, the secondary loads as fast then as in its present life.")
}

func eachSecondary(k int, in locale.Locale) string {
	return in.Count(k, "%d primary for each secondary", "%d primaries for each secondary")
}

// IfWrong tells what the cheapest interval becomes when tariff, filter price or
// dust are a fifth off, and what keeping to the advice would cost then.
func IfWrong(a assess.Assessment, rows []energy.Sensitivity, in locale.Locale) string {
	if len(rows) == 0 || !(a.HoursWeek > 0) {
		return ""
	}
	var parts []string
	worst := 0.0
	for i, r := range rows {
		weeks := in.Number(r.Hours/a.HoursWeek, 0)
		switch {
		case i > 0 && rows[i-1].What == r.What && strings.HasSuffix(parts[len(parts)-1], " "+weeks):
		case i > 0 && rows[i-1].What == r.What:
			parts[len(parts)-1] += " " + in.Text("or") + " " + weeks
		default:
			parts = append(parts, priceWord(r.What, in)+" "+weeks)
		}
		worst = max(worst, r.Regret)
	}
	kept := in.Text("at most 1 % more")
	if worst >= 0.01 {
		kept = in.Text("up to %s %% more", in.Number(100*worst, 0))
	}
	if !a.LeastCost.Before(a.Dates.Median) { // what was weighed is waiting for the limit, whenever it comes
		return in.Text("Cheapest interval, weeks, a fifth up or down: %s. Waiting for the limit costs %s then.", strings.Join(parts, ", "), kept)
	}
	return in.Text("Cheapest interval, weeks, a fifth up or down: %s. Keeping to the date costs %s then.", strings.Join(parts, ", "), kept)
}
