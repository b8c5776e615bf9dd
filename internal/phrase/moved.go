package phrase

import (
	"slices"
	"strings"
)

// moved asks what to do about a reading that was sent for another AHU: "that was
// AHU-1 not AHU-2". What is saved stays where it is; it can only be taken back.
func (p *parser) moved(g *group) bool {
	l := g.line
	if g.ahu == nil || l.unknown > 0 || l.question || l.hasKind(mNum, mItem, mWhen) || l.words() > 12 || l.has(cSwap, cDefect, cDone, cBook) {
		return false
	}
	if !saysWas(p.text[l.from:max(l.from, l.marks[0].from, firstTag(l))]) && !(l.has(cNot) && len(p.about) > 1) {
		return false
	}
	if g.marks[0] != l.marks[0] && len(p.problems) > 0 { // asked for this line already
		return true
	}
	p.problem(AskMoved, sayMoved(p.sc.In),
		option{keys: []string{"undo"}, label: p.sc.In.Text("undo my last message"), edits: []edit{{l.from, l.to, "undo"}}})
	return true
}

// firstTag is where the first tag of a line starts.
func firstTag(l *line) int {
	i := slices.IndexFunc(l.marks, func(m *mark) bool { return m.kind == mAHU })
	if i < 0 {
		return l.from
	}
	return l.marks[i].from
}

// wasWords lead to the tag that something saved belongs to; linkWords may stand
// between.
var (
	wasWords  = []string{"that was", "it was", "this was", "those were", "should be", "meant", "wrong ahu", "wrong unit", "das war", "es war", "war das", "falsche anlage", "eso era", "era", "esa era"}
	linkWords = set("for in at from on of the para de la an der die actually really fur unit ahu not no")
)

// saysWas reports whether the words before a tag say that what was saved is its.
func saysWas(before string) bool {
	words := strings.Fields(fold(strings.Trim(before, " ,;:")))
	for len(words) > 0 && linkWords[words[len(words)-1]] {
		words = words[:len(words)-1]
	}
	said := " " + strings.Join(words, " ")
	return slices.ContainsFunc(wasWords, func(w string) bool { return strings.HasSuffix(strings.TrimRight(said, ",;: "), " "+w) })
}
