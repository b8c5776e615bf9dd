package phrase

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"clogwise/internal/plant"
)

// refKind tells what a name stands for.
type refKind uint8

const (
	refSite refKind = iota
	refAHU
	refBank
	refItem
)

// ref is one thing that a name stands for.
type ref struct {
	kind refKind
	id   plant.BankID // site, AHU or bank
	code string       // item
	full bool         // a site's name in full, which also reaches sites outside the channel
}

// Index finds what people call the things of a register, whatever their case,
// blanks, hyphens and leading zeros. It is immutable and safe to share.
type Index struct {
	refs     map[string][]ref
	starts   map[string]bool // first parts of all names, so that most words are looked up once
	parts    int             // of the longest name
	prefixes map[string]bool // letters that tags begin with before their number: "ahu", "rtu"
	shorts   map[string]bool // letters of tags said in short: "t" of "AHU-T1"
	tags     []tagKey        // for the nearest names
	zones    map[string]*time.Location
	banks    map[plant.BankID][]plant.BankID // of each AHU, in the order of the air
	byNumber map[string]bool                 // names that are a word for any unit and a number
}

type tagKey struct {
	key string
	id  plant.BankID
}

// NewIndex indexes the names of sites, AHUs, banks and items.
func NewIndex(r *plant.Register) *Index {
	x := &Index{refs: map[string][]ref{}, starts: map[string]bool{}, prefixes: map[string]bool{}, shorts: map[string]bool{}, byNumber: map[string]bool{}, zones: map[string]*time.Location{}, banks: map[plant.BankID][]plant.BankID{}}
	if r == nil {
		return x
	}
	for _, s := range r.Sites() {
		id := plant.BankID(s.ID)
		x.zones[s.ID] = s.Location()
		x.add(s.Name, ref{kind: refSite, id: id, full: true})
		x.add(s.ID, ref{kind: refSite, id: id, full: true})
		for _, a := range s.Aliases {
			x.add(a, ref{kind: refSite, id: id})
		}
	}
	for _, id := range r.AHUs("") {
		a, _ := r.AHU(id)
		x.addTag(a.Tag, id)
		x.addShort(a.Tag, id)
		for _, alias := range a.Aliases {
			x.addTag(alias, id)
		}
	}
	for _, id := range r.AHUs("") {
		a, _ := r.AHU(id)
		x.addElsewhere(a.Tag, id)
	}
	x.addByNumber(r)
	for _, id := range r.Banks("") {
		b, _ := r.Bank(id)
		x.banks[id.AHU()] = append(x.banks[id.AHU()], id)
		for _, alias := range append(slices.Clone(b.Aliases), b.Points...) {
			x.add(alias, ref{kind: refBank, id: id})
		}
		if b.ID != string(b.Stage) {
			x.add(b.ID, ref{kind: refBank, id: id})
		}
	}
	for _, it := range r.Items() {
		x.add(it.Code, ref{kind: refItem, code: it.Code})
		if it.Name != "" {
			x.add(it.Name, ref{kind: refItem, code: it.Code})
		}
	}
	return x
}

// mostParts bounds the words and numbers of a name that people would type.
const mostParts = 16

func (x *Index) add(name string, f ref) {
	parts := nameParts(name)
	if len(parts) == 0 || len(parts) > mostParts || len(parts) == 1 && len(parts[0]) < 2 {
		return // one letter would be found everywhere
	}
	key := joinParts(parts)
	if !slices.Contains(x.refs[key], f) {
		x.refs[key] = append(x.refs[key], f)
	}
	x.starts[parts[0]] = true
	x.parts = max(x.parts, len(parts))
}

func (x *Index) addTag(tag string, id plant.BankID) {
	x.add(tag, ref{kind: refAHU, id: id})
	parts := nameParts(tag)
	if len(parts) >= 2 && !isNumber(parts[0]) {
		x.prefixes[parts[0]] = true
		x.tags = append(x.tags, tagKey{joinParts(parts), id})
	}
}

// addShort lets a tag of two sets of letters be said by the second: "T1" for
// "AHU-T1".
func (x *Index) addShort(tag string, id plant.BankID) {
	parts := nameParts(tag)
	if len(parts) != 3 || isNumber(parts[0]) || isNumber(parts[1]) || !isNumber(parts[2]) {
		return
	}
	short := joinParts(parts[1:])
	x.add(short, ref{kind: refAHU, id: id})
	x.shorts[parts[1]] = true
	x.tags = append(x.tags, tagKey{short, id})
}

// elsewhere is what an air handling unit is called in German and Spanish.
var elsewhere = [...]string{"rlt", "uta", "climatizador", "climatizadora", "luftungsgerat", "luftungsanlage", "klimagerat", "klimaanlage"}

// addElsewhere lets "AHU-3" be said as in German or Spanish, unless the register calls
// something else so.
func (x *Index) addElsewhere(tag string, id plant.BankID) {
	parts := nameParts(tag)
	if len(parts) < 2 || parts[0] != "ahu" {
		return
	}
	for _, word := range elsewhere {
		said := append([]string{word}, parts[1:]...)
		others := slices.ContainsFunc(x.refs[joinParts(said)], func(f ref) bool { return f.kind != refAHU || f.id.Site() == id.Site() })
		if !others {
			x.add(strings.Join(said, "-"), ref{kind: refAHU, id: id})
			x.prefixes[word] = true
		}
	}
}

// machine is what any air handling unit is called, with its number.
var machine = [...]string{"unit", "machine", "gerat", "anlage", "luftung", "unidad", "maquina"}

// addByNumber lets the unit of a site that alone bears a number be said by it: "unit
// 3", "Anlage 3", "máquina 3". A number that two share is nobody's.
func (x *Index) addByNumber(r *plant.Register) {
	type numbered struct{ site, number string }
	of := map[numbered][]plant.BankID{}
	for _, id := range r.AHUs("") {
		a, _ := r.AHU(id)
		if parts := nameParts(a.Tag); len(parts) == 2 && !isNumber(parts[0]) && isNumber(parts[1]) {
			k := numbered{id.Site(), parts[1]}
			of[k] = append(of[k], id)
		}
	}
	for k, ids := range of {
		for _, word := range machine {
			if name := word + "-" + k.number; len(ids) == 1 && len(x.refs[word+k.number]) == 0 || x.byNumber[word+k.number] && len(ids) == 1 {
				x.add(name, ref{kind: refAHU, id: ids[0]})
				x.byNumber[word+k.number] = true
			}
		}
	}
}

// nameParts cuts a name into folded letter runs and digit runs without leading
// zeros, the way the words of a message are compared with it.
func nameParts(name string) []string {
	var out []string
	for _, t := range lex(name) {
		out = append(out, tokenParts(name, t)...)
	}
	return out
}

// unitParts are the letters of a unit that turned out to be part of a name
// ("AHU-1 W").
func unitParts(raw string) []string {
	return strings.FieldsFunc(fold(raw), func(r rune) bool { return r < 'a' || r > 'z' })
}

func trimZeros(d string) string {
	if t := strings.TrimLeft(d, "0"); t != "" {
		return t
	}
	return "0"
}

func isNumber(s string) bool { return s != "" && s[0] >= '0' && s[0] <= '9' }

func joinParts(parts []string) string {
	var b strings.Builder
	for i, p := range parts {
		if i > 0 && isNumber(p) && isNumber(parts[i-1]) {
			b.WriteByte('.')
		}
		b.WriteString(p)
	}
	return b.String()
}

// find reads the longest known name starting at token i. It gives what the name
// stands for and the token after it; next == i means none. When the last token
// is a number of which only the first part belongs to the name ("AHU-1,2"), rest
// holds the other parts.
func (x *Index) find(text string, toks []token, i int) (refs []ref, next int, rest []string) {
	next = i
	var key strings.Builder
	parts, lastNumber := 0, false
	for j := i; j < len(toks) && parts < x.parts; j++ {
		t := toks[j]
		if j > i && t.kind == tPunct && nameJoint(t.text) && toks[j-1].kind != tPunct {
			continue
		}
		if j > i && numberWord(t.text) && announces(toks, j+1) {
			continue
		}
		ps := tokenParts(text, t)
		if len(ps) == 0 {
			break
		}
		for n, p := range ps {
			num := isNumber(p)
			if parts == 0 && !x.starts[p] {
				return refs, next, rest
			}
			if num && lastNumber {
				key.WriteByte('.')
			}
			key.WriteString(p)
			parts, lastNumber = parts+1, num
			if f, ok := x.refs[key.String()]; ok && (n == len(ps)-1 || t.kind == tNumber) && !(x.byNumber[key.String()] && countsNext(toks, j+1)) {
				refs, next, rest = f, j+1, ps[n+1:]
			}
		}
	}
	return refs, next, rest
}

// countsNext reports whether the number before token j counts something: "Anlage 2
// Stunden aus" is about no unit 2.
func countsNext(toks []token, j int) bool {
	return j < len(toks) && (toks[j].kind == tUnit || toks[j].kind == tWord && counted[toks[j].text])
}

var counted = set("x mal times stunden stunde std h hours hour hrs minuten minute min minutes tage tag days day wochen woche weeks week monate months horas hora dias dia semanas semana meses minutos veces stuck stk off of filter filters filtros")

// tokenParts are the name parts of one token; none for punctuation.
func tokenParts(text string, t token) []string {
	switch t.kind {
	case tWord:
		return []string{t.text}
	case tUnit:
		return unitParts(text[t.from:t.to])
	case tNumber:
		ps := strings.Split(t.num.digits, ".")
		for i, p := range ps {
			ps[i] = trimZeros(p)
		}
		return ps
	}
	return nil
}

// announces reports whether a number follows at j, perhaps after a point.
func announces(toks []token, j int) bool {
	if j < len(toks) && toks[j].sign(".") {
		j++
	}
	return j < len(toks) && toks[j].kind == tNumber
}

// numberWord reports whether w only announces the number of a tag: "AHU no. 3",
// "RLT-Gerät 3", "UTA número 3".
func numberWord(w string) bool { return numberWords[w] }

var numberWords = set("no nr number num nummer numero n nº º n° ° unit gerat anlage unidad")

// nameJoint reports whether a sign may stand inside a name.
func nameJoint(s string) bool { return s == "-" || s == "_" || s == "." || s == "/" || s == "#" }

// nearest lists the AHUs of the sites whose tags are most like key, the likest
// first, at most three. Too many that are no more like it than others are no
// help: then none of those is given.
func (x *Index) nearest(key string, sites []string) []plant.BankID {
	type near struct {
		id plant.BankID
		d  int
	}
	var found []near
	far := 0
	for _, t := range x.tags {
		if !slices.Contains(sites, t.id.Site()) {
			continue
		}
		d := unlike(key, t.key)
		i := slices.IndexFunc(found, func(n near) bool { return n.id == t.id })
		switch {
		case i >= 0 && d < found[i].d:
			far -= btoi(found[i].d == farthest)
			found[i].d = d
		case i < 0 && d <= farthest:
			found = append(found, near{t.id, d})
			far += btoi(d == farthest)
		}
	}
	if far > 3 {
		found = slices.DeleteFunc(found, func(n near) bool { return n.d == farthest })
	}
	slices.SortStableFunc(found, func(a, b near) int { return cmp.Compare(a.d, b.d) })
	var out []plant.BankID
	for _, n := range found[:min(3, len(found))] {
		out = append(out, n.id)
	}
	return out
}

// farthest is the greatest distance at which a tag is still offered.
const farthest = 4

// unlike measures how far the typed key is from a tag: 0 the same (elsewhere), 1 a
// character more or less or two swapped, 2 a neighbouring key, 3 right number
// with other letters, 4 any other single slip, 5 further.
func unlike(key, tag string) int {
	d := editDistance(key, tag, 3)
	letters, number := cutTag(key)
	l, n := cutTag(tag)
	switch {
	case d == 0:
		return 0
	case d == 1 && len(key) != len(tag), d == 1 && sorted(key) == sorted(tag):
		return 1
	case d == 1 && neighbours(key, tag):
		return 2
	case n == number && n != "" && editDistance(l, letters, 3) <= 2:
		return 3
	case d == 1, d == 2 && len(key) > 7:
		return farthest
	}
	return farthest + 1
}

func sorted(s string) string {
	b := []byte(s)
	slices.Sort(b)
	return string(b)
}

// neighbours reports whether the one character in which a and b differ are
// digits side by side on a keyboard.
func neighbours(a, b string) bool {
	for i := range min(len(a), len(b)) {
		if a[i] == b[i] {
			continue
		}
		x, y := a[i], b[i]
		return x >= '0' && x <= '9' && y >= '0' && y <= '9' && (x+1 == y || y+1 == x || x+y == '0'+'9')
	}
	return false
}

func cutTag(key string) (letters, number string) {
	i := strings.IndexAny(key, "0123456789")
	if i < 0 {
		return key, ""
	}
	return key[:i], key[i:]
}

// editDistance counts insertions, deletions, substitutions and swaps of
// neighbours that turn a into b; anything at or above cap is given as cap.
func editDistance(a, b string, limit int) int {
	if d := len(a) - len(b); d >= limit || -d >= limit {
		return limit
	}
	if len(a) > 40 || len(b) > 40 {
		return limit
	}
	var prev2, prev, cur [42]int
	for j := range len(b) + 1 {
		prev[j] = j
	}
	for i := 1; i <= len(a); i++ {
		cur[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				cur[j] = min(cur[j], prev2[j-2]+1)
			}
		}
		prev2, prev = prev, cur
	}
	return min(prev[len(b)], limit)
}
