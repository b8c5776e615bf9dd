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
	case (l.has(cRemove) && lockAfter(l) || takesOff(l) && l.has(cLock)) && !l.has(cBack, cSwap):
		return RefuseLock
	case l.has(cSkipWord) && l.has(cSteps, cLock):
		return RefuseShorten
	case l.has(cForget) && l.has(cLimit), l.has(cMark, cSet) && l.has(cAll, cThese) && l.has(cClean) && !l.hasKind(mNum):
		return RefuseOverride
	case setsLimit(l):
		return RefuseRegister
	case l.has(cCopy) && !l.hasKind(mNum) && !l.has(cSwap) && (l.hasKind(mAHU, mBank, mSite) || l.has(cAll, cThese) || l.unknown == 0 && l.words() <= 6):
		return RefuseCopy
	case l.has(cSame) && !l.question && l.hasKind(mAHU) && !l.hasKind(mNum) && !l.has(cSwap, cDone, cDefect):
		return RefuseCopy
	}
	return ""
}

// lockAfter reports whether the thing removed is a lock.
func lockAfter(l *line) bool {
	i := slices.IndexFunc(l.marks, func(m *mark) bool { return m.is(cRemove) })
	if i < 0 {
		return false
	}
	return hasCue(l.marks[i:], cLock) || hasCue(l.marks[:i], cLock) && l.has(cCan)
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
