package phrase

import (
	"slices"
	"strings"
)

// runningFan recognises work on a unit asked for, or announced, while its fan
// runs, in whatever order it is said. What was done is a record and no request:
// "changed bags, fan back on", "fan running 42 Hz, bag 150 Pa".
func (p *parser) runningFan(l *line) bool {
	if l.has(cUnisolated) && (l.hasKind(mAHU, mBank) || p.sc.Here != "") && !l.has(cSteps) {
		return true
	}
	runs, during := l.runs(p.sc.Here != "")
	if !runs && !p.runsElsewhere(l) {
		return false
	}
	asks := l.has(cCan, cSteps) || l.question
	hands := l.handsOn()
	switch {
	case !hands && !(l.has(cWork, cDoing, cChange, cSteps) && (asks || during)):
		return false
	case !hands && l.hasText(readingWords): // "can I read AHU-3 with the fan running"
		return false
	case asks || during:
		return hands || !l.reportsChange()
	case l.reportsChange(), l.statesFan():
		return false
	}
	return true
}

// reportsChange reports whether a line tells of filters that were changed: not of
// those that are to be, "need the bags changed".
func (l *line) reportsChange() bool {
	for i, m := range l.marks {
		if m.is(cSwap) && !wanted(l.marks, i) || m.is(cClean) && freshWord(m.text) && i+1 < len(l.marks) && l.marks[i+1].kind == mBank {
			return true
		}
	}
	return false
}

// wantWords before a word for a change say that it is still to come.
var wantWords = set("need needs needed want wants must should get getting require requires requiring braucht brauchen muss mussen soll sollen necesita necesitan necesito deben hay")

// wanted reports whether the change at mark i is one that somebody wants: "need
// bags changed".
func wanted(ms []*mark, i int) bool {
	for j := i - 1; j >= 0 && i-j <= 4; j-- {
		if ms[j].sign(",", ";", ".") || ms[j].kind == mNum {
			return false
		}
		if first, _, _ := strings.Cut(ms[j].text, " "); wantWords[first] {
			return true
		}
	}
	return false
}

// readingWords say that it is gauges that are worked at.
var readingWords = []string{"read", "reading", "readings", "round", "rounds", "ablesen", "ablesung", "leer", "lectura", "lecturas"}

func (l *line) hasText(words []string) bool {
	return slices.ContainsFunc(l.marks, func(m *mark) bool { return slices.Contains(words, m.text) })
}

// runs reports whether a line says that a fan runs, and whether it says so of the
// time of the work: "with the fan on", "without stopping".
func (l *line) runs(here bool) (runs, during bool) {
	for i, m := range l.marks {
		switch {
		case m.is(cWithout), m.is(cKeeps):
			runs, during = true, true
		case m.is(cRunning) && l.ofFan(i, here):
			runs = true
			during = during || l.while(i)
		case m.is(cWith) && l.withFan(i):
			runs, during = true, true
		}
	}
	return runs, during
}

// ofFan reports whether mark i, a word for running, speaks of a fan or unit:
// "running low" and "fan on Friday" do not.
func (l *line) ofFan(i int, here bool) bool {
	m := l.marks[i]
	if i+1 < len(l.marks) {
		next := l.marks[i+1]
		if m.bareRunning() && slices.Contains([]string{"low", "out", "late", "behind", "short", "order", "well"}, next.text) || next.kind == mWhen && next.when.day == dayWeekday && len(m.text) > 2 && m.text[len(m.text)-2:] == "on" {
			return false
		}
	}
	if !m.bareRunning() {
		return true
	}
	return here || l.hasKind(mAHU, mBank) || l.has(cFan)
}

// bareRunning reports whether a mark for running names no fan.
func (m *mark) bareRunning() bool {
	switch m.text {
	case "live", "running", "spinning", "turning", "en marcha", "encendido", "encendida", "funcionando", "laufend", "lauft noch":
		return true
	}
	return false
}

// while reports whether "with", "while" or the like stands shortly before mark i.
func (l *line) while(i int) bool {
	for j := i - 1; j >= 0 && i-j <= 4; j-- {
		switch m := l.marks[j]; {
		case m.kind == mPunct && m.text != "-":
			return false
		case m.is(cWith), slices.Contains([]string{"while", "whilst", "whilst its", "bei", "wahrend", "mientras", "obwohl", "although", "though"}, m.text):
			return true
		}
	}
	return false
}

// withFan reports whether "with" at mark i leads to a fan that is not off: "with
// the fan at 10 %".
func (l *line) withFan(i int) bool {
	for j := i + 1; j < len(l.marks) && j <= i+2; j++ {
		if m := l.marks[j]; m.text == "fan" || m.text == "fans" || m.text == "ventilator" || m.text == "ventilador" {
			if j+1 >= len(l.marks) {
				return false
			}
			next := l.marks[j+1]
			if next.anyOf(cAt, cFill) && j+2 < len(l.marks) {
				next = l.marks[j+2]
			}
			return next.kind == mAir || slices.Contains([]string{"on", "low", "slow", "high", "going", "moving", "an", "speed"}, next.text)
		}
	}
	return false
}

// statesFan reports whether a line only states how its fan runs: every word for
// running has a speed or frequency right after it.
func (l *line) statesFan() bool {
	for i, m := range l.marks {
		if !m.is(cRunning) {
			continue
		}
		j := i + 1
		for j < len(l.marks) && l.marks[j].anyOf(cAt, cFill) || j < len(l.marks) && l.marks[j].punct("@") {
			j++
		}
		if j >= len(l.marks) || l.marks[j].kind != mAir {
			return false
		}
	}
	return true
}

// handsOn reports whether a line speaks of work with the hands in a unit that is
// to come: "swap", "open the door", "filters out". A warning is none: "don't open".
func (l *line) handsOn() bool {
	for i, m := range l.marks {
		switch {
		case m.is(cSwap) && wanted(l.marks, i):
			return true
		case m.is(cHands):
			if i > 0 && l.marks[i-1].is(cNot) || m.text == "open" && !l.opens(i) {
				continue
			}
			return true
		case (m.text == "out" || m.text == "raus" || m.text == "fuera" || m.text == "draussen") && i > 0 && l.taken(i-1) && !l.reportsChange():
			return true
		}
	}
	return false
}

// opens reports whether "open" at mark i is what somebody means to do: "open the
// door", not "door open".
func (l *line) opens(i int) bool {
	if i > 0 && slices.Contains([]string{"door", "damper", "valve", "doors", "dampers", "is", "wide", "hatch", "panel"}, l.marks[i-1].text) {
		return false
	}
	return i+1 < len(l.marks) || l.has(cCan)
}

// taken reports whether mark i names filters, which "out" after it says are taken
// out.
func (l *line) taken(i int) bool {
	m := l.marks[i]
	return m.kind == mBank || m.text == "filter" || m.text == "filters" || m.text == "filtros" || m.text == "filtro" || m.kind == mAHU && i > 0 && l.taken(i-1)
}

// runsElsewhere reports whether another line of a short message says that the fan
// of what this line asks about runs: "can I swap the bags?⏎fan is running".
func (p *parser) runsElsewhere(l *line) bool {
	if len(p.lines) > 3 || !(l.has(cCan, cSteps) || l.question) {
		return false
	}
	for i := range p.lines {
		o := &p.lines[i]
		if o.n == l.n || o.hasKind(mAHU) && l.hasKind(mAHU) {
			continue
		}
		if runs, _ := o.runs(true); runs {
			return true
		}
	}
	return false
}

// enters reports whether a line speaks of going into a unit or opening it: not of
// opening a ticket.
func (l *line) enters() bool {
	for i, m := range l.marks {
		if !m.is(cEnter) {
			continue
		}
		if m.text != "open" && m.text != "abrir" && m.text != "offnen" {
			return true
		}
		j := i + 1
		for j < len(l.marks) && l.marks[j].is(cFill) && l.marks[j].kind == mCue {
			j++
		}
		if j >= len(l.marks) || l.marks[j].kind == mAHU || l.marks[j].kind == mBank || l.marks[j].anyOf(cPart, cFan, cThese) || l.marks[j].kind == mPunct {
			return true
		}
		if i > 0 && (l.marks[i-1].kind == mAHU || l.marks[i-1].is(cPart)) { // "AHU-3 öffnen ohne …"
			return true
		}
	}
	return false
}

// safeToEnter recognises a question whether a unit may be entered, or is isolated:
// what stands at the plant no program can see.
func (p *parser) safeToEnter(l *line) bool {
	if !l.hasKind(mAHU, mBank) && p.sc.Here == "" && !l.has(cFan) && !l.hasText([]string{"unit", "plant", "anlage", "gerat", "equipo"}) {
		return false
	}
	asks := l.question || l.has(cCan) || l.hasText([]string{"is it safe", "safe to", "es seguro", "ist es sicher"})
	switch {
	case l.has(cSteps, cChart, cDue, cStock, cOrders, cStatus, cDigest, cCost):
		return false
	case l.question && l.has(cFanOff) && slices.Contains([]string{"is", "are", "ist", "esta"}, l.marks[0].text):
		return true
	case l.has(cSafe) && asks:
		return true
	case asks && l.enters():
		return !slices.ContainsFunc(l.marks, func(m *mark) bool { return m.is(cNot) })
	case l.polar && l.has(cDead):
		return true
	}
	return false
}
