package digest

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"clogwise/internal/daytext"
	"clogwise/internal/duelist"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// maxDigest is the length, in characters, that a digest stays under: a minute's
// reading, and within what chat platforms take in one post.
const maxDigest = 3000

// Weekly is the weekly post to a site's supervisors: what is due and why, what
// waiting costs, visits, orders, doubts, readings owed, energy, and what was done.
// Sections without anything to tell are left out, and lists are cut with a count
// until the whole is short enough.
func Weekly(b Board, reg *plant.Register, s Since) string {
	var text string
	for rows := 10; rows >= 1; rows-- {
		w := weekly{b: b, reg: reg, since: s, rows: rows, loc: b.Site.Location()}
		text = w.text()
		if utf8.RuneCountInString(text) < maxDigest {
			return text
		}
	}
	return text
}

// weekly is one digest in the writing.
type weekly struct {
	b     Board
	reg   *plant.Register
	since Since
	rows  int // shown of each list
	loc   *time.Location
}

func (w weekly) text() string {
	if len(w.b.Rows) == 0 {
		return w.b.Site.Name + ": no filter banks in the register yet. Import them: clogwise import FILE"
	}
	parts := []string{w.head()}
	for _, section := range []func() []string{w.due, w.visits, w.orders, w.doubts, w.owed, w.unconfirmed, w.energy, w.done} {
		if lines := section(); len(lines) > 0 {
			parts = append(parts, strings.Join(lines, "\n"))
		}
	}
	return strings.Join(parts, "\n\n")
}

// head counts the banks by condition, worst first: it makes sense alone, as a
// notification.
func (w weekly) head() string {
	count := map[duelist.Condition]int{}
	for _, r := range w.b.Rows {
		count[r.Condition]++
	}
	var parts []string
	for _, c := range []duelist.Condition{duelist.Overdue, duelist.Due, duelist.DueSoon, duelist.Doubtful, duelist.Unread} {
		if count[c] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", count[c], c))
		}
	}
	fine := count[duelist.Clean] + count[duelist.Loading]
	if len(parts) == 0 {
		parts = append(parts, "nothing due")
	}
	return fmt.Sprintf("%s, %s: %s, %d fine.", w.b.Site.Name, w.b.Now.In(w.loc).Format("Mon 2 Jan"), strings.Join(parts, ", "), fine)
}

// cut keeps the first rows of a list and says how many there are more and where.
func (w weekly) cut(lines []string, where string) []string {
	if len(lines) <= w.rows {
		return lines
	}
	return append(lines[:w.rows:w.rows], fmt.Sprintf("… and %d more: %s", len(lines)-w.rows, where))
}

func (w weekly) under(title string, lines []string, where string) []string {
	if len(lines) == 0 {
		return nil
	}
	return append([]string{title}, w.cut(lines, where)...)
}

// due are the banks to change, in the due list's order.
func (w weekly) due() []string {
	var lines []string
	wait := units.Money{Currency: w.b.Site.Currency}
	for _, r := range w.b.Rows {
		switch r.Condition {
		case duelist.Overdue, duelist.Due, duelist.DueSoon:
			lines = append(lines, w.row(r))
			if sum, err := wait.Add(r.WaitWeek); err == nil {
				wait = sum
			}
		}
	}
	title := "To change (dates hold 8 times in 10):"
	if wait.Amount.IsPositive() {
		title = fmt.Sprintf("To change (dates hold 8 times in 10; a week's wait with all costs %s):", wait)
	}
	return w.under(title, lines, "clogwise due")
}

func (w weekly) row(r duelist.Row) string {
	s := fmt.Sprintf("- %s, %s", r.Name, strings.ToUpper(string(r.Condition)))
	if r.PaNow > 0 && r.LimitPa > 0 {
		s += fmt.Sprintf(": %s of %s", units.Pressure(r.PaNow, w.b.Site.Units), units.ShortPressure(r.LimitPa, w.b.Site.Units))
	}
	s += w.when(r)
	if r.WaitWeek.Amount.IsPositive() {
		s += fmt.Sprintf("; %s a week", r.WaitWeek)
	}
	if r.Deferred != nil && r.Deferred.After(w.b.Now) {
		s += "; put off to " + w.day(*r.Deferred) + ", " + clip(r.DeferReason)
	}
	if r.Booked != nil {
		s += "; booked " + daytext.Moment(*r.Booked, w.loc)
	}
	return s
}

// when is the governing limit with its date: past, or ahead with its range.
func (w weekly) when(r duelist.Row) string {
	limit := r.Governing
	if limit == "" {
		limit = "its limit"
	}
	switch {
	case r.Median.IsZero():
		return ""
	case !r.Median.After(w.b.Now):
		return "; " + limit + " reached about " + w.day(r.Median)
	}
	span, likely := daytext.Span(r.P10, r.P90, w.b.Now, w.loc), w.day(r.Median)
	if span == likely {
		return "; reaches " + limit + " " + likely
	}
	return "; reaches " + limit + " " + span + ", likely " + likely
}

func (w weekly) day(t time.Time) string { return daytext.Day(t, w.b.Now, w.loc) }

func (w weekly) visits() []string {
	if w.b.PlanErr != nil {
		return []string{"No visits could be planned: " + w.b.PlanErr.Error()}
	}
	var lines []string
	for _, v := range w.b.Plan.Visits {
		var names []string
		for _, j := range v.Jobs {
			n := w.reg.Name(j.Bank)
			switch {
			case j.Booked:
				n += " (booked)"
			case j.Late:
				n += " (late)"
			}
			names = append(names, n)
		}
		lines = append(lines, "- "+v.Day.In(w.loc).Format("Mon 2 Jan")+": "+w.few(names))
	}
	title := "Visits proposed:"
	if w.b.Plan.Separate.Amount.GreaterThan(w.b.Plan.Cost.Amount) {
		title = fmt.Sprintf("Visits proposed (%s; one by one %s):", w.b.Plan.Cost, w.b.Plan.Separate)
	}
	return w.under(title, lines, "type visits")
}

// few names the first of many.
func (w weekly) few(names []string) string {
	most := max(2, w.rows-2)
	if len(names) > most+1 {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
	}
	return strings.Join(names, ", ")
}

func (w weekly) orders() []string {
	var lines []string
	for _, l := range w.b.Orders {
		var s string
		switch {
		case l.Order > 0 && l.Overdue:
			s = fmt.Sprintf("- %d × %s TODAY, the latest date was %s", l.Order, l.Item, w.day(l.LatestOrder))
		case l.Order > 0:
			s = fmt.Sprintf("- %d × %s by %s", l.Order, l.Item, w.day(l.LatestOrder))
		case l.Short > 0:
			s = "- " + l.Item
		default:
			continue
		}
		s += fmt.Sprintf(" (need %d, in store %d, on order %d)", l.Need, l.Stock, l.OnOrder)
		if l.Short > 0 {
			s += fmt.Sprintf("; hurry the delivery, %d short on %s", l.Short, w.day(l.ShortOn))
		}
		lines = append(lines, s)
	}
	return w.under("To order:", lines, "type orders")
}

func (w weekly) doubts() []string {
	var lines []string
	for _, d := range w.b.Doubts {
		lines = append(lines, "- "+d.Name+": "+clip(d.Text+" "+d.Check))
	}
	return w.under("Readings to check:", lines, "clogwise due")
}

func (w weekly) owed() []string {
	var names []string
	for _, o := range w.b.Owed {
		s := o.Name + " (never read"
		if !o.Since.IsZero() {
			s = o.Name + " (" + w.day(o.Since)
		}
		if o.Why != "" {
			s += ", " + clip(o.Why)
		}
		names = append(names, s+")")
	}
	if len(names) == 0 {
		return nil
	}
	line := fmt.Sprintf("Readings owed, %d: %s", len(names), w.few(names))
	if len(names) > max(2, w.rows-2)+1 {
		line += ": type owed"
	}
	return []string{line + "."}
}

// unconfirmed are change-outs whose particulars nobody has given yet.
func (w weekly) unconfirmed() []string {
	var lines []string
	for _, a := range w.b.Assessed {
		if !a.Unconfirmed || a.LastSwap == nil {
			continue
		}
		var lacks []string
		if a.LastSwap.Count == nil {
			lacks = append(lacks, "count")
		}
		if a.LastSwap.CleanPa == nil {
			lacks = append(lacks, "clean reading")
		}
		s := "- " + a.Name + ", " + w.day(a.LastSwap.At)
		if a.LastSwap.Who != "" {
			s += ", " + a.LastSwap.Who
		}
		if len(lacks) > 0 {
			s += ": " + and(lacks) + " missing"
		}
		lines = append(lines, s)
	}
	return w.under("Change-outs to confirm:", lines, "clogwise due")
}

// energy is what the dirt costs, with what it was reckoned by.
func (w weekly) energy() []string {
	var lines []string
	if w.b.KWhDay > 0 {
		lines = append(lines, "Dirt now costs "+figures(w.b.PerDay, w.b.KWhDay, w.b.KgDay)+" a day.")
	}
	if w.b.OtherCurrency > 0 {
		lines = append(lines, fmt.Sprintf("Left out: %d banks still priced in another currency.", w.b.OtherCurrency))
	}
	if !w.since.From.IsZero() {
		if s := w.b.SpentSince(w.since.From); s.KWh > 0 {
			line := "Since " + w.day(w.since.From) + " it cost about " + figures(s.Money, s.KWh, s.Kg)
			if s.LeftOut > 0 {
				line += fmt.Sprintf(", %d banks not counted", s.LeftOut)
			}
			lines = append(lines, line+".")
		}
	}
	if len(lines) > 0 {
		lines = append(lines, w.basis())
	}
	return append(lines, w.air()...)
}

func figures(m units.Money, kwh, kg float64) string {
	s := fmt.Sprintf("%s kWh", number(kwh))
	if !m.Amount.IsZero() {
		s = m.String() + ", " + s
	}
	if kg > 0 {
		s += fmt.Sprintf(", %s kgCO2e", number(kg))
	}
	return s
}

func number(x float64) string {
	if x < 10 {
		return fmt.Sprintf("%.1f", x)
	}
	return fmt.Sprintf("%.0f", x)
}

// basis names the tariff and the carbon factor.
func (w weekly) basis() string {
	t, c := w.b.Site.Tariff, w.b.Site.Carbon
	price := "No tariff given, so no money"
	if !t.PerKWh.IsZero() || len(t.Bands) > 0 {
		price = fmt.Sprintf("Tariff %s %s/kWh", t.PerKWh, w.b.Site.Currency)
		if len(t.Bands) > 0 {
			price += ", other prices at set hours"
		}
		if t.Source != "" {
			price += " (" + clip(t.Source) + ")"
		}
	}
	if c.KgPerKWh > 0 {
		return fmt.Sprintf("%s; carbon %g kg/kWh (%s, %d).", price, c.KgPerKWh, clip(c.Source), c.Year)
	}
	return price + "; no carbon factor given."
}

// air names the units whose fans hold their speed and so lose air.
func (w weekly) air() []string {
	const worthTelling = 5 // %
	var names []string
	for _, a := range w.b.Assessed {
		if a.Energy.AirLostPct >= worthTelling {
			names = append(names, fmt.Sprintf("%s %.0f %%", a.Name, a.Energy.AirLostPct))
		}
	}
	if len(names) == 0 {
		return nil
	}
	return []string{"Air lost to dirt (fan speed held): " + w.few(names) + "."}
}

// done is what happened since the digest before.
func (w weekly) done() []string {
	s := w.since
	if s.From.IsZero() {
		return nil
	}
	counts := []string{plural(s.Readings, "reading"), plural(len(s.Swaps), "change-out")}
	if s.Begun > 0 || s.Finished > 0 {
		counts = append(counts, fmt.Sprintf("%s begun, %d finished", plural(s.Begun, "job"), s.Finished))
	}
	if s.Corrected > 0 {
		counts = append(counts, fmt.Sprintf("%d corrected", s.Corrected))
	}
	lines := []string{"Since " + w.day(s.From) + ": " + strings.Join(counts, ", ") + "."}
	var swaps, defects, back []string
	for _, d := range s.Swaps {
		n := w.reg.Name(d.Bank)
		if d.Who != "" {
			n += " (" + d.Who + ", " + w.day(d.At) + ")"
		}
		swaps = append(swaps, n)
	}
	if len(swaps) > 0 {
		lines = append(lines, "Changed: "+w.few(swaps)+".")
	}
	for _, d := range s.Defects {
		line := "- " + w.reg.Name(d.Place) + ": " + clip(d.Note)
		if d.Fixed {
			line += ", reported mended"
		}
		if d.By != "" {
			line += " (" + d.By + ")"
		}
		defects = append(defects, line)
	}
	lines = append(lines, w.under("Defects noted:", defects, "clogwise export")...)
	for _, p := range s.Where {
		back = append(back, w.reg.Name(p))
	}
	if s.TakenBack > 0 {
		lines = append(lines, fmt.Sprintf("Taken back, %d: %s.", s.TakenBack, w.few(back)))
	}
	return lines
}

func plural(n int, word string) string {
	switch n {
	case 0:
		return "no " + word + "s"
	case 1:
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// clip keeps what people wrote to one short line.
func clip(s string) string {
	const most = 110
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}
