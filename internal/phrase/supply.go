package phrase

import (
	"slices"
	"strconv"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// used asks for what is left when only what was taken is said: "used 6 BAG-592".
func (p *parser) used(g *group) bool {
	items := itemsOf(g.marks)
	if !g.line.has(cUsed) || len(items) != 1 || g.line.question || g.line.has(cSwap, cLeft, cDone) || typedPressure(g.marks) {
		return false
	}
	p.problem(AskNumber, sayUsed(p.sc.In, items[0]))
	return true
}

// stock records a count of an item in the site's store: "stock BAG-592 14".
func (p *parser) stock(g *group) bool {
	if g.line.question || g.line.has(cWish, cOrdered, cArrived) {
		return false
	}
	items := itemsOf(g.marks)
	if !g.line.has(cStock) && !(len(items) == 1 && g.line.hasText([]string{"left", "remaining", "quedan", "queda", "ubrig"})) && !(len(items) == 1 && g.line.haveItems()) {
		return false
	}
	n, ok := countOf(g.marks, true)
	if len(items) != 1 || !ok || g.line.unknown > 2 {
		return false
	}
	site, ok := p.itemSite(g, items[0])
	if !ok {
		p.askSiteOf(g.line)
		return true
	}
	place := plant.BankID(site)
	if at, ok := p.at(g, place); ok {
		p.add(p.item(g, place, at, entry.Stock{Item: items[0], Count: n}))
	}
	return true
}

func itemsOf(ms []*mark) []string {
	var out []string
	for _, m := range ms {
		if m.kind == mItem && !slices.Contains(out, m.code) {
			out = append(out, m.code)
		}
	}
	return out
}

// mostPieces bounds an order or a count.
const mostPieces = 10000

// countOf finds how many pieces are meant: the first whole number without a
// unit. zero says whether none is a count.
func countOf(ms []*mark, zero bool) (int, bool) {
	for _, m := range ms {
		if m.kind != mNum || m.q.unit.kind != uNone || m.q.isRange || m.q.clockish || m.q.first.decimals > 0 && m.q.first.alt == 0 || m.q.sign == negated {
			continue
		}
		v := m.q.first.value
		if m.q.first.alt > 0 {
			v = m.q.first.alt
		}
		if v > mostPieces || v == 0 && !zero {
			continue
		}
		return int(v), true
	}
	return 0, false
}

// itemSite is the site whose store an item belongs to.
func (p *parser) itemSite(g *group, code string) (string, bool) {
	if g.ahu != nil {
		if ahus, ok := p.places(g, true); ok && len(ahus) > 0 {
			return ahus[0].Site(), true
		}
	}
	if s := g.line.site; s != "" {
		return s, true
	}
	if it, ok := p.reg.Item(code); ok && it.Site != "" && p.serves(it.Site) {
		return it.Site, true
	}
	return p.onlySite(g.line)
}

// order records an order placed, goods come in, or a wish: "ordered 24 PNL-592",
// "need 20 pleats 592x592x48 for AHU-1 wk 32", "… DIRTY pls order". It says
// whether bare numbers of the group were pieces.
func (p *parser) order(g *group) bool {
	placed, wish, arrived := g.line.has(cOrdered), g.line.has(cWish), g.line.has(cArrived) || g.line.gotIn()
	if !placed && !wish && !arrived || g.line.has(cLeft, cSteps) || g.line.question && (!wish || g.line.unknown > 0) {
		return false
	}
	items := itemsOf(g.marks)
	size, sized := sizeOf(g.marks)
	plain := g.line.has(cWish) && g.line.orders
	n, counted := countOf(g.marks, false)
	if typedPressure(g.marks) && !plain && len(items) == 0 && !sized {
		return false
	}
	named := len(items) > 0 || sized
	if !named && (placed || arrived || plain) && !g.line.question {
		if from, to, strange := p.strangeCode(g.line); strange {
			p.askCode(from, to)
			return true
		}
	}
	if !named && g.hasWanted() {
		return false
	}
	if !named && (placed || arrived) && counted && g.ahu == nil && !p.hasHere() {
		code, ok := p.orderByStage(g)
		if !ok || code == "" {
			return ok
		}
		items, named = []string{code}, true
	}
	if !named && !g.hasKind(mBank) && !(plain && g.ahu != nil) || !named && !counted && !plain && !wishesFor(g) {
		return false
	}
	if g.ahu == nil && !named && !p.hasHere() {
		return false
	}
	code, place, flags, ok := p.orderItem(g, items, size, sized)
	if !ok {
		return true
	}
	if !counted {
		b, _ := p.reg.Bank(place)
		if n = b.Count(); n == 0 {
			p.problem(AskNumber, sayHowMany(p.sc.In, code))
			return true
		}
		flags = append(flags, "count-assumed")
	} else if b, ok := p.reg.Bank(place); ok && b.Count() > 0 && b.Count() != n {
		flags = append(flags, "count-differs")
	}
	o := entry.Order{Item: code, Count: n, Requested: !placed && !arrived, Received: arrived && !placed}
	if g.timed && !o.Received && g.moment.day != dayNone && (g.moment.future || g.moment.day != dayOffset) {
		t, _ := p.local(g.moment, place).ahead(p.sc.Now, p.zone(place), 0, 0)
		if t.After(p.sc.Now) && !g.moment.bad {
			o.Due = &t
		}
	}
	p.add(p.item(g, place, p.sc.Now, o, flags...))
	if o.Requested {
		p.query = &Query{Kind: QueryStock, Places: []plant.BankID{place}, Items: []string{code}}
	}
	return true
}

// hasWanted reports whether a group wants filters changed, which is no order.
func (g *group) hasWanted() bool {
	for i, m := range g.marks {
		if m.is(cSwap) && wanted(g.marks, i) {
			return true
		}
	}
	return false
}

// wishesFor reports whether a group asks for the filters of a bank without
// saying how many: "need new bags for AHU-6".
func wishesFor(g *group) bool {
	wish := slices.IndexFunc(g.marks, func(m *mark) bool { return m.is(cWish) })
	bank := slices.IndexFunc(g.marks, func(m *mark) bool { return m.kind == mBank })
	return wish >= 0 && wish < bank && g.line.unknown == 0 && !g.hasKind(mNum) && !g.line.question
}

func sizeOf(ms []*mark) ([3]int, bool) {
	for _, m := range ms {
		if m.kind == mSize {
			return m.size, true
		}
	}
	return [3]int{}, false
}

// orderItem settles what is ordered and for which place, or notes a problem.
func (p *parser) orderItem(g *group, items []string, size [3]int, sized bool) (code string, place plant.BankID, flags []string, ok bool) {
	var bank plant.BankID
	if g.ahu != nil || p.hasHere() && len(items) == 0 {
		ahus, good := p.places(g, true)
		if !good {
			return "", "", nil, false
		}
		if len(ahus) > 1 {
			p.problem(AskAHU, sayOneAHU(p.sc.In))
			return "", "", nil, false
		}
		place = ahus[0]
		bank = p.orderBank(g, place, items)
		if bank != "" {
			place = bank
		}
	}
	b, _ := p.reg.Bank(bank)
	switch {
	case len(items) > 0:
		code = items[0]
	case sized:
		code, flags = p.itemOfSize(b, size)
	default:
		code = b.Item
		if code == "" && bank == "" && place != "" && !g.hasKind(mBank) {
			p.askBank(place.AHU(), p.afterTag(g), "")
			return "", "", nil, false
		}
	}
	if code == "" {
		p.askItem(g, size, sized)
		return "", "", nil, false
	}
	if bank == "" && place != "" && len(items) == 0 {
		if bank = p.orderBank(g, place, []string{code}); bank != "" {
			place = bank
		}
	}
	if place == "" {
		site, good := p.itemSite(g, code)
		if !good {
			p.askSiteOf(g.line)
			return "", "", nil, false
		}
		place = plant.BankID(site)
	}
	return code, place, flags, true
}

// orderBank is the bank of an AHU that an order is for: named, the only one, or
// the one that takes the item; else none.
func (p *parser) orderBank(g *group, ahu plant.BankID, items []string) plant.BankID {
	var found []plant.BankID
	for _, m := range g.marks {
		if m.kind == mBank {
			for _, w := range m.banks {
				found = append(found, p.matchBank(ahu, w)...)
			}
		}
	}
	if len(found) == 0 {
		for _, id := range p.banksOf(ahu) {
			if b, _ := p.reg.Bank(id); len(items) == 0 || b.Item == items[0] {
				found = append(found, id)
			}
		}
	}
	if len(found) == 1 {
		return found[0]
	}
	return ""
}

// itemOfSize finds the item of a front size, the bank's own first.
func (p *parser) itemOfSize(b plant.Bank, size [3]int) (string, []string) {
	fits := func(it plant.Item) bool {
		return it.WidthMM == size[0] && it.HeightMM == size[1] && (size[2] == 0 || it.DepthMM == size[2])
	}
	if it, ok := p.reg.Item(b.Item); ok && fits(it) {
		return it.Code, nil
	}
	var flags []string
	if b.Item != "" {
		flags = []string{"size-differs"}
	}
	var found []string
	for _, it := range p.reg.Items() {
		if fits(it) {
			found = append(found, it.Code)
		}
	}
	if len(found) == 1 {
		return found[0], flags
	}
	return "", nil
}

func (p *parser) askItem(g *group, size [3]int, sized bool) {
	var options []option
	var names []string
	for _, it := range p.reg.Items() {
		if sized && (it.WidthMM != size[0] || it.HeightMM != size[1]) || len(options) == 3 {
			continue
		}
		if !sized {
			break
		}
		names = append(names, it.Code)
		options = append(options, option{keys: []string{it.Code}, label: it.Code, edits: []edit{{g.end(), g.end(), " " + it.Code}}})
	}
	what := ""
	if sized {
		what = strconv.Itoa(size[0]) + "x" + strconv.Itoa(size[1])
		if size[2] > 0 {
			what += "x" + strconv.Itoa(size[2])
		}
	}
	p.problem(AskItem, sayItem(p.sc.In, what, names), options...)
}

// within reads "this week", "next 14 days", "within a month" for the due list.
func within(ms []*mark) time.Duration {
	for _, m := range ms {
		switch {
		case m.kind == mSpan, m.kind == mWhen && m.when.day == daySpan && m.when.n > 0:
			return time.Duration(m.when.n) * m.when.unit
		case m.kind == mWhen && m.when.day == dayWeeks:
			return time.Duration(m.when.n+1) * 7 * 24 * time.Hour
		case m.text == "month" || m.text == "monat" || m.text == "mes":
			return 31 * 24 * time.Hour
		case m.text == "week" || m.text == "woche" || m.text == "semana":
			return 7 * 24 * time.Hour
		case m.kind == mWhen && m.when.day == dayOffset && m.when.n >= 0:
			return time.Duration(m.when.n+1) * 24 * time.Hour
		}
	}
	return 0
}
