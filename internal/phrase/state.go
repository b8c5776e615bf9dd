package phrase

import "slices"

// asksState recognises a question whether something is off, locked or free of
// people, whatever it is asked of: "is it dead", "all clear?", "ok to start AHU-2".
func (l *line) asksState() bool {
	ws := l.wordsOf()
	if len(ws) == 0 || len(ws) > 14 || l.hasKind(mNum, mItem) || l.has(cDue, cChart, cStock, cOrders, cStatus, cDigest, cCost, cSteps) {
		return false
	}
	unit := l.hasKind(mAHU, mBank)
	first := stateVerbs[ws[0]]
	switch {
	case startsWith(ws, "ok", "to", "start"), startsWith(ws, "ok", "to", "restart"), startsWith(ws, "ok", "to", "run"), startsWith(ws, "safe", "to"), startsWith(ws, "clear", "to", "start"), startsWith(ws, "is", "it", "ok", "to", "start"):
		return true
	case l.question && (startsWith(ws, "all", "clear") || startsWith(ws, "everyone", "out") || startsWith(ws, "everybody", "out") || startsWith(ws, "anyone", "inside") || startsWith(ws, "alle", "raus") || startsWith(ws, "todos", "fuera")):
		return true
	case first && len(ws) > 1 && anyWord(ws[1:], deadWords):
		return unit || bareOf(ws[1])
	case first && l.hasText(offWords) || first && l.has(cFanOff):
		return unit || anyWord(ws[1:], powerWords)
	case first && slices.Contains(ws, "inside"):
		return anyWord(ws, someoneWords)
	case l.question && unit && len(ws) <= 5 && (l.has(cDead) || anyWord(ws, deadWords)):
		return true
	case l.question && slices.Contains(ws, "inside") && anyWord(ws, lookWords):
		return true
	}
	return false
}

// worksOn recognises "can I work on EF-9": whether it may be worked on now.
func (l *line) worksOn() bool {
	ws := l.wordsOf()
	return l.has(cCan) && l.hasKind(mAHU) && !l.hasKind(mWhen, mNum, mItem) && len(ws) <= 9 && l.endsAtUnit() &&
		(startsWith(ws, "can", "i", "work", "on") || startsWith(ws, "can", "we", "work", "on") || startsWith(ws, "ok", "to", "work", "on") || startsWith(ws, "kann", "ich", "an") || startsWith(ws, "puedo", "trabajar"))
}

// endsAtUnit reports whether a unit is the last that a line names: not "the AHU-3
// report".
func (l *line) endsAtUnit() bool {
	for _, m := range slices.Backward(l.marks) {
		if m.kind == mAHU || m.kind == mBank {
			return true
		}
		if m.kind != mPunct && m.text != "now" && m.text != "yet" {
			return false
		}
	}
	return false
}

// canGo recognises that somebody means to, in "fan off now so I can go in".
func (l *line) canGo() bool {
	ws := l.wordsOf()
	return l.has(cCan) || slices.Contains(ws, "can") || slices.Contains(ws, "kann") || slices.Contains(ws, "puedo")
}

// holdsLock recognises "who has the lock on AHU-2".
func (l *line) holdsLock() bool {
	ws := l.wordsOf()
	return (l.question || l.has(cAsk)) && (startsWith(ws, "who") || startsWith(ws, "whose") || startsWith(ws, "wer") || startsWith(ws, "wessen") || startsWith(ws, "quien")) && l.has(cLock)
}

func startsWith(ws []string, first ...string) bool {
	return len(ws) >= len(first) && slices.Equal(ws[:len(first)], first)
}

// bareOf reports whether a question is about what stands at hand: "is it dead", "is
// the power off".
func bareOf(w string) bool { return w == "it" || w == "everything" || w == "all" || powerWords[w] }

var (
	offWords     = []string{"off", "aus", "apagado", "apagada"}
	someoneWords = set("anyone anybody somebody someone still")
	lookWords    = set("look peek pop reach")
	stateVerbs   = set("is are ist sind esta estan")
	deadWords    = set("dead isolated isolada tot spannungsfrei spannungslos stromlos freigeschaltet aislada aislado consignada consignado deenergised deenergized")
	powerWords   = set("power strom spannung supply fan fans unit anlage luz corriente ventilador ventilator lufter maquina isolator breaker electricity electrics")
)
