package say

import (
	"fmt"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/daytext"
	"clogwise/internal/digest"
	"clogwise/internal/duelist"
	"clogwise/internal/energy"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// whyLines bounds the reasoning: what a technician reads standing up.
const whyLines = 12

// Why prints the reasoning behind a bank's forecast. firm, from assess.Firmness,
// and neglect may be empty.
func Why(a assess.Assessment, firm []energy.Sensitivity, neglect digest.Neglect, reg *plant.Register, now time.Time) string {
	site, _ := reg.Site(a.Bank.Site())
	loc, h := site.Location(), site.Units
	lines := []string{fmt.Sprintf("%s is %s. Why:", a.Name, a.Condition)}
	add := func(format string, args ...any) { lines = append(lines, fmt.Sprintf(format, args...)) }
	if a.NoGauge {
		add("It has no gauge, so age alone decides.")
	} else if a.Last != nil {
		add("Last reading %s on %s; %s at design airflow and standard air (%s).",
			units.Pressure(a.Last.Pa, h), daytext.Day(a.Last.At, now, loc), units.ShortPressure(a.Last.DesignPa, h), a.Last.Basis)
	}
	if a.LifeStart != nil {
		s := fmt.Sprintf("Filters changed %s, %.0f run hours ago", daytext.Day(*a.LifeStart, now, loc), a.HoursRun)
		if !a.NoGauge {
			s += fmt.Sprintf("; %s since", plural(a.Readings, "reading counts", "readings count"))
		}
		lines = append(lines, s+".")
	} else if a.Last != nil {
		add("No change-out is on record: the age is guessed from the first reading.")
	}
	if !a.NoGauge {
		add("Clean it is %s (%s); the limit is %s.", units.ShortPressure(a.CleanPa, h), a.CleanBasis, units.ShortPressure(a.LimitPa, h))
		add("Limit from %s.", a.LimitSource)
		add("Compared with %s.", priorWords(a))
	}
	if !a.Dates.Median.IsZero() {
		add("%s", Outlook(a, h, now, loc))
	}
	if neglect.Factor > 0 {
		add("%s is past its limit: these filters load %.1f times as fast as usual. Change it first.", neglect.Primary, neglect.Factor)
	}
	lines = append(lines, narrowing(a, now)...)
	for _, f := range a.Findings {
		if f.Open {
			add("Doubt: %s %s", f.Text, f.Check)
		}
	}
	for _, line := range []string{CostLine(a), firmLine(a, firm)} {
		if line != "" && len(lines) < whyLines {
			lines = append(lines, line)
		}
	}
	return strings.Join(lines[:min(len(lines), whyLines)], "\n")
}

func priorWords(a assess.Assessment) string {
	switch a.PriorLevel {
	case "bank":
		return fmt.Sprintf("this bank's own earlier lives and %d finished lives in all", a.PriorLives)
	case "fleet":
		return fmt.Sprintf("%d finished lives of such banks", a.PriorLives)
	}
	return "what is usual for such banks; no finished life is on record yet"
}

// plural counts things.
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// firmLine says how firm the cheapest date is, where one is advised ahead of the
// limit.
func firmLine(a assess.Assessment, firm []energy.Sensitivity) string {
	if a.Condition == duelist.Overdue || a.Condition == duelist.Due || a.LeastCost.IsZero() {
		return ""
	}
	return Firm(firm, a.LeastCost.Before(a.Dates.Median))
}

// isWide reports whether a range of dates is longer than a fortnight and than a
// third of the time that is left.
func isWide(d assess.Dates, now time.Time) bool {
	const fortnight = 14 * 24 * time.Hour
	width := d.P90.Sub(d.P10)
	return d.P90.IsZero() && !d.Median.IsZero() || d.Median.After(now) && width > fortnight && 3*width > d.Median.Sub(now)
}

// narrowing says why the range is wide and what would make it narrower, at most
// two things.
func narrowing(a assess.Assessment, now time.Time) []string {
	var out []string
	add := func(s string) {
		if len(out) < 2 {
			out = append(out, s)
		}
	}
	switch {
	case a.NoGauge:
		return nil
	case a.Readings == 0:
		add("The range is wide: no reading in this life yet. One reading would narrow it.")
	case a.Readings < 4:
		add(fmt.Sprintf("The range is wide: only %s in this life. More would narrow it.", plural(a.Readings, "reading", "readings")))
	case a.Condition == duelist.Unread && a.Last != nil:
		add(fmt.Sprintf("The range is wide: the last reading is %.0f days old. One now would narrow it.", now.Sub(a.Last.At).Hours()/24))
	}
	if a.Last != nil && a.Last.Weight < 0.8 {
		add("Measured airflow with each reading would narrow it (" + a.Last.Basis + ").")
	}
	if a.LifeStart == nil {
		add("The date of the last change-out would narrow it.")
	} else if a.LastSwap != nil && a.LastSwap.CleanPa == nil {
		add("A reading right after the change-out would narrow it.")
	}
	if a.PriorLevel == "class" {
		add("Finished lives of this fleet will narrow it in time.")
	}
	if len(out) == 0 && a.Condition != duelist.Doubtful && isWide(a.Dates, now) {
		add("The range is wide: readings scatter, and such filters do not all load alike. Each reading narrows it.")
	}
	return out
}
