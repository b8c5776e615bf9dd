package phrase

import (
	"math"
	"slices"
	"strings"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// statement reads what a group reports. What is a matter of the AHU as a whole
// comes first, then bank by bank.
func (p *parser) statement(g *group) {
	switch {
	case p.deferral(g), p.cancel(g), p.event(g), p.jobDone(g), p.jobStart(g), p.booking(g), p.dayAlone(g), p.used(g), p.stock(g), p.moved(g):
		return
	}
	first := len(p.items)
	ordered := p.order(g)
	orders := slices.Clone(p.items[first:])
	p.items = p.items[:first]
	if !p.fanOff(g) && !p.skip(g) {
		segs := segments(g)
		own := timesApart(segs)
		for i := range segs {
			of := g
			if own {
				of = g.timedAs(&segs[i])
			}
			p.segment(of, &segs[i], ordered)
		}
		p.defect(g)
	}
	p.items = append(p.items, orders...) // what was seen comes before what is wished
}

// timesApart reports whether more than one segment has a time of its own: "pre 85
// from yesterday, bag 150 from today".
func timesApart(segs []segment) bool {
	n := 0
	for i := range segs {
		if _, ok := momentOf(segs[i].marks); ok {
			n++
		}
	}
	return n > 1
}

// timedAs is a group as it is when only what segment s says of the time counts. The
// day of the group holds for a time of day alone.
func (g *group) timedAs(s *segment) *group {
	m, ok := momentOf(s.marks)
	if !ok {
		return g
	}
	of := *g
	if m.day == dayNone && g.moment.day != dayNone {
		day := g.moment
		day.clock, day.hour, day.min, day.vague, day.spans = m.clock, m.hour, m.min, m.vague, append(day.spans[:len(day.spans):len(day.spans)], m.spans...)
		m = day
	}
	of.moment, of.timed = m, true
	return &of
}

// segment reads what is said about one bank.
func (p *parser) segment(g *group, s *segment, ordered bool) {
	nums := s.numbers()
	if ordered { // bare numbers of an order are pieces
		nums = slices.DeleteFunc(nums, func(m *mark) bool { return m.q.resolved.kind == uNone || m.q.carried })
	}
	switch {
	case p.skipBank(g, s, nums):
	case p.swap(g, s):
	case len(nums) == 0 && len(s.banks) > 0 && s.has(cSame) && !g.line.question:
		p.unread(g, s)
	case s.has(cLeft) && len(nums) == 0:
	case s.has(cZero):
		p.zeroCheck(g, s, nums)
	case s.has(cPegged):
		p.pegged(g, s, nums)
	case len(nums) > 0 && stuckAt(s.marks): // what a stuck gauge shows is no reading; the fault is noted
	case len(nums) > 0:
		p.readings(g, s, nums)
	default:
		p.notice(g, s)
	}
}

// likely reports whether bare numbers of a segment are meant as readings, and
// not part of talk that happens to name an AHU.
func (p *parser) likely(g *group, s *segment, nums []*mark) bool {
	if g.line.polar {
		return false
	}
	if typedPressure(nums) || slices.ContainsFunc(nums, func(m *mark) bool { return m.q.carried }) {
		return g.ahu != nil || len(s.banks) > 0 || g.line.unknown == 0
	}
	if len(s.banks) > 0 && (g.ahu != nil || p.hasHere()) {
		return g.line.unknown <= 3
	}
	return g.line.unknown == 0 && len(s.banks) > 0 || g.line.unknown == 0 && (g.ahu != nil || p.sc.Here != "" && !g.line.question)
}

// readings reads the numbers of a segment as pressures.
func (p *parser) readings(g *group, s *segment, nums []*mark) {
	if p.strangeBank(g, s, nums) || !p.likely(g, s, nums) || p.piecesBeside(g, s) {
		return
	}
	ahus, ok := p.places(g, true)
	if !ok || p.crowded(ahus[0], nums) {
		return
	}
	nums, ok = p.inTwoUnits(ahus[0], s, current(s, nums))
	if !ok {
		return
	}
	if len(ahus) > 1 {
		p.problem(AskAHU, sayOneAHU(p.sc.In))
		return
	}
	ahu := ahus[0]
	if p.corrects(g) || len(nums) > 1 && slices.ContainsFunc(nums, func(m *mark) bool { return negatedBefore(s.marks, m) }) {
		p.correction(g, s, ahu, nums)
		return
	}
	switch {
	case len(nums) == 1:
		if bank, ok := p.bank(g, s, ahu); ok {
			p.reading(g, s, bank, nums[0])
		}
	case len(s.banks) == len(nums):
		banks, ok := p.banks(g, s, ahu)
		for i := range min(len(banks), len(nums)) {
			if ok && len(banks) == len(nums) {
				p.reading(g, s, banks[i], nums[i])
			}
		}
	case len(s.banks) == 0 && len(p.banksOf(ahu)) == len(nums):
		p.askOrder(g, ahu, nums)
	case len(s.banks) == 0 && len(p.banksOf(ahu)) > 1:
		p.askBank(ahu, p.afterTag(g), "")
	default:
		p.problem(AskNumber, sayTwoValues(p.sc.In, p.reg.Name(ahu), p.raw(nums[0].from, nums[len(nums)-1].q.unitTo)))
	}
}

// inTwoUnits takes one value given in two units, "145 Pa / 0.58 in wc", for one. When
// they do not agree, which is right is asked.
func (p *parser) inTwoUnits(ahu plant.BankID, s *segment, nums []*mark) ([]*mark, bool) {
	if len(nums) != 2 || len(s.banks) > 1 {
		return nums, true
	}
	a, b := nums[0], nums[1]
	plain := func(m *mark) bool {
		return m.q.unit.kind == uPressure && !m.q.isRange && !m.q.over && !m.q.under && m.q.sign == unsigned
	}
	if !plain(a) || !plain(b) || a.q.unit.pressure == b.q.unit.pressure {
		return nums, true
	}
	i, j := slices.Index(s.marks, a), slices.Index(s.marks, b)
	if j < i || slices.ContainsFunc(s.marks[i+1:j], func(m *mark) bool {
		return !m.sign("/", "(", "=", "~") && m.text != "or" && m.text != "oder" && m.text != "o"
	}) {
		return nums, true
	}
	x, y := a.q.unit.pascals(a.q.first.value), b.q.unit.pascals(b.q.first.value)
	fine, coarse := a.q.unit.pascals(math.Pow10(-a.q.first.decimals)), b.q.unit.pascals(math.Pow10(-b.q.first.decimals))
	switch {
	case math.Abs(x-y) <= max(fine, coarse, 0.01*max(x, y)) && fine <= coarse:
		return nums[:1], true
	case math.Abs(x-y) <= max(fine, coarse, 0.01*max(x, y)):
		return nums[1:], true
	case len(s.banks) == 0 && len(p.banksOf(ahu)) == 2: // one for each bank
		return nums, true
	}
	one, other := p.raw(a.from, a.q.unitTo), p.raw(b.from, b.q.unitTo)
	gone := p.text[b.q.unitTo:]
	shut := b.q.unitTo + btoi(strings.HasPrefix(gone, ")") && s.marks[j-1].punct("("))
	p.problem(AskNumber, sayTwoUnits(p.sc.In, p.reg.Name(ahu), one, other),
		option{keys: []string{one, a.q.unit.name}, label: one, edits: []edit{{a.q.unitTo, shut, ""}}},
		option{keys: []string{other, b.q.unit.name}, label: other, edits: []edit{{a.from, b.from, ""}}})
	return nil, false
}

// mostNumbers is how many numbers one bank may be given before they are taken
// for something else.
const mostNumbers = 8

func (p *parser) crowded(place plant.BankID, nums []*mark) bool {
	if len(nums) <= mostNumbers {
		return false
	}
	p.problem(AskNumber, sayTwoValues(p.sc.In, p.reg.Name(place), p.raw(nums[0].from, nums[2].q.unitTo)))
	return true
}

// current drops values said to be of the past ("was 107") where another is given.
func current(s *segment, nums []*mark) []*mark {
	nums = slices.DeleteFunc(slices.Clone(nums), func(m *mark) bool { return len(nums) > 1 && roleOf(s.marks, m) == roleLimit })
	if len(nums) < 2 {
		return nums
	}
	var out []*mark
	for _, m := range nums {
		if roleOf(s.marks, m) != roleBefore {
			out = append(out, m)
		}
	}
	if len(out) == 0 {
		return nums
	}
	return out
}

// roleOf finds the word before a number that says whether it is of before or
// after a swap, looking back to the number before it.
func roleOf(ms []*mark, n *mark) role {
	i := slices.IndexFunc(ms, func(m *mark) bool { return m.from == n.from })
	for j := i - 1; j >= 0; j-- {
		switch m := ms[j]; {
		case m.kind == mNum && !m.q.piece && !m.q.pieceStage:
			return roleReading
		case m.is(cLimit):
			return roleLimit
		case m.is(cClean):
			return roleClean
		case m.is(cBefore):
			return roleBefore
		}
	}
	return roleReading
}

// reading records one number at a bank.
func (p *parser) reading(g *group, s *segment, bank plant.BankID, m *mark) {
	switch {
	case m.q.over:
		p.overRange(g, s, bank, m)
		return
	case m.q.isRange:
		p.rangeReading(g, s, bank, m)
		return
	case difference(g.marks, m):
		p.problem(AskNumber, sayDifference(p.sc.In, p.reg.Name(bank), p.raw(m.from, m.q.unitTo)))
		return
	case m.q.under:
		p.problem(AskNumber, sayUnder(p.sc.In, p.reg.Name(bank), p.raw(m.from, m.q.unitTo)))
		return
	}
	v, ok := p.pressure(bank, m, m.q.first, roleReading)
	if !ok {
		return
	}
	at, ok := p.at(g, bank)
	if !ok {
		return
	}
	r := p.body(g, s, bank, v)
	p.add(p.item(g, bank, at, r, p.readingFlags(g, bank, v)...))
}

// Words that make a number the change of a reading: "up 30 Pa", "30 Pa more than".
var (
	moreBefore = set("up down rose risen gained increased dropped by")
	moreAfter  = set("up down more higher lower mehr hoher weniger mas menos")
	thanWords  = set("on than since from als que vs compared over")
)

// difference reports whether a number says by how much a reading changed, not what
// the gauge shows.
func difference(ms []*mark, n *mark) bool {
	i := slices.IndexFunc(ms, func(m *mark) bool { return m.from == n.from })
	if i < 0 || n.q.isRange {
		return false
	}
	if i > 0 && ms[i-1].kind == mCue && moreBefore[ms[i-1].text] || i > 0 && ms[i-1].kind == mWord && moreBefore[ms[i-1].text] {
		return true
	}
	return i+2 < len(ms) && moreAfter[ms[i+1].text] && thanWords[firstWord(ms[i+2].text)]
}

func firstWord(s string) string {
	w, _, _ := strings.Cut(s, " ")
	return w
}

func (p *parser) body(g *group, s *segment, bank plant.BankID, v value) entry.Reading {
	a := p.airFor(g, s)
	if !a.known() {
		p.note("airflow", sayNoAirflow(p.sc.In))
	}
	return entry.Reading{
		Pa: v.pa, StepPa: v.step, Unit: v.unit, Assumed: v.assumed,
		FlowM3s: p.flowFor(a, bank), FanHz: a.hz, FanPct: a.pct,
		Wet: g.line.has(cWet),
	}
}

func (p *parser) readingFlags(g *group, bank plant.BankID, v value) []string {
	flags := slices.Clone(v.flags)
	if g.here {
		flags = append(flags, "here")
	}
	if b, _ := p.reg.Bank(bank); b.Gauge.Absent {
		flags = append(flags, "no-gauge")
	}
	return flags
}

// askOrder asks for the banks of values given without words for them, in the
// order of the air.
func (p *parser) askOrder(g *group, ahu plant.BankID, nums []*mark) {
	banks := p.banksOf(ahu)
	before := len(p.problems)
	bare := len(p.bare)
	options := []option{p.ordering(banks, nums)}
	if len(nums) == 2 {
		turned := p.ordering([]plant.BankID{banks[1], banks[0]}, nums)
		turned.keys = append(turned.keys, otherWayRound...)
		options = append(options, turned)
	}
	p.problems, p.bare = p.problems[:before], p.bare[:bare] // tried out only
	p.problem(AskOrder, sayOrder(p.sc.In, p.reg.Name(ahu), options[0].label, len(nums)), options...)
}

// otherWayRound are words for the second of two orders.
var otherWayRound = []string{"the other way round", "the other way around", "other way", "reverse", "reversed", "vice versa",
	"andersrum", "andersherum", "anders rum", "anders herum", "umgekehrt", "al revés", "al reves", "a la inversa", "inverso"}

// ordering is one way to give values to banks; units that can be assumed are
// written out.
func (p *parser) ordering(banks []plant.BankID, nums []*mark) option {
	o := option{}
	var parts []string
	for i, m := range nums {
		name := p.bankName(banks[i])
		text := p.text[m.from:m.q.unitTo]
		if m.q.unit.kind == uNone && m.q.sign == unsigned && !m.q.over {
			u := m.q.resolved
			if u.kind == uNone {
				if c, ok := p.expect(banks[i]).assume(m.q.first.value, roleReading); ok {
					u = c.unit
				}
			}
			if u.kind != uNone {
				text += " " + unitTyped(u)
			}
		}
		parts = append(parts, name+" "+text)
		o.edits = append(o.edits, edit{m.from, m.q.unitTo, " " + name + " " + text})
	}
	o.label = strings.Join(parts, ", ")
	first := p.bankName(banks[0])
	o.keys = []string{first + " first", string(p.stage(banks[0])) + " first", first + " zuerst", first + " primero", o.label}
	return o
}

// overRange records a value above a number: the needle stands on the stop.
func (p *parser) overRange(g *group, s *segment, bank plant.BankID, m *mark) {
	e := p.expect(bank)
	u := m.q.resolved
	flags := []string{"urgent"}
	if u.kind == uNone {
		g := e.bank.Gauge.Unit
		if g == "" || g.ToPa(m.q.first.value) < 50 || g.ToPa(m.q.first.value) > HighestPa {
			p.askOver(bank, e, m)
			return
		}
		u = pressureUnit(g)
		flags = append(flags, "assumed-unit")
	}
	pa := u.pascals(m.q.first.value)
	if math.IsNaN(pa) || pa <= 0 || pa > HighestPa {
		p.askImpossible(bank, e, m, value{pa: pa})
		return
	}
	p.addOver(g, s, bank, pa, flags)
}

func (p *parser) addOver(g *group, s *segment, bank plant.BankID, top float64, flags []string) {
	at, ok := p.at(g, bank)
	if !ok {
		return
	}
	a := p.airFor(g, s)
	p.add(p.item(g, bank, at, entry.OverRange{TopPa: top, FlowM3s: p.flowFor(a, bank), FanHz: a.hz, FanPct: a.pct}, flags...))
}

// askOver asks for the unit of a dial's top.
func (p *parser) askOver(bank plant.BankID, e expect, m *mark) {
	var options []option
	var labels []string
	for _, u := range []units.PressureUnit{units.InH2O, units.Pa, units.Mbar, units.KPa, units.MmH2O} {
		pa := u.ToPa(m.q.first.value)
		if pa < max(50, e.clean) || pa > 2500 || len(options) == 3 {
			continue
		}
		c := candidate{unit: pressureUnit(u), value: m.q.first.value, pa: pa}
		labels = append(labels, ">"+p.both(c))
		keys := []string{unitTyped(c.unit), c.unit.name}
		if u == units.InH2O {
			keys = append(keys, "in", "inch", "iwc", "wg", "wc")
		}
		options = append(options, option{keys: keys, label: ">" + p.both(c), edits: []edit{{m.from, m.q.unitTo, p.retyped(m, c)}}})
	}
	p.problem(AskUnit, sayOver(p.sc.In, p.reg.Name(bank), p.raw(m.from, m.q.unitTo), labels), options...)
}

// pegged records a needle on the stop, with the top of the dial when it is said
// or known.
func (p *parser) pegged(g *group, s *segment, nums []*mark) {
	ahus, ok := p.places(g, g.line.unknown == 0)
	if !ok {
		return
	}
	for _, ahu := range ahus {
		bank, ok := p.bank(g, s, ahu)
		if !ok {
			continue
		}
		if len(nums) > 0 {
			p.overRange(g, s, bank, nums[0])
			continue
		}
		flags := []string{"urgent"}
		top := p.expect(bank).bank.Gauge.TopPa
		if top <= 0 {
			flags = append(flags, "top-unknown")
		}
		p.addOver(g, s, bank, top, flags)
	}
}

// rangeReading records a bouncing needle. Two values far apart without a word
// about bouncing may as well be two banks.
func (p *parser) rangeReading(g *group, s *segment, bank plant.BankID, m *mark) {
	lo, ok := p.pressure(bank, m, m.q.first, roleReading)
	if !ok {
		return
	}
	hi, ok := p.pressure(bank, m, m.q.second, roleReading)
	if !ok {
		return
	}
	if m.q.arrow {
		p.addReading(g, s, bank, hi)
		return
	}
	low, high := min(lo.pa, hi.pa), max(lo.pa, hi.pa)
	if !g.has(cBounce) && !m.q.confirmed && high > 1.6*low {
		p.problem(AskRange, sayRange(p.sc.In, p.reg.Name(bank), p.raw(m.from, m.q.unitTo)),
			option{keys: []string{"bouncing", "range", "yes"}, label: p.sc.In.Text("bouncing between them"), edits: []edit{{m.q.unitTo, m.q.unitTo, " bouncing"}}})
		return
	}
	at, ok := p.at(g, bank)
	if !ok {
		return
	}
	p.add(p.item(g, bank, at, entry.Range{LowPa: low, HighPa: high}, append(lo.flags, "unstable")...))
}

func (p *parser) addReading(g *group, s *segment, bank plant.BankID, v value) {
	at, ok := p.at(g, bank)
	if !ok {
		return
	}
	p.add(p.item(g, bank, at, p.body(g, s, bank, v), v.flags...))
}

// zeroCheck records that the gauge was looked at with both ports open; a small
// number right after the word is its offset, others are readings.
func (p *parser) zeroCheck(g *group, s *segment, nums []*mark) {
	ahus, ok := p.places(g, g.line.unknown == 0)
	if !ok {
		return
	}
	for _, ahu := range ahus {
		for _, bank := range p.zeroBanks(g, s, ahu, nums) {
			at, ok := p.at(g, bank)
			if !ok {
				continue
			}
			offset, rest := p.offset(bank, s, nums)
			p.add(p.item(g, bank, at, entry.ZeroCheck{OffsetPa: offset}))
			if len(rest) > 0 {
				p.readings(g, &segment{banks: s.banks, marks: rest}, rest)
			}
		}
	}
}

// zeroBanks lists the banks whose gauges were looked at: without numbers several
// may be meant at once.
func (p *parser) zeroBanks(g *group, s *segment, ahu plant.BankID, nums []*mark) []plant.BankID {
	if len(nums) > 0 {
		bank, ok := p.bank(g, s, ahu)
		if !ok {
			return nil
		}
		return []plant.BankID{bank}
	}
	if len(s.banks) == 0 && s.has(cAll) {
		return p.banksOf(ahu)
	}
	banks, _ := p.banks(g, s, ahu)
	return banks
}

// mostOffset is the largest zero offset that is believed, Pa.
const mostOffset = 30

func (p *parser) offset(bank plant.BankID, s *segment, nums []*mark) (float64, []*mark) {
	zero := slices.IndexFunc(s.marks, func(m *mark) bool { return m.is(cZero) })
	for i, m := range nums {
		if m.from < s.marks[zero].from {
			continue
		}
		u := m.q.resolved
		if u.kind == uNone {
			u = pressureUnit(p.expect(bank).unitsAt()[0])
		}
		pa := u.pascals(m.q.first.value)
		if m.q.sign != unsigned {
			pa = -pa
		}
		if math.Abs(pa) <= mostOffset {
			return pa, slices.Delete(slices.Clone(nums), i, i+1)
		}
		break
	}
	return 0, nums
}

// corrects reports whether a group puts an earlier entry right.
func (p *parser) corrects(g *group) bool { return g.line.has(cAmend) }

// correction reads "should be 0.54 not 0.45 iwc".
func (p *parser) correction(g *group, s *segment, ahu plant.BankID, nums []*mark) {
	bank, ok := p.bank(g, s, ahu)
	if !ok {
		return
	}
	var right, wrong []*mark
	for _, m := range nums {
		if negatedBefore(s.marks, m) {
			wrong = append(wrong, m)
			continue
		}
		right = append(right, m)
	}
	if len(right) != 1 {
		p.problem(AskNumber, sayWhichRight(p.sc.In, p.reg.Name(bank)))
		return
	}
	n := right[0].q.first
	if right[0].q.isRange { // "140 to 141"
		n = right[0].q.second
	}
	v, ok := p.pressure(bank, right[0], n, roleReading)
	if !ok {
		return
	}
	at, ok := p.at(g, bank)
	if !ok {
		return
	}
	it := p.item(g, bank, at, p.body(g, s, bank, v), p.readingFlags(g, bank, v)...)
	it.CorrectsLast = true
	if right[0].q.isRange && len(wrong) == 0 {
		wrong = right
	}
	if len(wrong) > 0 {
		u := right[0].q.resolved
		if wrong[0].q.resolved.kind != uNone {
			u = wrong[0].q.resolved
		}
		if u.kind == uNone {
			u = pressureUnit(units.PressureUnit(v.unit))
		}
		if was := u.pascals(wrong[0].q.first.value); !math.IsNaN(was) && was >= LowestPa && was <= HighestPa {
			it.Was = &was
		}
	}
	p.add(it)
}

// negatedBefore reports whether "not", "nicht" or "no" stands right before a number.
func negatedBefore(ms []*mark, n *mark) bool {
	i := slices.IndexFunc(ms, func(m *mark) bool { return m.from == n.from })
	for j := i - 1; j >= 0 && ms[j].kind != mNum; j-- {
		if ms[j].is(cNot) || ms[j].text == "no" && j == i-1 { // "54 no 45", but not "45, no, 54"
			return true
		}
		if ms[j].is(cAmend) {
			return false
		}
	}
	return false
}

func (p *parser) askFuture(m moment) {
	var drop, yesterday []edit
	for i, s := range m.spans {
		drop = append(drop, edit{s.from, s.to, ""})
		if i == 0 {
			yesterday = append(yesterday, edit{s.from, s.from, "yesterday "})
		}
	}
	options := []option{{keys: []string{"now"}, label: p.sc.In.Text("now"), edits: drop}}
	if m.day == dayNone {
		options = append(options, option{keys: []string{"yesterday"}, label: p.sc.In.Text("yesterday at that time"), edits: yesterday})
	}
	p.problem(AskFuture, sayFuture(p.sc.In), options...)
}
