package phrase

import (
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// Understand reads one message. It never panics, takes time linear in len(text)
// and looks at no more than MaxLength bytes.
//
// The way of a message: lex cuts it into tokens; marksOf names them (tags,
// banks, numbers with units, times, cues); places are settled, and an emergency
// anywhere in the message ends the reading there; airflow and units are settled
// over the whole message, because they carry from line to line; then each line
// is tried as a refusal, a command or question, and as statements about one AHU
// after the other. Whatever is unclear becomes a problem; the first problem is
// what is asked, and then nothing is saved.
func Understand(text string, sc Scope) Meaning {
	text = clean(text)
	if len(text) > MaxLength {
		m := Understand(text[:MaxLength], sc)
		if m.Outcome == Chatter || m.Code == RefuseEmergency {
			return m
		}
		return Meaning{Outcome: Refused, Code: RefuseLong, Reply: sayTooLong(sc.In), About: m.About}
	}
	if m, ok := command(text, sc); ok {
		return m
	}
	return understand(text, sc, 0)
}

// clean drops bytes that are no text, so that what is kept of a message always is.
func clean(text string) string {
	if !utf8.ValidString(text) {
		text = strings.ToValidUTF8(text, "")
	}
	return strings.ReplaceAll(text, "\x00", "")
}

// understand reads text; depth counts how often an answer has been tried out
// inside (see finishSite).
func understand(text string, sc Scope, depth int) Meaning {
	if sc.Register == nil {
		return Meaning{Outcome: Chatter}
	}
	p := parser{text: text, sc: sc, x: sc.Index, reg: sc.Register, depth: depth}
	if p.x == nil {
		p.x = NewIndex(sc.Register)
	}
	p.cut()
	p.settlePlaces()
	if p.danger = p.emergency(); p.danger != dangerNone {
		return p.finish()
	}
	p.carryUnits()
	for i := range p.lines {
		p.line(&p.lines[i])
	}
	p.mixedUnits()
	return p.finish()
}

// parser holds what one message has come to so far.
type parser struct {
	text  string
	sc    Scope
	x     *Index
	reg   *plant.Register
	depth int
	toks  []token
	lines []line

	danger   danger
	idle     []int // byte offsets of words for fire or smoke that are none
	items    []Item
	query    *Query
	problems []problem
	notes    []Note
	about    []plant.BankID
	refused  string // code
	unsaved  bool   // what is refused held numbers, which are not recorded
	bare     []bareNumber

	// What carries from line to line.
	carried  *group   // the last that named an AHU
	fromHere []*group // that are about the place of the talk
	air      *air     // said in a header line
	when     *moment
}

// line is one line of the message.
type line struct {
	n        int
	from, to int
	marks    []*mark
	who      string // "-MK"
	question bool
	polar    bool // "is AHU-3 bag 205 Pa", "has it been changed", "if it gets to 250": nothing is reported
	unknown  int  // words of no known meaning

	cues   cueSet
	kinds  uint32
	site   string // the first site named on it
	orders bool   // the word "order" itself
	faulty bool   // tells of a defect; "24 Stück" is no stuck gauge
	crew   []string
	said   []string // see wordsOf
}

func (p *parser) cut() {
	p.toks = lex(p.text)
	toks := p.toks
	start := 0
	for i := 0; i <= len(toks); i++ {
		if i < len(toks) && toks[i].kind != tBreak {
			continue
		}
		if i > start+2 && ordinal(toks[start:]) {
			start += 2
		}
		if i > start {
			l := line{n: len(p.lines), from: toks[start].from, to: toks[i-1].to}
			l.marks = marksOf(p.text, toks[start:i], p.x, p.sc.Sites)
			l.look(p.text)
			p.mendSlips(&l)
			p.strangers(&l)
			p.lines = append(p.lines, l)
		}
		start = i + 1
	}
}

// ordinal reports whether a line starts with the number of a list: "1. ", "2) ".
func ordinal(toks []token) bool {
	n := toks[0]
	return n.kind == tNumber && n.num.decimals == 0 && n.num.value < 100 && toks[1].sign(".", ")") && toks[1].glued && toks[2].kind == tWord && !toks[2].glued && !stageNouns[toks[2].text]
}

// look notes what concerns the line as a whole.
func (l *line) look(text string) {
	l.takeWho(text)
	l.by(text)
	for i, m := range l.marks {
		switch {
		case m.kind == mWord:
			l.unknown++
		case m.punct("?"):
			l.question = true
		case i == 0 && m.anyOf(cAsk, cHow, cWhy):
			l.question = true
		}
	}
	if l.polar = polar(l.marks); l.polar {
		l.question = true
	}
	l.takeSeats()
	l.sum()
	l.joinPieces()
	if l.hasText(asbestosWords) { // "asbestos lagging by AHU-1?" is a report all the same
		l.question, l.polar = false, false
	}
	l.crew = crew(l, text)
}

var asbestosWords = []string{"asbestos", "asbest", "amianto"}

// sum gathers what is asked of a line again and again.
func (l *line) sum() {
	l.cues, l.kinds = gather(l.marks)
	for i, m := range l.marks {
		l.orders = l.orders || slices.Contains(orderWords, m.text)
		l.faulty = l.faulty || faultAt(l.marks, i)
	}
}

// polar reports whether a line starts as a yes-or-no question or a condition.
func polar(ms []*mark) bool {
	if len(ms) < 2 {
		return false
	}
	switch ms[0].text {
	case "if", "wenn", "falls":
		return true
	case "can", "could", "will", "would":
		return ms[1].kind == mAHU || ms[1].kind == mBank
	case "is", "are", "was", "were", "did", "does", "has", "have", "had", "should", "ist", "sind", "hat", "wurde", "esta", "han":
		return ms[1].kind == mAHU || ms[1].kind == mBank || ms[1].kind == mWord || ms[1].text == "the" || ms[1].text == "any" || ms[1].text == "der" || ms[1].text == "die"
	}
	return false
}

// takeWho takes a signature off the end of the line: "-MK".
func (l *line) takeWho(text string) {
	n := len(l.marks)
	if n < 3 || !l.marks[n-1].initials() || !l.marks[n-2].punct("-") {
		return
	}
	raw := text[l.marks[n-1].from:l.marks[n-1].to]
	if len(raw) >= 2 && len(raw) <= 4 {
		l.who = raw
		l.marks = l.marks[:n-2]
	}
}

// initials reports whether a mark can be somebody's: letters of no meaning, or a
// little word ("-TO").
func (m *mark) initials() bool {
	return m.kind == mWord || m.anyOf(cTo, cAt, cAnd, cBy, cFor) && !strings.Contains(m.text, " ")
}

// by finds who did it in words: "by Nadia".
func (l *line) by(text string) {
	for i, m := range l.marks {
		if l.who == "" && m.is(cBy) && i+1 < len(l.marks) && l.marks[i+1].kind == mWord {
			l.who = text[l.marks[i+1].from:l.marks[i+1].to]
			return
		}
	}
}

// has and hasKind look into sets made once a line, so that many AHUs on one long
// line cost no more than as many short lines.
func (l *line) has(c ...cue) bool { return l.cues.any(c) }

func (l *line) hasKind(k ...markKind) bool { return kindsOf(l.kinds, k) }

func kindsOf(set uint32, kinds []markKind) bool {
	for _, k := range kinds {
		if set&(1<<k) != 0 {
			return true
		}
	}
	return false
}

// gather makes the sets of the cues and kinds of marks.
func gather(ms []*mark) (cues cueSet, kinds uint32) {
	for _, m := range ms {
		kinds |= 1 << m.kind
		if m.kind == mCue {
			cues[0] |= m.cues[0]
			cues[1] |= m.cues[1]
		}
	}
	return cues, kinds
}

func hasCue(ms []*mark, c ...cue) bool {
	return slices.ContainsFunc(ms, func(m *mark) bool { return m.anyOf(c...) })
}

func hasKind(ms []*mark, k ...markKind) bool {
	return slices.ContainsFunc(ms, func(m *mark) bool { return slices.Contains(k, m.kind) })
}

// typedPressure reports whether a number with a pressure unit stands among ms.
func typedPressure(ms []*mark) bool {
	return slices.ContainsFunc(ms, func(m *mark) bool { return m.kind == mNum && m.q.unit.kind == uPressure })
}

// raw is the text of the message between two bytes with single blanks, trimmed of
// them and of commas.
func (p *parser) raw(from, to int) string {
	return strings.Trim(tidy(p.text[from:to]), " ,;:.-–")
}

// typedNumber is a number as it was typed, with the point that it may begin with.
func (p *parser) typedNumber(from, to int) string {
	s := p.raw(from, to)
	if from < to && (p.text[from] == '.' || p.text[from] == ',') {
		return p.text[from:from+1] + s
	}
	return s
}

// tidy makes single blanks of all white space.
func tidy(s string) string {
	if !strings.ContainsAny(s, "\t\r\n") && !strings.Contains(s, "  ") && !strings.Contains(s, " ,") {
		return s
	}
	return strings.ReplaceAll(strings.Join(strings.Fields(s), " "), " ,", ",")
}

// line reads one line.
func (p *parser) line(l *line) {
	if len(l.marks) == 0 {
		return
	}
	if p.refuse(l) || p.undo(l) || p.help(l) || p.openJob(l) {
		return
	}
	asked := p.question(l)
	if asked && (!typedPressure(l.marks) || l.polar) && !p.alsoStates(l) {
		return
	}
	groups := p.groups(l)
	for i := range groups {
		g := &groups[i]
		if g.ahu != nil {
			p.air = nil
		}
		p.statement(g)
		if g.ahu != nil {
			p.carried = g
		}
	}
	p.header(l, groups)
	p.stateOfWanted(l)
}

// stateOfWanted answers with the state of filters that somebody says are to be
// changed, or look so, where the line says nothing else: "AHU-3 bags need changing",
// "AHU-3 bag full".
func (p *parser) stateOfWanted(l *line) {
	if len(p.lines) > 1 || len(p.items) > 0 || len(p.problems) > 0 || p.query != nil || !l.hasKind(mAHU) || l.hasKind(mNum, mItem) || l.unknown > 1 || l.has(cNot, cSwap, cDefect, cDefer) {
		return
	}
	if m := soleWord(l); m != nil && !l.question && !looksWords[m.text] { // "AHU-3 bag hundredforty"
		if places, ok := p.queryPlaces(l); ok && len(places) == 1 && places[0].Whole() {
			p.problem(AskNumber, sayGarbled(p.sc.In, p.reg.Name(places[0]), p.raw(m.from, m.to)))
			return
		}
	}
	looks := l.hasKind(mBank) && l.unknown <= 2 && slices.ContainsFunc(strings.Fields(fold(p.text[l.from:l.to])), func(w string) bool { return looksWords[strings.Trim(w, ".,!")] })
	if !looks && !slices.ContainsFunc(l.marks, func(m *mark) bool { return m.is(cLeft) && dueWords[m.text] }) {
		return
	}
	if places, ok := p.queryPlaces(l); ok {
		p.put(l, Query{Kind: QueryHow, Places: places})
	}
}

// soleWord is the one word that stands after an AHU and a bank where a value would,
// and that means nothing; nil where the line holds anything else but filling words.
func soleWord(l *line) *mark {
	var word *mark
	ahu, bank := false, false
	for _, m := range l.marks {
		switch {
		case word != nil:
			return nil
		case m.kind == mAHU:
			ahu = true
		case m.kind == mBank:
			bank = true
		case m.kind == mWord && ahu && bank:
			word = m
		case m.kind == mPunct || m.is(cFill):
		default:
			return nil
		}
	}
	return word
}

// looksWords say of filters how they look.
var looksWords = set("full rough shot knackered filthy manky clogged dirty black grey voll zu dicht schlimm schwarz grau dreckig verdreckt schmutzig fertig " +
	"llena llenas lleno llenos sucia sucias sucio sucios fatal negra negras negro negros")

// dueWords say of filters that they are to be changed.
var dueWords = map[string]bool{
	"needs changing": true, "need changing": true, "needs replacing": true, "needs swapping": true, "need replacing": true, "need swapping": true,
	"needs a change": true, "to be changed": true, "due a change": true, "should be changed": true, "must be changed": true, "wants changing": true,
	"want changing": true, "need to be changed": true, "needs to be changed": true, "gewechselt werden": true, "getauscht werden": true,
	"ausgetauscht werden": true, "ersetzt werden": true, "wechseln mussen": true, "hay que cambiar": true, "toca cambiar": true, "falta cambiar": true,
	"necesita cambio": true, "necesitan cambio": true, "deben cambiarse": true,
}

// header keeps the airflow and time of a line that says nothing else, for the
// lines below it: "AHU-3 42 Hz", "Readings 7 Mar 09:00".
func (p *parser) header(l *line, groups []group) {
	if l.hasKind(mNum, mWord, mItem) || len(groups) != 1 {
		return
	}
	if l.hasKind(mWhen) && !l.question {
		if m, ok := momentOf(l.marks); ok {
			p.when = &m
		}
	}
	if l.hasKind(mAir) {
		p.air = &groups[0].air
	}
}

// finish weighs up the message.
func (p *parser) finish() Meaning {
	m := Meaning{Items: p.items, Query: p.query, Notes: p.notes, About: p.about}
	switch {
	case p.danger != dangerNone:
		return Meaning{Outcome: Refused, Code: RefuseEmergency, Reply: sayEmergency(p.sc.In, p.danger, p.numbered(), p.told()), About: p.about}
	case p.refused != "":
		m.Outcome, m.Code, m.Reply = Refused, p.refused, sayRefused(p.sc.In, p.refused, p.unsaved, p.told())
		m.Query = nil
		if len(p.problems) > 0 {
			m.Items = nil
		}
	case len(p.problems) > 0:
		ask := p.ask()
		m = Meaning{Outcome: Ask, Ask: &ask, Notes: p.notes, About: p.about}
	case len(p.items) > 0:
		m.Outcome = Entry
	case p.query != nil:
		m.Outcome = Question
	default:
		m = Meaning{Outcome: Chatter, About: p.about}
	}
	return m
}

// add records an item. One said twice counts once; two values for one bank and
// time are asked about.
func (p *parser) add(it Item) {
	r, reading := it.Body.(entry.Reading)
	for _, other := range p.items {
		if o, ok := other.Body.(entry.Reading); reading && ok && other.Place == it.Place && other.At.Equal(it.At) && !it.CorrectsLast {
			if o.Pa != r.Pa {
				p.problem(AskNumber, sayTwiceRead(p.sc.In, p.reg.Name(it.Place)))
			}
			return
		}
	}
	p.items = append(p.items, it)
}

// group is the part of a line that speaks about one AHU, or a list of them.
type group struct {
	line   *line
	marks  []*mark
	ahu    *mark // as typed; nil = carried or from the thread
	ahus   []plant.BankID
	lost   bool // the AHU is unclear; the problem is noted
	here   bool // the AHU is the one the thread is about
	air    air
	moment moment
	timed  bool
	cues   cueSet
	kinds  uint32
}

// end is the byte after the last mark of the group.
func (g *group) end() int { return g.marks[len(g.marks)-1].to }

func (g *group) has(c ...cue) bool { return g.cues.any(c) }

func (g *group) hasKind(k ...markKind) bool { return kindsOf(g.kinds, k) }

// groups cuts a line where a new AHU starts. A line that ends with its only or
// last AHU reads backwards: "pre 112, bag 205 AHU-3".
func (p *parser) groups(l *line) []group {
	var at []int
	for i, m := range l.marks {
		if m.kind == mAHU {
			at = append(at, i)
		}
	}
	var out []group
	add := func(ms []*mark) {
		g := group{line: l, marks: ms}
		g.cues, g.kinds = gather(ms)
		if i := slices.IndexFunc(ms, func(m *mark) bool { return m.kind == mAHU }); i >= 0 {
			g.ahu = ms[i]
		}
		g.air, _ = p.airOf(ms)
		g.moment, g.timed = momentOf(ms)
		out = append(out, g)
	}
	if len(at) <= 1 {
		add(l.marks)
		return out
	}
	if backwards(l.marks, at) {
		start := 0
		for _, i := range at {
			add(l.marks[start : i+1])
			start = i + 1
		}
		return out
	}
	start := 0
	for _, i := range at[1:] {
		add(l.marks[start:i])
		start = i
	}
	add(l.marks[start:])
	return out
}

func backwards(ms []*mark, at []int) bool {
	before := hasKind(ms[:at[0]], mNum)
	after := hasKind(ms[at[len(at)-1]+1:], mNum, mBank)
	return before && !after
}

// at gives the time a group speaks of, in the past, or notes the problem. The
// default is now.
func (p *parser) at(g *group, place plant.BankID) (time.Time, bool) {
	m, ok := g.moment, g.timed
	if !ok && p.when != nil {
		m, ok = *p.when, true
	}
	if !ok || p.aboutLater(g, m) {
		return p.sc.Now, true
	}
	m = p.local(m, place)
	if m.bad {
		p.problem(AskDate, sayNoSuchDate(p.sc.In))
		return time.Time{}, false
	}
	t, note, good := m.past(p.sc.Now, p.zone(place))
	if note != "" {
		p.note(note, sayClock(p.sc.In, note))
	}
	if !good {
		p.askFuture(m)
		return time.Time{}, false
	}
	return t, true
}

// aboutLater reports whether a time to come belongs to something else on the
// line than what was seen: steps wanted for tomorrow, parts by week 32.
func (p *parser) aboutLater(g *group, m moment) bool {
	later := m.future || m.day == dayOffset && m.n > 0
	if m.until {
		return true
	}
	return later && g.line.has(cSteps, cWish, cOrdered, cLeft, cDue)
}

func (p *parser) zone(place plant.BankID) *time.Location {
	if z, ok := p.x.zones[place.Site()]; ok {
		return z
	}
	return time.UTC
}

func (p *parser) note(code, text string) {
	if !slices.ContainsFunc(p.notes, func(n Note) bool { return n.Code == code }) {
		p.notes = append(p.notes, Note{code, text})
	}
}

// item makes an item of a group.
func (p *parser) item(g *group, place plant.BankID, at time.Time, body entry.Body, flags ...string) Item {
	it := Item{Place: place, At: at, Body: body, Line: p.raw(g.line.from, g.line.to), Flags: flags}
	if slices.ContainsFunc(g.marks, func(m *mark) bool { return m.letterO }) {
		it.Flags = append(it.Flags, "letter-o")
		p.note("letter-o", sayLetterO(p.sc.In))
	}
	return it
}
