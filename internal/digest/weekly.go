package digest

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"clogwise/internal/duelist"
	"clogwise/internal/locale"
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
		w := weekly{b: b, reg: reg, since: s, rows: rows, loc: b.Site.Location(), in: locale.Of(b.Site.Language)}
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
	in    locale.Locale
}

func (w weekly) text() string {
	if len(w.b.Rows) == 0 && w.b.Behind == 0 {
		return w.in.Text("%s: no filter banks in the register yet. Import them: clogwise import FILE", w.b.Site.Name)
	}
	parts := []string{w.head()}
	if w.b.Behind > 0 {
		parts[0] += " " + Behind(w.b, w.in)
	}
	for _, section := range []func() []string{w.due, w.missed, w.visits, w.orders, w.doubts, w.owed, w.unconfirmed, w.energy, w.done} {
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
			parts = append(parts, fmt.Sprintf("%d %s", count[c], c.Words(w.in)))
		}
	}
	fine := count[duelist.Clean] + count[duelist.Loading]
	if len(parts) == 0 {
		parts = append(parts, w.in.Text("nothing due"))
	}
	return w.in.Text("%s, %s: %s, %d fine.", w.b.Site.Name, w.in.Date(w.b.Now.In(w.loc), "Mon 2 Jan"), strings.Join(parts, ", "), fine)
}

// Behind says how many banks are in no list because they are not worked out yet.
func Behind(b Board, in locale.Locale) string {
	return in.Count(b.Behind, "%d bank is not worked out yet and in no list here; ask again.", "%d banks are not worked out yet and in no list here; ask again.")
}

// half is how many rows lists other than the due list show.
func (w weekly) half() int { return max(2, (w.rows+1)/2) }

// under puts the first rows of a list under a title and says how many there are
// more, and where.
func (w weekly) under(title string, lines []string, rows int, where string) []string {
	switch {
	case len(lines) == 0:
		return nil
	case len(lines) > rows:
		lines = append(lines[:rows:rows], w.in.Text("… and %d more: %s", len(lines)-rows, where))
	}
	return append([]string{title}, lines...)
}

// due are the banks to change, in the due list's order.
func (w weekly) due() []string {
	var lines []string
	wait, atMost := units.Money{Currency: w.b.Site.Currency}, false
	for _, r := range w.b.Rows {
		switch r.Condition {
		case duelist.Overdue, duelist.Due, duelist.DueSoon:
			lines = append(lines, w.row(r))
			if sum, err := wait.Add(r.WaitWeek); err == nil {
				wait = sum
				atMost = atMost || r.AtMost && r.WaitWeek.Amount.IsPositive()
			}
		}
	}
	title := w.in.Text("To change (ranges hold 8 times in 10):")
	switch {
	case wait.Amount.IsPositive() && atMost:
		title = w.in.Text("To change (ranges hold 8 times in 10; a week's wait with all costs at most %s):", w.in.Money(wait))
	case wait.Amount.IsPositive():
		title = w.in.Text("To change (ranges hold 8 times in 10; a week's wait with all costs %s):", w.in.Money(wait))
	}
	return w.under(title, lines, w.rows, "clogwise due")
}

func (w weekly) row(r duelist.Row) string {
	s := fmt.Sprintf("- %s, %s: %s", r.Name, strings.ToUpper(r.Condition.Words(w.in)), strings.Join(w.reason(r), "; "))
	s = strings.TrimSuffix(s, ": ")
	switch {
	case r.WaitWeek.Amount.IsPositive() && r.AtMost:
		s += w.in.Text("; a week's wait at most %s", w.in.Money(r.WaitWeek))
	case r.WaitWeek.Amount.IsPositive():
		s += w.in.Text("; a week's wait %s", w.in.Money(r.WaitWeek))
	}
	if r.Deferred != nil && r.Deferred.After(w.b.Now) {
		s += w.in.Text("; put off to %s, %s", w.day(*r.Deferred), clip(r.DeferReason, 50))
	}
	switch start, booked, missed := r.BookedOn(w.b.Now, w.loc); {
	case missed:
		s += w.in.Text("; was booked for %s, not reported done", w.in.Date(start.In(w.loc), "Mon 2 Jan"))
	case booked:
		s += w.in.Text("; booked %s", w.in.Moment(start, w.loc))
	}
	return s
}

// reason is how the bank stands and why it is due: the resistance now, and the
// limit that governs with its date, past, or ahead with its range.
func (w weekly) reason(r duelist.Row) []string {
	h := w.b.Site.Units
	limit, byAge := w.in.Pressure(r.LimitPa, h), false
	if r.Governing != "" && r.Governing != units.ShortPressure(r.LimitPa, h) {
		limit, byAge = w.in.Figures(w.in.Retell(r.Governing)), true
	}
	var out []string
	if r.ReadPast(w.b.Now, h) {
		return []string{w.in.Text("read past %s", w.in.Pressure(r.LimitPa, h))}
	}
	switch {
	case r.ReadPa > 0: // nobody read what was expected
		out = append(out, w.in.Text("read %s, not counted", w.in.Pressure(r.ReadPa, h)))
	case r.PaNow > 0 && byAge && r.LimitPa > 0:
		out = append(out, w.in.Text("%s of %s", w.in.Pressure(r.PaNow, h), w.in.Pressure(r.LimitPa, h)))
	case r.PaNow > 0:
		out = append(out, w.in.Pressure(r.PaNow, h))
	}
	if r.Median.IsZero() {
		return out
	}
	likely := w.day(r.Median)
	if !r.Median.After(w.b.Now) {
		return append(out, w.in.Text("passed %s about %s", limit, likely))
	}
	if span := w.in.Span(r.P10, r.P90, w.b.Now, w.loc); span != likely && !byAge {
		return append(out, w.in.Text("reaches %s %s, likely %s", limit, span, likely))
	}
	return append(out, w.in.Text("reaches %s %s", limit, likely))
}

func (w weekly) day(t time.Time) string { return w.in.Day(t, w.b.Now, w.loc) }

func (w weekly) visits() []string {
	if w.b.PlanErr != nil {
		return []string{w.in.Text("No visits could be planned: %s", w.in.Retell(w.b.PlanErr.Error()))}
	}
	var lines []string
	for _, v := range w.b.Plan.Visits {
		var names []string
		for _, j := range v.Jobs {
			n := w.reg.Name(j.Bank)
			switch {
			case j.Booked:
				n += w.in.Text(" (booked)")
			case j.Late:
				n += w.in.Text(" (late)")
			}
			if f, lacks := w.b.Lacking(j, v.Day); lacks {
				n += " " + Lacks(w.in, f, w.day(f.Day))
			}
			names = append(names, n)
		}
		lines = append(lines, "- "+w.in.Date(v.Day.In(w.loc), "Mon 2 Jan")+": "+w.few(names))
	}
	title := w.in.Text("Visits proposed:")
	if w.b.Plan.Separate.Amount.GreaterThan(w.b.Plan.Cost.Amount) {
		title = w.in.Text("Visits proposed (%s together, %s one by one):", w.in.Money(w.b.Plan.Cost), w.in.Money(w.b.Plan.Separate))
	}
	return w.under(title, lines, w.half(), w.in.Text("type `visits`"))
}

// few names the first of many.
func (w weekly) few(names []string) string {
	most := w.half()
	if len(names) > most+1 {
		return w.in.Text("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
	}
	return strings.Join(names, ", ")
}

func (w weekly) orders() []string {
	var lines []string
	for _, l := range w.b.Orders {
		var s string
		switch {
		case l.Order > 0 && l.Overdue:
			s = w.in.Text("- %d × %s TODAY, the latest date was %s", l.Order, l.Item, w.day(l.LatestOrder))
		case l.Order > 0:
			s = w.in.Text("- %d × %s by %s", l.Order, l.Item, w.day(l.LatestOrder))
		case l.Short > 0:
			s = "- " + l.Item
		default:
			continue
		}
		s += w.in.Text(" (need %d", l.Need)
		if l.Stock > 0 {
			s += w.in.Text(", in store %d", l.Stock)
		}
		if l.OnOrder > 0 {
			s += w.in.Text(", on order %d", l.OnOrder)
		}
		s += ")"
		if l.Short > 0 {
			s += w.in.Text("; hurry the delivery, %d short on %s", l.Short, w.day(l.ShortOn))
		}
		lines = append(lines, s)
	}
	for _, a := range w.b.Wishes {
		lines = append(lines, w.in.Text("- asked for: %d × %s (%s, %s, #%d)", a.Count, a.Item, a.By, w.day(a.At), a.Seq))
	}
	return w.under(w.in.Text("To order:"), lines, w.half(), w.in.Text("type `orders`"))
}

func (w weekly) doubts() []string {
	var lines []string
	for _, d := range w.b.Doubts {
		// What to check stands whole: it is what somebody is to do. The longest is
		// far shorter than its bound.
		lines = append(lines, "- "+d.Name+": "+clip(d.Text, 110)+" "+clip(d.Check, 200))
	}
	return w.under(w.in.Text("Readings to check:"), lines, w.half(), "clogwise due")
}

func (w weekly) owed() []string {
	var names []string
	for _, o := range w.b.Owed {
		since := w.in.Text("never read")
		if !o.Since.IsZero() {
			since = w.day(o.Since)
		}
		s := o.Name + " (" + since
		if o.Why != "" {
			s += ", " + clip(o.Why, 40)
		}
		names = append(names, s+")")
	}
	if len(names) == 0 {
		return nil
	}
	line := w.in.Text("Readings owed, %d: %s", len(names), w.few(names))
	if len(names) > w.half()+1 {
		line += w.in.Text(": type `owed`")
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
			lacks = append(lacks, w.in.Text("count"))
		}
		if a.LastSwap.CleanPa == nil {
			lacks = append(lacks, w.in.Text("clean reading"))
		}
		s := "- " + a.Name + ", " + w.day(a.LastSwap.At)
		if a.LastSwap.Who != "" {
			s += ", " + a.LastSwap.Who
		}
		if len(lacks) > 0 {
			s += w.in.Text(": %s missing", w.in.And(lacks))
		}
		lines = append(lines, s)
	}
	return w.under(w.in.Text("Change-outs to confirm:"), lines, w.half(), "clogwise due")
}

// energy is what the dirt costs, with what it was reckoned by.
func (w weekly) energy() []string {
	var lines []string
	if w.b.KWhDay > 0 {
		lines = append(lines, w.in.Text("Dirt now, a day: %s.", w.figures(w.b.PerDay, w.b.KWhDay, w.b.KgDay)))
	}
	if w.b.Unproven > 0 && !w.b.AtMost.Amount.IsZero() {
		lines = append(lines, w.in.Count(w.b.Unproven, "Not counted: %d bank behind a fan whose control is not known; at most %s a day.", "Not counted: %d banks behind fans whose control is not known; at most %s a day.", w.in.Money(w.b.AtMost)))
	}
	if w.b.OtherCurrency > 0 {
		lines = append(lines, w.in.Count(w.b.OtherCurrency, "Left out: %d bank still priced in another currency.", "Left out: %d banks still priced in another currency."))
	}
	month := MonthBefore(w.b.Now)
	wasted, saved := w.b.SpentSince(month), w.b.SavedSince(month)
	if wasted.KWh > 0 {
		line := w.in.Text("Since %s, about: %s wasted on dirt", w.day(month), w.figures(wasted.Money, wasted.KWh, wasted.Kg))
		if wasted.LeftOut > 0 {
			line += w.in.Count(wasted.LeftOut, ", %d bank not counted", ", %d banks not counted")
		}
		if saved.KWh > 0 {
			line += w.in.Count(saved.Swaps, "; %[2]s saved by %[1]d change-out", "; %[2]s saved by %[1]d change-outs", w.figures(saved.Money, saved.KWh, saved.Kg))
		}
		lines = append(lines, line+".")
	}
	if len(lines) > 0 {
		lines = append(lines, w.basis())
	}
	return append(append(lines, w.pairs()...), w.air()...)
}

// pairs are those where another number of primaries for each secondary costs
// clearly less.
func (w weekly) pairs() (lines []string) {
	const most = 3
	for i, p := range Worthwhile(w.since.Pairs) {
		if i == most {
			break
		}
		saved, _ := p.Saves()
		lines = append(lines, w.in.Text("%s: primaries for each secondary, %d instead of about %d, would save %s a year: type `pairs %s`",
			p.Tag, p.Choices[p.Best].K, p.Choices[p.Now].K, w.in.Money(saved), p.Tag))
	}
	return lines
}

func (w weekly) figures(m units.Money, kwh, kg float64) string {
	s := w.number(kwh) + " kWh"
	if !m.Amount.IsZero() {
		s = w.in.Money(m) + ", " + s
	}
	if kg > 0 {
		s += ", " + w.number(kg) + " kgCO2e"
	}
	return s
}

func (w weekly) number(x float64) string {
	if x < 10 {
		return w.in.Number(x, 1)
	}
	return w.in.Number(x, 0)
}

// basis names the tariff and the carbon factor.
func (w weekly) basis() string {
	t, c := w.b.Site.Tariff, w.b.Site.Carbon
	price := w.in.Text("No tariff given, so no money")
	if !t.PerKWh.IsZero() || len(t.Bands) > 0 {
		price = w.in.Text("Tariff %s %s/kWh", w.in.Figures(t.PerKWh.String()), w.b.Site.Currency)
		if len(t.Bands) > 0 {
			price += w.in.Text(", other prices at set hours")
		}
		if t.Source != "" {
			price += " (" + clip(t.Source, 60) + ")"
		}
	}
	if c.KgPerKWh > 0 {
		return w.in.Text("%s; carbon %s kg/kWh (%s, %d).", price, w.in.Figures(fmt.Sprint(c.KgPerKWh)), clip(c.Source, 60), c.Year)
	}
	return w.in.Text("%s; no carbon factor given.", price)
}

// air names the units whose fans hold their speed and so lose air.
func (w weekly) air() []string {
	const worthTelling = 5 // %
	var names []string
	for _, a := range w.b.Assessed {
		if a.Energy.AirLostPct >= worthTelling && a.Condition != duelist.Doubtful { // its figures go by the forecast that readings contradict
			names = append(names, fmt.Sprintf("%s %.0f %%", a.Name, a.Energy.AirLostPct))
		}
	}
	if len(names) == 0 {
		return nil
	}
	return []string{w.in.Text("Air lost to dirt (fan speed held): %s.", w.few(names))}
}

// done is what happened since the digest before.
func (w weekly) done() []string {
	s := w.since
	if s.From.IsZero() {
		return nil
	}
	counts := []string{w.readings(s.Readings), w.changeOuts(len(s.Swaps))}
	if s.Begun > 0 || s.Finished > 0 {
		counts = append(counts, w.in.Text("%s begun, %d finished", w.jobs(s.Begun), s.Finished))
	}
	if s.Corrected > 0 {
		counts = append(counts, w.in.Text("%d corrected", s.Corrected))
	}
	lines := []string{w.in.Text("Done since %s: %s.", w.day(s.From), strings.Join(counts, ", "))}
	var swaps, defects, back []string
	for _, d := range s.Swaps {
		n := w.reg.Name(d.Bank)
		if d.Who != "" {
			n += " (" + d.Who + ", " + w.day(d.At) + ")"
		}
		swaps = append(swaps, n)
	}
	if len(swaps) > 0 {
		lines = append(lines, w.in.Text("Changed: %s.", w.few(swaps)))
	}
	for _, d := range s.Defects {
		line := "- " + w.reg.Name(d.Place) + ": " + clip(d.Note, 80)
		if d.Fixed {
			line += w.in.Text(", reported mended")
		}
		if d.By != "" {
			line += " (" + d.By + ")"
		}
		defects = append(defects, line)
	}
	lines = append(lines, w.under(w.in.Text("Defects noted:"), defects, w.half(), "clogwise export")...)
	for _, p := range s.Where {
		back = append(back, w.reg.Name(p))
	}
	if s.TakenBack > 0 {
		lines = append(lines, w.in.Count(s.TakenBack, "Taken back: %d entry (%s).", "Taken back: %d entries (%s).", w.few(back)))
	}
	return lines
}

func (w weekly) readings(n int) string {
	if n == 0 {
		return w.in.Text("no readings")
	}
	return w.in.Count(n, "%d reading", "%d readings")
}

func (w weekly) changeOuts(n int) string {
	if n == 0 {
		return w.in.Text("no change-outs")
	}
	return w.in.Count(n, "%d change-out", "%d change-outs")
}

func (w weekly) jobs(n int) string {
	if n == 0 {
		return w.in.Text("no jobs")
	}
	return w.in.Count(n, "%d job", "%d jobs")
}

// clip keeps what people wrote to one line of so many characters.
func clip(s string, most int) string {
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}
