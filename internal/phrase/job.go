package phrase

import (
	"slices"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// jobPlaces gives the banks of a job: those named, else those of the AHU that
// have an open booking, else the AHU.
func (p *parser) jobPlaces(g *group, ahu plant.BankID) []plant.BankID {
	if g.hasKind(mBank) {
		return p.skipPlaces(g, ahu)
	}
	var out []plant.BankID
	for _, id := range p.sc.Booked {
		if id.AHU() == ahu && !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	if len(out) == 0 {
		return []plant.BankID{ahu}
	}
	return out
}

// jobGroup settles the AHUs of a job; without a tag the one open job is meant.
func (p *parser) jobGroup(g *group) ([]plant.BankID, bool) {
	if g.ahu != nil || p.hasHere() {
		ahus, ok := p.places(g, true)
		var out []plant.BankID
		for _, a := range ahus {
			out = append(out, p.jobPlaces(g, a)...)
		}
		return out, ok
	}
	switch len(p.sc.Booked) {
	case 0:
		return nil, false
	case 1:
		return p.sc.Booked, true
	}
	p.askWhichJob(g.line, func(name string) []edit { return []edit{{g.line.to, g.line.to, " " + name}} })
	return nil, false
}

// cancel takes a booking away.
func (p *parser) cancel(g *group) bool {
	if !g.line.has(cCancel) || typedPressure(g.marks) || g.line.question && !g.line.has(cCan) {
		return false
	}
	if g.ahu == nil && (len(p.sc.Booked) == 0 || g.line.unknown > 0) {
		return false
	}
	places, ok := p.jobGroup(g)
	for _, place := range places {
		if ok {
			p.add(p.item(g, place, p.sc.Now, entry.Booking{Cancelled: true}))
		}
	}
	return true
}

// jobStart reads "on site AHU-6, about to start".
func (p *parser) jobStart(g *group) bool {
	start := g.line.has(cStart)
	site := g.line.has(cOnSite)
	if !start && !site || g.line.question || g.line.has(cNot, cCan, cLeft) || g.has(cSwap, cBook, cBack) || typedPressure(g.marks) || g.hasKind(mNum) {
		return false
	}
	if g.ahu == nil && (len(p.sc.Booked) == 0 || g.line.unknown > 0) {
		return false
	}
	if g.ahu != nil && g.line.unknown > 2 {
		return false
	}
	if g.timed && (g.moment.future || g.moment.day == dayOffset && g.moment.n > 0) {
		return false
	}
	places, ok := p.jobGroup(g)
	if all := allBanks(g.marks); ok && all != nil && g.ahu != nil && !g.hasKind(mBank) {
		places = p.banksUnder(places)
		if n := len(places); n != 2 && isBoth(all) && n > 0 { // which two of three?
			p.askBank(places[0].AHU(), edit{from: all.from, to: all.to}, p.raw(all.from, all.to))
			return true
		}
	}
	for _, place := range places {
		if !ok {
			break
		}
		if at, good := p.at(g, place); good {
			p.add(p.item(g, place, at, entry.JobStart{}))
		}
	}
	return true
}

// allBanks returns the word by which every bank of an AHU is meant: "both", "all
// banks"; nil where there is none. "All" alone may be of anything: "all locked out".
func allBanks(ms []*mark) *mark {
	for i, m := range ms {
		switch {
		case !m.is(cAll):
		case isBoth(m):
			return m
		case i+1 < len(ms) && (saysFilters(ms[i+1:i+2]) || slices.Contains([]string{"banks", "stages", "stufen", "etapas"}, ms[i+1].text)):
			return m
		}
	}
	return nil
}

func isBoth(m *mark) bool {
	return slices.Contains([]string{"both", "beide", "ambos", "ambas"}, m.text)
}

// banksUnder gives every bank of the places' AHUs, each once.
func (p *parser) banksUnder(places []plant.BankID) []plant.BankID {
	var out []plant.BankID
	for _, place := range places {
		for _, id := range p.banksOf(place.AHU()) {
			if !slices.Contains(out, id) {
				out = append(out, id)
			}
		}
	}
	return out
}

// jobDone reads "AHU-6 back on, clean 92pa 40hz zero ok" and "AHU-2 primary job
// done".
func (p *parser) jobDone(g *group) bool {
	back := g.has(cBack)
	done := g.has(cDone) && (g.has(cJob) || g.ahu != nil && !g.hasKind(mBank) && !saysFilters(g.marks) && p.bookedUnder(g))
	if !back && !done || g.line.question || g.line.unknown > 3 || g.has(cNot) {
		return false
	}
	if back && (g.has(cDefect) || g.changesFilters(g.marks) || g.partBack()) { // "belt was off, back on"; "changed bags, fan back on" is a change-out first
		return false
	}
	if g.ahu == nil && len(p.sc.Booked) == 0 {
		return false
	}
	places, ok := p.jobGroup(g)
	if !ok {
		return g.ahu != nil || len(p.problems) > 0
	}
	for _, place := range places {
		body := entry.JobDone{FanHz: g.air.hz, ZeroOK: g.has(cZero)}
		var flags []string
		if nums := (&segment{marks: g.marks}).numbers(); len(nums) == 1 {
			bank := place
			if len(places) > 1 { // of which would the clean reading be?
				p.askBank(bank.AHU(), p.afterTag(g), "")
				return true
			}
			if !bank.Whole() {
				banks := p.banksOf(bank)
				if len(banks) != 1 {
					p.askBank(bank, p.afterTag(g), "")
					return true
				}
				bank = banks[0]
			}
			v, ok := p.pressure(bank, nums[0], nums[0].q.first, roleClean)
			if !ok {
				return true
			}
			body.CleanPa, flags, place = &v.pa, v.flags, bank
		}
		if at, ok := p.at(g, place); ok {
			p.add(p.item(g, place, at, body, flags...))
		}
	}
	if g.mended() >= 0 { // "back on, belt changed"
		p.defect(g)
	}
	return true
}

// partBack reports whether it is a part that is back on: "tube back on".
func (g *group) partBack() bool {
	for i, m := range g.marks {
		if m.is(cBack) && g.partAt(i) {
			return true
		}
	}
	return false
}

func (p *parser) bookedUnder(g *group) bool {
	for _, t := range g.ahu.tags {
		for _, id := range p.sc.Booked {
			if slices.Contains(t.ids, id.AHU()) {
				return true
			}
		}
	}
	return false
}

// openJob reads a bare "done", an answer to a reminder.
func (p *parser) openJob(l *line) bool {
	if !l.has(cDone) || l.unknown > 0 || l.question || l.hasKind(mAHU, mBank, mNum, mItem, mSite) || len(p.sc.Booked) == 0 || l.has(cSwap, cNot) {
		return false
	}
	if len(l.marks) > 6 {
		return false
	}
	g := group{line: l, marks: l.marks, cues: l.cues, kinds: l.kinds}
	if here := p.sc.Here; here != "" && slices.Contains(p.sc.Booked, here) {
		p.add(p.item(&g, here, p.sc.Now, entry.JobDone{}))
		return true
	}
	if len(p.sc.Booked) == 1 {
		p.add(p.item(&g, p.sc.Booked[0], p.sc.Now, entry.JobDone{}))
		return true
	}
	p.askWhichJob(l, func(name string) []edit { return []edit{{l.from, l.to, name + " job done"}} })
	return true
}

// askWhichJob asks which of the open jobs is meant.
func (p *parser) askWhichJob(l *line, means func(name string) []edit) {
	var options []option
	var names []string
	for _, id := range p.sc.Booked {
		name := p.longName(id)
		names = append(names, p.reg.Name(id))
		if len(options) < 3 {
			options = append(options, option{keys: []string{name, p.reg.Name(id)}, label: p.reg.Name(id), edits: means(name)})
		}
	}
	p.problem(AskJob, sayWhichJob(p.sc.In, names), options...)
}

// longName is the name of a bank or AHU that is understood anywhere: with its
// site where the tag alone is not enough.
func (p *parser) longName(id plant.BankID) string {
	a, _ := p.reg.AHU(id)
	name := a.Tag
	if id.Whole() {
		name += " " + p.bankName(id)
	}
	if ids := p.settleTag(p.x.ahus(joinParts(nameParts(a.Tag))), "", false); len(ids) != 1 || ids[0] != id.AHU() {
		name = p.siteName(id.Site()) + " " + name
	}
	return name
}
