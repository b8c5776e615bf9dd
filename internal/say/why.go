package say

import (
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/digest"
	"clogwise/internal/duelist"
	"clogwise/internal/energy"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
)

// What the core says in one word, or puts together, kept here to be found as texts.
var _ = [...]string{
	locale.Mark("manufacturer"), locale.Mark("register"), locale.Mark("two-term fit through %d points of %s"),
	locale.Mark("power fit through %d points of %s"), locale.Mark("one point and %s of %s"),
}

// whyLines bounds the reasoning: what a technician reads standing up.
const whyLines = 12

// Why prints the reasoning behind a bank's forecast. firm, from assess.Firmness,
// and neglect may be empty.
func Why(a assess.Assessment, firm []energy.Sensitivity, neglect digest.Neglect, reg *plant.Register, now time.Time) string {
	s := atPlace(reg, a.Bank, now)
	in := s.In
	lines := []string{in.Text("%s is %s. Why:", a.Name, a.Condition.Words(in))}
	add := func(line string) { lines = append(lines, line) }
	if a.NoGauge {
		add(in.Text("It has no gauge, so age alone decides."))
	} else if a.Last != nil {
		add(in.Text("Last reading %s on %s; %s at design airflow and standard air (%s).",
			s.pressure(a.Last.Pa), s.day(a.Last.At), s.short(a.Last.DesignPa), in.Retell(a.Last.Basis)))
	}
	if a.LifeStart != nil {
		line := in.Text("Filters changed %s, %s run hours ago", s.day(*a.LifeStart), in.Number(a.HoursRun, 0))
		if !a.NoGauge {
			line += in.Count(a.Readings, "; %d reading counts since", "; %d readings count since")
		}
		add(line + ".")
	} else if a.Last != nil {
		add(in.Text("No change-out is on record: the age is guessed from the first reading."))
	}
	if !a.NoGauge {
		add(in.Text("Clean it is %s (%s); the limit is %s.", s.short(a.CleanPa), in.Retell(a.CleanBasis), s.short(a.LimitPa)))
		add(in.Text("Limit from %s.", s.inHabit(in.Retell(a.LimitSource))))
		add(in.Text("Compared with %s.", priorWords(a, in)))
	}
	if !a.Dates.Median.IsZero() {
		add(Outlook(a, s))
	}
	if neglect.Factor > 0 {
		add(in.Text("%s is past its limit: these filters load %s times as fast as usual. Change it first.", neglect.Primary, in.Number(neglect.Factor, 1)))
	}
	wide := narrowing(a, s)
	lines = append(lines, doubts(a, whyLines-len(lines)-min(len(wide), 1), in)...)
	for _, line := range append(wide, CostLine(a, in), firmLine(a, firm, in)) {
		if line != "" && len(lines) < whyLines {
			lines = append(lines, line)
		}
	}
	return strings.Join(lines, "\n")
}

// doubts are the open findings, a line each, in no more lines than there is room for;
// the rest is counted.
func doubts(a assess.Assessment, room int, in locale.Locale) (lines []string) {
	more := 0
	for _, f := range a.Findings {
		switch {
		case !f.Open:
		case len(lines) < room:
			lines = append(lines, in.Text("Doubt: %s", f.Text+" "+f.Check))
		default:
			more++
		}
	}
	if more > 0 && len(lines) > 0 {
		lines[len(lines)-1] += " " + in.Count(more, "%d more doubt is open.", "%d more doubts are open.")
	}
	return lines
}

func priorWords(a assess.Assessment, in locale.Locale) string {
	switch a.PriorLevel {
	case "bank":
		return in.Text("this bank's own earlier lives and %d finished lives in all", a.PriorLives)
	case "fleet":
		return in.Text("%d finished lives of such banks", a.PriorLives)
	}
	return in.Text("what is usual for such banks; no finished life is on record yet")
}

// firmLine says how firm the cheapest date is, where one is advised ahead of the
// limit.
func firmLine(a assess.Assessment, firm []energy.Sensitivity, in locale.Locale) string {
	if a.Condition == duelist.Overdue || a.Condition == duelist.Due || a.Condition == duelist.Doubtful || a.LeastCost.IsZero() {
		return ""
	}
	return Firm(in, firm, a.LeastCost.Before(a.Dates.Median))
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
func narrowing(a assess.Assessment, s Setting) []string {
	in := s.In
	var out []string
	add := func(line string) {
		if len(out) < 2 {
			out = append(out, line)
		}
	}
	switch {
	case a.NoGauge:
		return nil
	case a.Readings == 0:
		add(in.Text("The range is wide: no reading in this life yet. One reading would narrow it."))
	case a.Readings < 4:
		add(in.Count(a.Readings, "The range is wide: only %d reading in this life. More would narrow it.", "The range is wide: only %d readings in this life. More would narrow it."))
	case a.Condition == duelist.Unread && a.Last != nil:
		add(in.Text("The range is wide: the last reading is %s days old. One now would narrow it.", in.Number(s.Now.Sub(a.Last.At).Hours()/24, 0)))
	}
	switch {
	case a.Last == nil:
	case a.Last.HidesFaults():
		add(in.Text("The range is wider, and a torn filter would mostly go unseen: %s. Give the airflow with each reading.", in.Retell(a.Last.Basis)))
	case a.Last.Weight < 0.8:
		add(in.Text("The range is wider without measured airflow (%s). Give it with each reading.", in.Retell(a.Last.Basis)))
	}
	if a.LifeStart == nil {
		add(in.Text("The range is wider because the last change-out is not known. Its date would narrow it."))
	} else if a.LastSwap != nil && a.LastSwap.CleanPa == nil {
		add(in.Text("The range is wider without a reading right after the change-out. Take one next time."))
	}
	if a.PriorLevel == "class" {
		add(in.Text("The range is wider as long as no life of such filters has ended here. Those to come will narrow it."))
	}
	if len(out) == 0 && a.Condition != duelist.Doubtful && isWide(a.Dates, s.Now) {
		add(in.Text("The range is wide: readings scatter, and such filters do not all load alike. Each reading narrows it."))
	}
	return out
}
