// Package safework chooses the safe-work steps to remind a crew of. It is a
// reminder only: no permit, no procedure, no training.
package safework

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"clogwise/internal/plant"
)

// When is the moment a list is for.
type When string

// Moments.
const (
	DayBefore   When = "day-before"
	BeforeStart When = "before-start"
	During      When = "during"
	After       When = "after"
)

// A Step is one line of a list.
type Step struct {
	ID     string   `json:"id"`
	When   When     `json:"when"`
	Tags   []string `json:"tags"`
	Kind   string   `json:"kind"` // do, ask, stop
	Text   string   `json:"text"`
	Source string   `json:"src"`
}

// A Catalogue is all steps.
type Catalogue struct{ steps []Step }

// Load reads a catalogue from its data file.
func Load(raw []byte) (Catalogue, error) {
	var c Catalogue
	if err := json.Unmarshal(raw, &c.steps); err != nil {
		return c, fmt.Errorf("safe-work steps: %w", err)
	}
	return c, nil
}

// A List is the steps of one moment for one AHU.
type List struct {
	AHU      string
	When     When
	Stop     bool
	Steps    []Step
	Asks     []plant.Condition
	Cautions []string
}

// List chooses the steps for an AHU.
func (c Catalogue) List(ahu plant.AHU, jurisdiction string, when When) List {
	l := List{AHU: ahu.Tag, When: when, Asks: ahu.Unanswered()}
	for _, s := range c.steps {
		if s.When == when && applies(s, ahu) {
			l.Steps = append(l.Steps, s)
		}
	}
	return l
}

func applies(s Step, ahu plant.AHU) bool {
	return slices.ContainsFunc(s.Tags, func(t string) bool { return t == "all" || ahu.Has(plant.Condition(t)) })
}

// Text is the list as people read it.
func (l List) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s:", l.AHU, l.When)
	for _, s := range l.Steps {
		b.WriteString("\n- " + s.Text)
	}
	return b.String()
}

// IDs are the ids of the steps.
func (l List) IDs() []string {
	var out []string
	for _, s := range l.Steps {
		out = append(out, s.ID)
	}
	return out
}
