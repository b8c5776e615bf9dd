package phrase

import (
	"strings"

	"clogwise/internal/units"
)

// signKind says how a number was signed.
type signKind uint8

const (
	unsigned signKind = iota
	dashed            // "-60": a minus or a dash
	negated           // "minus 60", "−60"
)

// quantity is a number, or two with "to" between, that may be a pressure.
type quantity struct {
	first, second number // second only with isRange
	isRange       bool
	arrow         bool // "245 -> 92", "from 190 to 205": the second is how it stands
	unit          unit // kind uNone: not typed
	sign          signKind
	signFrom      int // byte offset of the sign
	over, under   bool
	confirmed     bool // "ok" or "confirmed" follows
	piece         bool // "24 off", "x24": a number of pieces for sure
	pieceStage    bool // "12 bags": of pieces, where pieces are talked of
	clockish      bool // "at 2"
	garbled       bool // "9z": letters of no meaning touch it
	numTo         int  // byte offset after the number itself
	unitTo        int  // after its unit
	carried       bool // the unit was typed with another number of the message
	resolved      unit // unit after carrying forward and back
}

// number reads a number with its unit, sign and range.
func (k *marker) number() bool {
	t := k.tok(k.i)
	if t.kind != tNumber {
		return false
	}
	if k.labelled() {
		k.put(mark{kind: mOther}, k.i+1)
		return true
	}
	q := quantity{first: t.num, numTo: t.to}
	next := k.i + 1
	if v, n := k.vulgar(k.i); n > 0 {
		q.first, next = v, n
	}
	if k.span(q.first, next) {
		return true
	}
	next = k.unitOf(&q, next)
	next = k.rangeOf(&q, next)
	q.numTo = k.numberEnd(next)
	if q.unit.kind == uHz || q.unit.kind == uPct || q.unit.kind == uFlow || q.unit.kind == uOther {
		k.airOrOther(q, next)
		return true
	}
	from := k.signOf(&q)
	k.piecesOf(&q, next)
	end := next
	if e, n := k.phraseAt(next); n > next && e.cues.has(cOK) {
		q.confirmed, end = true, n
	} else if k.tok(next).sign(",", "(") {
		if e, n := k.phraseAt(next + 1); n > next+1 && e.cues.has(cOK) && k.tok(next+1).text != "si" {
			q.confirmed, end = true, n
		}
	}
	if k.i > 0 && t.glued && !k.tok(k.i-1).glued && k.isWord(k.i-1, "l", "i", "z") { // "l50"
		q.garbled = true
	}
	if k.garbledAt(next) {
		q.garbled = true
		next, end = next+1, max(end, next+1)
		if u := k.tok(next); u.kind == tUnit || u.kind == tWord && pressureNamed(u.text) {
			next, end = next+1, next+1
		}
	}
	q.unitTo = k.toks[next-1].to
	k.put(mark{kind: mNum, q: q}, end)
	m := k.out[len(k.out)-1]
	m.from = min(m.from, from)
	return true
}

// garbledAt reports whether letters of no meaning touch the number before token i:
// "9z", "15l". One or two letters only; more are a word typed without a blank.
func (k *marker) garbledAt(i int) bool {
	t := k.tok(i)
	if t.kind != tWord || !t.glued || len(t.text) > 2 && !strings.HasSuffix(t.text, "pa") && !strings.HasSuffix(t.text, "bar") || k.toks[i-1].kind != tNumber || k.known(t.text) || k.spanUnit(i) != 0 || k.tok(i+1).glued && k.tok(i+1).kind == tNumber {
		return false
	}
	_, unit := unitNamed(t.text)
	return !unit && !k.index.prefixes[t.text] && !k.index.starts[t.text] && t.text != "x" && t.text != "st" && t.text != "nd" && t.text != "rd" && t.text != "th" && t.text != "am" && t.text != "pm"
}

// pressureNamed reports whether a word is a unit of pressure that did not touch
// its number.
func pressureNamed(w string) bool {
	u, ok := unitNamed(w)
	return ok && u.kind == uPressure && !u.weak
}

// labelled reports whether the number names a place: "room 12".
func (k *marker) labelled() bool {
	if k.tok(k.i+1).kind == tUnit {
		return false
	}
	if k.tok(k.i-1).sign("-") && k.tok(k.i-1).glued && k.isWord(k.i-2, "wo", "job", "ref", "ticket", "po", "sr", "inc") {
		return true
	}
	return k.isWord(k.i-1, "temp", "temps", "temperature", "amps", "current", "photo", "pic", "wo", "ref", "page", "rpm", "rev", "setpoint", "temperatur", "strom", "foto", "temperatura", "room", "floor", "level", "door", "bay", "block", "zone", "riser", "ward", "raum", "sala", "planta", "etage", "ext", "extension", "ticket", "job")
}

func (t token) sign(s ...string) bool {
	for _, x := range s {
		if t.kind == tPunct && t.text == x {
			return true
		}
	}
	return false
}

// numberEnd is the byte offset after the last number before token next.
func (k *marker) numberEnd(next int) int {
	for j := next - 1; j >= k.i; j-- {
		if k.toks[j].kind == tNumber {
			return k.toks[j].to
		}
	}
	return k.toks[k.i].to
}

// vulgar reads "1/2" and "1 1/2" before an inch unit.
func (k *marker) vulgar(i int) (number, int) {
	whole := 0.0
	if k.tok(i+1).kind == tNumber && k.tok(i+2).sign("/") && k.tok(i).num.decimals == 0 {
		whole, i = k.tok(i).num.value, i+1
	}
	a, b := k.tok(i), k.tok(i+2)
	if a.kind != tNumber || !k.tok(i+1).sign("/") || b.kind != tNumber || !b.glued || a.num.decimals > 0 {
		return number{}, 0
	}
	u := k.tok(i + 3)
	if u.kind != tUnit || u.unit.kind != uPressure || u.unit.pressure != "inH2O" {
		return number{}, 0
	}
	switch d := b.num.value; {
	case (d == 2 || d == 4 || d == 8 || d == 16 || d == 32) && a.num.value < d:
		return number{value: whole + a.num.value/d, decimals: 2}, i + 3
	}
	return number{}, 0
}

// unitOf takes the unit at next, unless a bare "in" is the little word.
func (k *marker) unitOf(q *quantity, next int) int {
	u := k.tok(next)
	if u.kind != tUnit {
		return next
	}
	if u.unit.weak && u.unit.kind == uPressure && k.littleIn(q.first.value, next+1) {
		return next
	}
	if u.unit.weak && u.unit.kind == uOther { // a bare "mm": a size or a column of water, not said
		switch {
		case u.unit.name != "mm":
			return next
		case k.tok(next+1).kind == tWord && sizeWords[k.tok(next+1).text] && k.tok(next+2).kind != tNumber:
			q.unit = u.unit
			return next + 1
		case !k.columnOfWater(q.first.value):
			return next
		}
		q.unit = pressureUnit(units.MmH2O)
		return next + 1
	}
	q.unit = u.unit
	return next + 1
}

// sizeWords follow a length in millimetres that is none of a column of water.
var sizeWords = set("deep thick wide long high gap gaps hole holes tear tears rip crack hose tube bolt bolts screw screws off out short clearance panel panels pleat pleats bag bags filter filters dia diameter dick breit tief lang loch riss ancho largo agujero")

// columnOfWater reports whether v millimetres are what a gauge shows: right after a
// bank, a tag or the like, and not of parts that are wanted.
func (k *marker) columnOfWater(v float64) bool {
	n := len(k.out)
	if n == 0 || v < 1 || v > 200 || hasCue(k.out[max(0, n-8):], cWish, cOrdered, cArrived, cStock) {
		return false
	}
	last := k.out[n-1]
	if n > 1 && last.sign(":", "=", ",") {
		last = k.out[n-2]
	}
	return last.kind == mBank || last.kind == mAHU || last.anyOf(cAt, cFill, cClean, cBefore)
}

// littleIn reports whether "in" before token i is the preposition.
func (k *marker) littleIn(v float64, i int) bool {
	t := k.tok(i)
	if t.kind == tNumber {
		return k.spanUnit(i+1) != 0
	}
	if t.kind != tWord {
		return false
	}
	switch t.text {
	case "the", "a", "an", "alarm", "stock", "store", "stores", "place", "total", "service", "auto", "manual", "hand", "plant", "my", "our", "each":
		return true
	}
	return v >= 10 && k.index.prefixes[t.text]
}

// rangeOf reads the second number of "0.4-0.6", "0.4 to 0.6" and "245 -> 92".
func (k *marker) rangeOf(q *quantity, next int) int {
	j := next
	switch t := k.tok(j); {
	case t.sign("-") && k.tok(j+1).sign(">"):
		q.arrow = true
		j += 2
	case t.sign("→"):
		q.arrow = true
		j++
	case t.sign("-"), t.kind == tWord && (t.text == "to" || t.text == "bis" || t.text == "hasta"):
		j++
	case t.sign(".") && k.tok(j+1).sign("."):
		j += 2
	default:
		return next
	}
	second := k.tok(j)
	if second.kind != tNumber || q.first.decimals == 0 && second.num.decimals == 0 && k.clockAt(j) {
		q.arrow = false
		return next
	}
	if u := k.tok(j + 1); u.kind == tUnit && u.unit.kind != uPressure || u.kind == tWord && k.spanUnit(j+1) != 0 {
		q.arrow = false
		return next
	}
	q.isRange, q.second = true, second.num
	if n := len(k.out); n > 0 && (k.out[n-1].text == "from" || k.out[n-1].text == "von") && k.tok(j-1).kind == tWord {
		q.arrow = true
	}
	if u := k.tok(j + 1); u.kind == tUnit {
		if q.unit.kind == uNone {
			q.unit = u.unit
		}
		return j + 2
	}
	return j + 1
}

// signOf looks back at what stands before the number and takes it away from the
// marks: a dash or minus, ">", "over". It gives where the quantity starts.
func (k *marker) signOf(q *quantity) int {
	from := k.toks[k.i].from
	if len(k.out) == 0 {
		return from
	}
	last := k.out[len(k.out)-1]
	touching := k.toks[k.i].glued
	switch {
	case last.punct("−") && touching:
		q.sign = negated
	case last.punct("-") && touching && !k.toks[k.i-1].glued,
		last.punct("-") && touching && k.tok(k.i-2).sign(":", "=", "(", "-"):
		q.sign = dashed
	case last.is(cMinus):
		q.sign = negated
	case last.punct(">"):
		q.over = true
	case last.is(cOver):
		q.over = true
	case last.punct("<"):
		q.under = true
	case last.sign("£", "$", "€"):
		q.unit = unit{kind: uOther}
	case last.is(cAt), last.punct("@"):
		plain := q.unit.kind == uNone && !q.isRange && q.first.decimals == 0 && q.first.value <= 24
		q.clockish = plain && !(len(k.out) > 1 && k.out[len(k.out)-2].kind == mBank)
		return from
	default:
		return from
	}
	n := len(k.out) - 1
	for q.sign == dashed && n > 0 && k.out[n-1].punct("-") && k.out[n-1].to == k.out[n].from {
		n-- // "--60"
	}
	q.signFrom = k.out[n].from
	k.out = k.out[:n]
	return q.signFrom
}

// mostInBank is the number up to which "12 bags" counts bags and is no reading
// named after its value ("205 bags").
const mostInBank = 60

// filterNouns are words for filters that a number of them goes with.
var filterNouns = set("filters filter frames units filtros filtro luftfilter filterelemente elemente")

// piecesOf sees whether the number counts pieces.
func (k *marker) piecesOf(q *quantity, next int) {
	if q.unit.kind != uNone || q.isRange || q.first.decimals > 0 {
		return
	}
	if e, n := k.phraseAt(next); n > next && e.cues.has(cPiece) && !(k.tok(n).kind == tNumber && k.tok(n).glued) {
		q.piece = true
	}
	if k.isWord(next, "of", "von", "de") && k.tok(next+1).kind == tNumber || k.isWord(k.i-1, "of", "von") && k.tok(k.i-2).kind == tNumber {
		q.piece = true // "3 of 12"
	}
	if t := k.tok(next); t.kind == tWord && filterNouns[t.text] {
		q.piece = true
	}
	if k.i > 0 {
		switch t := k.toks[k.i-1]; {
		case t.kind == tWord && (t.text == "x" || t.text == "qty" || t.text == "count"):
			q.piece = true
		case t.sign("×"):
			q.piece = true
		}
	}
	if w, n := k.stageAt(next); n > next && w.plural && q.first.value <= mostInBank {
		q.pieceStage = true
	}
}

// airOrOther makes a mark of an airflow, frequency, percentage or foreign number.
func (k *marker) airOrOther(q quantity, next int) {
	v, alt := q.first.value, q.first.alt
	switch q.unit.kind {
	case uFlow:
		k.put(mark{kind: mAir, air: airMark{uFlow, q.unit.flow.ToM3s(v), q.unit.flow.ToM3s(alt)}}, next)
	case uHz:
		k.put(mark{kind: mAir, air: airMark{kind: uHz, value: v}}, next)
	case uPct:
		if k.notFan(next) {
			k.put(mark{kind: mOther}, next)
			return
		}
		k.put(mark{kind: mAir, air: airMark{kind: uPct, value: v}}, next)
	default:
		k.put(mark{kind: mOther}, next)
	}
}

// notFan reports whether a percentage belongs to humidity, a damper or a valve.
func (k *marker) notFan(next int) bool {
	for _, i := range [...]int{next, k.i - 1, k.i - 2} {
		switch k.tok(i).text {
		case "rh", "humidity", "damper", "dampers", "valve", "loaded", "dirty", "blocked", "feuchte", "humedad", "sure", "done", "complete", "of":
			return true
		}
	}
	return false
}
