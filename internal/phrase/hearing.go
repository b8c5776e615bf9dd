package phrase

import (
	"slices"
	"strings"
)

// heard is a word of the message as dangers are weighed.
type heard struct {
	word string // folded; "#" for a number
	at   int    // byte offset
	line int
	ahu  bool // of a tag
	bank bool
	site bool
}

func (h heard) stop() bool { return strings.Contains(",;.!?:", h.word) }

// hearing is the words of a message, one of which is weighed at a time.
type hearing []heard

// hear lists the words of the message with what they name.
func (p *parser) hear() hearing {
	out := make(hearing, 0, len(p.toks))
	n, line := 0, 0
	for _, t := range p.toks {
		if t.kind == tBreak {
			line++
			continue
		}
		w := heard{word: t.text, at: t.from, line: line}
		if t.kind == tNumber {
			w.word = "#"
		}
		for n < len(p.lines) && t.from >= p.lines[n].to {
			n++
		}
		if n < len(p.lines) {
			w.name(p.lines[n].marks)
		}
		out = append(out, w)
	}
	return out
}

// name notes what the mark that covers the word stands for.
func (w *heard) name(ms []*mark) {
	i, _ := slices.BinarySearchFunc(ms, w.at, func(m *mark, at int) int { return m.to - 1 - at })
	if i < len(ms) && ms[i].from <= w.at {
		w.ahu, w.bank, w.site = ms[i].kind == mAHU, ms[i].kind == mBank, ms[i].kind == mSite
	}
}

// back and ahead give up to n words of the line before and after word i.
func (h hearing) back(i, n int) hearing {
	a := i
	for a > 0 && i-a < n && h[a-1].line == h[i].line {
		a--
	}
	return h[a:i]
}

func (h hearing) ahead(i, n int) hearing {
	b := i + 1
	for b < len(h) && b-i <= n && h[b].line == h[i].line {
		b++
	}
	return h[i+1 : b]
}

// around gives both with word i between them.
func (h hearing) around(i, n int) hearing {
	return h[i-len(h.back(i, n)) : i+1+len(h.ahead(i, n))]
}

func (h hearing) any(of map[string]bool) bool {
	return slices.ContainsFunc(h, func(w heard) bool { return of[w.word] })
}

// starts and ends report whether the first or last word is one of words.
func (h hearing) starts(words ...string) bool {
	return len(h) > 0 && slices.Contains(words, h[0].word)
}

func (h hearing) ends(words ...string) bool {
	return len(h) > 0 && slices.Contains(words, h[len(h)-1].word)
}

// denied reports whether word i is said not to be so: "no smoke", "no sign of
// fire", "nobody was hurt".
func (h hearing) denied(i, reach int) bool {
	b := h.back(i, reach+2)
	if len(b) > reach && !b.ends("of") {
		b = b[len(b)-reach:]
	}
	for _, w := range slices.Backward(b) {
		if w.stop() {
			return false
		}
		if denyWords[w.word] {
			return true
		}
	}
	return false
}
