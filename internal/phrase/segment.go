package phrase

import (
	"slices"

	"clogwise/internal/plant"
)

// segment is the part of a group that speaks about one bank, or a list of banks.
type segment struct {
	banks []bankWord
	marks []*mark
	swap  bool // a swap word before the first bank counts for every segment
	fresh bool // "new bags"
}

// segments cuts a group where a new bank is named. When the numbers come before
// the words ("112 pre, 205 bag") it cuts after them.
func segments(g *group) []segment {
	ms := mergeBanks(withoutPlace(g.marks))
	var at []int
	for i, m := range ms {
		if m.kind == mBank {
			at = append(at, i)
		}
	}
	if len(at) == 0 {
		return []segment{{marks: ms}}
	}
	var out []segment
	add := func(part []*mark) {
		s := segment{}
		for i, m := range part {
			s.fresh = s.fresh || m.is(cClean) && freshWord(m.text) && i+1 < len(part) && part[i+1].kind == mBank
			if m.kind == mBank {
				s.banks = append(s.banks, m.banks...)
				continue
			}
			s.marks = append(s.marks, m)
		}
		out = append(out, s)
	}
	if valuesFirst(ms, at) {
		start := 0
		for n, i := range at {
			end := timeAfter(ms, i+1)
			if n == len(at)-1 {
				end = len(ms)
			}
			add(ms[start:end])
			start = end
		}
		return out
	}
	start := 0
	for _, i := range at[1:] {
		add(ms[start:i])
		start = i
	}
	add(ms[start:])
	for n, i := range at { // "old bags out, new bags in"
		out[n].fresh = out[n].fresh || i > 0 && ms[i-1].is(cClean) && freshWord(ms[i-1].text)
	}
	if len(out) > 1 && hasCue(ms[:at[0]], cSwap) {
		for i := range out {
			out[i].swap = true
		}
	}
	return out
}

// timeAfter gives where the time ends that stands right after a bank at from, up to
// a comma: "85 pre from yesterday, 150 bag".
func timeAfter(ms []*mark, from int) int {
	for j := from; j < len(ms); j++ {
		switch m := ms[j]; {
		case m.kind == mWhen, m.kind == mCue && m.anyOf(cFill, cBefore, cAt):
		case m.sign(",", ";", "/") && j > from && ms[j-1].kind == mWhen:
			return j
		default:
			return from
		}
	}
	return from
}

func freshWord(w string) bool {
	switch w {
	case "new", "neue", "neu", "nuevos", "nuevo", "nuevas":
		return true
	}
	return false
}

// withoutPlace drops tags and sites.
func withoutPlace(ms []*mark) []*mark {
	out := make([]*mark, 0, len(ms))
	for _, m := range ms {
		if m.kind != mAHU && m.kind != mSite {
			out = append(out, m)
		}
	}
	return out
}

// mergeBanks joins "pre and bag", "P/S" into one mark.
func mergeBanks(ms []*mark) []*mark {
	var out []*mark
	for i := 0; i < len(ms); i++ {
		m := ms[i]
		if m.kind == mBank {
			joined := *m
			m = &joined
			m.banks = slices.Clone(m.banks)
			for i+2 < len(ms) && ms[i+2].kind == mBank && (ms[i+1].sign("/", "&", "+", ",") || ms[i+1].is(cAnd)) {
				m.banks = append(m.banks, ms[i+2].banks...)
				m.to = ms[i+2].to
				i += 2
			}
			for i+1 < len(ms) && ms[i+1].kind == mBank && sameBank(m.banks, ms[i+1].banks) { // "Vorfilter primary"
				m.to = ms[i+1].to
				i++
			}
		}
		out = append(out, m)
	}
	return out
}

func sameBank(a, b []bankWord) bool {
	return len(a) == 1 && len(b) == 1 && a[0].stage != "" && a[0].stage == b[0].stage
}

func valuesFirst(ms []*mark, at []int) bool {
	reading := func(m *mark) bool { return m.kind == mNum && !m.q.piece && !m.q.pieceStage && !m.q.clockish }
	first := slices.IndexFunc(ms, reading)
	if first < 0 || first > at[0] {
		return false
	}
	for _, m := range ms[at[len(at)-1]:] {
		if reading(m) {
			return false
		}
	}
	return true
}

// numbers lists the marks of a segment that can be pressures.
func (s *segment) numbers() []*mark {
	var out []*mark
	for _, m := range s.marks {
		if m.kind == mNum && !m.q.piece && !m.q.pieceStage && !m.q.clockish {
			out = append(out, m)
		}
	}
	return out
}

func (s *segment) has(c ...cue) bool { return hasCue(s.marks, c...) }

// bank settles the bank of a segment for one AHU, or notes a problem. Without a
// word for it, an AHU's only bank is meant, or the one the talk is about.
func (p *parser) bank(g *group, s *segment, ahu plant.BankID) (plant.BankID, bool) {
	ids, ok := p.banks(g, s, ahu)
	if !ok {
		return "", false
	}
	if len(ids) > 1 {
		p.askBank(ahu, edit{from: s.banks[0].from, to: s.banks[len(s.banks)-1].to}, "")
		return "", false
	}
	return ids[0], true
}

// banks settles every bank a segment names.
func (p *parser) banks(g *group, s *segment, ahu plant.BankID) ([]plant.BankID, bool) {
	all := p.banksOf(ahu)
	if len(s.banks) == 0 {
		switch {
		case len(all) == 1:
			return all, true
		case g.ahu == nil && p.sc.Here.Whole() && p.sc.Here.AHU() == ahu:
			return []plant.BankID{p.sc.Here}, true
		}
		p.askBank(ahu, p.afterTag(g), "")
		return nil, false
	}
	var out []plant.BankID
	for _, w := range s.banks {
		ids := p.matchBank(ahu, w)
		if len(ids) != 1 {
			p.askBank(ahu, edit{from: w.from, to: w.to}, w.text)
			return nil, false
		}
		if !slices.Contains(out, ids[0]) {
			out = append(out, ids[0])
		}
	}
	return out, true
}

// afterTag is where a missing word for the bank goes.
func (p *parser) afterTag(g *group) edit {
	if g.ahu != nil && g.marks[len(g.marks)-1] == g.ahu && g.ahu.to < g.line.to { // a line that reads backwards
		return edit{from: g.ahu.from, to: g.ahu.from}
	}
	if g.ahu != nil {
		return edit{from: g.ahu.to, to: g.ahu.to}
	}
	return edit{from: g.line.from, to: g.line.from}
}
