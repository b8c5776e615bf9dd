package phrase

import (
	"slices"
	"strings"

	"clogwise/internal/plant"
)

// markKind is what a mark is.
type markKind uint8

const (
	mWord  markKind = iota // a word of no known meaning
	mCue                   // a word or phrase of the lexicon
	mSite                  // a site's name
	mAHU                   // one or more tags
	mBank                  // one or more words for a bank
	mItem                  // a reorder code
	mSize                  // 592x592x48
	mNum                   // a number or range, with or without a pressure unit
	mAir                   // airflow, fan frequency or fan percent
	mWhen                  // a date or time of day
	mSpan                  // a number of days, hours …
	mOther                 // a number of no concern to us: 21 °C, £20
	mPunct
)

// mark is a meaningful piece of a line.
type mark struct {
	kind     markKind
	from, to int
	text     string
	cues     cueSet
	letterO  bool // a letter O stood for a zero in it

	sites []ref      // mSite
	tags  []tag      // mAHU
	banks []bankWord // mBank
	code  string     // mItem
	size  [3]int     // mSize, mm
	q     quantity   // mNum
	air   airMark    // mAir
	when  when       // mWhen, mSpan
}

func (m *mark) is(c cue) bool       { return m.kind == mCue && m.cues.has(c) }
func (m *mark) punct(s string) bool { return m.kind == mPunct && m.text == s }

func (m *mark) anyOf(c ...cue) bool {
	for _, c := range c {
		if m.is(c) {
			return true
		}
	}
	return false
}

func (m *mark) sign(s ...string) bool { return m.kind == mPunct && slices.Contains(s, m.text) }

// tag is one AHU tag as typed; ids holds every AHU of that name.
type tag struct {
	from, to int
	key      string
	ids      []plant.BankID
	site     string // the site named with it, or empty
}

// bankWord is one word for a bank: a stage, or an alias of banks.
type bankWord struct {
	from, to int
	text     string
	stageWord
	ids []plant.BankID
}

// airMark is an airflow, frequency or percentage.
type airMark struct {
	kind  unitKind
	value float64 // m³/s, Hz or %
	alt   float64 // m³/s with the comma between thousands
}

// marker turns the tokens of one line into marks.
type marker struct {
	text  string
	toks  []token
	index *Index
	sites []string // served; empty = all
	i     int
	out   []*mark
	slab  []mark // what out points into: no more marks than tokens are ever put
	steps int    // tokens looked at, for the test that reading takes linear time
}

func marksOf(text string, toks []token, x *Index, sites []string) []*mark {
	k := marker{text: text, toks: toks, index: x, sites: sites, out: make([]*mark, 0, len(toks)), slab: make([]mark, 0, len(toks))}
	marksWith(&k)
	return k.out
}

func marksWith(k *marker) {
	for k.i < len(k.toks) {
		if !(k.ordinalStage() || k.name() || k.filterClass() || k.unknownTag() || k.size() || k.time() || k.number() || k.stage() || k.phrase()) {
			k.rest()
		}
	}
}

func (k *marker) tok(i int) token {
	k.steps++
	if i < 0 || i >= len(k.toks) {
		return token{kind: tBreak}
	}
	return k.toks[i]
}

// put adds a mark made of the tokens from the cursor to before next.
func (k *marker) put(m mark, next int) {
	m.from, m.to = k.toks[k.i].from, k.toks[next-1].to
	if m.text == "" {
		m.text = k.toks[k.i].text
	}
	for _, t := range k.toks[k.i:next] {
		m.letterO = m.letterO || t.num.letterO
	}
	k.slab = append(k.slab, m)
	k.out = append(k.out, &k.slab[len(k.slab)-1])
	k.i = next
}

// name reads the name of a site, AHU, bank or item.
func (k *marker) name() bool {
	refs, next, rest := k.index.find(k.text, k.toks, k.i)
	if next == k.i || k.stagePhraseLonger(next) {
		return false
	}
	var ahus, banks []plant.BankID
	var sites []ref
	code := ""
	for _, f := range refs {
		switch f.kind {
		case refSite:
			sites = append(sites, f)
		case refAHU:
			ahus = append(ahus, f.id)
		case refBank:
			banks = append(banks, f.id)
		case refItem:
			code = f.code
		}
	}
	switch from, to := k.toks[k.i].from, k.toks[next-1].to; {
	case len(ahus) > 0:
		key := k.keyOf(k.i, next)
		first := tag{from: from, to: to, key: strings.TrimSuffix(key, "."+strings.Join(rest, ".")), ids: ahus}
		more, ok := k.tagRest(first, rest)
		if !ok || len(rest) > 0 && k.tok(next).kind == tUnit {
			return false
		}
		k.put(mark{kind: mAHU, tags: append([]tag{first}, more...)}, next)
		k.tagList()
		k.joinTags()
	case code != "":
		k.put(mark{kind: mItem, code: code}, next)
	case len(banks) > 0 && next == k.i+1 && filterNouns[k.toks[k.i].text] && k.afterPieces():
		k.put(mark{kind: mCue, cues: fillOnly}, next)
	case len(banks) > 0:
		w := bankWord{from: from, to: to, text: k.toks[k.i].text, ids: banks}
		if ws, n := k.stageAt(k.i); n == next {
			w.stageWord = ws
		}
		k.put(mark{kind: mBank, banks: []bankWord{w}}, next)
	default:
		k.put(mark{kind: mSite, sites: sites}, next)
	}
	return true
}

// afterPieces reports whether the word at the cursor is what was just counted, and no
// name of a bank: "changed prefilters on AHU-3, 12 filters".
func (k *marker) afterPieces() bool {
	n := len(k.out)
	return n > 0 && k.out[n-1].kind == mNum && k.out[n-1].q.piece && k.out[n-1].q.first.value <= mostInBank
}

// stagePhraseLonger reports whether a phrase of stage words reaches beyond next,
// so that an alias "pre" does not cut "pre filter" in two.
func (k *marker) stagePhraseLonger(next int) bool {
	_, n := k.stageAt(k.i)
	return n > next
}

func (k *marker) keyOf(i, next int) string {
	return joinParts(nameParts(k.text[k.toks[i].from:k.toks[next-1].to]))
}

// tagList reads ",2,5" and "/2 and 5" after a tag: more AHUs of the same
// letters. A number is one of the list only if such a tag is known and no unit
// follows it.
func (k *marker) tagList() {
	m := k.out[len(k.out)-1]
	letters, _ := cutTag(m.tags[0].key)
	if letters == "" {
		return
	}
	for {
		j := k.i
		for j < len(k.toks) && (k.tok(j).kind == tPunct && strings.Contains(",/&+", k.tok(j).text) || k.tok(j).kind == tWord && andWord(k.tok(j).text)) {
			j++
		}
		t := k.tok(j)
		if j == k.i || j > k.i+2 || t.kind != tNumber || k.tok(j+1).kind == tUnit || k.pairs(j) || k.counts(j) {
			return
		}
		more, ok := k.tagRest(tag{from: t.from, to: t.to, key: m.tags[0].key}, tokenParts(k.text, t))
		if !ok {
			return
		}
		m.tags = append(m.tags, more...)
		m.to = t.to
		k.i = j + 1
	}
}

// joinTags makes one mark of "AHU-10, AHU-12": a list of full tags.
func (k *marker) joinTags() {
	n := len(k.out)
	if n < 3 || k.out[n-3].kind != mAHU || !(k.out[n-2].sign(",", "/", "&", "+") || k.out[n-2].is(cAnd)) {
		return
	}
	a, b := k.out[n-3], k.out[n-1]
	a.tags = append(a.tags, b.tags...)
	a.to, a.letterO = b.to, a.letterO || b.letterO
	k.out = k.out[:n-2]
}

// tagRest finds the AHUs that numbers name which share the letters of tag like.
func (k *marker) tagRest(like tag, numbers []string) ([]tag, bool) {
	letters, _ := cutTag(like.key)
	var out []tag
	for _, d := range numbers {
		key := letters + d
		ids := k.index.ahus(key)
		if len(ids) == 0 || len(k.sites) > 0 && !slices.ContainsFunc(ids, func(id plant.BankID) bool { return slices.Contains(k.sites, id.Site()) }) {
			return nil, false
		}
		out = append(out, tag{from: like.from, to: like.to, key: key, ids: ids})
	}
	return out, true
}

// pairs reports whether the number at j is one of "85/160", two readings.
func (k *marker) pairs(j int) bool {
	t := k.tok(j + 1)
	return t.kind == tPunct && t.text == "/" && t.glued && k.tok(j+2).kind == tNumber && k.tok(j+2).num.value > 30
}

// counts reports whether the number at j is one of pieces: "UTA 12, 12 unidades".
func (k *marker) counts(j int) bool {
	if e, n := k.phraseAt(j + 1); n > j+1 && e.cues.has(cPiece) {
		return true
	}
	w, n := k.stageAt(j + 1)
	return filterNouns[k.tok(j+1).text] || n > j+1 && w.plural
}

func andWord(s string) bool { return s == "and" || s == "und" || s == "y" || s == "e" }

// ahus lists the AHUs of a key.
func (x *Index) ahus(key string) []plant.BankID {
	var out []plant.BankID
	for _, f := range x.refs[key] {
		if f.kind == refAHU {
			out = append(out, f.id)
		}
	}
	return out
}

// unknownTag reads what looks like a tag and is none: known letters, or letters
// one slip away, with a number that no AHU has.
func (k *marker) unknownTag() bool {
	t := k.tok(k.i)
	if t.kind != tWord {
		return false
	}
	j := k.i + 1
	if s := k.tok(j); s.sign("-", "_", ".", "#") && (s.glued || s.text != "-") {
		j++
	}
	if l := k.tok(j); l.kind == tWord && len(l.text) == 1 && (j > k.i+1 || k.tok(j+1).glued) { // "AHU-T9"
		j++
	}
	n := k.tok(j)
	if n.kind != tNumber || n.num.alt != 0 || n.num.decimals > 0 && strings.HasPrefix(n.num.digits, "0.") {
		return false
	}
	if k.index.shorts[t.text] && !k.index.prefixes[t.text] {
		if !n.glued || n.num.decimals > 0 || n.num.value >= 100 || k.tok(j+1).kind == tUnit || k.tok(j+1).kind == tWord && k.tok(j+1).glued {
			return false
		}
	} else if k.index.prefixes[t.text] {
		if n.num.decimals > 0 || n.num.value >= 1000 {
			return false
		}
	} else if slices.Contains(machine[:], t.text) {
		if n.num.decimals > 0 || n.num.value >= 1000 || countsNext(k.toks, j+1) || k.isWord(j+1, "at", "um", "a", "is", "ist") {
			return false
		}
	} else if !k.index.nearPrefix(t.text) || k.known(t.text) || n.num.decimals > 0 || k.tok(j+1).kind == tUnit {
		return false
	}
	next := j + 1
	k.put(mark{kind: mAHU, tags: []tag{{from: t.from, to: n.to, key: k.keyOf(k.i, next)}}}, next)
	return true
}

// known reports whether w means something else.
func (k *marker) known(w string) bool {
	_, stage := stageWords[w]
	_, phrase := phrases[w]
	_, day := weekdays[w]
	return stage || phrase || day || months[w] != 0
}

// nearPrefix reports whether letters are a slip of the thumb away from those
// that tags begin with: of three or more letters, one wrong or two swapped.
func (x *Index) nearPrefix(letters string) bool {
	if len(letters) < 3 || len(letters) > 8 {
		return false
	}
	for p := range x.prefixes {
		if len(p) >= 3 && p[0] == letters[0] && editDistance(p, letters, 2) == 1 {
			return true
		}
	}
	return false
}

// size reads 592x592x48, in millimetres.
func (k *marker) size() bool {
	var dims [3]int
	j, n := k.i, 0
	for n < 3 {
		t := k.tok(j)
		if t.kind != tNumber || t.num.decimals > 0 || t.num.value < 10 || t.num.value > 3000 {
			break
		}
		dims[n] = int(t.num.value)
		n, j = n+1, j+1
		if u := k.tok(j); u.kind == tUnit && u.unit.name == "mm" {
			j++
		}
		if x := k.tok(j); n < 3 && (x.kind == tWord && x.text == "x" || x.kind == tPunct && (x.text == "×" || x.text == "*")) {
			j++
			continue
		}
		break
	}
	if n < 2 {
		return false
	}
	if last := k.tok(j - 1); last.kind != tNumber && !(last.kind == tUnit) {
		return false
	}
	k.put(mark{kind: mSize, size: dims}, j)
	return true
}

// stage reads words for a stage.
func (k *marker) stage() bool {
	w, next := k.stageAt(k.i)
	if next == k.i {
		return false
	}
	if _, n := k.phraseAt(k.i); n > next {
		return false
	}
	t := k.toks[k.i]
	k.put(mark{kind: mBank, banks: []bankWord{{from: t.from, to: k.toks[next-1].to, text: k.text[t.from:k.toks[next-1].to], stageWord: w}}}, next)
	return true
}

// classes are the filter classes of EN 779 and EN 1822 by letter, and the numbers
// each goes with.
var classes = map[string][2]int{"g": {1, 4}, "m": {5, 6}, "f": {7, 9}, "e": {10, 12}, "h": {13, 14}, "u": {15, 17}, "merv": {1, 16}}

// filterClass reads a filter class, "F7" or "MERV 13", whose number is no reading.
func (k *marker) filterClass() bool {
	t, n := k.tok(k.i), k.tok(k.i+1)
	if t.kind != tWord || n.kind != tNumber || len(t.text) == 1 && !n.glued || k.tok(k.i+2).kind == tUnit {
		return false
	}
	c, ok := classes[t.text]
	if v, whole := k.whole(k.i+1, c[0], c[1]); !ok || !whole || v == 0 {
		return false
	}
	k.put(mark{kind: mOther}, k.i+2)
	return true
}

// stageNouns are the words for a stage that a number goes with.
var stageNouns = set("stage stufe filterstufe etapa")

// numbered are the stages in the order of the air.
var numbered = [...]plant.Stage{1: plant.Primary, 2: plant.Secondary, 3: plant.Third}

// ordinalStage reads "1. Stufe", "2ª etapa" and "Stufe 2".
func (k *marker) ordinalStage() bool {
	n, at := k.i, k.i+1
	if k.tok(k.i).kind == tWord && stageNouns[k.tok(k.i).text] {
		n, at = k.i+1, k.i+1
	} else {
		for k.tok(at).sign(".") || k.isWord(at, "st", "nd", "rd", "a", "ª") && k.tok(at).glued {
			at++
		}
		if t := k.tok(at); t.kind != tWord || !stageNouns[t.text] {
			return false
		}
	}
	v, ok := k.whole(n, 1, 3)
	if !ok || k.tok(n+1).kind == tUnit {
		return false
	}
	from, to := k.toks[k.i].from, k.toks[at].to
	k.put(mark{kind: mBank, text: k.text[from:to], banks: []bankWord{{from: from, to: to, text: k.text[from:to], stageWord: stageWord{stage: numbered[v]}}}}, at+1)
	return true
}

func (k *marker) stageAt(i int) (stageWord, int) {
	t := k.tok(i)
	if t.kind != tWord {
		return stageWord{}, i
	}
	for _, p := range stageWords[t.text] {
		n, ok := k.follows(i, p.words)
		if !ok || p.single && !k.labels(i) {
			continue
		}
		return p.stageWord, n
	}
	if w, ok := slippedStage(t.text); ok {
		return w, i + 1
	}
	return stageWord{}, i
}

// slippedStage reads a long stage word with one slip of the thumb: "secndary".
func slippedStage(w string) (stageWord, bool) {
	if len(w) < 6 || len(w) > 12 || phrases[w] != nil {
		return stageWord{}, false
	}
	for right, st := range longStages {
		if w[0] == right[0] && editDistance(w, right, 2) == 1 {
			return stageWord{stage: st}, true
		}
	}
	return stageWord{}, false
}

// labels reports whether the single letter at i labels a value: "P: 140", "S 230".
func (k *marker) labels(i int) bool {
	next := k.tok(i + 1)
	if k.tok(i).glued || k.i > 0 && k.tok(i-1).kind == tPunct && k.tok(i-1).text == "-" {
		return false
	}
	if next.kind == tPunct && (next.text == ":" || next.text == "=") {
		return k.tok(i+2).kind == tNumber
	}
	return next.kind == tNumber
}

// follows reports whether words stand at i, and gives the token after them. A
// hyphen between them does not matter ("pre-filter").
func (k *marker) follows(i int, words []string) (int, bool) {
	for n, w := range words {
		if n > 0 && k.tok(i).kind == tPunct && k.tok(i).text == "-" {
			i++
		}
		if t := k.tok(i); (t.kind != tWord && t.kind != tUnit) || t.text != w {
			return i, false
		}
		i++
	}
	return i, true
}

// phrase reads a word or phrase of the lexicon.
func (k *marker) phrase() bool {
	e, next := k.phraseAt(k.i)
	if next == k.i {
		return false
	}
	k.put(mark{kind: mCue, cues: e.cues, text: strings.Join(e.words, " ")}, next)
	return true
}

func (k *marker) phraseAt(i int) (phraseEntry, int) {
	t := k.tok(i)
	if t.kind != tWord && t.kind != tUnit {
		return phraseEntry{}, i
	}
	for _, e := range phrases[t.text] {
		if n, ok := k.follows(i, e.words); ok {
			return e, n
		}
	}
	return phraseEntry{}, i
}

// rest takes one token as punctuation or an unknown word.
func (k *marker) rest() {
	switch t := k.toks[k.i]; t.kind {
	case tPunct:
		k.put(mark{kind: mPunct}, k.i+1)
	case tUnit: // a unit with no number of its own: "3 of AHU-3 in"
		k.put(mark{kind: mCue, cues: fillOnly}, k.i+1)
	default:
		k.put(mark{kind: mWord}, k.i+1)
	}
}

var fillOnly = func() (s cueSet) { s.add(cFill); return }()
