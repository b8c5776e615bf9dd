package phrase

import (
	"slices"

	"clogwise/internal/plant"
)

// settlePlaces finds the site of each tag. A site named on a line rules the tags
// after it, and before it when none was named earlier on the line; it carries to
// the lines below.
func (p *parser) settlePlaces() {
	carried := ""
	for n := range p.lines {
		l := &p.lines[n]
		p.demoteWords(l)
		named := ""
		l.site = p.firstSite(l)
		for i := range l.marks {
			m := l.marks[i]
			switch m.kind {
			case mSite:
				if s := p.siteOf(m); s != "" {
					named, carried = s, s
					p.mention(plant.BankID(s))
				} else {
					m.kind = mWord
					l.unknown++
				}
			case mAHU:
				site, here := named, named != ""
				if site == "" && l.site != "" {
					site, here = l.site, true
				}
				if site == "" {
					site = carried
				}
				for t := range m.tags {
					if here {
						m.tags[t].site = site
					}
					m.tags[t].ids = p.settleTag(m.tags[t].ids, site, here)
					if ids := m.tags[t].ids; len(ids) == 1 {
						p.mention(ids[0])
					}
				}
			}
		}
		l.sum()
	}
}

func (p *parser) mention(id plant.BankID) {
	if !slices.Contains(p.about, id) {
		p.about = append(p.about, id)
	}
}

// demoteWords takes names without a number ("Theatre") for ordinary words where
// a proper tag stands on the same line and nothing follows that such a name
// would be said for.
func (p *parser) demoteWords(l *line) {
	proper := slices.ContainsFunc(l.marks, func(m *mark) bool { return m.kind == mAHU && hasDigit(m.tags[0].key) })
	if !proper {
		return
	}
	for i := range l.marks {
		m := l.marks[i]
		if m.kind != mAHU || hasDigit(m.tags[0].key) {
			continue
		}
		if i+1 < len(l.marks) && (l.marks[i+1].kind == mBank || l.marks[i+1].kind == mNum) {
			continue
		}
		m.kind = mCue
		m.cues = fillOnly
	}
}

func hasDigit(key string) bool { _, n := cutTag(key); return n != "" }

func (p *parser) firstSite(l *line) string {
	for i := range l.marks {
		if l.marks[i].kind == mSite {
			if s := p.siteOf(l.marks[i]); s != "" {
				return s
			}
		}
	}
	return ""
}

// siteOf gives the site a mark names: one of the channel by any name, another
// only by its full name.
func (p *parser) siteOf(m *mark) string {
	full := ""
	for _, f := range m.sites {
		if p.serves(f.id.Site()) {
			return f.id.Site()
		}
		if f.full && full == "" {
			full = f.id.Site()
		}
	}
	return full
}

func (p *parser) serves(site string) bool {
	return len(p.sc.Sites) == 0 || slices.Contains(p.sc.Sites, site)
}

// sites lists the sites the message may speak of.
func (p *parser) sites() []string {
	if len(p.sc.Sites) > 0 {
		return p.sc.Sites
	}
	var out []string
	for _, s := range p.reg.Sites() {
		out = append(out, s.ID)
	}
	return out
}

// settleTag narrows the AHUs of one tag down. here says that the site stands on
// the same line, so that the tag must be there.
func (p *parser) settleTag(ids []plant.BankID, site string, here bool) []plant.BankID {
	if site != "" {
		at := slices.DeleteFunc(slices.Clone(ids), func(id plant.BankID) bool { return id.Site() != site })
		if len(at) > 0 || here {
			return at
		}
	}
	at := slices.DeleteFunc(slices.Clone(ids), func(id plant.BankID) bool { return !p.serves(id.Site()) })
	if len(at) <= 1 {
		return at
	}
	for _, s := range [...]string{p.sc.Here.Site(), p.sc.HomeSite} {
		for _, id := range at {
			if s != "" && id.Site() == s {
				return []plant.BankID{id}
			}
		}
	}
	return at
}

// places gives the AHUs a group speaks of, noting a problem when they are
// unclear. With must false a group without any AHU gives none and no problem.
func (p *parser) places(g *group, must bool) ([]plant.BankID, bool) {
	if g.ahus != nil || g.lost {
		return g.ahus, !g.lost
	}
	if g.ahu == nil {
		switch own := p.namedBank(g.marks); {
		case own != "":
			g.ahus = []plant.BankID{own.AHU()}
		case p.carried != nil:
			ids, ok := p.places(p.carried, true)
			g.ahus, g.lost = ids, !ok
		case p.sc.Here != "" && p.sc.Here.AHU() != plant.BankID(p.sc.Here.Site()):
			g.ahus, g.here = []plant.BankID{p.sc.Here.AHU()}, true
			p.fromHere = append(p.fromHere, g)
		case must:
			g.lost = true
			p.askWhichAHU(g)
		}
		return g.ahus, len(g.ahus) > 0
	}
	for _, t := range g.ahu.tags {
		switch len(t.ids) {
		case 1:
			g.ahus = append(g.ahus, t.ids[0])
		case 0:
			p.askUnknownTag(t)
			g.lost = true
		default:
			p.askSite(g, t)
			g.lost = true
		}
	}
	if g.lost {
		g.ahus = nil
	}
	return g.ahus, !g.lost
}

// namedBank is the one bank that a name of its own finds without its AHU.
func (p *parser) namedBank(ms []*mark) plant.BankID {
	for _, m := range ms {
		if m.kind != mBank || len(m.banks) != 1 || m.banks[0].stage != "" {
			continue
		}
		ids := slices.DeleteFunc(slices.Clone(m.banks[0].ids), func(id plant.BankID) bool { return !p.serves(id.Site()) })
		if len(ids) == 1 {
			return ids[0]
		}
	}
	return ""
}

// banksOf lists the banks of an AHU.
func (p *parser) banksOf(ahu plant.BankID) []plant.BankID { return p.x.banks[ahu] }

// matchBank lists the banks of ahu that a word can mean.
func (p *parser) matchBank(ahu plant.BankID, w bankWord) []plant.BankID {
	banks := p.banksOf(ahu)
	var out []plant.BankID
	for _, id := range banks {
		if slices.Contains(w.ids, id) {
			out = append(out, id)
		}
	}
	if len(out) > 0 || w.stage == "" {
		return out
	}
	want := w.stage
	if w.last {
		for _, st := range [...]plant.Stage{plant.Third, plant.Secondary, plant.Primary} {
			if slices.ContainsFunc(banks, func(id plant.BankID) bool { return p.stage(id) == st }) {
				want = st
				break
			}
		}
	}
	for _, id := range banks {
		if p.stage(id) == want {
			out = append(out, id)
		}
	}
	return out
}

func (p *parser) stage(id plant.BankID) plant.Stage {
	b, _ := p.reg.Bank(id)
	return b.Stage
}

// bankName is a word that finds the bank again within its AHU.
func (p *parser) bankName(id plant.BankID) string {
	b, _ := p.reg.Bank(id)
	same := 0
	for _, other := range p.banksOf(id.AHU()) {
		if p.stage(other) == b.Stage {
			same++
		}
	}
	if same == 1 {
		return p.reg.StageName(id)
	}
	if len(b.ID) > 1 {
		return b.ID
	}
	if len(b.Aliases) > 0 {
		return b.Aliases[0]
	}
	return p.reg.StageName(id)
}

// siteName is the site's name in full.
func (p *parser) siteName(site string) string {
	if s, ok := p.reg.Site(site); ok && s.Name != "" {
		return s.Name
	}
	return site
}

// onlySite is the site a statement without an AHU belongs to, if that is clear.
func (p *parser) onlySite(l *line) (string, bool) {
	if l.site != "" {
		return l.site, true
	}
	if s := p.sc.Here.Site(); s != "" {
		return s, true
	}
	if sites := p.sites(); len(sites) == 1 {
		return sites[0], true
	}
	if s := p.sc.HomeSite; s != "" && p.serves(s) {
		return s, true
	}
	return "", false
}
