package say

import (
	"fmt"
	"strings"

	"clogwise/internal/assess"
	"clogwise/internal/digest"
	"clogwise/internal/energy"
)

// Pairs tells how many primaries to use up for each secondary: in full for one
// AHU, in a line each for several.
func Pairs(pairs []digest.Pair) string {
	if len(pairs) == 0 {
		return "Nothing to weigh: it takes a primary and a secondary, each with a gauge, a forecast and prices, behind a fan that holds its airflow."
	}
	if len(pairs) == 1 {
		return strings.Join(pairInFull(pairs[0]), "\n")
	}
	var lines []string
	for _, p := range pairs {
		best := p.Choices[p.Best]
		s := fmt.Sprintf("%s: %s, %s a year", p.Tag, eachSecondary(best.K), best.PerYear)
		if saved, ok := p.Saves(); ok {
			s += fmt.Sprintf(" (%s less than with %d as now)", saved, p.Choices[p.Now].K)
		}
		lines = append(lines, s+".")
	}
	if len(lines) > rowsShown {
		lines = append(lines[:rowsShown], fmt.Sprintf("… and %d more.", len(pairs)-rowsShown))
	}
	return strings.Join(append([]string{"Primaries for each set of secondaries that cost least:"}, lines...), "\n")
}

func pairInFull(p digest.Pair) []string {
	best := p.Choices[p.Best]
	lines := []string{fmt.Sprintf("%s: cheapest is %s: primary every %.0f weeks, secondary every %.0f. Both cost %s a year (filters, labour, dirt).",
		p.Tag, eachSecondary(best.K), best.PrimaryWeeks, best.SecondaryWeeks, best.PerYear)}
	var beside []string
	for _, i := range []int{p.Best - 1, p.Best + 1} {
		if i >= 0 && i < len(p.Choices) {
			c := p.Choices[i]
			beside = append(beside, fmt.Sprintf("%d: %s (primary every %.0f weeks)", c.K, c.PerYear, c.PrimaryWeeks))
		}
	}
	if len(beside) > 0 {
		lines = append(lines, "With "+strings.Join(beside, "; with ")+".")
	}
	if saved, ok := p.Saves(); ok {
		lines = append(lines, fmt.Sprintf("As they load now it comes to about %d: %s a year, %s more.", p.Choices[p.Now].K, p.Choices[p.Now].PerYear, saved))
	} else if p.Now == p.Best {
		lines = append(lines, "That is about what it comes to as they load now.")
	}
	return append(lines, "Neither goes past its limit. A primary left too long makes the secondary load faster; that is not in these figures.")
}

func eachSecondary(k int) string {
	if k == 1 {
		return "1 primary for each secondary"
	}
	return fmt.Sprintf("%d primaries for each secondary", k)
}

// IfWrong tells what the cheapest interval becomes when tariff, filter price or
// dust are a fifth off, and what keeping to the advice would cost then.
func IfWrong(a assess.Assessment, rows []energy.Sensitivity) string {
	if len(rows) == 0 || !(a.HoursWeek > 0) {
		return ""
	}
	var parts []string
	worst := 0.0
	for i, r := range rows {
		weeks := fmt.Sprintf("%.0f", r.Hours/a.HoursWeek)
		switch {
		case i > 0 && rows[i-1].What == r.What && strings.HasSuffix(parts[len(parts)-1], " "+weeks):
		case i > 0 && rows[i-1].What == r.What:
			parts[len(parts)-1] += " or " + weeks
		default:
			parts = append(parts, r.What+" "+weeks)
		}
		worst = max(worst, r.Regret)
	}
	kept := "at most 1 % more"
	if worst >= 0.01 {
		kept = fmt.Sprintf("up to %.0f %% more", 100*worst)
	}
	return fmt.Sprintf("Cheapest interval, weeks, a fifth up or down: %s. Keeping to the date costs %s then.", strings.Join(parts, ", "), kept)
}
