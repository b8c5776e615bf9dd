package phrase

import (
	"cmp"
	"slices"
	"strings"

	"clogwise/internal/plant"
)

// problem is something unclear. Problems of one code are asked about together.
type problem struct {
	code    string
	text    string
	options []option
}

// option is one way out of a problem: edits of the message that make it clear.
type option struct {
	id    string // tells options of one code apart; empty = the first key
	keys  []string
	label string
	edits []edit
}

func (o option) name() string {
	if o.id != "" {
		return o.id
	}
	return o.keys[0]
}

// edit replaces a part of the message; from == to inserts.
type edit struct {
	from, to int
	text     string
}

// urgency orders codes: what decides other things is asked first.
var urgency = []string{
	AskSite, AskAHU, AskBank, AskJob, AskSign, AskImpossible, AskNumber, AskOrder, AskRange, AskUnit, AskMixedUnits,
	AskFanOff, AskZero, AskNegative, AskHigh, AskDate, AskFuture, AskWhen, AskMoved, AskChange, AskItem, AskReason,
}

func (p *parser) problem(code, text string, options ...option) {
	p.problems = append(p.problems, problem{code, text, options})
}

// ask makes the one question of the most urgent problems.
func (p *parser) ask() Asking {
	slices.SortStableFunc(p.problems, func(a, b problem) int {
		return cmp.Compare(slices.Index(urgency, a.code), slices.Index(urgency, b.code))
	})
	first := p.problems[0]
	same := 1
	for same < len(p.problems) && p.problems[same].code == first.code {
		same++
	}
	p.nameHere(p.problems[:same])
	var out []option
	for _, o := range first.options {
		if merged, ok := merge(o, p.problems[1:same]); ok && len(out) < 3 {
			out = append(out, merged)
		}
	}
	if first.code == AskUnit || first.code == AskMixedUnits {
		for i := range out { // the unit given must not carry to numbers read in another
			for _, b := range p.bare {
				out[i].edits = append(out[i].edits, edit{b.m.from, b.m.q.unitTo, p.retyped(b.m, b.c)})
			}
		}
	}
	a := Asking{Code: first.code, Text: first.text, Kept: p.items}
	for _, o := range out {
		a.Choices = append(a.Choices, Choice{Keys: p.keys(o), Label: o.label, Means: apply(p.text, o.edits)})
	}
	if len(out) == 0 && len(first.options) > 0 {
		a.Text = sayOneByOne(p.sc.In, a.Text)
	}
	if first.code == AskSite {
		p.finishSite(&a)
	}
	return a
}

// nameHere writes the place that a message left to the talk into every choice of
// the problems: by the time one is picked the talk may be about another.
func (p *parser) nameHere(problems []problem) {
	for _, g := range p.fromHere {
		name := p.longName(p.sc.Here)
		if p.sc.Here.Whole() && g.hasKind(mBank) {
			name = p.longName(p.sc.Here.AHU())
		}
		put := edit{g.marks[0].from, g.marks[0].from, name + " "}
		for i := range problems {
			for j := range problems[i].options {
				o := &problems[i].options[j]
				if o.id == "" && len(o.keys) > 0 {
					o.id = o.keys[0]
				}
				o.edits = append([]edit{put}, o.edits...)
			}
		}
	}
}

// keys are the words that pick an option: those of the grammar, and in another
// language those that its label begins with ("ventilador parado, sin lectura").
func (p *parser) keys(o option) []string {
	if p.sc.In.Tag() == "en" || slices.Contains(o.keys, o.label) {
		return o.keys
	}
	words := o.label
	if i := strings.IndexAny(words, ",>0123456789"); i >= 0 {
		words = strings.TrimSpace(words[:i])
	}
	if words == "" {
		return o.keys
	}
	return append(slices.Clone(o.keys), strings.ToLower(words))
}

// merge joins option o with the options of the same key in the other problems.
func merge(o option, others []problem) (option, bool) {
	o.edits = slices.Clone(o.edits)
	for _, other := range others {
		i := slices.IndexFunc(other.options, func(x option) bool { return x.name() == o.name() })
		if i < 0 {
			return o, false
		}
		for _, e := range other.options[i].edits {
			if !slices.Contains(o.edits, e) {
				o.edits = append(o.edits, e)
			}
		}
	}
	return o, true
}

// apply makes the edits in text; of two that overlap the first wins.
func apply(text string, edits []edit) string {
	edits = slices.Clone(edits)
	slices.SortStableFunc(edits, func(a, b edit) int { return cmp.Compare(a.from, b.from) })
	var b strings.Builder
	pos := 0
	var last edit
	for i, e := range edits {
		if e.from < pos || i > 0 && e == last {
			continue
		}
		b.WriteString(text[pos:e.from])
		b.WriteString(e.text)
		if e.text != "" && e.to < len(text) && isWordByte(e.text[len(e.text)-1]) && isWordByte(text[e.to]) {
			b.WriteByte(' ')
		}
		pos, last = e.to, e
	}
	b.WriteString(text[pos:])
	return strings.TrimSpace(b.String())
}

// finishSite looks one question ahead: when the site is all that keeps a message
// from being read but for the order of its values, the answer settles both, and
// the question says how they were read.
func (p *parser) finishSite(a *Asking) {
	if p.depth > 0 {
		return
	}
	for i := range a.Choices {
		c := &a.Choices[i]
		m := understand(c.Means, p.sc, p.depth+1)
		if m.Outcome != Ask || m.Ask.Code != AskOrder || len(m.Ask.Choices) == 0 {
			continue
		}
		if i == 0 {
			a.Text += " " + sayReadAs(p.sc.In, m.Ask.Choices[0].Label)
		}
		c.Means = m.Ask.Choices[0].Means
	}
}

// askUnknownTag asks for the AHU meant by a tag that does not exist.
func (p *parser) askUnknownTag(t tag) {
	typed := p.raw(t.from, t.to)
	for _, o := range p.problems {
		if o.code == AskAHU && (len(o.options) == 0 || !strings.HasPrefix(o.options[0].name(), t.key+">")) {
			p.problem(AskAHU, sayUnknownTag(p.sc.In, typed, nil)) // a second one: no one choice settles both
			return
		}
	}
	sites := p.sites()
	if t.site != "" {
		sites = []string{t.site}
	}
	near := p.x.nearest(t.key, sites)
	var options []option
	var names []string
	for _, id := range near {
		a, _ := p.reg.AHU(id)
		name := a.Tag
		if slices.ContainsFunc(near, func(o plant.BankID) bool { b, _ := p.reg.AHU(o); return o != id && b.Tag == a.Tag }) {
			name = p.siteName(id.Site()) + " " + a.Tag
		}
		names = append(names, name)
		options = append(options, option{id: t.key + ">" + string(id), keys: []string{a.Tag, name}, label: name, edits: []edit{{t.from, t.to, name}}})
	}
	p.problem(AskAHU, sayUnknownTag(p.sc.In, typed, names), options...)
}

// askWhichAHU asks for the AHU of a statement that has none.
func (p *parser) askWhichAHU(g *group) {
	var options []option
	if slices.ContainsFunc(p.problems, func(o problem) bool { return o.code == AskAHU }) {
		return
	}
	for _, id := range p.likelyAHUs() {
		a, _ := p.reg.AHU(id)
		options = append(options, option{id: "at>" + string(id), keys: []string{a.Tag}, label: a.Tag, edits: []edit{{g.line.from, g.line.from, a.Tag + " "}}})
	}
	p.problem(AskAHU, sayWhichAHU(p.sc.In), options...)
}

// likelyAHUs are those with an open job, or all if they are three at most, as
// long as their tags alone find them again.
func (p *parser) likelyAHUs() []plant.BankID {
	var out []plant.BankID
	add := func(id plant.BankID) {
		a, ok := p.reg.AHU(id)
		if ok && !slices.Contains(out, id.AHU()) && len(p.settleTag(p.x.ahus(joinParts(nameParts(a.Tag))), "", false)) == 1 {
			out = append(out, id.AHU())
		}
	}
	for _, id := range p.sc.Booked {
		add(id)
	}
	if len(out) == 0 {
		for _, s := range p.sites() {
			all := p.reg.AHUs(s)
			if len(all)+len(out) > 3 {
				return nil
			}
			for _, id := range all {
				add(id)
			}
		}
	}
	return out[:min(3, len(out))]
}

// askSite asks which site a tag belongs to.
func (p *parser) askSite(g *group, t tag) {
	var options []option
	var names []string
	for _, s := range p.sites() {
		if !slices.ContainsFunc(t.ids, func(id plant.BankID) bool { return id.Site() == s }) {
			continue
		}
		name := p.siteName(s)
		names = append(names, name)
		site, _ := p.reg.Site(s)
		keys := append([]string{s, name}, site.Aliases...)
		options = append(options, option{keys: keys, label: name, edits: []edit{{g.ahu.from, g.ahu.from, name + " "}}})
	}
	a, _ := p.reg.AHU(t.ids[0])
	p.problem(AskSite, saySite(p.sc.In, a.Tag, names), options...)
}

// askBank asks which bank of an AHU is meant. at is where the word goes; typed
// is the word that did not fit, if any.
func (p *parser) askBank(ahu plant.BankID, at edit, typed string, more ...string) {
	var options []option
	var names []string
	for _, id := range p.banksOf(ahu) {
		name := p.bankName(id)
		names = append(names, name)
		e := at
		if e.from == e.to {
			e.text = " " + name + " "
		} else {
			e.text = name
		}
		options = append(options, option{keys: []string{name, string(p.stage(id))}, label: name, edits: []edit{e}})
	}
	for _, w := range more {
		names = append(names, w)
		options = append(options, option{keys: []string{w}, label: w, edits: []edit{{at.from, at.to, " " + w + " "}}})
	}
	p.problem(AskBank, sayBank(p.sc.In, p.reg.Name(ahu), typed, names), options...)
}
