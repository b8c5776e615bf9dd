package phrase

// seatWords stand before the number of a place within a bank: "row 2".
var seatWords = set("row rack reihe fila slot column position pos rahmen cell corner module")

// takeSeats takes the number of a place within a bank, as in "torn bag, row 2", for
// no reading.
func (l *line) takeSeats() {
	for i, m := range l.marks {
		if i > 0 && m.kind == mNum && m.q.unit.kind == uNone && m.q.first.decimals == 0 && m.q.first.value < 50 && seatWords[l.marks[i-1].text] {
			m.kind = mOther
		}
	}
}

// joinPieces adds pieces of two sizes that were changed together: "changed 2+2".
func (l *line) joinPieces() {
	if !l.cues.any([]cue{cSwap}) {
		return
	}
	for i := 0; i+1 < len(l.marks); i++ {
		a := l.marks[i]
		n := i + 1
		if l.marks[n].punct("+") {
			n++
		}
		if n >= len(l.marks) || !fewPieces(a) || !fewPieces(l.marks[n]) || n == i+1 && l.marks[n].from != a.to && l.marks[n].q.signFrom != a.to {
			continue
		}
		a.q.first.value += l.marks[n].q.first.value
		a.q.piece = true
		a.to = l.marks[n].to
		l.marks = append(l.marks[:i+1], l.marks[n+1:]...)
	}
}

// fewPieces reports whether a mark is a small whole number without a unit.
func fewPieces(m *mark) bool {
	return m.kind == mNum && m.q.unit.kind == uNone && !m.q.isRange && m.q.first.decimals == 0 && m.q.first.value >= 1 && m.q.first.value <= 100
}
