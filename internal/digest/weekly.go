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
	for rows := 12; rows >= 1; rows-- {
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
	rows  int // shown of what is due; of other lists half as many
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

// half is how many rows lists other than the due list show.
func (w weekly) half() int { return max(2, (w.rows+1)/2) }

// under puts the first rows of a list under a title and says how many there are
// more, and where.
func under(title string, lines []string, rows int, where string) []string {
	switch {
	case len(lines) == 0:
		return nil
	case len(lines) > rows:
		lines = append(lines[:rows:rows], fmt.Sprintf("… and %d more: %s", len(lines)-rows, where))
	}
	return append([]string{title}, lines...)
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
	title := "To change (ranges hold 8 times in 10):"
	if wait.Amount.IsPositive() {
		title = fmt.Sprintf("To change (ranges hold 8 times in 10; a week's wait with all costs %s):", wait)
	}
	return under(title, lines, w.rows, "clogwise due")
}

func (w weekly) row(r duelist.Row) string {
	s := fmt.Sprintf("- %s, %s: %s", r.Name, strings.ToUpper(string(r.Condition)), strings.Join(w.reason(r), "; "))
	s = strings.TrimSuffix(s, ": ")
	if r.WaitWeek.Amount.IsPositive() {
		s += "; a week's wait " + r.WaitWeek.String()
	}
	if r.Deferred != nil && r.Deferred.After(w.b.Now) {
		s += "; put off to " + w.day(*r.Deferred) + ", " + clip(r.DeferReason, 50)
	}
	if r.Booked != nil {
		s += "; booked " + daytext.Moment(*r.Booked, w.loc)
	}
	return s
}

// reason is how the bank stands and why it is due: the resistance now, and the
// limit that governs with its date, past, or ahead with its range.
func (w weekly) reason(r duelist.Row) []string {
	h := w.b.Site.Units
	limit, byAge := units.Pressure(r.LimitPa, h), false
	if r.Governing != "" && r.Governing != units.ShortPressure(r.LimitPa, h) {
		limit, byAge = r.Governing, true
	}
	var out []string
	switch {
	case r.PaNow > 0 && byAge && r.LimitPa > 0:
		out = append(out, fmt.Sprintf("%s of %s", units.Pressure(r.PaNow, h), units.Pressure(r.LimitPa, h)))
	case r.PaNow > 0:
		out = append(out, units.Pressure(r.PaNow, h))
	}
	if r.Median.IsZero() {
		return out
	}
	likely := w.day(r.Median)
	if !r.Median.After(w.b.Now) {
		return append(out, "passed "+limit+" about "+likely)
	}
	if span := daytext.Span(r.P10, r.P90, w.b.Now, w.loc); span != likely {
		return append(out, "reaches "+limit+" "+span+", likely "+likely)
	}
	return append(out, "reaches "+limit+" "+likely)
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
		title = fmt.Sprintf("Visits proposed (%s together, %s one by one):", w.b.Plan.Cost, w.b.Plan.Separate)
	}
	return under(title, lines, w.half(), "type visits")
}

// few names the first of many.
func (w weekly) few(names []string) string {
	most := w.half()
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
		s += fmt.Sprintf(" (need %d", l.Need)
		if l.Stock > 0 {
			s += fmt.Sprintf(", in store %d", l.Stock)
		}
		if l.OnOrder > 0 {
			s += fmt.Sprintf(", on order %d", l.OnOrder)
		}
		s += ")"
		if l.Short > 0 {
			s += fmt.Sprintf("; hurry the delivery, %d short on %s", l.Short, w.day(l.ShortOn))
		}
		lines = append(lines, s)
	}
	return under("To order:", lines, w.half(), "type orders")
}

func (w weekly) doubts() []string {
	var lines []string
	for _, d := range w.b.Doubts {
		lines = append(lines, "- "+d.Name+": "+clip(d.Text+" "+d.Check, 110))
	}
	return under("Readings to check:", lines, w.half(), "clogwise due")
}

func (w weekly) owed() []string {
	var names []string
	for _, o := range w.b.Owed {
		s := o.Name + " (never read"
		if !o.Since.IsZero() {
			s = o.Name + " (" + w.day(o.Since)
		}
		if o.Why != "" {
			s += ", " + clip(o.Why, 40)
		}
		names = append(names, s+")")
	}
	if len(names) == 0 {
		return nil
	}
	line := fmt.Sprintf("Readings owed, %d: %s", len(names), w.few(names))
	if len(names) > w.half()+1 {
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
	return under("Change-outs to confirm:", lines, w.half(), "clogwise due")
}

// energy is what the dirt costs, with what it was reckoned by.
func (w weekly) energy() []string {
	var lines []string
	if w.b.KWhDay > 0 {
		lines = append(lines, "Dirt now, a day: "+figures(w.b.PerDay, w.b.KWhDay, w.b.KgDay)+".")
	}
	if w.b.OtherCurrency > 0 {
		lines = append(lines, fmt.Sprintf("Left out: %d banks still priced in another currency.", w.b.OtherCurrency))
	}
	if !w.since.From.IsZero() {
		if s := w.b.SpentSince(w.since.From); s.KWh > 0 {
			line := "Since " + w.day(w.since.From) + ", about: " + figures(s.Money, s.KWh, s.Kg)
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
			price += " (" + clip(t.Source, 60) + ")"
		}
	}
	if c.KgPerKWh > 0 {
		return fmt.Sprintf("%s; carbon %g kg/kWh (%s, %d).", price, c.KgPerKWh, clip(c.Source, 60), c.Year)
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
	lines := []string{"Done since " + w.day(s.From) + ": " + strings.Join(counts, ", ") + "."}
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
		line := "- " + w.reg.Name(d.Place) + ": " + clip(d.Note, 80)
		if d.Fixed {
			line += ", reported mended"
		}
		if d.By != "" {
			line += " (" + d.By + ")"
		}
		defects = append(defects, line)
	}
	lines = append(lines, under("Defects noted:", defects, w.half(), "clogwise export")...)
	for _, p := range s.Where {
		back = append(back, w.reg.Name(p))
	}
	if s.TakenBack > 0 {
		word := map[bool]string{true: "entry", false: "entries"}[s.TakenBack == 1]
		lines = append(lines, fmt.Sprintf("Taken back: %d %s (%s).", s.TakenBack, word, w.few(back)))
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

// clip keeps what people wrote to one line of so many characters.
func clip(s string, most int) string {
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}
