package phrase

import (
	"slices"
	"strings"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// defect records what the supervisor should know: "belt squealing". With a word
// like "refitted", or for a part of the plant that was changed, it is mended, and
// earlier readings are suspect.
func (p *parser) defect(g *group) {
	i, fixed := g.fault()
	wet := i < 0
	if wet {
		i = g.soaked()
	}
	if i < 0 || fixed && g.line.has(cCan) || g.line.question || g.ahu == nil && !p.hasHere() || g.ahu == nil && g.line.unknown > 2 {
		return
	}
	ahus, ok := p.places(g, true)
	if !ok || len(ahus) != 1 {
		return
	}
	from, to := p.clause(g.marks, i)
	if fixed {
		for j := i; j < len(g.marks) && g.marks[j].kind != mNum; j++ {
			if g.marks[j].is(cFixed) {
				_, to = p.clause(g.marks, j)
			}
		}
	}
	if stuckAt(g.marks) { // "stuck at 150"
		for j := i + 1; j < len(g.marks) && to < g.marks[j].from; j++ {
			if g.marks[j].kind == mNum {
				to = g.marks[j].to
				break
			}
		}
	}
	place := p.defectPlace(g, ahus[0])
	for _, m := range g.marks { // "AHU-3 pre wet": its name stands before the note
		if wet && place.Whole() && m.kind == mBank && m.from == from && m.to < to {
			from = m.to
		}
	}
	note := trimLinks(p.raw(from, max(from, to)))
	if part := partBefore(g, from); part != nil && !wet { // "belt AHU-3 squealing"
		note = p.raw(part.from, part.to) + " " + note
	}
	if fixed && g.here && p.sc.Here.Whole() && !place.Whole() { // an answer to the doubt about that bank
		place = p.sc.Here
	}
	if at, ok := p.at(g, place); ok && note != "" {
		p.add(p.item(g, place, at, entry.Defect{Note: note, Fixed: fixed}))
		if wet {
			p.note("wet", sayWet(p.sc.In))
		}
		if !fixed && g.has(cVermin) {
			p.note("biological", sayBiological(p.sc.In))
		}
	}
}

// fault finds the mark that tells of a defect, and whether it is put right; -1
// when there is none.
func (g *group) fault() (i int, fixed bool) {
	mended := g.mended()
	for j := range g.marks {
		if !faultAt(g.marks, j) {
			continue
		}
		if j > 0 && g.marks[j-1].is(cNot) { // "not torn"
			continue
		}
		return j, g.has(cFixed) || mended >= 0 || g.changesFilters(g.marks[j:])
	}
	return mended, mended >= 0 && !(g.marks[mended].is(cSwap) && g.driveOnly())
}

// stuckAt reports whether a gauge is said to be stuck at a value.
func stuckAt(ms []*mark) bool {
	return slices.ContainsFunc(ms, func(m *mark) bool { return stuckWords[m.text] && m.is(cDefect) && !m.is(cPiece) })
}

var stuckWords = map[string]bool{"stuck": true, "stuck at": true, "hangt bei": true, "hangt fest": true, "klemmt": true, "atascado": true, "atascada": true}

// partBefore is the part of the plant that is named before the tag, where the fault
// is told after it; nil when there is none.
func partBefore(g *group, from int) *mark {
	for _, m := range g.line.marks {
		if m.from >= from || g.ahu != nil && m.from > g.ahu.from {
			break
		}
		if m.is(cPart) {
			return m
		}
	}
	return nil
}

// driveWords are parts that no gauge reads wrong for.
var driveWords = set("belt belts motor motors bearing bearings lamp lamps riemen keilriemen lager correa correas rodamiento rodamientos")

// driveOnly reports whether the only parts named are of the drive: a belt changed as
// it should be puts no earlier reading in doubt.
func (g *group) driveOnly() bool {
	return !slices.ContainsFunc(g.marks, func(m *mark) bool { return m.is(cPart) && !driveWords[m.text] })
}

// soaked finds the word that says of filters, without a reading beside it, that they
// are wet; -1 when there is none.
func (g *group) soaked() int {
	if !g.hasKind(mBank) || g.hasKind(mNum) || g.has(cSwap, cNot) {
		return -1
	}
	return slices.IndexFunc(g.marks, func(m *mark) bool { return m.kind == mCue && soakedWords[m.text] })
}

var soakedWords = set("wet soaked damp nass nasse feucht feuchte mojado mojados mojada mojadas humedo humedos humeda humedas")

// faultAt reports whether mark i tells of a defect: the "Stück" of "24 Stück" is
// written like a stuck gauge and is none.
func faultAt(ms []*mark, i int) bool {
	return ms[i].anyOf(cDefect, cVermin) && !(ms[i].is(cPiece) && i > 0 && ms[i-1].kind == mNum)
}

// mended finds a word that says by itself that something was put right: "repaired",
// or a part of the plant that was changed or is back on.
func (g *group) mended() int {
	for i, m := range g.marks {
		switch {
		case m.is(cFixed) && i+1 < len(g.marks) && (g.marks[i+1].kind == mAir || g.marks[i+1].is(cAt) || g.marks[i+1].text == "speed"): // "fan fixed at 42 Hz"
		case i > 0 && g.marks[i-1].is(cNot):
		case m.is(cFixed) && (!m.is(cShut) || g.partAt(i)):
			return i
		case m.anyOf(cSwap, cDone, cBack) && g.partAt(i):
			return i
		}
	}
	return -1
}

// partAt reports whether the word at mark i, for a change or the like, is said of
// a part of the plant, as a belt or a door, and not of its filters: the nearest of
// the two before it counts, or after it.
func (g *group) partAt(i int) bool {
	if g.marks[i].is(cPart) {
		return true
	}
	for j := i - 1; j >= 0; j-- {
		m := g.marks[j]
		if m.is(cPart) || m.text == "fan" && j == i-1 && g.marks[i].is(cSwap) {
			return true
		}
		if m.kind == mBank || saysFilters(g.marks[j:j+1]) || m.sign(",", ";", ".") || m.kind == mNum || m.anyOf(cSwap, cFixed) {
			break
		}
	}
	for j := i + 1; j < len(g.marks); j++ {
		m := g.marks[j]
		if m.is(cPart) {
			return g.marks[i].anyOf(cSwap, cFixed)
		}
		if m.kind == mBank || saysFilters(g.marks[j:j+1]) || m.sign(",", ";", ".") || m.kind == mNum {
			return false
		}
	}
	return false
}

// tornChanged asks whether a bank was changed or only one bad filter of it: "torn
// bag replaced".
func (p *parser) tornChanged(g *group, s *segment) bool {
	if len(s.numbers()) > 0 || pieces(s) > 0 || hasCue(s.marks, cAll) {
		return false
	}
	for i, m := range g.marks {
		if i+1 >= len(g.marks) || !m.is(cDefect) || g.marks[i+1].kind != mBank || m.anyOf(cPart, cVermin) {
			continue
		}
		j := slices.IndexFunc(g.marks, func(m *mark) bool { return m.is(cSwap) })
		ahus, ok := p.places(g, true)
		if !ok || j < 0 {
			return !ok
		}
		change := g.marks[j]
		p.problem(AskChange, sayTornChanged(p.sc.In, p.reg.Name(ahus[0])),
			option{keys: []string{"all", "all of them"}, label: p.sc.In.Text("all of them"), edits: []edit{{m.from, m.to, "all"}}},
			option{keys: []string{"one", "only one", "the bad one"}, label: p.sc.In.Text("only the bad one"), edits: []edit{{change.from, change.to, "repaired"}}})
		return true
	}
	return false
}

// changesFilters reports whether a word for a change-out among the marks of a
// segment is said of filters and not of a part of the plant.
func (g *group) changesFilters(ms []*mark) bool {
	return slices.ContainsFunc(ms, func(m *mark) bool {
		if !m.is(cSwap) {
			return false
		}
		i := slices.Index(g.marks, m)
		return i < 0 || !g.partAt(i) || g.partAndFilters(i)
	})
}

// partAndFilters reports whether filters are named in one breath with the part
// after the change at mark i: "changed the belt and bags".
func (g *group) partAndFilters(i int) bool {
	joined := false
	for _, m := range g.marks[i+1:] {
		switch {
		case m.kind == mBank || m.text == "filters" || m.text == "filtros":
			return joined
		case m.is(cAnd), m.sign("&", "+"):
			joined = true
		case !m.is(cPart) && !m.is(cFill):
			return false
		}
	}
	return false
}

// trimLinks takes linking words off both ends of a note: "is leaking at".
func trimLinks(s string) string {
	for {
		before, after, ok := strings.Cut(s, " ")
		if ok && onlyLink(strings.ToLower(before)) {
			s = after
			continue
		}
		i := strings.LastIndexByte(s, ' ')
		if i > 0 && onlyLink(strings.ToLower(s[i+1:])) {
			s = s[:i]
			continue
		}
		return strings.TrimSpace(s)
	}
}

// electricWords before "panel" tell of a board and not of a filter.
var electricWords = set("on control electrical electric the onto")

// defectPlace is the bank the defect is of, when one is named or there is but
// one; else the AHU.
func (p *parser) defectPlace(g *group, ahu plant.BankID) plant.BankID {
	var named []plant.BankID
	for i, m := range g.marks {
		if m.text == "panel" && i > 0 && electricWords[g.marks[i-1].text] { // "dripping on panel"
			continue
		}
		if m.kind == mBank {
			for _, w := range m.banks {
				named = append(named, p.matchBank(ahu, w)...)
			}
		}
	}
	slices.Sort(named)
	named = slices.Compact(named)
	if len(named) == 1 {
		return named[0]
	}
	return ahu
}

// clause gives the bytes of the words around mark i, up to the next comma,
// number or tag on either side.
func (p *parser) clause(ms []*mark, i int) (from, to int) {
	stop := func(m *mark) bool {
		return m.sign(",", ";", ".", ":", "(", ")", "!") || m.kind == mNum && !m.q.piece && !m.q.pieceStage || m.kind == mAHU || m.kind == mSite || m.kind == mAir || m.kind == mWhen || m.is(cClean) || m.is(cAnd)
	}
	a, b := i, i
	for a > 0 && !stop(ms[a-1]) {
		a--
	}
	for b+1 < len(ms) && !stop(ms[b+1]) {
		b++
	}
	return ms[a].from, ms[b].to
}
