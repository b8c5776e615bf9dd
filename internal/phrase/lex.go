package phrase

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// tokenKind tells words, numbers, units and marks apart.
type tokenKind uint8

const (
	tWord tokenKind = iota
	tNumber
	tUnit
	tPunct
	tBreak // end of a line
)

// token is a piece of the message; from and to are byte offsets into it.
type token struct {
	kind     tokenKind
	from, to int
	text     string // words: folded to lower case without accents; punctuation: its canonical sign
	glued    bool   // nothing between it and the token before
	num      number
	unit     unit
}

// number is a number as typed.
type number struct {
	value    float64
	alt      float64 // reading of "1,250" with the comma between thousands; 0 = none
	decimals int
	letterO  bool   // a letter O stood for a zero
	digits   string // digit runs with '.' between, as tags are compared
}

// lex cuts text into tokens. It reads each byte a bounded number of times.
func lex(text string) []token {
	l := lexer{text: text, toks: make([]token, 0, len(text)/3+4)}
	for l.pos < len(l.text) {
		l.next()
	}
	return l.toks
}

type lexer struct {
	text  string
	pos   int
	end   int // where the last token ended
	lineN int // tokens on this line so far
	toks  []token
}

func (l *lexer) add(k tokenKind, from, to int, text string) *token {
	l.toks = append(l.toks, token{kind: k, from: from, to: to, text: text, glued: from == l.end && from > 0 && l.lineN > 0})
	l.end, l.pos = to, to
	l.lineN++
	if k == tBreak {
		l.lineN = 0
	}
	return &l.toks[len(l.toks)-1]
}

func (l *lexer) last() *token {
	if len(l.toks) == 0 {
		return nil
	}
	return &l.toks[len(l.toks)-1]
}

func (l *lexer) next() {
	r, size := l.runeAt(l.pos)
	switch {
	case r == '\n':
		l.add(tBreak, l.pos, l.pos+size, "\n")
	case r == '>' && l.lineN == 0 && l.quoted(l.pos+size):
		l.skipLine()
	case r == '<' && l.skipTo('<', '>', "@#!h"):
	case r == ':' && l.skipEmoji():
	case l.unitHere():
	case isDigit(r) || l.leadsNumber(r, size):
		l.number()
	case r >= '¼' && r <= '¾' || r >= '⅐' && r <= '⅞':
		l.fraction(r, size)
	case unicode.IsLetter(r):
		l.word()
	default:
		if s := punct(r); s != "" {
			l.add(tPunct, l.pos, l.pos+size, s)
			return
		}
		l.pos += size
	}
}

// runeAt decodes the rune at i, taking "&gt;", "&lt;" and "&amp;" for the signs
// that chat servers escape so, and wide digits and letters for plain ones.
func (l *lexer) runeAt(i int) (rune, int) {
	if i >= len(l.text) {
		return 0, 0
	}
	c := l.text[i]
	if c == '&' {
		for _, e := range [...]struct {
			s string
			r rune
		}{{"&gt;", '>'}, {"&lt;", '<'}, {"&amp;", '&'}} {
			if strings.HasPrefix(l.text[i:], e.s) {
				return e.r, len(e.s)
			}
		}
	}
	if c < utf8.RuneSelf {
		return rune(c), 1
	}
	r, n := utf8.DecodeRuneInString(l.text[i:])
	if r >= '！' && r <= '～' {
		r -= '！' - '!'
	}
	return r, n
}

func isDigit(r rune) bool { return r >= '0' && r <= '9' }

// quoted reports whether what follows a '>' at the start of a line is somebody
// else's words (a quote), not a number above which a needle stands.
func (l *lexer) quoted(i int) bool {
	for i < len(l.text) && (l.text[i] == ' ' || l.text[i] == '\t') {
		i++
	}
	r, _ := l.runeAt(i)
	return unicode.IsLetter(r) || r == '>'
}

func (l *lexer) skipLine() {
	if n := strings.IndexByte(l.text[l.pos:], '\n'); n >= 0 {
		l.pos += n
		return
	}
	l.pos = len(l.text)
}

// longestAside bounds the length of a mention, link or emoji that is skipped.
const longestAside = 300

// skipTo skips "<@U0123>" and the like when the second byte is one of second.
func (l *lexer) skipTo(open, shut byte, second string) bool {
	s := l.text[l.pos:]
	if len(s) < 2 || s[0] != open || strings.IndexByte(second, s[1]) < 0 {
		return false
	}
	n := strings.IndexByte(s[:min(len(s), longestAside)], shut)
	if n < 0 {
		return false
	}
	l.pos += n + 1
	return true
}

// skipEmoji skips ":thumbs_up:".
func (l *lexer) skipEmoji() bool {
	if l.pos > 0 && isWordByte(l.text[l.pos-1]) {
		return false
	}
	s := l.text[l.pos+1 : min(len(l.text), l.pos+40)]
	letters := false
	for i := range len(s) {
		switch c := s[i]; {
		case c == ':' && i > 0 && letters:
			l.pos += i + 2
			return true
		case c >= 'a' && c <= 'z':
			letters = true
		case c >= '0' && c <= '9' || c == '_' || c == '-' || c == '+':
		default:
			return false
		}
	}
	return false
}

func isWordByte(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c >= utf8.RuneSelf
}

// leadsNumber reports whether r at the cursor begins a number without being a
// digit: a leading point ("0.45" typed ".45"), or a letter O in place of a zero.
func (l *lexer) leadsNumber(r rune, size int) bool {
	next, n := l.runeAt(l.pos + size)
	prev := byte(' ')
	if l.pos > 0 {
		prev = l.text[l.pos-1]
	}
	switch r {
	case '.':
		return isDigit(next) && !(prev >= '0' && prev <= '9')
	case ',':
		return isDigit(next) && (prev == ' ' || prev == '\n')
	case 'O', 'o':
		if isWordByte(prev) && !(prev >= '0' && prev <= '9') {
			return false
		}
		if isDigit(next) {
			return true
		}
		if next == '.' || next == ',' {
			after, _ := l.runeAt(l.pos + size + n)
			return isDigit(after)
		}
	}
	return false
}

// maxDigits is the longest run of digits that is taken for a quantity.
const maxDigits = 15

// number reads a number at the cursor: digits, letters O among them, and at
// most one decimal sign (after thousands signs of the other sort).
func (l *lexer) number() {
	from := l.pos
	var groups []string // digit runs
	var signs []byte    // what stood between them
	var run strings.Builder
	letterO := false
	i := from
	for i < len(l.text) {
		r, n := l.runeAt(i)
		switch {
		case isDigit(r):
			run.WriteByte(byte(r))
		case (r == 'O' || r == 'o') && l.zeroLetter(i, i == from):
			run.WriteByte('0')
			letterO = true
		case (r == '.' || r == ',') && l.digitAt(i+n) && (len(signs) < 4):
			groups, signs = append(groups, run.String()), append(signs, byte(r))
			run.Reset()
		default:
			n = 0
		}
		if n == 0 {
			break
		}
		i += n
	}
	groups = append(groups, run.String())
	num, used := assemble(groups, signs)
	if used < len(groups) { // "1,2,5" or "7.3.2026": a list or a date, one number each
		first := 1
		if groups[0] == "" { // ".5,54"
			first = 2
		}
		num, _ = assemble(groups[:first], signs[:first-1])
		i = from + len(strings.Join(groups[:first], "."))
	}
	num.letterO = letterO
	t := l.add(tNumber, from, i, "")
	t.text, t.num = num.digits, num
}

func (l *lexer) digitAt(i int) bool {
	r, _ := l.runeAt(i)
	return isDigit(r) || (r == 'O' || r == 'o') && l.zeroLetter(i, false)
}

// zeroLetter reports whether the letter O at i stands for a zero: beside a
// digit or decimal sign, and not the start of a word ("45off").
func (l *lexer) zeroLetter(i int, first bool) bool {
	next, _ := l.runeAt(i + 1)
	if isDigit(next) || next == '.' || next == ',' {
		return true
	}
	if first {
		return false
	}
	if next == 'O' || next == 'o' {
		after, _ := l.runeAt(i + 2)
		return !unicode.IsLetter(after)
	}
	if !unicode.IsLetter(next) {
		return true
	}
	_, n := matchUnit(l.text[i+1 : min(len(l.text), i+1+longestUnit)])
	return n > 0
}

// assemble makes a number of digit groups. It says how many groups it used: all,
// or not all when they are no single number.
func assemble(groups []string, signs []byte) (number, int) {
	whole, frac := groups[0], ""
	var num number
	switch {
	case len(signs) == 0:
	case len(signs) == 1:
		frac = groups[1]
		if len(frac) == 3 && len(whole) >= 1 && len(whole) <= 3 && whole[0] != '0' {
			num.alt = parse(whole+frac, "")
		}
	default:
		last := signs[len(signs)-1]
		for i, s := range signs[:len(signs)-1] {
			if s != signs[0] || len(groups[i+1]) != 3 || len(groups[0]) > 3 || groups[0] == "" {
				return num, 1
			}
		}
		whole = strings.Join(groups[:len(groups)-1], "")
		frac = groups[len(groups)-1]
		if last == signs[0] {
			if len(frac) != 3 {
				return num, 1
			}
			whole, frac = whole+frac, ""
		}
	}
	num.value, num.decimals = parse(whole, frac), len(frac)
	num.digits = strings.TrimPrefix(strings.Join(groups, "."), ".")
	return num, len(groups)
}

func parse(whole, frac string) float64 {
	if len(whole) > maxDigits {
		return 1e15
	}
	v, err := strconv.ParseFloat("0"+whole+"."+frac[:min(len(frac), maxDigits)], 64)
	if err != nil {
		return 1e15
	}
	return v
}

// fraction reads "½", alone or after a whole number.
func (l *lexer) fraction(r rune, size int) {
	v := map[rune]float64{'¼': .25, '½': .5, '¾': .75, '⅛': .125, '⅜': .375, '⅝': .625, '⅞': .875}[r]
	if v == 0 {
		l.pos += size
		return
	}
	if t := l.last(); t != nil && t.kind == tNumber && t.to == l.pos && t.num.decimals == 0 {
		t.num.value += v
		t.num.decimals = 2
		t.to += size
		l.end, l.pos = t.to, t.to
		return
	}
	t := l.add(tNumber, l.pos, l.pos+size, "")
	t.num = number{value: v, decimals: 2}
}

// word reads letters; apostrophes inside are dropped ("what's" is "whats").
func (l *lexer) word() {
	from, i := l.pos, l.pos
	for i < len(l.text) {
		r, n := l.runeAt(i)
		if unicode.IsLetter(r) || unicode.Is(unicode.Mn, r) {
			i += n
			continue
		}
		if r == '\'' || r == '’' {
			if next, _ := l.runeAt(i + n); unicode.IsLetter(next) {
				i += n
				continue
			}
		}
		break
	}
	raw := l.text[from:i]
	if l.address(raw, i) {
		return
	}
	if w := fold(raw); w == "n" || w == "c" {
		if s := l.text[i:min(len(l.text), i+2)]; len(s) == 2 && s[0] == '/' && (w == "n" && (s[1]|0x20) == 'a' || w == "c" && (s[1]|0x20) == 'o') {
			if r, _ := l.runeAt(i + 2); !unicode.IsLetter(r) { // "n/a", "c/o"
				l.add(tWord, from, i+2, w+string(s[1]|0x20))
				return
			}
		}
	}
	l.add(tWord, from, i, fold(raw))
}

// address skips a web address whose first word is raw and ends at i.
func (l *lexer) address(raw string, i int) bool {
	if !(strings.HasPrefix(l.text[i:], "://") || strings.EqualFold(raw, "www") && strings.HasPrefix(l.text[i:], ".")) {
		return false
	}
	n := strings.IndexAny(l.text[i:], " \n\t")
	if n < 0 {
		n = len(l.text) - i
	}
	l.pos = i + n
	return true
}

// unitHere takes a unit standing right after a number.
func (l *lexer) unitHere() bool {
	t := l.last()
	if t == nil || t.kind != tNumber || l.pos-t.to > 2 {
		return false
	}
	u, n := matchUnit(l.text[l.pos:min(len(l.text), l.pos+longestUnit)])
	if n == 0 {
		return false
	}
	l.add(tUnit, l.pos, l.pos+n, u.name).unit = u
	return true
}

// punct gives the canonical sign of a mark that means something, or "".
func punct(r rune) string {
	switch r {
	case ',', ';', '.', ':', '?', '!', '/', '&', '+', '@', '>', '<', '=', '(', ')', '#', '*', '~':
		return string(r)
	case '-', '‐', '‑', '–', '—':
		return "-"
	case '_':
		return "_"
	case '−': // U+2212, a minus and nothing else
		return "−"
	case '→', '➜', '⇒':
		return "→"
	case '≥':
		return ">"
	case '≤':
		return "<"
	case '¿', '？':
		return "?"
	case '×', '✕':
		return "×"
	case '|', '•', '·':
		return ";"
	case '"', '“', '”', '″':
		return "\""
	case '°', '%', '$', '£', '€':
		return string(r)
	}
	return ""
}

// folds maps accented letters to the plain ones people type on a phone.
var folds = map[rune]string{
	'ä': "a", 'ö': "o", 'ü': "u", 'ß': "ss", 'á': "a", 'à': "a", 'â': "a", 'é': "e", 'è': "e", 'ê': "e",
	'í': "i", 'ì': "i", 'ó': "o", 'ò': "o", 'ô': "o", 'ú': "u", 'ù': "u", 'ñ': "n", 'ç': "c", 'å': "a", 'ø': "o",
}

// fold lowers s, strips accents and drops apostrophes.
func fold(s string) string {
	plain := true
	for i := range len(s) {
		if c := s[i]; c < 'a' || c > 'z' {
			plain = false
			break
		}
	}
	if plain {
		return s
	}
	var b strings.Builder
	b.Grow(len(s))
	for _, r := range s {
		if r >= '！' && r <= '～' {
			r -= '！' - '!'
		}
		r = unicode.ToLower(r)
		if f, ok := folds[r]; ok {
			b.WriteString(f)
			continue
		}
		if r == '\'' || r == '’' || unicode.Is(unicode.Mn, r) {
			continue
		}
		b.WriteRune(r)
	}
	return b.String()
}
