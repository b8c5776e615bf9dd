package phrase

import (
	"slices"
	"strings"
)

// wordsOf lists the words of a line, one by one, as they are written without capitals
// and accents; "#" stands for what is no word.
func (l *line) wordsOf() []string {
	if l.said == nil {
		l.said = wordsIn(l.marks)
	}
	return l.said
}

func wordsIn(ms []*mark) []string {
	out := make([]string, 0, len(ms))
	for _, m := range ms {
		switch m.kind {
		case mCue, mWord, mBank:
			out = append(out, strings.Fields(m.text)...)
		case mPunct:
		default:
			out = append(out, "#")
		}
	}
	return out
}

// Words for what keeps people safe, and for leaving it out.
var (
	safetyNouns = set("lockout loto tagout lockoff permit permits isolation isolations freigabe freischaltung consignacion permiso bloqueo")
	safetyVerbs = set("isolate isolating freischalten freizuschalten consignar")
	shirkVerbs  = set("skip skipping bypass bypassing dodge avoid avoiding ditch saltar saltarnos weglassen uberspringen")
	needWords   = set("need needed necessary required brauche brauchen necesito necesitamos hace")
	doorSwitch  = set("turschalter turkontakt turkontakte turendschalter sicherheitsschalter endschalter interlock interlocks enclavamiento")
	bridgeWords = set("uberbrucken uberbrucke brucken bridge bridging jumper defeat puentear")
	bridgedWord = set("uberbruckt gebruckt bridged jumpered defeated bypassed puenteado puenteada")
	neverWords  = set("not nicht never nie no")
	workedWords = set("worked opened cleaned changed swapped did went")
	forgetWords = set("forgot forgotten vergessen olvide olvidamos didnt")
	smallWords  = set("the a an my our your any all this that for to it off out of just den die das der la el")
)

// safetyAt reports whether word i is for a lock, a permit or the like: "lockout",
// "lock … out", "isolate".
func safetyAt(ws []string, i int) bool {
	if safetyNouns[ws[i]] || safetyVerbs[ws[i]] {
		return true
	}
	if ws[i] != "lock" && ws[i] != "locking" {
		return false
	}
	rest := ws[i+1 : min(len(ws), i+3)]
	return slices.Contains(rest, "out") || slices.Contains(rest, "off")
}

// shirks recognises that somebody asks to leave out a lock, a permit or a door
// switch: "skip permit ok?", "no time for lockout", "do we need lockout for the bags".
func (l *line) shirks() bool {
	ws := l.wordsOf()
	if anyWord(ws, doorSwitch) && anyWord(ws, bridgeWords) {
		return !anyWord(ws, neverWords)
	}
	asks := l.question || len(ws) > 0 && slices.Contains([]string{"do", "does", "can", "could", "should", "is", "must", "brauche", "brauchen", "necesito"}, ws[0])
	for i := range ws {
		if !safetyAt(ws, i) {
			continue
		}
		back := ws[max(0, i-6):i]
		if shirked(back) || asks && !safetyVerbs[ws[i]] && anyWord(back, needWords) && !slices.Contains(back, "what") && !slices.Contains(back, "which") {
			return true
		}
		if l.question && safetyNouns[ws[i]] && i+1 < len(ws) && needWords[ws[i+1]] {
			return true
		}
	}
	return false
}

// shirked reports whether the words before one for safety leave it out: right before
// it, but for little words, so that "skip AHU-3: no permit" is none.
func shirked(back []string) bool {
	for j := len(back) - 1; j >= 0; j-- {
		switch w := back[j]; {
		case shirkVerbs[w]:
			return true
		case (w == "need" || w == "time" || w == "reason" || w == "zeit" || w == "tiempo") && j > 0:
			return slices.Contains([]string{"no", "not", "dont", "keine", "sin"}, back[j-1])
		case !smallWords[w]:
			return false
		}
	}
	return false
}

// workedLive recognises who owns up to work on a unit that was not locked off:
// "forgot to lock off", "worked on AHU-3 without isolating", "door switch bridged".
func (l *line) workedLive() bool {
	ws := l.wordsOf()
	if anyWord(ws, doorSwitch) && anyWord(ws, bridgedWord) && !anyWord(ws, neverWords) {
		return true
	}
	for i := range ws {
		if !safetyAt(ws, i) && ws[i] != "isolated" {
			continue
		}
		back := ws[max(0, i-3):i]
		switch {
		case anyWord(back, forgetWords):
			return true
		case slices.Contains(back, "without") && anyWord(ws, workedWords):
			return true
		}
	}
	return false
}

func anyWord(ws []string, of map[string]bool) bool {
	return slices.ContainsFunc(ws, func(w string) bool { return of[w] })
}
