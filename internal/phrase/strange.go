package phrase

import "slices"

// strangers takes letters and a number that read like a tag, on a line that names no
// other, for the tag of an AHU that is not here: what is said of "XY-4" must not go
// to the AHU last talked of.
func (p *parser) strangers(l *line) {
	if l.hasKind(mAHU, mItem) || l.has(cStock, cOrdered, cWish, cArrived, cCompare) ||
		!l.hasKind(mBank) && !typedPressure(l.marks) && !l.has(cWhy, cHow, cDue, cChart, cCost, cSteps, cStatus) {
		return
	}
	for i, m := range l.marks {
		if m.kind != mWord || len(m.text) < 2 || len(m.text) > 5 || i+1 >= len(l.marks) {
			continue
		}
		n := i + 1
		if l.marks[n].punct("-") && n+1 < len(l.marks) && l.marks[n].from == m.to {
			n++
		}
		num := l.marks[n]
		if num.kind != mNum || num.from != l.marks[n-1].to && num.q.signFrom != m.to || num.q.unit.kind != uNone || num.q.isRange || num.q.first.decimals > 0 || num.q.first.value >= 1000 {
			continue
		}
		m.kind, m.tags = mAHU, []tag{{from: m.from, to: num.q.numTo, key: m.text + trimZeros(num.q.first.digits)}}
		m.to = num.q.numTo
		l.marks = append(l.marks[:i+1], l.marks[n+1:]...)
		l.unknown--
		l.sum()
		return
	}
}

// strangeBank asks which bank is meant by a word of no known meaning that stands
// where one belongs, beside a tag and a number: "ahu3 sek 151".
func (p *parser) strangeBank(g *group, s *segment, nums []*mark) bool {
	if len(s.banks) > 0 || g.ahu == nil && p.carried == nil || g.line.polar || g.line.unknown > 2 {
		return false
	}
	w := strangeWord(g.marks)
	if w == nil {
		return false
	}
	ahus, ok := p.places(g, true)
	if !ok || len(ahus) != 1 {
		return !ok
	}
	if len(p.banksOf(ahus[0])) < 2 && p.likely(g, s, nums) {
		return false
	}
	p.askBank(ahus[0], edit{from: w.from, to: w.to}, p.text[w.from:w.to])
	return true
}

// strangeWord finds the unknown word that labels a number: right before it, or
// after it when it is much like a word for a bank.
func strangeWord(ms []*mark) *mark {
	for i, m := range ms {
		if m.kind != mNum || m.q.piece || m.q.pieceStage || m.q.clockish {
			continue
		}
		j := i - 1
		if j > 0 && ms[j].sign(":", "=", "-") {
			j--
		}
		if j >= 0 && ms[j].kind == mWord && len(ms[j].text) <= 12 && gaugeValue(m.q) && !isUnit(ms[j].text) {
			return ms[j]
		}
		if i+1 < len(ms) && ms[i+1].kind == mWord && likeStage(ms[i+1].text) {
			return ms[i+1]
		}
	}
	return nil
}

func isUnit(w string) bool { _, ok := unitNamed(w); return ok }

// gaugeValue reports whether a number is one that a filter gauge shows.
func gaugeValue(q quantity) bool {
	return q.unit.kind == uPressure || q.unit.kind == uNone && (q.first.decimals > 0 || q.first.value >= 15) && q.first.value <= 1500
}

// likeStage reports whether w is a word for a bank but for one letter.
func likeStage(w string) bool {
	if len(w) < 3 {
		return false
	}
	for right, phrases := range stageWords {
		if len(right) >= 3 && right[0] == w[0] && len(phrases[0].words) == 1 && editDistance(w, right, 2) == 1 {
			return true
		}
	}
	return false
}

// piecesBeside asks about a number of pieces beside a reading, with no word of a
// change-out: "ahu3 bag 150 pa 12 off".
func (p *parser) piecesBeside(g *group, s *segment) bool {
	i := slices.IndexFunc(s.marks, func(m *mark) bool { return m.kind == mNum && m.q.piece })
	if i < 0 || g.line.question || g.line.faulty || g.line.has(cWish, cOrdered, cArrived, cStock, cLeft, cNot) {
		return false
	}
	from, to := s.marks[i].from, s.marks[i].to
	switch {
	case i+1 < len(s.marks) && s.marks[i+1].is(cPiece):
		to = s.marks[i+1].to
	case i > 0 && (s.marks[i-1].is(cPiece) || s.marks[i-1].sign("×")):
		from = s.marks[i-1].from
	default:
		return false
	}
	ahus, ok := p.places(g, true)
	if !ok {
		return true
	}
	p.problem(AskChange, sayPieces(p.sc.In, p.reg.Name(ahus[0]), p.raw(from, to)),
		option{keys: []string{"changed", "swapped"}, label: p.sc.In.Text("changed"), edits: []edit{{from, from, "changed "}}},
		option{keys: []string{"read", "reading", "only read"}, label: p.sc.In.Text("only read"), edits: []edit{{from, to, ""}}})
	return true
}

// piecesAlone asks about a number of pieces with nothing said of what was done
// with them: "ahu3 bag 12 off".
func (p *parser) piecesAlone(g *group, s *segment) bool {
	i := slices.IndexFunc(s.marks, func(m *mark) bool { return m.kind == mNum && m.q.piece })
	if i < 0 || g.ahu == nil || g.line.question || g.line.unknown > 0 || g.line.faulty || i+1 >= len(s.marks) || !s.marks[i+1].is(cPiece) ||
		g.line.has(cWish, cOrdered, cArrived, cStock, cLeft, cNot, cSwap, cUsed, cBook, cDoing) {
		return false
	}
	ahus, ok := p.places(g, true)
	if !ok {
		return true
	}
	m := s.marks[i]
	p.problem(AskChange, sayPiecesAlone(p.sc.In, p.reg.Name(ahus[0]), p.raw(m.from, s.marks[i+1].to)),
		option{keys: []string{"changed", "yes"}, label: p.sc.In.Text("changed"), edits: []edit{{m.from, m.from, "changed "}}})
	return true
}

// freshAlone asks whether "new" after a bank, and nothing else, tells of a change:
// "AHU-1 VF neu".
func (p *parser) freshAlone(g *group, s *segment) bool {
	n := len(s.marks)
	if g.ahu == nil || n == 0 || s.marks[n-1] != g.marks[len(g.marks)-1] || g.line.question || g.line.unknown > 0 || !s.marks[n-1].is(cClean) || !freshWord(s.marks[n-1].text) ||
		len(s.banks) == 0 && !saysFilters(s.marks) || g.line.has(cWish, cOrdered, cArrived, cStock, cBook, cPart) {
		return false
	}
	ahus, ok := p.places(g, true)
	if !ok {
		return true
	}
	m := s.marks[n-1]
	p.problem(AskChange, sayChange(p.sc.In, p.reg.Name(ahus[0])),
		option{keys: []string{"changed", "done", "already"}, label: p.sc.In.Text("changed already"), edits: []edit{{m.from, m.to, "changed"}}},
		option{keys: []string{"book", "tomorrow", "to do"}, label: p.sc.In.Text("book it for tomorrow"), edits: []edit{{m.from, m.to, "book tomorrow"}}})
	return true
}
