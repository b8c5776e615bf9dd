package phrase

import (
	"slices"
)

// refuse recognises what is understood and not to be done. It says whether the
// line holds nothing else that may be read.
func (p *parser) refuse(l *line) bool {
	code := refusal(l)
	if code == "" {
		return false
	}
	if p.refused == "" {
		p.refused = code
	}
	if typedPressure(l.marks) && code != RefuseRegister && code != RefuseOverride { // a clear reading beside it still counts
		return false
	}
	return true
}

func refusal(l *line) string {
	switch {
	case runningFan(l):
		return RefuseRunning
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

// runningFan recognises work asked for, or announced, on a fan that runs.
func runningFan(l *line) bool {
	if !l.has(cRunning, cWithout) || l.has(cSwap, cBack) {
		return false
	}
	fan := l.hasKind(mAHU, mBank) || l.has(cFan) || slices.ContainsFunc(l.marks, func(m *mark) bool {
		return m.is(cRunning) && m.text != "live" && m.text != "running" && m.text != "spinning" && m.text != "turning"
	})
	asks := l.has(cCan, cSteps) || l.question || l.has(cDoing, cChange, cWork) && l.has(cWithout, cWith)
	return fan && asks && (l.has(cWork, cDoing, cChange, cSteps))
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
