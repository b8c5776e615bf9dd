package phrase

import (
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// jobPlaces gives the banks of a job: those named, else those of the AHU that
// have an open booking, else the AHU.
func (p *parser) jobPlaces(g *group, ahu plant.BankID) []plant.BankID {
	if g.hasKind(mBank) {
		return p.skipPlaces(g, ahu)
	}
	var out []plant.BankID
	for _, id := range p.sc.Booked {
		if id.AHU() == ahu && !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	if len(out) == 0 {
		return []plant.BankID{ahu}
	}
	return out
}

// jobGroup settles the AHUs of a job; without a tag the one open job is meant.
func (p *parser) jobGroup(g *group) ([]plant.BankID, bool) {
	if g.ahu != nil || p.hasHere() {
		ahus, ok := p.places(g, true)
		var out []plant.BankID
		for _, a := range ahus {
			out = append(out, p.jobPlaces(g, a)...)
		}
		return out, ok
	}
	switch len(p.sc.Booked) {
	case 0:
		return nil, false
	case 1:
		return p.sc.Booked, true
	}
	p.askWhichJob(g.line, func(name string) []edit { return []edit{{g.line.to, g.line.to, " " + name}} })
	return nil, false
}

// booking gives a change-out a start: "tmrw doing AHU-6 bags 9am".
func (p *parser) booking(g *group) bool {
	book := g.line.has(cBook)
	if book || g.line.has(cDoing, cChange) && !g.line.has(cSwap) || g.dayAhead() {
		g.takeHour()
	}
	future := g.timed && (g.moment.future || g.moment.day == dayOffset && g.moment.n > 0 || g.moment.day == dayDate || g.moment.day == dayWeekday)
	doing := g.line.has(cDoing, cChange) && future && !g.line.has(cSwap, cCan)
	if !book && !doing && !p.dayOnly(g) || g.ahu == nil || g.line.has(cNot) || g.has(cSteps) || typedPressure(g.marks) || g.has(cWish) && g.hasKind(mItem, mSize) {
		return false
	}
	if g.line.question && !(book && g.timed) {
		return false
	}
	ahus, ok := p.places(g, true)
	if !ok {
		return true
	}
	if !g.timed {
		if places := p.bookPlaces(g, ahus[0]); len(places) > 0 {
			p.askWhenToBook(g, places[0])
		}
		return true
	}
	for _, ahu := range ahus {
		for _, place := range p.bookPlaces(g, ahu) {
			start, assumed := p.start(g, place)
			if assumed && g.strayNumber() { // "Fri 25": no hour that there is
				p.askWhenToBook(g, place)
				return true
			}
			if g.moment.bad || !start.After(p.sc.Now) || start.Sub(p.sc.Now) > mostAhead {
				p.askWhenToBook(g, place)
				return true
			}
			it := p.item(g, place, p.sc.Now, entry.Booking{Start: start, Crew: g.line.crew})
			if assumed {
				it.Flags = append(it.Flags, "time-assumed")
			}
			p.add(it)
		}
	}
	return true
}

// dayAhead reports whether a group names a day to come.
func (g *group) dayAhead() bool {
	return g.timed && (g.moment.future || g.moment.day == dayOffset && g.moment.n > 0)
}

// takeHour reads a bare number after the day of a booking as its hour: "14 Dec 9",
// "sat 9", "el sábado a las 9". A small hour is one of the afternoon.
func (g *group) takeHour() {
	for i, m := range g.marks {
		hour, minute, ok := bareHour(m)
		if !ok || i == 0 {
			continue
		}
		j := i - 1
		said := g.marks[j].is(cAt) || g.marks[j].punct("@") // "mañana cambio bolsas a las 9"
		if said || g.marks[j].punct(",") {
			j--
		}
		day := said && g.timed || j >= 0 && g.marks[j].kind == mWhen && g.marks[j].when.day != dayNone && !g.marks[j].when.clock
		if j >= 0 && (!day || !g.timed) {
			var w when
			if w, day = loneDay(g.marks[j].text); day {
				g.marks[j].kind, g.marks[j].when = mWhen, w
			}
		}
		if !day || g.timed && g.moment.clock {
			continue
		}
		if hour >= 1 && hour <= 5 {
			hour += 12
		}
		m.kind, m.when = mWhen, when{clock: true, hour: hour, min: minute}
		g.moment, g.timed = momentOf(g.marks)
		g.cues, g.kinds = gather(g.marks)
		g.line.sum()
		return
	}
}

// bareHour reads a number without a unit as a time of day: 9, 930, 0930, 9-11.
func bareHour(m *mark) (hour, minute int, ok bool) {
	q := m.q
	if m.kind != mNum || q.unit.kind != uNone || q.sign != unsigned || q.piece || q.pieceStage || q.first.decimals > 0 || q.isRange && q.second.value > 24 {
		return 0, 0, false
	}
	hour = int(min(q.first.value, 10000))
	if n := len(q.first.digits); n == 3 || n == 4 {
		hour, minute = hour/100, hour%100
	}
	return hour, minute, hour < 24 && minute < 60
}

// strayNumber reports whether a number right after the day of a booking is none of
// its time.
func (g *group) strayNumber() bool {
	for i, m := range g.marks {
		if i > 0 && m.kind == mNum && g.marks[i-1].kind == mWhen && g.marks[i-1].when.day != dayNone && m.q.unit.kind == uNone && !m.q.piece && !m.q.pieceStage {
			return true
		}
	}
	return false
}

// strayEdits take such numbers out of the message.
func (g *group) strayEdits() []edit {
	var out []edit
	for i, m := range g.marks {
		if i > 0 && m.kind == mNum && g.marks[i-1].kind == mWhen && m.q.unit.kind == uNone && !m.q.piece && !m.q.pieceStage {
			out = append(out, edit{m.from, m.to, ""})
		}
	}
	return out
}

// loneDay reads a short name of a day that is an ordinary word elsewhere: "sat",
// "Sa", "do".
func loneDay(w string) (when, bool) {
	d, ok := shortDays[w]
	return when{day: dayWeekday, n: d}, ok
}

var shortDays = map[string]int{
	"sat": 6, "sun": 0, "wed": 3, "mo": 1, "di": 2, "mi": 3, "do": 4, "fr": 5, "sa": 6, "so": 0, "lun": 1, "mar": 2, "mie": 3, "jue": 4, "vie": 5, "sab": 6, "dom": 0,
}

// dayOnly reports whether a line is nothing but a bank and a day to come:
// "AHU-6 bags tomorrow 9am".
func (p *parser) dayOnly(g *group) bool {
	if !g.timed || !(g.moment.future || g.moment.day == dayOffset && g.moment.n > 0) || g.moment.until || !g.hasKind(mBank) || g.line.question || len(g.line.marks) > 12 {
		return false
	}
	for _, m := range g.line.marks {
		switch {
		case m.kind == mAHU, m.kind == mBank, m.kind == mWhen, m.kind == mSite, m.kind == mPunct, m.is(cAt), m.is(cAll), m.is(cFor):
		default:
			return false
		}
	}
	return true
}

// dayAlone asks about a bank and a day with nothing said of what happened or is to
// happen then: "AHU-6 bags Thursday 8am".
func (p *parser) dayAlone(g *group) bool {
	if g.ahu == nil || !g.timed || g.moment.day != dayWeekday && g.moment.day != dayDate || g.moment.until || !g.hasKind(mBank) || g.hasKind(mNum, mItem) || g.line.question || g.line.unknown > 2 || len(g.line.marks) > 12 {
		return false
	}
	for _, m := range g.line.marks {
		if m.kind == mCue && !m.anyOf(cFill, cAt, cFor, cAnd, cWith, cAll, cChange) {
			return false
		}
	}
	ahus, ok := p.places(g, true)
	if !ok {
		return true
	}
	from := g.line.from
	p.problem(AskChange, sayChange(p.reg.Name(ahus[0])),
		option{keys: []string{"changed", "done", "already"}, label: "changed then", edits: []edit{{from, from, "changed "}}},
		option{keys: []string{"book", "to do"}, label: "book it for then", edits: []edit{{from, from, "book "}}})
	return true
}

// mostAhead is how far ahead a change-out can be booked.
const mostAhead = 300 * 24 * time.Hour

func (p *parser) bookPlaces(g *group, ahu plant.BankID) []plant.BankID {
	if g.hasKind(mBank) {
		return p.skipPlaces(g, ahu)
	}
	if banks := p.banksOf(ahu); len(banks) == 1 {
		return banks
	}
	return []plant.BankID{ahu}
}

// start is when a booking begins: at the time said, or when work starts there.
func (p *parser) start(g *group, place plant.BankID) (time.Time, bool) {
	h, m := p.workStart(place)
	return p.local(g.moment, place).ahead(p.sc.Now, p.zone(place), h, m)
}

// workStart is when the site's working day begins; 08:00 when it does not say.
func (p *parser) workStart(place plant.BankID) (hour, minute int) {
	s, _ := p.reg.Site(place.Site())
	h, m, ok := strings.Cut(s.WorkHours.From, ":")
	hour, err1 := strconv.Atoi(h)
	minute, err2 := strconv.Atoi(m)
	if !ok || err1 != nil || err2 != nil || hour < 0 || hour > 23 || minute < 0 || minute > 59 {
		return 8, 0
	}
	return hour, minute
}

func (p *parser) askWhenToBook(g *group, place plant.BankID) {
	h, m := p.workStart(place)
	clock := time.Date(2000, 1, 1, h, m, 0, 0, time.UTC).Format("15:04")
	var options []option
	day := p.sc.Now.In(p.zone(place))
	for len(options) < 3 {
		day = day.AddDate(0, 0, 1)
		if wd := day.Weekday(); wd == time.Saturday || wd == time.Sunday {
			continue
		}
		text := day.Format("2006-01-02") + " " + clock
		edits := []edit{{g.end(), g.end(), " " + text}}
		for _, s := range g.moment.spans {
			edits = append(edits, edit{s.from, s.to, ""})
		}
		edits = append(edits, g.strayEdits()...)
		options = append(options, option{keys: []string{text, day.Format("Mon"), day.Format("Monday")}, label: day.Format("Mon 2 Jan ") + clock, edits: edits})
	}
	p.problem(AskWhen, sayWhen(p.reg.Name(place)), options...)
}

// crew reads the names after "with": "with Nadia and Tom".
func crew(l *line, text string) []string {
	var out []string
	for i := 0; i < len(l.marks); i++ {
		if !l.marks[i].is(cWith) {
			continue
		}
		for j := i + 1; j < len(l.marks); j++ {
			m := l.marks[j]
			if m.sign(",", "&", "+", "@") || m.is(cAnd) {
				continue
			}
			if m.kind == mWord || m.kind == mCue && capital(text[m.from:m.to]) {
				out = append(out, text[m.from:m.to])
				continue
			}
			break
		}
		break
	}
	if l.who != "" {
		out = append(out, l.who)
	}
	return out
}

func capital(s string) bool {
	for _, r := range s {
		return unicode.IsUpper(r)
	}
	return false
}

// cancel takes a booking away.
func (p *parser) cancel(g *group) bool {
	if !g.line.has(cCancel) || typedPressure(g.marks) || g.line.question && !g.line.has(cCan) {
		return false
	}
	if g.ahu == nil && (len(p.sc.Booked) == 0 || g.line.unknown > 0) {
		return false
	}
	places, ok := p.jobGroup(g)
	for _, place := range places {
		if ok {
			p.add(p.item(g, place, p.sc.Now, entry.Booking{Cancelled: true}))
		}
	}
	return true
}

// jobStart reads "on site AHU-6, about to start".
func (p *parser) jobStart(g *group) bool {
	start := g.line.has(cStart)
	site := g.line.has(cOnSite)
	if !start && !site || g.line.question || g.line.has(cNot, cCan, cLeft) || g.has(cSwap, cBook, cBack) || typedPressure(g.marks) || g.hasKind(mNum) {
		return false
	}
	if g.ahu == nil && (len(p.sc.Booked) == 0 || g.line.unknown > 0) {
		return false
	}
	if g.ahu != nil && g.line.unknown > 2 {
		return false
	}
	if g.timed && (g.moment.future || g.moment.day == dayOffset && g.moment.n > 0) {
		return false
	}
	places, ok := p.jobGroup(g)
	for _, place := range places {
		if !ok {
			break
		}
		if at, good := p.at(g, place); good {
			p.add(p.item(g, place, at, entry.JobStart{}))
		}
	}
	return true
}

// jobDone reads "AHU-6 back on, clean 92pa 40hz zero ok" and "AHU-2 primary job
// done".
func (p *parser) jobDone(g *group) bool {
	back := g.has(cBack)
	done := g.has(cDone) && (g.has(cJob) || g.ahu != nil && !g.hasKind(mBank) && !saysFilters(g.marks) && p.bookedUnder(g))
	if !back && !done || g.line.question || g.line.unknown > 3 || g.has(cNot) {
		return false
	}
	if back && (g.has(cDefect) || g.changesFilters(g.marks) || g.partBack()) { // "belt was off, back on"; "changed bags, fan back on" is a change-out first
		return false
	}
	if g.ahu == nil && len(p.sc.Booked) == 0 {
		return false
	}
	places, ok := p.jobGroup(g)
	if !ok {
		return g.ahu != nil || len(p.problems) > 0
	}
	for _, place := range places {
		body := entry.JobDone{FanHz: g.air.hz, ZeroOK: g.has(cZero)}
		var flags []string
		if nums := (&segment{marks: g.marks}).numbers(); len(nums) == 1 {
			bank := place
			if !bank.Whole() {
				banks := p.banksOf(bank)
				if len(banks) != 1 {
					p.askBank(bank, p.afterTag(g), "")
					return true
				}
				bank = banks[0]
			}
			v, ok := p.pressure(bank, nums[0], nums[0].q.first, roleClean)
			if !ok {
				return true
			}
			body.CleanPa, flags, place = &v.pa, v.flags, bank
		}
		if at, ok := p.at(g, place); ok {
			p.add(p.item(g, place, at, body, flags...))
		}
	}
	if g.mended() >= 0 { // "back on, belt changed"
		p.defect(g)
	}
	return true
}

// partBack reports whether it is a part that is back on: "tube back on".
func (g *group) partBack() bool {
	for i, m := range g.marks {
		if m.is(cBack) && g.partAt(i) {
			return true
		}
	}
	return false
}

func (p *parser) bookedUnder(g *group) bool {
	for _, t := range g.ahu.tags {
		for _, id := range p.sc.Booked {
			if slices.Contains(t.ids, id.AHU()) {
				return true
			}
		}
	}
	return false
}

// openJob reads a bare "done", an answer to a reminder.
func (p *parser) openJob(l *line) bool {
	if !l.has(cDone) || l.unknown > 0 || l.question || l.hasKind(mAHU, mBank, mNum, mItem, mSite) || len(p.sc.Booked) == 0 || l.has(cSwap, cNot) {
		return false
	}
	if len(l.marks) > 6 {
		return false
	}
	g := group{line: l, marks: l.marks, cues: l.cues, kinds: l.kinds}
	if here := p.sc.Here; here != "" && slices.Contains(p.sc.Booked, here) {
		p.add(p.item(&g, here, p.sc.Now, entry.JobDone{}))
		return true
	}
	if len(p.sc.Booked) == 1 {
		p.add(p.item(&g, p.sc.Booked[0], p.sc.Now, entry.JobDone{}))
		return true
	}
	p.askWhichJob(l, func(name string) []edit { return []edit{{l.from, l.to, name + " job done"}} })
	return true
}

// askWhichJob asks which of the open jobs is meant.
func (p *parser) askWhichJob(l *line, means func(name string) []edit) {
	var options []option
	var names []string
	for _, id := range p.sc.Booked {
		name := p.longName(id)
		names = append(names, p.reg.Name(id))
		if len(options) < 3 {
			options = append(options, option{keys: []string{name, p.reg.Name(id)}, label: p.reg.Name(id), edits: means(name)})
		}
	}
	p.problem(AskJob, sayWhichJob(names), options...)
}

// longName is the name of a bank or AHU that is understood anywhere: with its
// site where the tag alone is not enough.
func (p *parser) longName(id plant.BankID) string {
	a, _ := p.reg.AHU(id)
	name := a.Tag
	if id.Whole() {
		name += " " + p.bankName(id)
	}
	if ids := p.settleTag(p.x.ahus(joinParts(nameParts(a.Tag))), "", false); len(ids) != 1 || ids[0] != id.AHU() {
		name = p.siteName(id.Site()) + " " + name
	}
	return name
}

// deferral puts a bank's date off: "defer AHU-2 bag to 12 Mar: theatre week".
func (p *parser) deferral(g *group) bool {
	i := slices.IndexFunc(g.marks, func(m *mark) bool { return m.is(cDefer) })
	if i < 0 || g.ahu == nil || g.line.question && !g.has(cCan) || typedPressure(g.marks) {
		return false
	}
	ahus, ok := p.places(g, true)
	if !ok {
		return true
	}
	if len(ahus) > 1 {
		p.problem(AskAHU, sayOneAHU())
		return true
	}
	var s segment
	for _, m := range g.marks {
		if m.kind == mBank {
			s.banks = append(s.banks, m.banks...)
		}
	}
	bank, ok := p.bank(g, &s, ahus[0])
	if !ok {
		return true
	}
	if g.takesBack(i) {
		p.add(p.item(g, bank, p.sc.Now, entry.Defer{Until: p.sc.Now, Reason: sayDeferralGone()}))
		return true
	}
	last := slices.IndexFunc(g.marks, func(m *mark) bool { return m.kind == mWhen && m.when.day != dayNone })
	if last < 0 { // "2 weeks"
		if last = slices.IndexFunc(g.marks, func(m *mark) bool { return m.kind == mSpan }); last >= 0 {
			g.moment = moment{when: g.marks[last].when}
		}
	}
	if last < 0 {
		p.problem(AskWhen, sayDeferWhen(p.reg.Name(bank)))
		return true
	}
	until, _ := p.local(g.moment, bank).ahead(p.sc.Now, p.zone(bank), 0, 0)
	if g.moment.bad || !until.After(p.sc.Now) {
		p.problem(AskWhen, sayDeferWhen(p.reg.Name(bank)))
		return true
	}
	reason := p.reasonAfter(g, last)
	if reason == "" {
		p.problem(AskReason, sayDeferReason(p.reg.Name(bank)))
		return true
	}
	p.add(p.item(g, bank, p.sc.Now, entry.Defer{Until: until, Reason: reason}))
	return true
}

// takesBack reports whether a deferral, at mark i, is taken back: "undefer", "cancel
// the deferral of". One until now holds no longer.
func (g *group) takesBack(i int) bool {
	if m := g.marks[i]; strings.HasPrefix(m.text, "un") || strings.HasPrefix(m.text, "no longer") {
		return true
	}
	return g.has(cCancel, cUndo, cRemove) || slices.ContainsFunc(g.marks, func(m *mark) bool { return m.text == "lift" || m.text == "end" })
}

// reasonAfter is what is said after mark i.
func (p *parser) reasonAfter(g *group, i int) string {
	to := g.line.to
	from := g.marks[i].to
	if from >= to {
		return ""
	}
	s := p.raw(from, to)
	for _, w := range [...]string{"because of ", "because ", "due to ", "as ", "for ", "weil ", "wegen ", "porque ", "por "} {
		if len(s) > len(w) && strings.EqualFold(s[:len(w)], w) {
			s = s[len(w):]
			break
		}
	}
	return strings.Trim(s, " .,:;-()")
}
