package phrase

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Physical bounds of what is accepted as a filter's differential pressure, Pa.
const (
	LowestPa  = -500
	HighestPa = 5000
)

// leastPa is the smallest pressure that is not taken for a slip of the unit.
const leastPa = 3

// role is what a pressure is said to be.
type role uint8

const (
	roleReading role = iota
	roleClean
	roleBefore
	roleLimit // a limit mentioned beside a reading: not a reading
)

// expect is what is known of a bank's resistance, Pa; 0 = not known.
type expect struct {
	bank               plant.Bank
	clean, limit, last float64
	habit              units.Habit
}

func (p *parser) expect(id plant.BankID) expect {
	b, _ := p.reg.Bank(id)
	e := expect{bank: b, clean: b.CleanPa, limit: b.LimitPa, habit: units.SI}
	if e.limit == 0 {
		if it, ok := p.reg.Item(b.Item); ok {
			e.limit = it.FinalPa
		}
	}
	if s, ok := p.reg.Site(id.Site()); ok && s.Units != "" {
		e.habit = s.Units
	}
	if p.sc.Last != nil {
		if pa, _, ok := p.sc.Last(id); ok && pa > leastPa && pa <= HighestPa {
			e.last = pa
		}
	}
	return e
}

// credible gives the band within which a value is credible in a role.
func (e expect) credible(r role) (lo, hi float64) {
	lo, hi = 15, 500
	if e.clean > 0 {
		lo = e.clean / 2
	}
	if e.limit > 0 {
		hi = 1.6 * e.limit
	}
	switch {
	case r == roleClean && e.clean > 0:
		hi = 2 * e.clean
	case r == roleClean:
		hi = min(hi, 300)
	case e.last > 0:
		lo, hi = max(lo, 0.55*e.last), min(hi, 2.5*e.last+25)
	}
	if top := e.bank.Gauge.TopPa; top > 0 {
		hi = min(hi, top)
	}
	return min(lo, hi/2), hi
}

// highAbove is the pressure at and above which a value is asked about: twice the
// limit, or the top of the gauge.
func (e expect) highAbove() (pa float64, top bool) {
	pa = 900
	if e.limit > 0 {
		pa = 2 * e.limit
	}
	if t := e.bank.Gauge.TopPa; t > 0 && t*1.001 < pa {
		return t * 1.001, true
	}
	return pa, false
}

// candidate is one way to read a number without a unit.
type candidate struct {
	unit    unit
	value   float64
	pa      float64
	dropped bool // a point was dropped: 45 for 0.45
}

func pressureUnit(u units.PressureUnit) unit {
	return unit{kind: uPressure, name: string(u), pressure: u, factor: 1}
}

// unitsAt lists the units a gauge of the site may show, the bank's own first.
func (e expect) unitsAt() []units.PressureUnit {
	list := []units.PressureUnit{units.Pa, units.KPa, units.Mbar, units.MmH2O, units.InH2O}
	if e.habit == units.IP {
		list = []units.PressureUnit{units.InH2O, units.Pa}
	}
	if g := e.bank.Gauge.Unit; g != "" {
		list = append([]units.PressureUnit{g}, slices.DeleteFunc(list, func(u units.PressureUnit) bool {
			return u == g || u != units.Pa && u != units.InH2O
		})...)
	}
	return list
}

// moreUnits lists the credible ways to read v in the units that no gauge of the
// bank is known to show, but people type all the same.
func (e expect) moreUnits(v float64, r role) []candidate {
	lo, hi := e.credible(r)
	var out []candidate
	for _, u := range []units.PressureUnit{units.KPa, units.Mbar, units.MmH2O} {
		if pa := u.ToPa(v); pa >= lo && pa <= hi {
			out = append(out, candidate{unit: pressureUnit(u), value: v, pa: pa})
		}
	}
	return out
}

// readings lists the credible ways to read v in a role.
func (e expect) readings(v float64, r role) []candidate {
	lo, hi := e.credible(r)
	var out []candidate
	for _, u := range e.unitsAt() {
		if pa := u.ToPa(v); pa >= lo && pa <= hi {
			out = append(out, candidate{unit: pressureUnit(u), value: v, pa: pa})
		}
	}
	if c, ok := e.droppedPoint(v, r, lo, hi); ok {
		out = append(out, c)
	}
	return out
}

// droppedPoint reads 45 as 0.45 in wc where inches are read, or where that
// lands near the last reading.
func (e expect) droppedPoint(v float64, r role, lo, hi float64) (candidate, bool) {
	if v != math.Trunc(v) || v < 10 || v > 999 {
		return candidate{}, false
	}
	pa := units.InH2O.ToPa(v / 100)
	near := e.last > 0 && r == roleReading && math.Abs(pa/e.last-1) < 0.25
	inches := e.bank.Gauge.Unit == units.InH2O || e.bank.Gauge.Unit == "" && e.habit == units.IP
	if pa < lo || pa > hi || !near && !inches {
		return candidate{}, false
	}
	return candidate{unit: pressureUnit(units.InH2O), value: v / 100, pa: pa, dropped: true}, true
}

// assume chooses the unit of a bare number, if exactly one is credible for that
// gauge and bank. A unit set for the gauge in the register outweighs the others.
func (e expect) assume(v float64, r role) (candidate, bool) {
	c := e.readings(v, r)
	if slices.ContainsFunc(c, func(c candidate) bool { return c.dropped }) {
		return candidate{}, false
	}
	g := e.bank.Gauge.Unit
	if len(c) > 0 && g != "" {
		return c[0], c[0].unit.pressure == g
	}
	if len(c) != 1 {
		return candidate{}, false
	}
	return c[0], true
}

// choices lists what may be offered for a bare number: the credible readings,
// then the possible ones.
func (e expect) choices(v float64, r role) []candidate {
	out := e.readings(v, r)
	add := func(u units.PressureUnit, lo, hi float64) {
		pa := u.ToPa(v)
		if pa < lo || pa > hi || slices.ContainsFunc(out, func(c candidate) bool { return c.unit.pressure == u && !c.dropped }) {
			return
		}
		out = append(out, candidate{unit: pressureUnit(u), value: v, pa: pa})
	}
	high, _ := e.highAbove()
	high *= 2 // a choice above the limit is asked about once more
	if e.bank.Gauge.Unit != "" {
		add(e.bank.Gauge.Unit, leastPa, high)
	}
	for _, c := range e.moreUnits(v, r) {
		add(c.unit.pressure, c.pa, c.pa)
	}
	add(units.Pa, 10, high)
	add(units.InH2O, 10, high)
	slices.SortStableFunc(out, func(a, b candidate) int { return cmp.Compare(btoi(a.dropped), btoi(b.dropped)) })
	if len(out) > 3 {
		out = slices.Delete(out, 2, len(out)-1)
	}
	return out
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func (c candidate) typed() string {
	return strconv.FormatFloat(c.value, 'f', -1, 64) + " " + unitTyped(c.unit)
}

// unitTyped is a unit as people write it.
func unitTyped(u unit) string {
	if u.pressure == units.InH2O {
		return "in wc"
	}
	return u.name
}

// bareNumber is a number whose unit was assumed, for the check that a message
// does not mix assumed units.
type bareNumber struct {
	m    *mark
	c    candidate
	bank plant.BankID
}

// value is a pressure understood.
type value struct {
	pa, step float64
	unit     string
	assumed  bool
	flags    []string
}

// carryUnits gives each bare number the unit typed before it in the message, or
// else the first typed after it.
func (p *parser) carryUnits() {
	var last, first unit
	var waiting []*quantity
	for i := range p.lines {
		for j := range p.lines[i].marks {
			m := p.lines[i].marks[j]
			if u, ok := unitNamed(m.text); m.kind == mWord && ok && u.kind == uPressure && !u.weak && u.pressure != units.Psi {
				m.kind, m.cues = mCue, fillOnly // "bag 205, all in Pa"
				p.lines[i].unknown--
				p.lines[i].sum()
				last = u
				if first.kind == uNone {
					first = u
				}
			}
			if m.kind != mNum {
				continue
			}
			q := &m.q
			switch {
			case q.unit.kind == uPressure:
				q.resolved, last = q.unit, q.unit
				if first.kind == uNone {
					first = q.unit
				}
			case q.unit.kind == uNone && last.kind != uNone:
				q.resolved, q.carried = last, true
			case q.unit.kind == uNone:
				waiting = append(waiting, q)
			}
		}
	}
	for _, q := range waiting {
		if first.kind != uNone {
			q.resolved, q.carried = first, true
		}
	}
}

// pressure understands a number as a pressure of bank, or notes a problem.
func (p *parser) pressure(bank plant.BankID, m *mark, n number, r role) (value, bool) {
	e := p.expect(bank)
	q := m.q
	u := q.resolved
	v := value{unit: u.name}
	if q.garbled {
		p.problem(AskNumber, sayGarbled(p.sc.In, p.reg.Name(bank), p.raw(m.from, m.q.unitTo)))
		return v, false
	}
	switch {
	case q.unit.kind == uOther:
		return v, false
	case u.kind == uNone:
		c, ok := e.assume(n.value, r)
		switch asked := q.sign == dashed || n.value == 0 && q.sign == unsigned; {
		case asked && !ok: // asked about anyway: the likeliest unit will do
			first := e.unitsAt()[0]
			c, ok = candidate{unit: pressureUnit(first), value: n.value, pa: first.ToPa(n.value)}, true
			if q.sign == dashed {
				p.askSign(bank, m, value{}) // and about the unit afterwards
				return v, false
			}
		case ok && !asked:
			p.bare = append(p.bare, bareNumber{m, c, bank})
		}
		if !ok {
			p.askUnit(bank, e, m, n, r)
			return v, false
		}
		u, v.unit, v.assumed = c.unit, c.unit.name, true
		v.flags = append(v.flags, "assumed-unit")
	case q.carried && p.misfit(e, u, n, r):
		p.askMixed(bank, e, m, n, r)
		return v, false
	}
	typed := n.value
	if n.alt > 0 && u.pressure == units.Pa && n.value < 10 {
		typed, n.decimals = n.alt, 0
	}
	v.pa = u.pascals(typed)
	if q.sign == negated && v.pa != 0 {
		v.pa = -v.pa
	}
	v.step = max(u.pascals(math.Pow10(-n.decimals)), e.bank.Gauge.StepPa)
	return p.checkPressure(e, bank, m, v, u)
}

// misfit reports whether a carried unit makes nonsense of a number that another
// unit makes good sense of.
func (p *parser) misfit(e expect, u unit, n number, r role) bool {
	pa := u.pascals(n.value)
	if high, _ := e.highAbove(); n.value == 0 || pa >= leastPa && pa < high {
		return false
	}
	return len(e.choices(n.value, r)) > 0
}

// checkPressure asks about values that are not to be saved without a word.
func (p *parser) checkPressure(e expect, bank plant.BankID, m *mark, v value, u unit) (value, bool) {
	if math.IsNaN(v.pa) || v.pa < LowestPa || v.pa > HighestPa {
		p.askImpossible(bank, e, m, v)
		return v, false
	}
	if m.q.sign == dashed {
		p.askSign(bank, m, v)
		return v, false
	}
	high, top := e.highAbove()
	code, flag := "", ""
	switch {
	case v.pa == 0:
		code, flag = AskZero, "zero"
	case v.pa < 0:
		code, flag = AskNegative, "negative"
	case v.pa < leastPa:
		code, flag = AskUnit, "low"
	case v.pa >= high && top:
		code, flag = AskHigh, "over-top"
	case v.pa >= high:
		code, flag = AskHigh, "high"
	default:
		return v, true
	}
	if m.q.confirmed {
		v.flags = append(v.flags, flag)
		return v, true
	}
	switch code {
	case AskZero:
		p.askZero(bank, m)
	case AskNegative:
		p.askNegative(bank, m, v)
	case AskHigh:
		p.askHigh(bank, e, m, v, top)
	case AskUnit:
		p.askSlip(bank, e, m, v, u)
	}
	return v, false
}

// confirmEdit makes a number confirmed, and its assumed unit typed.
func confirmEdit(m *mark, u string) edit {
	if m.q.unit.kind == uNone && u != "" {
		return edit{m.q.unitTo, m.q.unitTo, " " + u + " confirmed"}
	}
	return edit{m.q.unitTo, m.q.unitTo, " confirmed"}
}

func (p *parser) habit(place plant.BankID) units.Habit {
	s, _ := p.reg.Site(place.Site())
	return s.Units
}

func (p *parser) askUnit(bank plant.BankID, e expect, m *mark, n number, r role) {
	list := e.choices(n.value, r)
	var options []option
	var labels []string
	for _, c := range list {
		label := p.both(c)
		labels = append(labels, label)
		key := unitTyped(c.unit)
		if c.dropped {
			key = "point"
		}
		keys := []string{key, c.unit.name, unitTyped(c.unit), c.typed(), label}
		if c.unit.pressure == units.InH2O {
			keys = append(keys, "in", "inch", "inches", "iwc", "wg", "wc", "inwg")
		}
		options = append(options, option{keys: keys, label: label, edits: []edit{{m.from, m.q.unitTo, p.retyped(m, c)}}})
	}
	if len(options) == 0 {
		p.problem(AskNumber, sayNoUnitFits(p.sc.In, p.reg.Name(bank), p.typedNumber(m.from, m.q.unitTo)))
		return
	}
	p.problem(AskUnit, sayUnit(p.sc.In, p.reg.Name(bank), p.typedNumber(m.from, m.q.numTo), labels, e.last, p.habit(bank)), options...)
}

// retyped writes a bare number, or range, with the unit of a candidate.
func (p *parser) retyped(m *mark, c candidate) string {
	q := m.q
	scale := 1.0
	if c.dropped {
		scale = 100
	}
	s := strconv.FormatFloat(q.first.value/scale, 'f', -1, 64)
	if q.isRange {
		s += "-" + strconv.FormatFloat(q.second.value/scale, 'f', -1, 64)
	}
	switch {
	case q.sign == negated:
		s = "minus " + s
	case q.over:
		s = ">" + s
	}
	return s + " " + unitTyped(c.unit)
}

// askMixed asks about numbers that make sense only in different units.
func (p *parser) askMixed(bank plant.BankID, e expect, m *mark, n number, r role) {
	list := e.choices(n.value, r)
	c := list[0]
	p.problem(AskMixedUnits, sayMixed(p.sc.In, p.reg.Name(bank)+" "+p.both(c)),
		option{keys: []string{"ok", "yes"}, label: p.sc.In.Text("ok, %s", p.sc.In.Figures(c.typed())), edits: []edit{{m.from, m.q.unitTo, p.retyped(m, c)}}})
}

// mixedUnits asks when numbers without units were read in different ones.
func (p *parser) mixedUnits() {
	mixed := false
	for _, b := range p.bare {
		mixed = mixed || b.c.unit.pressure != p.bare[0].c.unit.pressure
	}
	if !mixed {
		return
	}
	var edits []edit
	var parts []string
	for _, b := range p.bare {
		parts = append(parts, p.reg.Name(b.bank)+" "+p.both(b.c))
		edits = append(edits, edit{b.m.from, b.m.q.unitTo, p.retyped(b.m, b.c)})
	}
	p.problem(AskMixedUnits, sayMixed(p.sc.In, p.sc.In.And(parts)), option{keys: []string{"ok", "yes"}, label: p.sc.In.Text("ok, as read"), edits: edits})
}

// both is a candidate as it would be typed, with its Pa where that is another unit.
func (p *parser) both(c candidate) string {
	if c.unit.pressure == units.Pa {
		return p.sc.In.Figures(c.typed())
	}
	return p.sc.In.Figures(c.typed() + " (" + units.ShortPressure(c.pa, units.SI) + ")")
}

func (p *parser) askSign(bank plant.BankID, m *mark, v value) {
	pa, u := p.raw(m.q.signFrom, m.q.numTo), ""
	if v.unit != "" {
		pa = p.sc.In.Pressure(math.Abs(v.pa), p.habit(bank))
		if m.q.unit.kind == uNone {
			u = " " + v.unit
		}
	}
	number := p.text[m.q.signFrom+dashLen(p.text, m.q.signFrom) : m.q.unitTo]
	p.problem(AskSign, saySign(p.sc.In, p.reg.Name(bank), pa),
		option{keys: []string{"dash", "plus", "positive", "just a dash", "positiv", "strich", "nur ein strich", "más", "mas", "positivo", "guion", "guión"}, label: p.sc.In.Text("%s, it was a dash", pa), edits: []edit{{m.from, m.q.unitTo, number + u}}},
		option{keys: []string{"minus", "negative", "neg", "negativ", "menos", "negativo"}, label: p.sc.In.Text("minus %s", pa), edits: []edit{{m.from, m.q.unitTo, "minus " + number + u + " confirmed"}}})
}

// dashLen is the length of the dash at i and the blanks after it.
func dashLen(s string, i int) int {
	n := 0
	for j, r := range s[i:] {
		if isDigit(r) || r == '.' || r == ',' || r == 'O' || r == 'o' {
			return j
		}
		n = j
	}
	return n
}

func (p *parser) askZero(bank plant.BankID, m *mark) {
	gone := edit{m.from, m.q.unitTo, "zero check ok"}
	p.problem(AskZero, sayZero(p.sc.In, p.reg.Name(bank)),
		option{keys: []string{"fan off", "off"}, label: p.sc.In.Text("fan was off"), edits: []edit{{m.from, m.q.unitTo, "fan off"}}},
		option{keys: []string{"zero check", "check", "zero ok"}, label: p.sc.In.Text("zero check, ports open"), edits: []edit{gone}},
		option{keys: []string{"running", "fan on", "real"}, label: p.sc.In.Text("0 Pa with the fan running"), edits: []edit{confirmEdit(m, "Pa")}})
}

func (p *parser) askNegative(bank plant.BankID, m *mark, v value) {
	p.problem(AskNegative, sayNegative(p.sc.In, p.reg.Name(bank), p.sc.In.Pressure(v.pa, p.habit(bank))),
		option{keys: []string{"minus", "ok", "negative"}, label: p.sc.In.Text("minus, as typed"), edits: []edit{confirmEdit(m, v.unit)}},
		option{keys: []string{"plus", "positive"}, label: p.sc.In.Text("plus"), edits: []edit{{m.from, m.q.unitTo, p.unsigned(m, v.unit)}}})
}

func (p *parser) unsigned(m *mark, u string) string {
	s := strconv.FormatFloat(m.q.first.value, 'f', -1, 64) + " "
	if m.q.unit.kind != uNone {
		return s + unitTyped(m.q.unit)
	}
	return s + u
}

func (p *parser) askHigh(bank plant.BankID, e expect, m *mark, v value, top bool) {
	h := p.habit(bank)
	limit := e.limit
	if top {
		limit = e.bank.Gauge.TopPa
	}
	p.problem(AskHigh, sayHigh(p.sc.In, p.reg.Name(bank), v.pa, limit, top, h),
		option{keys: []string{"ok", "yes", "confirm", "high"}, label: p.sc.In.Text("yes, %s", p.sc.In.ShortPressure(v.pa, h)), edits: []edit{confirmEdit(m, v.unit)}})
}

// askSlip asks about a value so small that the unit must be another.
func (p *parser) askSlip(bank plant.BankID, e expect, m *mark, v value, u unit) {
	options := []option{}
	for _, c := range e.otherUnits(m.q.first.value, u.pressure) {
		if len(options) < 2 && !m.q.isRange {
			options = append(options, option{keys: []string{unitTyped(c.unit), c.unit.name, "in"}[:2+btoi(c.unit.pressure == units.InH2O)], label: p.both(c), edits: []edit{{m.from, m.q.unitTo, p.retyped(m, c)}}})
		}
	}
	options = append(options, option{keys: []string{"as typed", "really"}, label: p.sc.In.Text("as typed"), edits: []edit{confirmEdit(m, v.unit)}})
	p.problem(AskUnit, saySlip(p.sc.In, p.reg.Name(bank), p.raw(m.from, m.q.unitTo)), options...)
}

// otherUnits lists the credible ways to read v in another unit than the one typed,
// the nearest to the last reading first.
func (e expect) otherUnits(v float64, typed units.PressureUnit) []candidate {
	var out []candidate
	for _, c := range append(e.readings(v, roleReading), e.moreUnits(v, roleReading)...) {
		same := func(o candidate) bool { return o.unit.pressure == c.unit.pressure }
		if c.unit.pressure != typed && !c.dropped && !slices.ContainsFunc(out, same) {
			out = append(out, c)
		}
	}
	if e.last > 0 {
		slices.SortStableFunc(out, func(a, b candidate) int {
			return cmp.Compare(math.Abs(math.Log(a.pa/e.last)), math.Abs(math.Log(b.pa/e.last)))
		})
	}
	return out
}

// askImpossible refuses a value no filter gauge shows, offering units in which
// the number would make sense.
func (p *parser) askImpossible(bank plant.BankID, e expect, m *mark, v value) {
	var options []option
	for _, c := range e.otherUnits(m.q.first.value, m.q.resolved.pressure) {
		if len(options) < 2 && m.q.sign == unsigned && !m.q.isRange {
			options = append(options, option{keys: []string{unitTyped(c.unit), c.unit.name}, label: p.both(c), edits: []edit{{m.from, m.q.unitTo, p.retyped(m, c)}}})
		}
	}
	p.problem(AskImpossible, sayImpossible(p.sc.In, p.reg.Name(bank), p.raw(m.from, m.q.unitTo)), options...)
}
