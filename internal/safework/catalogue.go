package safework

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"

	"clogwise/internal/locale"
	"clogwise/internal/plant"
)

// Kinds of steps.
const (
	Do   = "do"
	Ask  = "ask"  // something to be settled with somebody
	Halt = "stop" // do not go on
)

// all is the tag of a step for every plant.
const all = "all"

// A Document is a rule or guide that steps come from.
type Document struct {
	ID    string   `json:"id"`  // short name that references begin with: "PUWER"
	For   []string `json:"for"` // jurisdictions it speaks to, or "any"
	Title string   `json:"title"`
}

// A Step is one line of a list.
type Step struct {
	ID      string   `json:"id"`
	When    When     `json:"when"`
	Tags    []string `json:"tags"` // conditions of the plant, or "all"
	Kind    string   `json:"kind"`
	Text    string   `json:"text"`    // under MaxText characters
	Sources []string `json:"sources"` // references: a document's id, then the place in it
}

// A Catalogue is all steps and the documents they come from. The zero value has
// none; Load fills it.
type Catalogue struct {
	documents []Document
	steps     []Step
}

// MaxText is the length in characters that a step stays under.
const MaxText = 120

// ErrSteps is returned for a data file that cannot be relied on.
var ErrSteps = errors.New("safe-work steps")

// jurisdictions are the bodies of law that a document can speak to.
var jurisdictions = []string{"US", "UK", "EU", other}

const (
	other    = "other"
	anywhere = "any"
)

// specialist are the conditions under which no crew list is given.
var specialist = []plant.Condition{plant.HazExhaust, plant.Atex, plant.Grease}

// claims are words that no step may use: whether plant is isolated or safe is
// for people on the spot to say.
var claims = []string{"isolated", "safe to", "is safe", "proved dead", "proven dead"}

// Load reads and checks a catalogue. Anything wrong in it is an error: steps
// that are missing or garbled must not go unnoticed.
func Load(raw []byte) (Catalogue, error) {
	var file struct {
		Documents []Document `json:"documents"`
		Steps     []Step     `json:"steps"`
	}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(&file); err != nil {
		return Catalogue{}, fmt.Errorf("%w: %w", ErrSteps, err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return Catalogue{}, fmt.Errorf("%w: something stands after the end", ErrSteps)
	}
	c := Catalogue{file.Documents, file.Steps}
	if err := errors.Join(c.checkDocuments(), c.checkSteps(), c.checkWhole()); err != nil {
		return Catalogue{}, fmt.Errorf("%w: %w", ErrSteps, err)
	}
	return c, nil
}

func (c Catalogue) checkDocuments() error {
	seen := map[string]bool{}
	for _, d := range c.documents {
		switch {
		case d.ID == "" || d.Title == "":
			return fmt.Errorf("document %q: id or title missing", d.ID)
		case seen[d.ID]:
			return fmt.Errorf("document %s stands twice", d.ID)
		case len(d.For) == 0:
			return fmt.Errorf("document %s: for nowhere", d.ID)
		}
		seen[d.ID] = true
		for _, j := range d.For {
			if j != anywhere && !slices.Contains(jurisdictions, j) {
				return fmt.Errorf("document %s: %q is no jurisdiction", d.ID, j)
			}
		}
	}
	return nil
}

func (c Catalogue) checkSteps() error {
	seen := map[string]bool{}
	for _, s := range c.steps {
		if err := c.check(s); err != nil {
			return fmt.Errorf("step %s: %w", s.ID, err)
		}
		if seen[s.ID] {
			return fmt.Errorf("step %s stands twice", s.ID)
		}
		seen[s.ID] = true
	}
	return nil
}

func (c Catalogue) check(s Step) error {
	switch n := len([]rune(s.Text)); {
	case s.ID == "" || strings.TrimSpace(s.ID) != s.ID:
		return errors.New("no id")
	case !slices.Contains(moments, s.When):
		return fmt.Errorf("%q is no moment", s.When)
	case s.Kind != Do && s.Kind != Ask && s.Kind != Halt:
		return fmt.Errorf("%q is neither do, ask nor stop", s.Kind)
	case n == 0 || n >= MaxText:
		return fmt.Errorf("text of %d characters, not 1 to %d", n, MaxText-1)
	case strings.TrimSpace(s.Text) != s.Text || strings.ContainsFunc(s.Text, unicode.IsControl):
		return errors.New("text is not one plain line")
	case len(s.Sources) == 0:
		return errors.New("no source")
	}
	for _, w := range claims {
		if strings.Contains(strings.ToLower(s.Text), w) {
			return fmt.Errorf("text says %q; that is not ours to say", w)
		}
	}
	for _, ref := range s.Sources {
		if _, ok := c.document(ref); !ok {
			return fmt.Errorf("source %q begins with no document of the list", ref)
		}
	}
	return s.checkTags()
}

func (s Step) checkTags() error {
	if len(s.Tags) == 0 {
		return errors.New("no tags")
	}
	special := 0
	for i, t := range s.Tags {
		switch {
		case slices.Contains(s.Tags[:i], t):
			return fmt.Errorf("tag %q stands twice", t)
		case t == all && len(s.Tags) > 1:
			return errors.New("for all plant and for some")
		case t != all && !slices.Contains(plant.Conditions[:], plant.Condition(t)):
			return fmt.Errorf("%q is no condition of plant", t)
		case slices.Contains(specialist, plant.Condition(t)):
			special++
		}
	}
	switch {
	case special > 0 && special < len(s.Tags):
		return errors.New("specialist-only plant and other plant in one step")
	case special > 0 && s.Kind != Halt:
		return errors.New("specialist-only plant gets a stop line, no step")
	}
	return nil
}

// checkWhole finds what is missing altogether.
func (c Catalogue) checkWhole() error {
	for _, w := range moments {
		if !slices.ContainsFunc(c.steps, func(s Step) bool { return s.When == w && slices.Contains(s.Tags, all) }) {
			return fmt.Errorf("no step for all plant %s", w.Words(locale.Locale{}))
		}
	}
	for _, cond := range plant.Conditions {
		if !slices.ContainsFunc(c.steps, func(s Step) bool { return slices.Contains(s.Tags, string(cond)) }) {
			return fmt.Errorf("no step for %s", cond)
		}
	}
	return nil
}

// document finds what a reference points into: the longest id it begins with.
func (c Catalogue) document(ref string) (Document, bool) {
	var best Document
	for _, d := range c.documents {
		rest, ok := strings.CutPrefix(ref, d.ID)
		if ok && (rest == "" || rest[0] == ' ' || rest[0] == ',') && len(d.ID) > len(best.ID) {
			best = d
		}
	}
	return best, best.ID != ""
}

// Steps lists every step, in the order of the file.
func (c Catalogue) Steps() []Step { return slices.Clone(c.steps) }

// speaksTo reports whether a document holds in a jurisdiction, and whether it is
// written for that jurisdiction in particular.
func (d Document) speaksTo(jurisdiction string) (holds, own bool) {
	own = slices.Contains(d.For, jurisdiction)
	return own || slices.Contains(d.For, anywhere), own
}

// Source is where a step comes from in a jurisdiction (US, UK, EU, other): its
// own references and the general ones. A step that the jurisdiction's own
// documents do not speak of tells the others' with theirs in brackets.
func (c Catalogue) Source(s Step, jurisdiction string) string {
	var own, general, foreign []string
	for _, ref := range s.Sources {
		d, _ := c.document(ref)
		switch holds, its := d.speaksTo(jurisdiction); {
		case its:
			own = append(own, ref)
		case holds:
			general = append(general, ref)
		default:
			foreign = append(foreign, ref+" ("+strings.Join(d.For, ", ")+")")
		}
	}
	if len(own) == 0 {
		own = foreign
	}
	return strings.Join(append(own, general...), "; ")
}
