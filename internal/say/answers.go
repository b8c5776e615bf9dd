package say

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/digest"
	"clogwise/internal/duelist"
	"clogwise/internal/energy"
	"clogwise/internal/entry"
	"clogwise/internal/locale"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
)

// NotUnderstood answers somebody who spoke to the bot and was not understood.
func NotUnderstood(in locale.Locale) string {
	return in.Text("I did not understand that; nothing was saved. Write for example: `AHU-3 bag 145 Pa`. Or: `due`, `help`.")
}

// NothingSaved appends to a question that nothing was saved yet.
func NothingSaved(in locale.Locale, question string) string {
	lower := strings.ToLower(question)
	for _, said := range []string{"not saved", "nothing saved", "nothing closed", in.Text("not saved"), in.Text("nothing saved"), in.Text("nothing closed")} {
		if strings.Contains(lower, said) {
			return question
		}
	}
	return question + " " + in.Text("Nothing saved yet.")
}

// AskWithoutMemory is a question whose answer cannot be waited for: it gives the
// whole messages to choose from.
func AskWithoutMemory(in locale.Locale, a phrase.Asking) string {
	var b strings.Builder
	b.WriteString(a.Text)
	for _, c := range a.Choices {
		b.WriteString("\n" + in.Text("Type: %s", c.Means))
	}
	return b.String()
}

// EditUnclear says that an edit could not be read and the old entry stays.
func EditUnclear(in locale.Locale, question string) string {
	return in.Text("Your edit is unclear, so what was saved before still stands. %s", question)
}

// StaleButton answers a button that no longer means anything.
func StaleButton(in locale.Locale) string {
	return in.Text("That button is out of date; nothing was changed. Type what you want to do.")
}

// AlreadyAnswered answers a second press.
func AlreadyAnswered(in locale.Locale) string {
	return in.Text("That was answered already; it is saved once. `undo` takes it back.")
}

// NothingToUndo answers an undo that finds nothing.
func NothingToUndo(in locale.Locale) string {
	return in.Text("Nothing of yours to take back here. undo and a number takes back one entry, for example: `undo 4127`")
}

// TakenBackBefore answers an undo of what stands no more.
func TakenBackBefore(in locale.Locale, seq int64) string {
	return in.Text("#%d was taken back already; nothing was changed.", seq)
}

// NoSuchEntry answers an undo of an unknown number.
func NoSuchEntry(in locale.Locale, seq int64) string {
	return in.Text("No entry #%d in this channel; nothing was changed. The number stands at the end of each reply.", seq)
}

// NotYours refuses to take back somebody else's entry.
func NotYours(x entry.Entry, s plant.Site) string {
	in := locale.Of(s.Language)
	return in.Text("#%d was recorded by %s, so it stays. They can take it back, or a supervisor: %s.", x.Seq, x.By, in.And(s.Supervisors))
}

// NotAllowed says who can record what the person may not.
func NotAllowed(k entry.Kind, s plant.Site) string {
	in := locale.Of(s.Language)
	who := in.Text("the crew: %s", in.And(s.Crew))
	switch k {
	case entry.KindBooking, entry.KindDefer, entry.KindStock, entry.KindOrder, entry.KindRegister:
		who = in.Text("a supervisor: %s", in.And(s.Supervisors))
	}
	return in.Text("Not saved: %s is for %s.", kindWords(in, k), who)
}

func kindWords(in locale.Locale, k entry.Kind) string {
	switch k {
	case entry.KindBooking:
		return in.Text("booking a change-out")
	case entry.KindDefer:
		return in.Text("putting a date off")
	case entry.KindStock:
		return in.Text("counting stock")
	case entry.KindOrder:
		return in.Text("placing an order")
	case entry.KindReading:
		return in.Text("recording a reading")
	case entry.KindSwap:
		return in.Text("recording a change-out")
	}
	return in.Text("recording this")
}

// IsSafety reports whether a refusal must reach a supervisor.
func IsSafety(code string) bool {
	return code == phrase.RefuseRunning || code == phrase.RefuseLock || code == phrase.RefuseShorten
}

// SafetyAlert tells a supervisor what was refused, by a code that IsSafety.
func SafetyAlert(in locale.Locale, who, code string) string {
	switch code {
	case phrase.RefuseRunning:
		return in.Text("%s asked for steps for work with the fan running. I gave none. Please call them before any work starts.", who)
	case phrase.RefuseLock:
		return in.Text("%s asked about removing somebody else's lock. I gave no leave and no advice. Please call them before any work starts.", who)
	}
	return in.Text("%s asked to shorten the safe-work steps. I gave none. Please call them before any work starts.", who)
}

// Alert is what the supervisors are told at once about an entry, if anything.
func Alert(reg *plant.Register, x entry.Entry) (text string, urgent bool) {
	name, in := reg.Name(x.Place), atPlace(reg, x.Place, x.At).In
	switch b := x.Body.(type) {
	case entry.OverRange:
		return in.Text("%s: gauge at its top, reported by %s. Filters may be far past their limit; look today.", name, x.By), true
	case entry.Defect:
		if b.Fixed {
			return "", false
		}
		return in.Text("%s: %s (reported by %s).", name, b.Note, x.By), true
	}
	return "", false
}

// OrderHint answers a wish to order that stood beside a reading.
func OrderHint(in locale.Locale, q *phrase.Query) string {
	if q.Kind == phrase.QueryOrders {
		return in.Text("The order list says what is short: type `orders`.")
	}
	return ""
}

// rowsShown bounds a list in chat; the rest is counted.
const rowsShown = 12

// andMore cuts a list of n in all to what is shown, and counts the rest.
func andMore(in locale.Locale, lines []string, n int) []string {
	if len(lines) <= rowsShown {
		return lines
	}
	return append(lines[:rowsShown:rowsShown], in.Text("… and %d more.", n-rowsShown))
}

// Due is the due list of a site: what to change, by when, and what waiting costs.
func Due(b digest.Board, within time.Duration) string {
	s := At(b.Site, b.Now)
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
		lines = append(lines, DueLine(r, s))
	}
	head := s.In.Text("%s, %s: %d to look at, %d fine.", b.Site.Name, s.weekday(b.Now), len(lines), quiet)
	if b.Behind > 0 {
		head += " " + digest.Behind(b, s.In)
	}
	if len(b.Rows) == 0 && b.Behind == 0 {
		return s.In.Text("%s: no banks in the register yet. Import one: clogwise import FILE", b.Site.Name)
	}
	if len(lines) > rowsShown {
		rest := len(lines) - rowsShown
		lines = append(lines[:rowsShown], s.In.Text("… and %d more: clogwise due shows all.", rest))
	}
	return strings.Join(append([]string{head}, lines...), "\n")
}

// DueLine is one row of the due list.
func DueLine(r duelist.Row, s Setting) string {
	in := s.In
	line := strings.ToUpper(r.Condition.Words(in)) + "  " + r.Name
	switch {
	case r.ReadPa > 0 && r.LimitPa > 0: // nobody read what was expected
		line += " " + in.Text("read %s, not counted; limit %s", s.short(r.ReadPa), s.short(r.LimitPa))
	case r.ReadPast(s.Now, s.Units): // the forecast's curve has yet to come there
		line += " " + in.Text("read past %s", s.short(r.LimitPa))
	case r.PaNow > 0 && r.LimitPa > 0:
		line += " " + in.Text("%s of %s", s.short(r.PaNow), s.short(r.LimitPa))
	}
	switch {
	case r.ReadPast(s.Now, s.Units):
	case r.Condition == duelist.Overdue && !r.Median.IsZero() && r.Median.Before(s.Now):
		line += in.Text(", since about %s", s.day(r.Median))
	case r.Condition == duelist.Unread && !r.LastRead.IsZero():
		line += in.Text(", last read %s", s.day(r.LastRead))
	case r.Condition == duelist.Unread:
		line += in.Text(", never read")
	case r.Condition == duelist.Due:
	case r.ByAge(s.Units) && !r.Median.IsZero():
		line += ", " + s.governing(r.Governing, r.LimitPa) + " " + s.day(r.Median)
	case r.Condition == duelist.Doubtful && !r.Median.IsZero() && r.Median.Before(s.Now):
		line += in.Text(", likely past its limit since %s", s.day(r.Median))
	case !r.Median.IsZero():
		line += in.Text(", %s, likely %s", s.span(r.P10, r.P90), s.day(r.Median))
	}
	if r.Deferred != nil && r.Deferred.After(s.Now) {
		line += in.Text(", put off to %s (%s)", s.day(*r.Deferred), r.DeferReason)
	}
	switch start, booked, missed := r.BookedOn(s.Now, s.Loc); {
	case !booked:
	case missed:
		line += in.Text(", was booked for %s, not reported done", s.weekday(start))
	case r.Deferred != nil && r.Deferred.After(start):
		line += in.Text(", booked %s all the same", s.moment(start))
	default:
		line += in.Text(", booked %s", s.moment(start))
	}
	if r.WaitWeek.Amount.IsPositive() && r.Condition != duelist.Doubtful && r.Condition != duelist.Unread {
		if r.AtMost {
			line += in.Text("; a week's wait costs at most %s", in.Money(r.WaitWeek))
		} else {
			line += in.Text("; a week's wait costs %s", in.Money(r.WaitWeek))
		}
	}
	if len(r.Findings) > 0 && (r.Condition == duelist.Doubtful) {
		line += ". " + r.Findings[0]
	}
	return line
}

// nothingKnown answers a question about banks that nobody has read.
func nothingKnown(in locale.Locale) string {
	return in.Text("Nothing known of it yet: no reading has been recorded.")
}

// How answers "how is …" for one or several banks; in is spoken where there is
// nothing known of any.
func How(in locale.Locale, as []assess.Assessment, reg *plant.Register, now time.Time) string {
	if len(as) == 0 {
		return nothingKnown(in)
	}
	var lines []string
	for _, a := range as {
		s := atPlace(reg, a.Bank, now)
		switch {
		case a.Last == nil:
			lines = append(lines, s.In.Text("%s: %s. No reading in this filter life.", a.Name, a.Condition.Words(s.In)))
		default:
			lines = append(lines, s.In.Text("%s: %s, %s on %s (expected now %s at design airflow).", a.Name, a.Condition.Words(s.In),
				s.pressure(a.Last.Pa), s.day(a.Last.At), s.short(a.NowPa)))
		}
		if len(as) > 1 {
			lines[len(lines)-1] += " " + ShortOutlook(a, s)
			continue
		}
		lines = append(lines, Outlook(a, s))
		if c := CostLine(a, s.In); c != "" {
			lines = append(lines, c)
		}
		if a.LastSwap != nil {
			lines = append(lines, s.In.Text("Last changed %s, %s h run since.", s.day(a.LastSwap.At), s.In.Number(a.HoursRun, 0)))
		}
		for _, f := range a.Findings {
			if f.Open {
				lines = append(lines, s.In.Text("Doubt: %s", f.Text+" "+f.Check))
				break
			}
		}
	}
	return strings.Join(lines, "\n")
}

// Cost answers what dirt costs. firm, from assess.Firmness, may lack banks; in is
// spoken where nothing is known of any.
func Cost(in locale.Locale, as []assess.Assessment, firm map[plant.BankID][]energy.Sensitivity, reg *plant.Register, now time.Time) string {
	var lines []string
	for _, a := range as {
		s := atPlace(reg, a.Bank, now)
		e := a.Energy
		switch {
		case e.Held == string(plant.FlowHeld):
		case e.AtMost() && e.KWhPerDay > 0:
		default:
			if c := CostLine(a, s.In); c != "" {
				lines = append(lines, a.Name+": "+c)
			} else {
				lines = append(lines, s.In.Text("%s: no saving can be claimed; the fan does not hold its airflow.", a.Name))
			}
			continue
		}
		lines = append(lines, s.In.Text("%s: %s a day now (%s kWh, %s kgCO2e); %s in this life. Waiting a week more costs %s. A change-out costs %s; cheapest date %s.",
			a.Name, s.In.Money(e.MoneyPerDay), s.In.Number(e.KWhPerDay, 1), s.In.Number(e.KgPerDay, 1), s.In.Money(e.MoneyLife),
			s.In.Money(e.WaitWeek), s.In.Money(e.ChangeCost), cheapest(a.LeastCost, s)))
		if w := interval(a, s); w != "" {
			lines[len(lines)-1] += "\n  " + w
		}
		if w := IfWrong(a, firm[a.Bank], s.In); w != "" {
			lines[len(lines)-1] += "\n  " + w
		}
		if e.AtMost() {
			lines[len(lines)-1] += "\n  " + capital(s.In.Retell(e.Note)) + "."
		}
		if a.Condition == duelist.Doubtful {
			lines[len(lines)-1] += "\n  " + s.In.Text("Its readings are in doubt; these figures go by the forecast before them.")
		}
	}
	switch len(lines) {
	case 0:
		return nothingKnown(in)
	case 1:
		if a := as[0]; a.Energy.KWhPerDay > 0 {
			lines[0] += Reckoned(a.Bank, reg, "\n  ")
		}
	}
	return strings.Join(andMore(in, lines, len(as)), "\n")
}

// interval words how long the present life is where it ends on its cheapest date;
// empty where its beginning or that date is not known.
func interval(a assess.Assessment, s Setting) string {
	if a.LifeStart == nil || a.LeastCost.IsZero() || !a.LeastCost.After(*a.LifeStart) {
		return ""
	}
	weeks := int(math.Round(a.LeastCost.Sub(*a.LifeStart).Hours() / (7 * 24)))
	return s.In.Count(weeks, "Changed on that date it has been in for %d week, the interval that costs least.", "Changed on that date it has been in for %d weeks, the interval that costs least.")
}

// cheapest words the date at which a change-out costs least.
func cheapest(t time.Time, s Setting) string {
	switch {
	case t.IsZero():
		return s.In.Text("not foreseen")
	case t.Before(s.Now) && !sameDay(t, s.Now, s.Loc):
		return s.In.Text("%s, gone by", s.day(t))
	}
	return s.day(t)
}

// Owed lists the readings that are late.
func Owed(b digest.Board) string {
	s := At(b.Site, b.Now)
	if len(b.Owed) == 0 {
		return s.In.Text("No readings owed at %s.", b.Site.Name)
	}
	head := s.In.Count(len(b.Owed), "%d reading owed at %s:", "%d readings owed at %s:", b.Site.Name)
	var lines []string
	for _, o := range b.Owed {
		line := o.Name
		if o.Since.IsZero() {
			line += s.In.Text(", never read")
		} else {
			line += s.In.Text(", last %s", s.day(o.Since))
		}
		if o.Why != "" {
			line += " (" + o.Why + ")"
		}
		lines = append(lines, line)
	}
	return strings.Join(append([]string{head}, andMore(s.In, lines, len(b.Owed))...), "\n")
}

// Stock lists what the store holds.
func Stock(b digest.Board, only []string) string {
	s := At(b.Site, b.Now)
	lines := []string{s.In.Text("In store at %s:", b.Site.Name)}
	for _, held := range b.Stock {
		if len(only) == 0 || contains(only, held.Item) {
			lines = append(lines, held.Item+": "+strconv.Itoa(held.Count))
		}
	}
	for _, c := range b.OnOrder {
		if len(only) == 0 || contains(only, c.Item) {
			line := s.In.Text("on order: %d × %s", c.Count, c.Item)
			if !c.Arrives.IsZero() {
				line += s.In.Text(", expected %s", s.day(c.Arrives))
			}
			lines = append(lines, line)
		}
	}
	if len(lines) == 1 {
		return s.In.Text("Nothing counted at %s yet. A supervisor can type: `stock CODE 14`", b.Site.Name)
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
	s := At(b.Site, b.Now)
	var lines []string
	for _, l := range b.Orders {
		if l.Order == 0 && l.Short == 0 {
			continue
		}
		line := fmt.Sprintf("%d × %s", l.Order, l.Item)
		if it, ok := reg.Item(l.Item); ok {
			line += fmt.Sprintf(" (%d×%d×%d mm)", it.WidthMM, it.HeightMM, it.DepthMM)
		}
		line += s.In.Text(": need %d, in store %d, on order %d", l.Need, l.Stock, l.OnOrder)
		switch {
		case l.Order > 0 && l.Overdue:
			line += s.In.Text("; ORDER TODAY, the latest date was %s", s.day(l.LatestOrder))
		case l.Order > 0:
			line += s.In.Text("; order by %s", s.day(l.LatestOrder))
		}
		if l.Short > 0 {
			line += s.In.Text("; %d short on %s, hurry the delivery", l.Short, s.day(l.ShortOn))
		}
		lines = append(lines, line)
	}
	if len(lines) == 0 {
		lines = []string{s.In.Text("Nothing to order at %s for the next 12 weeks.", b.Site.Name)}
	} else {
		lines = append([]string{s.In.Text("To order at %s, next 12 weeks:", b.Site.Name)}, lines...)
	}
	for _, w := range b.Wishes {
		lines = append(lines, s.In.Text("Asked for: %d × %s (%s, %s, #%d). Once ordered, type: %s",
			w.Count, w.Item, w.By, s.day(w.At), w.Seq, fmt.Sprintf("ordered %d %s", w.Count, w.Item)))
	}
	return strings.Join(lines, "\n")
}

// Visits lists the visits proposed.
func Visits(b digest.Board, reg *plant.Register) string {
	s := At(b.Site, b.Now)
	if b.PlanErr != nil {
		return s.In.Text("No visits could be planned: %s", s.In.Retell(b.PlanErr.Error()))
	}
	if len(b.Plan.Visits) == 0 {
		return s.In.Text("No change-outs foreseen at %s in the next 12 weeks.", b.Site.Name)
	}
	head := s.In.Text("Visits proposed at %s, next 12 weeks (%s together, %s one by one):", b.Site.Name, s.In.Money(b.Plan.Cost), s.In.Money(b.Plan.Separate))
	var lines []string
	for _, v := range b.Plan.Visits {
		var names []string
		for _, j := range v.Jobs {
			n := reg.Name(j.Bank)
			switch {
			case j.Booked && j.Late:
				n += s.In.Text(" (booked, late)")
			case j.Booked:
				n += s.In.Text(" (booked)")
			case j.Late:
				n += s.In.Text(" (late)")
			}
			if f, lacks := b.Lacking(j, v.Day); lacks {
				n += " " + digest.Lacks(s.In, f, s.day(f.Day))
			}
			names = append(names, n+contradicted(b, j.Bank, v.Day))
		}
		lines = append(lines, s.weekday(v.Day)+": "+strings.Join(names, ", "))
	}
	return strings.Join(append([]string{head}, andMore(s.In, lines, len(b.Plan.Visits))...), "\n")
}

// contradicted says that a change-out is planned although it is put off beyond
// that day.
func contradicted(b digest.Board, bank plant.BankID, day time.Time) string {
	for _, r := range b.Rows {
		if r.Bank == bank && r.Deferred != nil && r.Deferred.After(day.Add(12*time.Hour)) {
			s := At(b.Site, b.Now)
			return s.In.Text(" (though put off to %s)", s.day(*r.Deferred))
		}
	}
	return ""
}

// Status answers whether the bot is well.
func Status(in locale.Locale, counts map[entry.Kind]int64, lagging int) string {
	s := in.Text("Running. %d readings and %d change-outs in the ledger.", counts[entry.KindReading], counts[entry.KindSwap])
	if lagging > 0 {
		s += " " + in.Text("%d forecasts are being brought up to date.", lagging)
	}
	return s
}

// DueAll is the due list with every bank.
func DueAll(b digest.Board) string {
	s := At(b.Site, b.Now)
	lines := []string{s.In.Text("%s, %s: %d banks.", b.Site.Name, s.weekday(b.Now), len(b.Rows))}
	for _, r := range b.Rows {
		lines = append(lines, DueLine(r, s))
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
func StopAsked(in locale.Locale, who, tag string) string {
	return in.Text("%s asked for steps for %s. It is for specialists only, so I gave none. Please book the specialist team.", who, tag)
}

// DoneEarly asks whether a job booked for later is done already.
func DoneEarly(s Setting, name string, start time.Time) string {
	return s.In.Text("%s is booked for %s. Is it done already? Nothing closed yet.", name, s.moment(start))
}
