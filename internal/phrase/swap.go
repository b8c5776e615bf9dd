package phrase

import (
	"slices"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// swap records a change-out, when a segment tells of one.
func (p *parser) swap(g *group, s *segment) bool {
	if !p.tellsSwap(g, s) {
		return false
	}
	if p.partChange(g, s) || p.tornChanged(g, s) || p.unsureChange(g, s) {
		return true
	}
	ahus, ok := p.places(g, g.line.unknown == 0 && (len(s.banks) > 0 || saysFilters(s.marks) || len(s.numbers()) > 0))
	if !ok {
		return g.ahu != nil || g.lost
	}
	if len(ahus) > 1 && (wholes(s) > 1 || len(s.numbers()) > 0) { // whose reading would it be?
		p.problem(AskNumber, sayTwoValues(p.sc.In, p.reg.Name(ahus[0]), p.raw(g.ahu.from, g.line.to)))
		return true
	}
	for _, ahu := range ahus {
		for _, bank := range p.swapBanks(g, s, ahu) {
			p.swapOne(g, s, bank)
		}
	}
	return true
}

// tellsSwap reports whether a segment says that filters were changed, not that
// they are to be.
func (p *parser) tellsSwap(g *group, s *segment) bool {
	if s.has(cLeft) || g.wantsChange(s) || g.line.polar || g.line.question && len(s.numbers()) == 0 || undone(s.marks) {
		return false
	}
	if g.changesFilters(s.marks) || s.swap || s.fresh && !g.line.faulty && !g.line.has(cWish, cOrdered, cArrived, cBook) {
		return true
	}
	if s.has(cDone) && !s.has(cJob) && (len(s.banks) > 0 || saysFilters(s.marks)) {
		return true
	}
	if pieces(s) > 0 && s.has(cClean) && len(s.numbers()) > 0 && !g.line.faulty && !g.line.has(cWish, cOrdered, cArrived, cStock) {
		return true // "bags in, 24 off, clean 98"
	}
	if !s.has(cChange) {
		return false
	}
	if hasCue(s.marks, cClean) && len(s.numbers()) > 0 || hasCue(s.marks, cDone) || pieces(s) > 0 {
		return true
	}
	if g.ahu != nil && g.line.unknown == 0 && !g.line.question {
		p.askChange(g, s)
		return true
	}
	return false
}

// wantsChange reports whether a segment wants filters changed and does not tell of
// it: "need the bags changed".
func (g *group) wantsChange(s *segment) bool {
	for i, m := range g.marks {
		if m.is(cSwap) && slices.Contains(s.marks, m) && len(s.numbers()) == 0 && wanted(g.marks, i) {
			return true
		}
	}
	return false
}

// unsureWords say that somebody only thinks so.
var unsureWords = set("might maybe perhaps probably think thinks believe guess reckon unsure vielleicht glaube denke wahrscheinlich creo quizas quiza probablemente")

// unsureChange asks about a change that somebody only thinks has been: "I think the
// bags were changed".
func (p *parser) unsureChange(g *group, s *segment) bool {
	if len(s.numbers()) > 0 || pieces(s) > 0 {
		return false
	}
	for i, m := range g.line.marks {
		from := m.from
		switch {
		case unsureWords[m.text]:
		case m.text == "sure" && i > 0 && g.line.marks[i-1].is(cNot):
			from = g.line.marks[i-1].from
		default:
			continue
		}
		to := m.to
		if i+1 < len(g.line.marks) && g.line.marks[i+1].text == "if" {
			to = g.line.marks[i+1].to
		}
		ahus, ok := p.places(g, true)
		if !ok {
			return true
		}
		p.problem(AskChange, sayUnsure(p.sc.In, p.reg.Name(ahus[0])),
			option{keys: []string{"changed", "yes", "sure"}, label: p.sc.In.Text("changed"), edits: []edit{{from, to, ""}}})
		return true
	}
	return false
}

// undone reports whether the word for a change is negated: "not done", "no se han
// cambiado".
func undone(ms []*mark) bool {
	for i, m := range ms {
		if !m.anyOf(cSwap, cDone, cChange) {
			continue
		}
		for j := i - 1; j >= 0; j-- {
			if ms[j].is(cNot) || ms[j].text == "no" {
				return true
			}
			if !ms[j].anyOf(cFill, cAll) && ms[j].kind != mWhen {
				break
			}
		}
	}
	return false
}

func saysFilters(ms []*mark) bool {
	return slices.ContainsFunc(ms, func(m *mark) bool { return m.text == "filters" || m.text == "filter" || m.text == "filtros" })
}

// swapBanks lists the banks that were changed: those named, or all with "all" or
// "both" and no bank named.
func (p *parser) swapBanks(g *group, s *segment, ahu plant.BankID) []plant.BankID {
	if len(s.banks) == 0 && hasCue(s.marks, cAll) && len(p.banksOf(ahu)) > 1 && len(s.numbers()) == 0 {
		return p.banksOf(ahu)
	}
	if all := p.banksOf(ahu); len(s.banks) == 0 && len(all) == 2 && len(s.numbers()) == 0 && pieces(s) == 0 && !(g.here && p.sc.Here.Whole()) {
		p.askBank(ahu, p.afterTag(g), "", "both")
		return nil
	}
	banks, ok := p.banks(g, s, ahu)
	if !ok {
		return nil
	}
	if len(banks) > 1 && len(s.numbers()) > 0 && !p.allPieces(s) {
		p.problem(AskNumber, sayTwoValues(p.sc.In, p.reg.Name(ahu), p.raw(g.line.from, g.line.to)))
		return nil
	}
	return banks
}

func (p *parser) allPieces(s *segment) bool {
	for _, m := range s.numbers() {
		if m.q.unit.kind == uPressure {
			return false
		}
	}
	return true
}

// pieces is the number of pieces a segment names for sure, or 0.
func pieces(s *segment) int {
	for _, m := range s.marks {
		if m.kind == mNum && (m.q.piece || m.q.pieceStage) && m.q.unit.kind == uNone && m.q.first.decimals == 0 && m.q.first.value >= 1 && m.q.first.value <= 500 {
			return int(m.q.first.value)
		}
	}
	return 0
}

// wholes counts the whole numbers without a unit.
func wholes(s *segment) int {
	n := 0
	for _, m := range s.marks {
		if m.kind == mNum && m.q.unit.kind == uNone && m.q.first.decimals == 0 {
			n++
		}
	}
	return n
}

func (p *parser) swapOne(g *group, s *segment, bank plant.BankID) {
	e := p.expect(bank)
	at, ok := p.at(g, bank)
	if !ok {
		return
	}
	sw := entry.Swap{Who: g.line.who}
	var flags []string
	if n := pieces(s); n > 0 {
		sw.Count = &n
	}
	if p.crowded(bank, s.numbers()) {
		return
	}
	for _, m := range s.numbers() {
		if !p.swapNumber(s, e, bank, m, &sw, &flags) {
			return
		}
	}
	if sw.Count == nil && hasCue(s.marks, cAll) && e.bank.Count() > 0 && !hasCue(s.marks, cNot) {
		n := e.bank.Count()
		sw.Count = &n
	}
	if sw.Count != nil && e.bank.Count() > 0 && *sw.Count != e.bank.Count() {
		flags = append(flags, "count-differs")
	}
	a := p.airFor(g, s)
	sw.FlowM3s, sw.FanHz, sw.FanPct = p.flowFor(a, bank), a.hz, a.pct
	if i := slices.IndexFunc(s.marks, func(m *mark) bool { return m.kind == mItem }); i >= 0 && s.marks[i].code != e.bank.Item {
		sw.Item = s.marks[i].code
	}
	if _, during := g.line.runs(true); during {
		flags = append(flags, FlagRunning)
	}
	if p.noDrop(e, s, sw) {
		flags = append(flags, "no-drop")
	}
	sw.Confirmed = sw.Count != nil && sw.CleanPa != nil && !slices.Contains(flags, "no-drop")
	it := p.item(g, bank, at, sw, flags...)
	it.Unstated = p.unstated(bank, sw, a)
	it.CorrectsLast = g.line.has(cAmend)
	p.add(it)
	if (s.has(cDone) || g.has(cBack)) && slices.Contains(p.sc.Booked, bank) {
		p.add(p.item(g, bank, at, entry.JobDone{CleanPa: sw.CleanPa, FanHz: sw.FanHz}))
	}
}

// swapNumber gives one number of a swap its part: before, after, or how many.
func (p *parser) swapNumber(s *segment, e expect, bank plant.BankID, m *mark, sw *entry.Swap, flags *[]string) bool {
	r := roleOf(s.marks, m)
	whole := m.q.unit.kind == uNone && m.q.first.decimals == 0 && !m.q.isRange
	if whole && sw.Count != nil && int(m.q.first.value) == *sw.Count && r == roleReading {
		return true // "24/24"
	}
	if whole && sw.Count == nil && r != roleClean && (int(m.q.first.value) == e.bank.Count() || m.q.carried && r == roleReading) && m.q.first.value >= 1 && m.q.first.value <= 500 {
		n := int(m.q.first.value)
		sw.Count = &n
		return true
	}
	if m.q.isRange {
		before, ok := p.pressure(bank, m, m.q.first, roleBefore)
		if !ok {
			return false
		}
		after, ok := p.pressure(bank, m, m.q.second, roleClean)
		if !ok {
			return false
		}
		sw.BeforePa, sw.CleanPa = &before.pa, &after.pa
		return true
	}
	if r == roleReading {
		r = roleClean
		if sw.CleanPa != nil {
			r = roleBefore
		}
	} else if r == roleClean && sw.CleanPa != nil { // "245 now 92": the first was before
		sw.BeforePa, sw.CleanPa = sw.CleanPa, nil
	}
	want := r
	if r == roleClean && s.has(cSame) {
		want = roleReading
	}
	v, ok := p.pressure(bank, m, m.q.first, want)
	if !ok {
		return false
	}
	if r == roleBefore {
		sw.BeforePa = &v.pa
	} else {
		sw.CleanPa = &v.pa
	}
	for _, f := range v.flags {
		if !slices.Contains(*flags, f) {
			*flags = append(*flags, f)
		}
	}
	return true
}

// noDrop reports whether the clean reading is not below what stood before.
func (p *parser) noDrop(e expect, s *segment, sw entry.Swap) bool {
	if sw.CleanPa == nil {
		return s.has(cSame)
	}
	before := e.last
	if sw.BeforePa != nil {
		before = *sw.BeforePa
	}
	if s.has(cSame) && before > 0 && *sw.CleanPa < 0.7*before { // as clean as the last time
		return false
	}
	return s.has(cSame) || before > 0 && *sw.CleanPa >= 0.9*before && *sw.CleanPa > 1.3*e.clean
}

// unstated names what is still asked for about a swap.
func (p *parser) unstated(bank plant.BankID, sw entry.Swap, a air) []string {
	var out []string
	if sw.Count == nil {
		out = append(out, "count")
	}
	if sw.CleanPa == nil {
		out = append(out, "clean_pa")
	}
	if u, ok := p.reg.AHU(bank); ok && u.FanControl != plant.FlowHeld && !a.known() {
		out = append(out, "fan")
	}
	return out
}

// askChange asks whether "change" tells of the past or the future.
func (p *parser) askChange(g *group, s *segment) {
	ahus, ok := p.places(g, true)
	if !ok {
		return
	}
	i := slices.IndexFunc(s.marks, func(m *mark) bool { return m.is(cChange) })
	m := s.marks[i]
	p.problem(AskChange, sayChange(p.sc.In, p.reg.Name(ahus[0])),
		option{keys: []string{"changed", "done", "already"}, label: p.sc.In.Text("changed already"), edits: []edit{{m.from, m.to, "changed"}}},
		option{keys: []string{"book", "tomorrow", "to do"}, label: p.sc.In.Text("book it for tomorrow"), edits: []edit{{m.from, m.to, "book tomorrow"}}})
}
