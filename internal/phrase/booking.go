package phrase

import (
	"strconv"
	"strings"
	"time"
	"unicode"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

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
	p.problem(AskChange, sayChange(p.sc.In, p.reg.Name(ahus[0])),
		option{keys: []string{"changed", "done", "already"}, label: p.sc.In.Text("changed then"), edits: []edit{{from, from, "changed "}}},
		option{keys: []string{"book", "to do"}, label: p.sc.In.Text("book it for then"), edits: []edit{{from, from, "book "}}})
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
		at := g.end()
		if g.ahu != nil && g.ahu.to == at && at < g.line.to { // a line that reads backwards
			at = g.ahu.from
		}
		edits := []edit{{at, at, " " + text + " "}}
		for _, s := range g.moment.spans {
			edits = append(edits, edit{s.from, s.to, ""})
		}
		edits = append(edits, g.strayEdits()...)
		options = append(options, option{keys: []string{text, day.Format("Mon"), day.Format("Monday")}, label: p.sc.In.Date(day, "Mon 2 Jan ") + clock, edits: edits})
	}
	p.problem(AskWhen, sayWhen(p.sc.In, p.reg.Name(place)), options...)
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
