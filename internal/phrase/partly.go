package phrase

import (
	"strings"

	"clogwise/internal/entry"
)

// partWords say that not all filters of a bank were changed.
var partWords = set("half halb halbe partly partially teilweise medio media parcialmente")

// partChange records a bank of which only some filters were changed, "half changed",
// "only changed 2 of 4", as a note: it is no change-out.
func (p *parser) partChange(g *group, s *segment) bool {
	if !partly(wordsIn(g.marks), pieces(s) > 0) {
		return false
	}
	ahus, ok := p.places(g, true)
	if !ok || len(ahus) != 1 {
		return !ok
	}
	bank, ok := p.bank(g, s, ahus[0])
	if !ok {
		return true
	}
	from, to := g.marks[0].from, g.end()
	note := p.raw(from, to)
	if g.ahu != nil && g.ahu.from >= from && g.ahu.to <= to {
		note = trimLinks(strings.Trim(p.raw(from, g.ahu.from)+" "+p.raw(g.ahu.to, to), " "))
	}
	if at, ok := p.at(g, bank); ok {
		p.add(p.item(g, bank, at, entry.Defect{Note: note}))
	}
	return true
}

// partly reports whether a line says so; counted, that pieces are named, as in "half
// changed, 12 off", which is a change-out of 12.
func partly(ws []string, counted bool) bool {
	only := false
	for i, w := range ws {
		if partWords[w] && !counted && (i+1 >= len(ws) || ws[i+1] != "hour" && ws[i+1] != "an" && ws[i+1] != "past") {
			return true
		}
		only = only || w == "only" || w == "just" || w == "nur" || w == "solo"
		if only && (w == "of" || w == "von" || w == "de") && i > 0 && ws[i-1] == "#" && i+1 < len(ws) && ws[i+1] == "#" {
			return true
		}
	}
	return false
}
