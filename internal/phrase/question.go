package phrase

import (
	"slices"
	"strings"

	"clogwise/internal/plant"
)

// asks lists the query kinds with the cue that asks for each, the more telling
// first.
var asks = []struct {
	cue  cue
	kind QueryKind
}{
	{cStepsRead, QueryStepsRead}, {cSteps, QuerySteps}, {cCompare, QueryCompare}, {cChart, QueryChart}, {cCost, QueryCost}, {cWhy, QueryWhy},
	{cStock, QueryStock}, {cOrders, QueryOrders}, {cOwed, QueryOwed}, {cVisits, QueryVisits}, {cDigest, QueryDigest},
	{cDue, QueryDue}, {cStatus, QueryStatus}, {cHow, QueryHow},
}

// everythingWords mean all there is at a site, and not the people.
var everythingWords = []string{"everything", "alles", "todo"}

// longestQuestion is the number of marks beyond which a line is no question.
const longestQuestion = 40

// question reads a line as a question to the bot.
func (p *parser) question(l *line) bool {
	if p.refused != "" || len(l.marks) > longestQuestion {
		return false
	}
	places, placed := p.queryPlaces(l)
	items := itemsOf(l.marks)
	for _, a := range asks {
		if !l.has(a.cue) || !p.meant(l, a.kind, placed, items) {
			continue
		}
		kind := a.kind
		switch {
		case kind == QueryStatus && placed && l.hasKind(mAHU, mBank):
			kind = QueryHow
		case kind == QueryHow && l.hasText(everythingWords) && !l.hasKind(mAHU, mBank, mSite): // "how is everything"
			places = nil
			for _, s := range p.sites() {
				places = append(places, plant.BankID(s))
			}
		case kind == QueryHow && !placed:
			continue
		case kind == QueryCompare && len(items) < 2 && !placed:
			continue
		}
		q := Query{Kind: kind, Places: places, Items: items}
		if kind == QueryDue || kind == QueryOrders || kind == QueryVisits {
			q.Within = within(l.marks)
		}
		p.put(l, q)
		return true
	}
	if l.question && len(items) > 0 && l.unknown <= 2 && !l.has(cWish, cOrdered, cArrived) && !l.hasKind(mNum) {
		p.put(l, Query{Kind: QueryStock, Places: places, Items: items}) // "how many BAG-592 have we got"
		return true
	}
	if !l.hasKind(mAHU, mNum) && l.unknown <= 3 && howManyLeft(p.text[l.from:l.to]) {
		p.put(l, Query{Kind: QueryStock, Places: places, Items: items}) // "how many bags left"
		return true
	}
	if l.polar && placed && l.hasKind(mAHU, mBank) && l.unknown <= 2 {
		p.put(l, Query{Kind: QueryHow, Places: places})
		return true
	}
	if p.nameOnly(l) || l.question && placed && l.unknown <= 2 && !l.hasKind(mNum) && !l.has(cBook, cWish, cCancel, cDefer) && l.hasKind(mAHU, mBank) && p.tame(l) {
		p.put(l, Query{Kind: QueryHow, Places: places})
		return true
	}
	return false
}

// tame keeps questions to people ("anyone at AHU-3?") out.
func (p *parser) tame(l *line) bool {
	for _, m := range l.marks {
		switch m.text {
		case "who", "anyone", "whos", "wheres", "where", "can", "could", "someone", "anybody":
			return false
		}
	}
	return true
}

// put keeps a query, unless its places are unclear: then the question about
// them has been noted.
func (p *parser) put(l *line, q Query) {
	if p.query == nil {
		p.query = &q
	}
	for i := range l.marks {
		if l.marks[i].kind == mAHU {
			g := group{line: l, marks: l.marks, ahu: l.marks[i]}
			p.places(&g, true)
		}
	}
}

// nameOnly reports whether a line names a place and nothing else: how is it?
func (p *parser) nameOnly(l *line) bool {
	if !l.hasKind(mAHU) || len(p.lines) > 1 {
		return false
	}
	for _, m := range l.marks {
		if m.kind != mAHU && m.kind != mBank && m.kind != mSite && !(m.kind == mPunct && m.text != "-") {
			return false
		}
	}
	return true
}

// howManyLeft reads a question for what is left in the store.
func howManyLeft(text string) bool {
	words := strings.Fields(strings.Trim(fold(text), " ?!."))
	many := len(words) > 0 && set("wieviele wieviel cuantos cuantas")[words[0]] ||
		len(words) > 1 && (words[0] == "how" && words[1] == "many" || words[0] == "wie" && (words[1] == "viele" || words[1] == "viel"))
	return many && len(words) > 1 && (set("left ubrig quedan da lager stock store almacen got")[words[len(words)-1]])
}

// meant weighs whether a line that holds a query word is a question to the bot.
func (p *parser) meant(l *line, kind QueryKind, placed bool, items []string) bool {
	switch kind {
	case QueryStock:
		if _, n := countOf(l.marks, true); n && !l.question && len(items) > 0 {
			return false
		}
	case QueryDue, QueryHow:
		if l.hasKind(mNum) && !l.question {
			return false
		}
		if l.hasText([]string{"termine"}) && (l.words() > 1 || p.sc.In.Tag() == "es") { // "terminé"
			return false
		}
	case QueryOrders:
		if l.has(cOrdered) && l.hasKind(mNum, mItem, mSize, mAHU, mBank) { // "pedidos 24 BF-24-2"
			return false
		}
	case QueryStepsRead:
		if l.question || l.has(cNot, cSkipWord, cForget) || l.hasKind(mNum) {
			return false
		}
	case QueryCost, QueryChart, QueryCompare, QuerySteps, QueryWhy, QueryOwed, QueryVisits, QueryDigest, QueryStatus, QueryHelp, QueryUndo:
	}
	if kind != QuerySteps && (l.has(cBook, cCancel, cDefer, cSwap) || l.has(cWish) && kind != QueryOrders && kind != QueryStock || l.has(cLeft) && kind != QueryDue && kind != QueryOwed && kind != QueryHow) && !l.question {
		return false
	}
	if kind == QueryHow && !l.question && !p.leads(l, cHow) {
		return false
	}
	allowed := 0
	if placed || len(items) > 0 {
		allowed = 3
	}
	if kind == QuerySteps && placed {
		allowed = 6
	}
	return l.unknown <= allowed && l.words() <= 14
}

// leads reports whether a cue is among the first or last words.
func (p *parser) leads(l *line, c cue) bool {
	n := len(l.marks)
	for i, m := range l.marks {
		if (i < 2 || i >= n-3) && m.is(c) {
			return true
		}
	}
	return false
}

func (l *line) words() int {
	n := 0
	for _, m := range l.marks {
		if m.kind != mPunct {
			n++
		}
	}
	return n
}

// queryPlaces lists the places a question is about: banks, AHUs, sites; the
// place the talk is about when it names none and asks for one.
func (p *parser) queryPlaces(l *line) ([]plant.BankID, bool) {
	var out []plant.BankID
	add := func(id plant.BankID) {
		if !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	var words []bankWord
	for _, m := range l.marks {
		if m.kind == mBank {
			words = append(words, m.banks...)
		}
	}
	var ahus []plant.BankID
	tagged := false
	for _, m := range l.marks {
		if m.kind == mAHU {
			tagged = true
			for _, t := range m.tags {
				if len(t.ids) == 1 {
					ahus = append(ahus, t.ids[0])
				}
			}
		}
	}
	if !tagged && (len(words) > 0 || !l.hasKind(mSite)) && p.sc.Here != "" && l.unknown == 0 {
		if len(words) > 0 {
			ahus = append(ahus, p.sc.Here.AHU())
		} else if l.has(cHow, cWhy, cChart, cCost, cSteps) {
			add(p.sc.Here)
		}
	}
	for _, ahu := range ahus {
		n := len(out)
		for _, w := range words {
			for _, id := range p.matchBank(ahu, w) {
				add(id)
			}
		}
		if len(out) == n {
			add(ahu)
		}
	}
	if len(ahus) == 0 {
		for _, w := range words {
			if len(w.ids) == 1 {
				add(w.ids[0])
			}
		}
		for i := range l.marks {
			if l.marks[i].kind == mSite {
				if s := p.siteOf(l.marks[i]); s != "" {
					add(plant.BankID(s))
				}
			}
		}
	}
	return out, len(out) > 0 || tagged
}

// alsoStates reports whether a line with a question also holds a statement: a
// wish to order has its own entry.
func (p *parser) alsoStates(l *line) bool {
	return l.hasKind(mNum) && l.hasKind(mAHU) && l.hasKind(mBank) && !l.has(cCompare, cDue) && l.unknown <= 3 && !l.question
}

// undo reads "undo" and "undo 4127".
func (p *parser) undo(l *line) bool {
	if len(l.marks) == 0 || !l.marks[0].is(cUndo) && !(len(l.marks) > 1 && l.marks[0].anyOf(cFill, cAmend) && l.marks[1].is(cUndo)) {
		return false
	}
	if l.has(cDefer) { // "undo the deferral of AHU-2 pre"
		return false
	}
	var seq int64
	for _, m := range l.marks {
		switch {
		case m.kind == mNum:
			if m.q.unit.kind != uNone || m.q.first.decimals > 0 || m.q.first.value > 1e12 || seq != 0 {
				return false
			}
			seq = int64(m.q.first.value)
		case m.kind == mWord && l.unknown > 1:
			return false
		}
	}
	if i := slices.IndexFunc(l.marks, func(m *mark) bool { return m.kind == mAHU }); i >= 0 {
		if _, ok := p.places(&group{line: l, marks: l.marks, ahu: l.marks[i]}, true); !ok { // "undo AHU-99"
			return true
		}
	}
	places, _ := p.queryPlaces(l)
	p.query = &Query{Kind: QueryUndo, Seq: seq, Places: places}
	return true
}

// help reads a call for help and nothing else.
func (p *parser) help(l *line) bool {
	if len(p.lines) == 1 && len(l.marks) == 1 && l.marks[0].punct("?") {
		p.query = &Query{Kind: QueryHelp}
		return true
	}
	if !l.has(cHelp) || l.unknown > 0 || l.hasKind(mAHU, mNum, mItem) || l.words() > 6 {
		return false
	}
	p.query = &Query{Kind: QueryHelp}
	return true
}
