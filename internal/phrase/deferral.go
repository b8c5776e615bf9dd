package phrase

import (
	"slices"
	"strings"
	"time"

	"clogwise/internal/entry"
)

// deferral puts a bank's date off: "defer AHU-2 bag to 12 Mar: theatre week".
func (p *parser) deferral(g *group) bool {
	i := slices.IndexFunc(g.marks, func(m *mark) bool { return m.is(cDefer) })
	if i < 0 || g.ahu == nil || g.line.question && !g.has(cCan) || typedPressure(g.marks) {
		return false
	}
	ahus, ok := p.places(g, true)
	if !ok {
		return true
	}
	if len(ahus) > 1 {
		p.problem(AskAHU, sayOneAHU(p.sc.In))
		return true
	}
	var s segment
	for _, m := range g.marks {
		if m.kind == mBank {
			s.banks = append(s.banks, m.banks...)
		}
	}
	bank, ok := p.bank(g, &s, ahus[0])
	if !ok {
		return true
	}
	if g.takesBack(i) {
		p.add(p.item(g, bank, p.sc.Now, entry.Defer{Until: p.sc.Now, Reason: sayDeferralGone()}))
		return true
	}
	last := slices.IndexFunc(g.marks, func(m *mark) bool { return m.kind == mWhen && m.when.day != dayNone })
	if last < 0 { // "2 weeks"
		if last = slices.IndexFunc(g.marks, func(m *mark) bool { return m.kind == mSpan }); last >= 0 {
			g.moment = moment{when: g.marks[last].when}
		}
	}
	if last < 0 {
		p.problem(AskWhen, sayDeferWhen(p.sc.In, p.reg.Name(bank)))
		return true
	}
	until, _ := p.local(g.moment, bank).ahead(p.sc.Now, p.zone(bank), 0, 0)
	if g.pastDate(p.sc.Now, until) {
		p.problem(AskWhen, sayDeferPast(p.sc.In, p.reg.Name(bank)))
		return true
	}
	if g.moment.bad || !until.After(p.sc.Now) {
		p.problem(AskWhen, sayDeferWhen(p.sc.In, p.reg.Name(bank)))
		return true
	}
	reason := p.reasonAfter(g, last)
	if reason == "" {
		p.problem(AskReason, sayDeferReason(p.sc.In, p.reg.Name(bank)))
		return true
	}
	p.add(p.item(g, bank, p.sc.Now, entry.Defer{Until: until, Reason: reason}))
	return true
}

// pastDate reports whether a deferral names a date that is past. One without its year
// comes again: whether next year's is meant is asked by the caller.
func (g *group) pastDate(now, until time.Time) bool {
	return g.moment.day == dayDate && !g.moment.bad && !until.After(now)
}

// takesBack reports whether a deferral, at mark i, is taken back: "undefer", "cancel
// the deferral of". One until now holds no longer.
func (g *group) takesBack(i int) bool {
	if m := g.marks[i]; strings.HasPrefix(m.text, "un") || strings.HasPrefix(m.text, "no longer") {
		return true
	}
	return g.has(cCancel, cUndo, cRemove) || slices.ContainsFunc(g.marks, func(m *mark) bool { return m.text == "lift" || m.text == "end" })
}

// reasonAfter is what is said after mark i.
func (p *parser) reasonAfter(g *group, i int) string {
	to := g.line.to
	from := g.marks[i].to
	if from >= to {
		return ""
	}
	s := p.raw(from, to)
	for _, w := range [...]string{"because of ", "because ", "due to ", "as ", "for ", "weil ", "wegen ", "porque ", "por "} {
		if len(s) > len(w) && strings.EqualFold(s[:len(w)], w) {
			s = s[len(w):]
			break
		}
	}
	return strings.Trim(s, " .,:;-()")
}
