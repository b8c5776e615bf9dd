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
	"clogwise/internal/entry"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// NotUnderstood answers somebody who spoke to the bot and was not understood.
func NotUnderstood() string {
	return "I did not understand that; nothing was saved. Write for example: AHU-3 bag 145 Pa. Or: due, help."
}

// NothingSaved appends to a question that nothing was saved yet.
func NothingSaved(question string) string {
	if strings.Contains(strings.ToLower(question), "not saved") || strings.Contains(strings.ToLower(question), "nothing saved") ||
		strings.Contains(strings.ToLower(question), "nothing closed") {
		return question
	}
	return question + " Nothing saved yet."
}

// AskWithoutMemory is a question whose answer cannot be waited for: it gives the
// whole messages to choose from.
func AskWithoutMemory(a phrase.Asking) string {
	var b strings.Builder
	b.WriteString(a.Text)
	for _, c := range a.Choices {
		b.WriteString("\nType: " + c.Means)
	}
	return b.String()
}

// EditUnclear says that an edit could not be read and the old entry stays.
func EditUnclear(question string) string {
	return "Your edit is unclear, so what was saved before still stands. " + question
}

// StaleButton answers a button that no longer means anything.
func StaleButton() string {
	return "That button is out of date; nothing was changed. Type what you want to do."
}

// AlreadyAnswered answers a second press.
func AlreadyAnswered() string {
	return "That was answered already; it is saved once. undo takes it back."
}

// NothingToUndo answers an undo that finds nothing.
func NothingToUndo() string {
	return "Nothing of yours to take back here. undo and a number takes back one entry, for example: undo 4127"
}

// NoSuchEntry answers an undo of an unknown number.
func NoSuchEntry(seq int64) string {
	return fmt.Sprintf("No entry #%d in this channel; nothing was changed. The number stands at the end of each reply.", seq)
}

// NotYours refuses to take back somebody else's entry.
func NotYours(x entry.Entry, s plant.Site) string {
	return fmt.Sprintf("#%d was recorded by %s, so it stays. They can take it back, or a supervisor: %s.", x.Seq, x.By, join(s.Supervisors))
}

// NotAllowed says who can record what the person may not.
func NotAllowed(k entry.Kind, s plant.Site) string {
	who := "the crew: " + join(s.Crew)
	switch k {
	case entry.KindBooking, entry.KindDefer, entry.KindStock, entry.KindOrder, entry.KindRegister:
		who = "a supervisor: " + join(s.Supervisors)
	}
	return fmt.Sprintf("Not saved: %s is for %s.", kindWords(k), who)
}

func kindWords(k entry.Kind) string {
	switch k {
	case entry.KindBooking:
		return "booking a change-out"
	case entry.KindDefer:
		return "putting a date off"
	case entry.KindStock:
		return "counting stock"
	case entry.KindOrder:
		return "placing an order"
	case entry.KindReading:
		return "recording a reading"
	case entry.KindSwap:
		return "recording a change-out"
	}
	return "recording this"
}

// IsSafety reports whether a refusal must reach a supervisor.
func IsSafety(code string) bool {
	return code == phrase.RefuseRunning || code == phrase.RefuseLock || code == phrase.RefuseShorten
}

// SafetyAlert tells a supervisor what was refused.
func SafetyAlert(who, code string) string {
	what := map[string]string{
		phrase.RefuseRunning: "asked for steps for work with the fan running",
		phrase.RefuseLock:    "asked about removing somebody else's lock",
		phrase.RefuseShorten: "asked to shorten the safe-work steps",
	}[code]
	return who + " " + what + ". I gave none. Please call them before any work starts."
}

// Alert is what the supervisors are told at once about an entry, if anything.
func Alert(reg *plant.Register, x entry.Entry) (text string, urgent bool) {
	name := reg.Name(x.Place)
	switch b := x.Body.(type) {
	case entry.OverRange:
		return name + ": gauge at its top, reported by " + x.By + ". Filters may be far past their limit; look today.", true
	case entry.Defect:
		if b.Fixed {
			return "", false
		}
		return name + ": " + b.Note + " (reported by " + x.By + ").", true
	}
	return "", false
}

// OrderHint answers a wish to order that stood beside a reading.
func OrderHint(q *phrase.Query) string {
	if q.Kind == phrase.QueryOrders {
		return "The order list says what is short: type orders."
	}
	return ""
}

// rowsShown bounds a list in chat; the rest is counted.
const rowsShown = 12

// Due is the due list of a site: what to change, by when, and what waiting costs.
func Due(b digest.Board, within time.Duration) string {
	loc, h := b.Site.Location(), b.Site.Units
	var lines []string
	quiet := 0
	for _, r := range b.Rows {
		act := r.ActOn(b.Now)
		soon := within > 0 && !act.IsZero() && act.Before(b.Now.Add(within))
		switch r.Condition {
		case duelist.Clean, duelist.Loading:
			if !soon {
				quiet++
				continue
			}
		}
		lines = append(lines, DueLine(r, h, b.Now, loc))
	}
	head := fmt.Sprintf("%s, %s: %d to look at, %d fine.", b.Site.Name, b.Now.In(loc).Format("Mon 2 Jan"), len(lines), quiet)
	if len(b.Rows) == 0 {
		return b.Site.Name + ": no banks in the register yet. Import one: clogwise import FILE"
	}
	if len(lines) > rowsShown {
		rest := len(lines) - rowsShown
		lines = append(lines[:rowsShown], fmt.Sprintf("… and %d more: clogwise due shows all.", rest))
	}
	return strings.Join(append([]string{head}, lines...), "\n")
}

// DueLine is one row of the due list.
func DueLine(r duelist.Row, h units.Habit, now time.Time, loc *time.Location) string {
	s := strings.ToUpper(string(r.Condition)) + "  " + r.Name
	if r.PaNow > 0 && r.LimitPa > 0 {
		s += fmt.Sprintf(" %s of %s", units.ShortPressure(r.PaNow, h), units.ShortPressure(r.LimitPa, h))
	}
	switch {
	case r.Condition == duelist.Overdue && !r.Median.IsZero() && r.Median.Before(now):
		s += ", since about " + daytext.Day(r.Median, now, loc)
	case r.Condition == duelist.Unread && !r.LastRead.IsZero():
		s += ", last read " + daytext.Day(r.LastRead, now, loc)
	case r.Condition == duelist.Unread:
		s += ", never read"
	case r.Condition == duelist.Due:
	case r.ByAge(h) && !r.Median.IsZero():
		s += ", " + r.Governing + " " + daytext.Day(r.Median, now, loc)
	case !r.Median.IsZero():
		s += ", " + daytext.Span(r.P10, r.P90, now, loc) + ", likely " + daytext.Day(r.Median, now, loc)
	}
	if r.Deferred != nil && r.Deferred.After(now) {
		s += ", put off to " + daytext.Day(*r.Deferred, now, loc) + " (" + r.DeferReason + ")"
	}
	if r.Booked != nil {
		s += ", booked " + daytext.Moment(*r.Booked, loc)
		if r.Deferred != nil && r.Deferred.After(*r.Booked) {
			s += " all the same"
		}
	}
	if r.WaitWeek.Amount.IsPositive() && r.Condition != duelist.Doubtful && r.Condition != duelist.Unread {
		s += "; a week's wait costs " + r.WaitWeek.String()
	}
	if len(r.Findings) > 0 && (r.Condition == duelist.Doubtful) {
		s += ". " + r.Findings[0]
	}
	return s
}

// How answers "how is …" for one or several banks.
func How(as []assess.Assessment, reg *plant.Register, now time.Time) string {
	if len(as) == 0 {
		return "Nothing known of it yet: no reading has been recorded."
	}
	var lines []string
	for _, a := range as {
		site, _ := reg.Site(a.Bank.Site())
		loc, h := site.Location(), site.Units
		switch {
		case a.Last == nil:
			lines = append(lines, fmt.Sprintf("%s: %s. No reading in this filter life.", a.Name, a.Condition))
		default:
			lines = append(lines, fmt.Sprintf("%s: %s, %s on %s (expected now %s at design airflow).", a.Name, a.Condition,
				units.Pressure(a.Last.Pa, h), daytext.Day(a.Last.At, now, loc), units.ShortPressure(a.NowPa, h)))
		}
		if len(as) > 1 {
			lines[len(lines)-1] += " " + ShortOutlook(a, h, now, loc)
			continue
		}
		lines = append(lines, Outlook(a, h, now, loc))
		if c := CostLine(a); c != "" {
			lines = append(lines, c)
		}
		if a.LastSwap != nil {
			lines = append(lines, fmt.Sprintf("Last changed %s, %.0f h run since.", daytext.Day(a.LastSwap.At, now, loc), a.HoursRun))
		}
		for _, f := range a.Findings {
			if f.Open {
				lines = append(lines, "Doubt: "+f.Text+" "+f.Check)
				break
			}
		}
	}
	return strings.Join(lines, "\n")
}

// Cost answers what dirt costs. firm, from assess.Firmness, may lack banks.
func Cost(as []assess.Assessment, firm map[plant.BankID][]energy.Sensitivity, reg *plant.Register, now time.Time) string {
	var lines []string
	for _, a := range as {
		site, _ := reg.Site(a.Bank.Site())
		e := a.Energy
		if e.Held != string(plant.FlowHeld) {
			if c := CostLine(a); c != "" {
				lines = append(lines, a.Name+": "+c)
			} else {
				lines = append(lines, a.Name+": no saving can be claimed; the fan does not hold its airflow.")
			}
			continue
		}
		lines = append(lines, fmt.Sprintf("%s: %s a day now (%.1f kWh, %.1f kgCO2e); %s in this life. Waiting a week more costs %s. A change-out costs %s; cheapest date %s.",
			a.Name, e.MoneyPerDay, e.KWhPerDay, e.KgPerDay, e.MoneyLife, e.WaitWeek, e.ChangeCost, dayOr(a.LeastCost, now, site.Location(), "not foreseen")))
		if s := IfWrong(a, firm[a.Bank]); s != "" {
			lines[len(lines)-1] += "\n  " + s
		}
	}
	if len(lines) == 0 {
		return "Nothing known of it yet: no reading has been recorded."
	}
	if len(lines) > rowsShown {
		lines = append(lines[:rowsShown], fmt.Sprintf("… and %d more.", len(as)-rowsShown))
	}
	return strings.Join(lines, "\n")
}

func dayOr(t, now time.Time, loc *time.Location, none string) string {
	if t.IsZero() {
		return none
	}
	if t.Before(now) {
		return daytext.Day(t, now, loc) + ", gone by"
	}
	return daytext.Day(t, now, loc)
}

// Owed lists the readings that are late.
func Owed(b digest.Board) string {
	if len(b.Owed) == 0 {
		return "No readings owed at " + b.Site.Name + "."
	}
	lines := []string{fmt.Sprintf("%s owed at %s:", plural(len(b.Owed), "reading", "readings"), b.Site.Name)}
	for i, o := range b.Owed {
		if i == rowsShown {
			lines = append(lines, fmt.Sprintf("… and %d more.", len(b.Owed)-i))
			break
		}
		s := o.Name
		if o.Since.IsZero() {
			s += ", never read"
		} else {
			s += ", last " + daytext.Day(o.Since, b.Now, b.Site.Location())
		}
		if o.Why != "" {
			s += " (" + o.Why + ")"
		}
		lines = append(lines, s)
	}
	return strings.Join(lines, "\n")
}

// Stock lists what the store holds.
func Stock(b digest.Board, only []string) string {
	lines := []string{"In store at " + b.Site.Name + ":"}
	for _, s := range b.Stock {
		if len(only) == 0 || contains(only, s.Item) {
			lines = append(lines, fmt.Sprintf("%s: %d", s.Item, s.Count))
		}
	}
	for _, c := range b.OnOrder {
		if len(only) == 0 || contains(only, c.Item) {
			s := fmt.Sprintf("on order: %d × %s", c.Count, c.Item)
			if !c.Arrives.IsZero() {
				s += ", expected " + daytext.Day(c.Arrives, b.Now, b.Site.Location())
			}
			lines = append(lines, s)
		}
	}
	if len(lines) == 1 {
		return "Nothing counted at " + b.Site.Name + " yet. A supervisor can type: stock CODE 14"
	}
	return strings.Join(lines, "\n")
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if strings.EqualFold(x, s) {
			return true
		}
	}
	return false
}

// Orders lists what to order and by when.
func Orders(b digest.Board, reg *plant.Register) string {
	var lines []string
	for _, l := range b.Orders {
		if l.Order == 0 && l.Short == 0 {
			continue
		}
		s := fmt.Sprintf("%d × %s", l.Order, l.Item)
		if it, ok := reg.Item(l.Item); ok {
			s += fmt.Sprintf(" (%d×%d×%d mm)", it.WidthMM, it.HeightMM, it.DepthMM)
		}
		s += fmt.Sprintf(": need %d, in store %d, on order %d", l.Need, l.Stock, l.OnOrder)
		switch {
		case l.Order > 0 && l.Overdue:
			s += "; ORDER TODAY, the latest date was " + daytext.Day(l.LatestOrder, b.Now, b.Site.Location())
		case l.Order > 0:
			s += "; order by " + daytext.Day(l.LatestOrder, b.Now, b.Site.Location())
		}
		if l.Short > 0 {
			s += fmt.Sprintf("; %d short on %s, hurry the delivery", l.Short, daytext.Day(l.ShortOn, b.Now, b.Site.Location()))
		}
		lines = append(lines, s)
	}
	if len(lines) == 0 {
		lines = []string{"Nothing to order at " + b.Site.Name + " for the next 12 weeks."}
	} else {
		lines = append([]string{"To order at " + b.Site.Name + ", next 12 weeks:"}, lines...)
	}
	for _, w := range b.Wishes {
		lines = append(lines, fmt.Sprintf("Asked for: %d × %s (%s, %s, #%d). Once ordered, type: ordered %d %s",
			w.Count, w.Item, w.By, daytext.Day(w.At, b.Now, b.Site.Location()), w.Seq, w.Count, w.Item))
	}
	return strings.Join(lines, "\n")
}

// Visits lists the visits proposed.
func Visits(b digest.Board, reg *plant.Register) string {
	if b.PlanErr != nil {
		return "No visits could be planned: " + b.PlanErr.Error()
	}
	if len(b.Plan.Visits) == 0 {
		return "No change-outs foreseen at " + b.Site.Name + " in the next 12 weeks."
	}
	lines := []string{fmt.Sprintf("Visits proposed at %s, next 12 weeks (%s together, %s one by one):", b.Site.Name, b.Plan.Cost, b.Plan.Separate)}
	for i, v := range b.Plan.Visits {
		if i == rowsShown {
			lines = append(lines, fmt.Sprintf("… and %d more.", len(b.Plan.Visits)-i))
			break
		}
		var names []string
		for _, j := range v.Jobs {
			n := reg.Name(j.Bank)
			switch {
			case j.Booked && j.Late:
				n += " (booked, late)"
			case j.Booked:
				n += " (booked)"
			case j.Late:
				n += " (late)"
			}
			names = append(names, n+contradicted(b, j.Bank, v.Day))
		}
		lines = append(lines, fmt.Sprintf("%s: %s", v.Day.In(b.Site.Location()).Format("Mon 2 Jan"), strings.Join(names, ", ")))
	}
	return strings.Join(lines, "\n")
}

// contradicted says that a change-out is planned although it is put off beyond
// that day.
func contradicted(b digest.Board, bank plant.BankID, day time.Time) string {
	for _, r := range b.Rows {
		if r.Bank == bank && r.Deferred != nil && r.Deferred.After(day.Add(12*time.Hour)) {
			return " (though put off to " + daytext.Day(*r.Deferred, b.Now, b.Site.Location()) + ")"
		}
	}
	return ""
}

// Status answers whether the bot is well.
func Status(counts map[entry.Kind]int64, lagging int) string {
	s := fmt.Sprintf("Running. %d readings and %d change-outs in the ledger.", counts[entry.KindReading], counts[entry.KindSwap])
	if lagging > 0 {
		s += fmt.Sprintf(" %d forecasts are being brought up to date.", lagging)
	}
	return s
}

// DueAll is the due list with every bank.
func DueAll(b digest.Board) string {
	lines := []string{fmt.Sprintf("%s, %s: %d banks.", b.Site.Name, b.Now.In(b.Site.Location()).Format("Mon 2 Jan"), len(b.Rows))}
	for _, r := range b.Rows {
		lines = append(lines, DueLine(r, b.Site.Units, b.Now, b.Site.Location()))
	}
	return strings.Join(lines, "\n")
}

// Understood says what a message would record.
func Understood(reg *plant.Register, items []phrase.Item, now time.Time) string {
	in := SavedInput{Register: reg, Now: now}
	for _, it := range items {
		in.Entries = append(in.Entries, entry.Entry{Kind: it.Body.Kind(), Place: it.Place, At: it.At, Body: it.Body})
	}
	var lines []string
	for _, place := range in.banks() {
		lines = append(lines, strings.Join(in.echo(place), " "))
	}
	return strings.Join(lines, "\n")
}

// StopAsked tells a supervisor that steps were asked for specialist-only plant.
func StopAsked(who, tag string) string {
	return who + " asked for steps for " + tag + ". It is for specialists only, so I gave none. Please book the specialist team."
}

// DoneEarly asks whether a job booked for later is done already.
func DoneEarly(name, start string) string {
	return name + " is booked for " + start + ". Is it done already? Nothing closed yet."
}
