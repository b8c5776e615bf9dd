package phrase

import (
	"slices"
	"strings"
)

// refuse recognises what is understood and not to be done. It says whether the
// line holds nothing else that may be read: beside work that somebody could be
// hurt by, nothing is.
func (p *parser) refuse(l *line) bool {
	code := p.refusal(l)
	if code == "" {
		return false
	}
	if p.refused == "" {
		p.refused, p.unsaved = code, l.hasKind(mNum)
	}
	switch code {
	case RefuseLock, RefuseShorten, RefuseCopy: // a clear reading beside it still counts
		return !typedPressure(l.marks)
	}
	return true
}

// told reports whether a site in hand has a supervisor other than the speaker,
// who hears of what is refused.
func (p *parser) told() bool {
	other := func(name string) bool { return !strings.EqualFold(name, p.sc.By) }
	return slices.ContainsFunc(p.sites(), func(id string) bool {
		s, _ := p.reg.Site(id)
		return slices.ContainsFunc(s.Supervisors, other)
	})
}

func (p *parser) refusal(l *line) string {
	switch {
	case p.runningFan(l), l.workedLive():
		return RefuseRunning
	case l.shirks():
		return RefuseShorten
	case l.holdsLock():
		return RefuseLock
	case p.safeToEnter(l), l.asksState(), l.worksOn(), l.has(cFanOff, cOff) && l.has(cEnter) && l.canGo():
		return RefuseEnter
	case l.freesLock(), (l.has(cRemove) && lockAfter(l) || takesOff(l) && l.has(cLock)) && !l.has(cBack, cSwap):
		return RefuseLock
	case l.has(cSkipWord) && l.has(cSteps, cLock), l.has(cSteps) && anyWord(l.wordsOf(), shortForms):
		return RefuseShorten
	case l.has(cForget) && l.has(cLimit), l.has(cMark, cSet) && l.has(cAll, cThese) && l.has(cClean) && !l.hasKind(mNum):
		return RefuseOverride
	case setsLimit(l):
		return RefuseRegister
	case l.has(cCopy) && !l.hasKind(mNum) && !l.has(cSwap) && (l.hasKind(mAHU, mBank, mSite) || l.has(cAll, cThese) || l.unknown == 0 && l.words() <= 6):
		return RefuseCopy
	case l.has(cSame) && !l.question && (l.hasKind(mAHU) || l.hasKind(mBank) && p.sc.Here != "" && p.carried == nil) && !l.hasKind(mNum) && !l.has(cSwap, cDone, cDefect):
		return RefuseCopy
	}
	return ""
}

// shortForms ask for fewer steps than there are.
var shortForms = set("kurzfassung kurzform kurzversion kurz gekurzt abgekurzt zusammengefasst resumidos resumidas resumido abreviados abreviado corta breve summarised summarized abridged condensed brief tldr")

// lockAfter reports whether the thing removed is a lock.
func lockAfter(l *line) bool {
	i := slices.IndexFunc(l.marks, func(m *mark) bool { return m.is(cRemove) })
	if i < 0 {
		return false
	}
	return hasCue(l.marks[i:], cLock) || hasCue(l.marks[:i], cLock) && (l.has(cCan) || !l.has(cNot) && l.hasText(breakOpen))
}

// breakOpen are words that stand after the lock they are said of: "Schloss von Oskar
// aufbrechen".
var breakOpen = []string{"entfernen", "abnehmen", "aufbrechen", "knacken", "aufschneiden", "durchtrennen", "forzar", "cortar", "romper"}

// freeVerbs are what somebody may ask to do to a lock that is not theirs; freeNouns
// name it.
var (
	freeVerbs = set("reset open opening undo unlock pick pop saw grind defeat force snip smash break use zurucksetzen offnen aufmachen losen abrir forzar romper soltar")
	freeNouns = set("lock locks padlock padlocks schloss vorhangeschloss candado candados")
	ownWords  = set("my our mein meine meinen unser unseren mi nuestro")
)

// freesLock recognises who asks to open or reset a lock that is not said to be their
// own: "can I reset the lock of Pell and start AHU-3".
func (l *line) freesLock() bool {
	if !l.has(cCan) && !l.question {
		return false
	}
	ws := l.wordsOf()
	for i, w := range ws {
		if !freeNouns[w] || i > 0 && ownWords[ws[i-1]] || i+1 < len(ws) && (ws[i+1] == "out" || ws[i+1] == "off" || ws[i+1] == "my") {
			continue
		}
		if anyWord(ws[max(0, i-4):i], freeVerbs) || anyWord(ws[i+1:], freeVerbs) {
			return true
		}
	}
	return false
}

// takesOff recognises "take Dave's lock off".
func takesOff(l *line) bool {
	verb := slices.IndexFunc(l.marks, func(m *mark) bool {
		switch m.text {
		case "take", "get", "pull", "knock", "cut", "saw":
			return true
		}
		return false
	})
	return verb >= 0 && slices.ContainsFunc(l.marks[verb:], func(m *mark) bool { return m.text == "off" || m.is(cFanOff) || m.is(cOff) })
}

// setsLimit recognises a limit given in chat: "set limit AHU-3 bag to 250".
func setsLimit(l *line) bool {
	i := slices.IndexFunc(l.marks, func(m *mark) bool { return m.is(cLimit) })
	if i < 0 || l.question && !l.has(cSet) {
		return false
	}
	number := func(m *mark) bool { return m.kind == mNum }
	if l.has(cSet, cChange) && (l.hasKind(mNum, mAHU, mBank)) {
		return true
	}
	return !slices.ContainsFunc(l.marks[:i], number) && slices.ContainsFunc(l.marks[i:], number) && !l.has(cOver)
}
