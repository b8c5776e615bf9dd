package locale

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"
)

// Retell says in the language of l what the core has said in English already: an
// error, a fault of a file, words kept with an assessment. It finds the text whose
// format the words come from and says that anew with the same figures, which get the
// language's decimal sign, and with what the words wrap retold in turn. Where there is
// none, what stands on either side of a semicolon or colon is retold by itself. What comes from no
// text of the catalogue stays as it is.
func (l Locale) Retell(english string) string {
	if l.texts == nil {
		return english
	}
	if t := l.texts[english]; t != nil && t.IsTranslated() && !strings.Contains(english, "%") {
		return t.Get()
	}
	if quoted, ok := asQuoted()[english]; ok {
		return l.Say(quoted)
	}
	for _, m := range moulds()[l.tag] {
		if !strings.Contains(english, m.longest) {
			continue
		}
		if args := m.cast().FindStringSubmatch(english); args != nil {
			return l.pour(m, args[1:])
		}
	}
	for _, between := range []string{"; ", ": "} {
		if one, other, ok := strings.Cut(english, between); ok {
			return l.Retell(one) + between + l.Retell(other)
		}
	}
	return english
}

// asQuoted finds, by how it is read, a text without arguments that tells what to type.
var asQuoted = sync.OnceValue(func() map[string]string {
	out := map[string]string{}
	for _, texts := range load() {
		for english := range texts {
			if strings.Contains(english, "`") && !strings.Contains(english, "%") {
				out[unquoted(english)] = english
			}
		}
	}
	return out
})

// mould is a format of the catalogue, to be recognised in a finished text.
type mould struct {
	english string
	kinds   []byte // verb of each argument
	longest string // literal part that a finished text must hold
	letters int    // in its literal parts
	cast    func() *regexp.Regexp
}

// leastLetters is how many letters a format must fix, so that a text is not taken for
// one that says little beside its arguments.
const leastLetters = 3

var verbs = regexp.MustCompile(`%(?:\[(\d+)\])?[-+# 0]*[\d.]*([a-zA-Z%])`)

// moulds are the formats of each language's catalogue, those that fix most first.
var moulds = sync.OnceValue(func() map[string][]mould {
	out := map[string][]mould{}
	for tag, texts := range load() {
		var all []mould
		for english, t := range texts {
			if m, ok := mouldOf(english); ok && t.PluralID == "" && t.IsTranslated() {
				all = append(all, m)
			}
		}
		slices.SortFunc(all, func(a, b mould) int {
			return cmp.Or(b.letters-a.letters, strings.Compare(a.english, b.english))
		})
		out[tag] = all
	}
	return out
})

func mouldOf(english string) (mould, bool) {
	m := mould{english: english}
	var form strings.Builder
	fixed := func(s string) {
		form.WriteString(regexp.QuoteMeta(s))
		for _, r := range s {
			if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' {
				m.letters++
			}
		}
		if len(s) > len(m.longest) {
			m.longest = s
		}
	}
	at := 0
	for _, v := range verbs.FindAllStringSubmatchIndex(english, -1) {
		fixed(unquoted(english[at:v[0]]))
		at = v[1]
		switch kind := english[v[4]]; kind {
		case '%':
			fixed("%")
			continue
		case 'd':
			form.WriteString(`([-+]?\d+)`)
			m.kinds = append(m.kinds, kind)
		case 'f', 'g', 'e':
			form.WriteString(`([-+]?(?:\d[\d.]*(?:e[-+]?\d+)?|NaN|Inf))`)
			m.kinds = append(m.kinds, kind)
		case 'q':
			form.WriteString(`("(?:[^"\\]|\\.)*")`)
			m.kinds = append(m.kinds, kind)
		case 'w': // an error may hold colons of its own
			form.WriteString(`(.*)`)
			m.kinds = append(m.kinds, kind)
		default:
			form.WriteString(`(.*?)`)
			m.kinds = append(m.kinds, kind)
		}
	}
	fixed(unquoted(english[at:]))
	text := form.String()
	m.cast = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`(?s)^` + text + `$`) })
	return m, len(m.kinds) > 0 && m.letters >= leastLetters
}

// pour fills the arguments into the translation of a format.
func (l Locale) pour(m mould, args []string) string {
	next := 0
	return verbs.ReplaceAllStringFunc(unquoted(l.texts[m.english].Get()), func(verb string) string {
		v := verbs.FindStringSubmatch(verb)
		if v[2] == "%" {
			return "%"
		}
		if v[1] != "" {
			fmt.Sscan(v[1], &next)
			next--
		}
		if next < 0 || next >= len(args) {
			return verb // the tests refuse such a translation
		}
		arg, kind := args[next], m.kinds[next]
		next++
		switch kind {
		case 'q', 'd':
			return arg
		case 'f', 'g', 'e':
			return l.Figures(arg)
		}
		if !strings.Contains(arg, " ") {
			return arg // a name
		}
		return l.Retell(arg)
	})
}
