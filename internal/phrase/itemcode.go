package phrase

import (
	"cmp"
	"regexp"
	"slices"
	"strings"

	"clogwise/internal/plant"
)

// codeShape is what a reorder code looks like: letters, a dash, a number.
var codeShape = regexp.MustCompile(`(?i)\b[a-z]{2,5}-[a-z]{0,2}[0-9]{1,4}[a-z]?\b`)

// papers are prefixes of numbers that are no reorder codes: orders, jobs, weeks.
var papers = set("po wo so wk kw job inv ref")

// strangeCode finds what looks like a reorder code on a line and is none of the
// register, nor a tag.
func (p *parser) strangeCode(l *line) (from, to int, ok bool) {
	for _, at := range codeShape.FindAllStringIndex(p.text[l.from:l.to], 4) {
		from, to = l.from+at[0], l.from+at[1]
		letters, _, _ := strings.Cut(p.text[from:to], "-")
		covered := slices.ContainsFunc(l.marks, func(m *mark) bool {
			return (m.kind == mAHU || m.kind == mItem || m.kind == mSize || m.kind == mWhen) && m.from < to && from < m.to
		})
		if !covered && !papers[fold(letters)] {
			return from, to, true
		}
	}
	return 0, 0, false
}

// askCode asks which item is meant by a code that the register does not have.
func (p *parser) askCode(from, to int) {
	typed := p.raw(from, to)
	codes := p.nearestCodes(typed)
	if len(codes) == 0 {
		p.problem(AskItem, sayItem(p.sc.In, "", nil))
		return
	}
	p.problem(AskItem, sayNoItem(p.sc.In, typed, codes), codeOptions(codes, from, to)...)
}

func codeOptions(codes []string, from, to int) []option {
	var out []option
	for _, c := range codes {
		out = append(out, option{keys: []string{c}, label: c, edits: []edit{{from, to, c}}})
	}
	return out
}

// nearestCodes gives the three codes of the sites in hand that are most like typed.
func (p *parser) nearestCodes(typed string) []string {
	var codes []string
	for _, it := range p.reg.Items() {
		if it.Site == "" || p.serves(it.Site) {
			codes = append(codes, it.Code)
		}
	}
	const far = 12
	distance := func(code string) int { return editDistance(fold(code), fold(typed), far) }
	slices.SortStableFunc(codes, func(a, b string) int { return cmp.Compare(distance(a), distance(b)) })
	return codes[:min(3, len(codes))]
}

// orderByStage settles the item of "received 4 bags", which names neither a code nor
// an AHU: the only one that the sites in hand use there, else it is asked for.
func (p *parser) orderByStage(g *group) (code string, ok bool) {
	i := slices.IndexFunc(g.marks, func(m *mark) bool { return m.kind == mBank })
	if i < 0 || g.line.unknown > 1 || g.line.question {
		return "", false
	}
	var codes []string
	for _, s := range p.sites() {
		for _, ahu := range p.reg.AHUs(s) {
			codes = append(codes, p.stageCodes(ahu, g.marks[i].banks)...)
		}
	}
	slices.Sort(codes)
	codes = slices.Compact(codes)
	switch len(codes) {
	case 0:
		return "", false
	case 1:
		return codes[0], true
	}
	codes = codes[:min(3, len(codes))]
	p.problem(AskItem, sayWhichItem(p.sc.In, codes), codeOptions(codes, g.marks[i].from, g.marks[i].to)...)
	return "", true
}

// stageCodes lists the codes that the banks of an AHU take which the words name.
func (p *parser) stageCodes(ahu plant.BankID, words []bankWord) []string {
	var out []string
	for _, w := range words {
		for _, id := range p.matchBank(ahu, w) {
			b, _ := p.reg.Bank(id)
			for _, f := range b.Fronts {
				out = append(out, f.Item)
			}
			out = append(out, b.Item)
		}
	}
	return slices.DeleteFunc(out, func(c string) bool { return c == "" })
}

// gotIn recognises goods that came: "got 4 BAG-592 in".
func (l *line) gotIn() bool {
	if l.question || !l.hasKind(mItem) {
		return false
	}
	ws := l.wordsOf()
	return len(ws) > 2 && (ws[len(ws)-1] == "in" || ws[len(ws)-1] == "inH2O") && // "in" alone is read as inches
		slices.Contains(ws, "got")
}

// haveItems recognises a count of the store: "we have 12 PNL-592".
func (l *line) haveItems() bool {
	if l.question || l.hasKind(mAHU, mBank) {
		return false
	}
	ws := l.wordsOf()
	return !l.has(cLeft, cSwap, cChange, cUsed) && !l.gotIn() &&
		(startsWith(ws, "we", "have") || startsWith(ws, "we", "got") || startsWith(ws, "have") || startsWith(ws, "wir", "haben") || startsWith(ws, "tenemos"))
}
