// Package safework chooses the safe-work steps that a crew is reminded of before,
// during and after a change-out.
//
// A list is a reminder only. It is no permit, procedure or training, it never
// says that plant is isolated or that work may start, and plant that only
// specialists may open gets no list at all. The package is pure.
package safework

import (
	"slices"

	"clogwise/internal/locale"
	"clogwise/internal/plant"
)

// When is the moment a list is for.
type When string

// Moments, in their order.
const (
	DayBefore   When = "day-before"
	BeforeStart When = "before-start"
	During      When = "during"
	After       When = "after"
)

var moments = []When{DayBefore, BeforeStart, During, After}

// Words is the moment as people say it.
func (w When) Words(in locale.Locale) string {
	switch w {
	case DayBefore:
		return in.Text("ahead of the job")
	case BeforeStart:
		return in.Text("before you start")
	case During:
		return in.Text("while you work")
	case After:
		return in.Text("when you finish")
	}
	return string(w)
}

// A List is the steps of one moment for one AHU.
type List struct {
	AHU   string // tag
	When  When
	Stop  bool // specialist-only plant: Steps are stop lines alone
	Steps []Step
	// Asks are conditions nobody has answered for this AHU. They are asked, never
	// taken as absent.
	Asks         []plant.Condition
	Jurisdiction string
	// Sources are the documents behind the steps: those of the jurisdiction, then
	// the general ones. Elsewhere are the jurisdictions that the other steps are
	// taken from.
	Sources, Elsewhere []string
}

// List chooses the steps of a moment for an AHU. Specialist-only plant gets its
// stop lines and nothing else, at every moment. A jurisdiction other than US, UK
// and EU is "other".
func (c Catalogue) List(ahu plant.AHU, jurisdiction string, when When) List {
	if !slices.Contains(jurisdictions, jurisdiction) {
		jurisdiction = other
	}
	l := List{AHU: ahu.Tag, When: when, Asks: ahu.Unanswered(), Jurisdiction: jurisdiction}
	l.Stop = slices.ContainsFunc(specialist, ahu.Has)
	for _, s := range c.steps {
		if l.Stop && s.forSpecialists(ahu) || !l.Stop && s.When == when && s.applies(ahu) {
			l.Steps = append(l.Steps, s)
		}
	}
	c.cite(&l)
	return l
}

func (s Step) applies(ahu plant.AHU) bool {
	return slices.ContainsFunc(s.Tags, func(t string) bool { return t == all || ahu.Has(plant.Condition(t)) })
}

// forSpecialists reports whether a step is the stop line of a specialist
// condition that this AHU has.
func (s Step) forSpecialists(ahu plant.AHU) bool {
	return s.Kind == Halt && slices.ContainsFunc(specialist, func(c plant.Condition) bool {
		return ahu.Has(c) && slices.Contains(s.Tags, string(c))
	})
}

// cite adds the documents of the steps to the list.
func (c Catalogue) cite(l *List) {
	var general []string
	for _, s := range l.Steps {
		settled := false
		var elsewhere []string
		for _, ref := range s.Sources {
			d, _ := c.document(ref)
			switch holds, own := d.speaksTo(l.Jurisdiction); {
			case own:
				l.Sources, settled = addNew(l.Sources, d.ID), true
			case holds:
				general = addNew(general, d.ID)
			default:
				elsewhere = append(elsewhere, d.For...)
			}
		}
		if !settled {
			l.Elsewhere = addNew(l.Elsewhere, elsewhere...)
		}
	}
	l.Sources = addNew(l.Sources, general...)
}

func addNew(to []string, more ...string) []string {
	for _, m := range more {
		if !slices.Contains(to, m) {
			to = append(to, m)
		}
	}
	return to
}

// IDs are the ids of the steps, for the ledger.
func (l List) IDs() []string {
	var out []string
	for _, s := range l.Steps {
		out = append(out, s.ID)
	}
	return out
}
