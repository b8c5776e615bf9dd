package phrase

import (
	"slices"
	"strings"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// fanOff records that the fan stood still; a reading beside it is asked about.
func (p *parser) fanOff(g *group) bool {
	off := slices.IndexFunc(g.marks, func(m *mark) bool { return m.is(cFanOff) })
	bare := false
	if off < 0 && g.ahu != nil && g.line.unknown == 0 && !g.hasKind(mBank, mItem) {
		off = slices.IndexFunc(g.marks, func(m *mark) bool { return m.is(cOff) || m.text == "off" })
		bare = true
	}
	if off < 0 || g.line.question || g.line.has(cBack, cSwap) || g.has(cCan) {
		return false
	}
	if bare && g.hasKind(mNum) {
		return false
	}
	if g.ahu == nil && g.line.unknown > 0 {
		return false
	}
	ahus, ok := p.places(g, true)
	if !ok {
		return true
	}
	for _, m := range g.marks {
		if m.kind == mNum && m.q.first.value != 0 && !m.q.piece && !m.q.clockish {
			p.problem(AskFanOff, sayFanOff(p.sc.In, p.reg.Name(ahus[0]), p.raw(m.from, m.q.unitTo)),
				option{keys: []string{"off", "fan off"}, label: p.sc.In.Text("fan off, no reading"), edits: []edit{{m.from, m.q.unitTo, ""}}},
				option{keys: []string{"running", "reading", "fan on"}, label: p.sc.In.Text("fan running, keep the reading"), edits: []edit{{g.marks[off].from, g.marks[off].to, ""}}})
			return true
		}
	}
	for _, ahu := range ahus {
		if at, ok := p.at(g, ahu); ok {
			p.add(p.item(g, ahu, at, entry.FanOff{Reason: p.remainder(g, g.marks, cFanOff, cOff, cNoRead)}))
		}
	}
	return true
}

var isolatedWords = []string{"isolated", "freigeschaltet", "aislada", "aislado"}

// skip records that a reading could not be taken, for the AHU or for the banks
// named.
func (p *parser) skip(g *group) bool {
	said := g.has(cNoRead, cSkipWord)
	locked := g.ahu != nil && g.has(cLocked) && !g.line.hasText(isolatedWords) // "isolated and locked" is work, and no door
	if !said && !locked || g.hasKind(mNum) || g.line.question || g.has(cSteps, cSwap) {
		return false
	}
	if g.ahu == nil && (g.line.unknown > 3 || !p.hasHere()) {
		return false
	}
	ahus, ok := p.places(g, true)
	if !ok {
		return true
	}
	reason := strings.TrimSpace(p.selfReason(g.marks) + " " + p.remainder(g, g.marks, cNoRead, cSkipWord))
	if reason == "" {
		p.askReasonToSkip(g, ahus[0])
		return true
	}
	for _, ahu := range ahus {
		for _, place := range p.skipPlaces(g, ahu) {
			if at, ok := p.at(g, place); ok {
				p.add(p.item(g, place, at, entry.Skip{Reason: reason}, p.skipFlags(g.marks)...))
			}
		}
	}
	return true
}

func (p *parser) hasHere() bool { return p.sc.Here != "" || p.carried != nil }

func (p *parser) skipPlaces(g *group, ahu plant.BankID) []plant.BankID {
	var s segment
	for _, m := range g.marks {
		if m.kind == mBank {
			s.banks = append(s.banks, m.banks...)
		}
	}
	if len(s.banks) == 0 {
		return []plant.BankID{ahu}
	}
	banks, _ := p.banks(g, &s, ahu)
	return banks
}

// skipFlags says what a skip is owed to.
func (p *parser) skipFlags(ms []*mark) []string {
	if hasCue(ms, cNoGauge) {
		return []string{"no-gauge"}
	}
	return []string{"access"}
}

// selfReason takes a phrase for the reason that says both: "no access".
func (p *parser) selfReason(ms []*mark) string {
	for _, m := range ms {
		if m.anyOf(cNoRead, cLocked) && (strings.Contains(m.text, "access") || strings.Contains(m.text, "reach") || strings.Contains(m.text, "zugang") || strings.Contains(m.text, "acceso")) {
			return m.text
		}
	}
	return ""
}

// skipBank records a bank without a gauge or reading beside others of its AHU:
// "prim 95pa, sec n/a no gauge".
func (p *parser) skipBank(g *group, s *segment, nums []*mark) bool {
	locked := s.has(cLocked) && len(s.banks) > 0 && g.hasKind(mNum) // "pre locked, sec 150"
	if len(nums) > 0 || !s.has(cNoGauge, cNoRead) && !locked || g.line.question || s.has(cSwap) {
		return false
	}
	if g.ahu == nil && len(s.banks) == 0 {
		return false
	}
	ahus, ok := p.places(g, true)
	if !ok {
		return true
	}
	reason := p.remainder(g, s.marks, cNoRead)
	if s.has(cNoGauge) {
		reason = "no gauge"
	}
	if reason == "" {
		reason = p.selfReason(s.marks)
	}
	if reason == "" {
		reason = "no reading"
	}
	for _, ahu := range ahus {
		if bank, ok := p.bank(g, s, ahu); ok {
			if at, ok := p.at(g, bank); ok {
				p.add(p.item(g, bank, at, entry.Skip{Reason: reason}, p.skipFlags(s.marks)...))
			}
		}
	}
	return true
}

// remainder is what a list of marks says besides its place and the cues given,
// as typed: a reason.
func (p *parser) remainder(g *group, ms []*mark, drop ...cue) string {
	var b strings.Builder
	last := -1
	for i, m := range ms {
		till := m.kind == mWhen && i > 0 && ms[i-1].is(cTo) // "till Friday" belongs to the reason
		gone := m.kind == mNum && slices.Contains(drop, cOff) || m.text == "off" && slices.Contains(drop, cOff) || m.kind == mAHU || m.kind == mSite || m.kind == mBank || m.kind == mWhen && !till || m.anyOf(drop...)
		if gone {
			last = -1
			continue
		}
		if m.kind == mPunct && b.Len() == 0 || (m.is(cFor) || m.text == "to") && b.Len() == 0 || m.anyOf(cFill) && b.Len() == 0 && onlyLink(m.text) {
			continue
		}
		if b.Len() == 0 && slices.Contains(drop, cNoRead) && couldWords[m.text] { // "konnte nicht gelesen werden, Leiter fehlt"
			continue
		}
		if last >= 0 {
			b.WriteString(p.text[last:m.from])
		} else if b.Len() > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(p.text[m.from:m.to])
		last = m.to
	}
	return strings.Trim(tidy(b.String()), " ,;:.-–()")
}

// couldWords go with "not read" and are no part of the reason.
var couldWords = set("konnte konnten kann konnen werden wurde wurden pudo pudieron pudimos could be")

// onlyLink reports whether a word only links a reason to what it explains.
func onlyLink(w string) bool {
	switch w {
	case "to", "is", "are", "was", "the", "on", "in", "as", "it", "we", "at", "of", "for", "bei", "am", "an", "im", "ist", "en", "de", "del", "la", "el", "esta", "está":
		return true
	}
	return false
}

func (p *parser) askReasonToSkip(g *group, ahu plant.BankID) {
	add := func(reason string) []edit { return []edit{{g.end(), g.end(), ": " + reason}} }
	p.problem(AskReason, saySkipReason(p.sc.In, p.reg.Name(ahu)),
		option{keys: []string{"locked"}, label: p.sc.In.Text("plant room locked"), edits: add("plant room locked")},
		option{keys: []string{"no access", "access"}, label: p.sc.In.Text("no safe access"), edits: add("no safe access")},
		option{keys: []string{"gauge", "broken"}, label: p.sc.In.Text("gauge out of order"), edits: add("gauge out of order")})
}

// notice reads a segment without numbers: nothing of its own is recorded, but a
// bank with words that make no sense is no chatter either.
func (p *parser) notice(g *group, s *segment) {
	if g.ahu != nil && len(s.banks) > 0 && !g.line.question && slices.ContainsFunc(s.marks, pressureWord) {
		if ahus, ok := p.places(g, true); ok {
			p.problem(AskNumber, sayNoNumber(p.sc.In, p.reg.Name(ahus[0])))
		}
		return
	}
	if p.piecesAlone(g, s) || p.freshAlone(g, s) {
		return
	}
	if p.corrects(g) && g.ahu != nil && len(s.banks) > 0 {
		if ahus, ok := p.places(g, true); ok {
			p.problem(AskNumber, sayWhichRight(p.sc.In, p.reg.Name(ahus[0])))
		}
	}
}

// unread says of a bank that was only said to be as before that nothing is recorded
// of it: "pre 85, bag same". What else the message reports is.
func (p *parser) unread(g *group, s *segment) {
	ahus, ok := p.places(g, g.ahu != nil)
	if !ok {
		return
	}
	if banks, ok := p.banks(g, s, ahus[0]); ok {
		for _, bank := range banks {
			p.note("unread:"+string(bank), saySameUnread(p.sc.In, p.reg.Name(bank)))
		}
	}
}

// pressureWord reports whether a mark is a unit without a number.
func pressureWord(m *mark) bool {
	u, ok := unitNamed(m.text)
	return m.kind == mCue && ok && u.kind == uPressure && !u.weak
}

// event records something outside that dirties filters for a while, at the AHUs
// named, or at the site when the words leave no doubt.
func (p *parser) event(g *group) bool {
	i := slices.IndexFunc(g.marks, func(m *mark) bool { return m.anyOf(cEvent, cEventStrong) })
	if i < 0 || g.line.question || g.has(cSwap, cFanOff) || g.line.has(cBook, cWish, cOrdered) {
		return false
	}
	m := g.marks[i]
	read := typedPressure(g.marks)
	if read && !m.is(cEventStrong) { // "dusty" beside a reading tells of the filters
		return false
	}
	if slices.ContainsFunc(p.idle, func(b int) bool { return b >= m.from && b < m.to }) {
		return false
	}
	what := p.eventName(g.marks, i)
	if g.ahu != nil {
		ahus, ok := p.places(g, true)
		for _, ahu := range ahus {
			if at, good := p.at(g, ahu); ok && good {
				p.add(p.item(g, ahu, at, entry.Event{What: what}))
			}
		}
		return !read
	}
	named := g.hasKind(mSite)
	// Without a place it takes a word that means nothing else, and where or when, or a
	// second such word: a smoke outside is also a break.
	strong, events := false, 0
	for _, o := range g.marks {
		strong = strong || o.is(cEventStrong)
		if o.anyOf(cEvent, cEventStrong) {
			events++
		}
	}
	if !named && !(strong && (g.has(cNear) || g.hasKind(mWhen) || events > 1) && g.line.unknown <= 3) {
		return false
	}
	site, ok := p.onlySite(g.line)
	if !ok {
		p.askSiteOf(g.line)
		return true
	}
	place := plant.BankID(site)
	if at, ok := p.at(g, place); ok {
		p.add(p.item(g, place, at, entry.Event{What: what}))
	}
	return true
}

// eventName is "heath fire smoke": the event words that stand together.
func (p *parser) eventName(ms []*mark, i int) string {
	b := i
	for b+1 < len(ms) && ms[b+1].anyOf(cEvent, cEventStrong) {
		b++
	}
	return strings.ToLower(p.raw(ms[i].from, ms[b].to))
}

func (p *parser) askSiteOf(l *line) {
	var options []option
	var names []string
	for _, s := range p.sites() {
		name := p.siteName(s)
		names = append(names, name)
		options = append(options, option{keys: []string{s, name}, label: name, edits: []edit{{l.from, l.from, name + " "}}})
	}
	p.problem(AskSite, sayWhichSite(p.sc.In, names), options...)
}
