package safework

import (
	"fmt"
	"slices"
	"strings"

	"clogwise/internal/plant"
)

// Cautions stand under every list.
func Cautions() []string {
	return []string{
		"A reminder only: no permit, no procedure, no training.",
		"Local law, the site's permit system and its written isolation procedure come first.",
		"Only authorised and competent people, licensed where that is required, isolate, enter or prove dead.",
		"If the plant differs from what you expected, stop and call the supervisor.",
	}
}

// questions are how an unanswered condition is asked about: "Is there …?"
var questions = map[plant.Condition]string{
	plant.HazExhaust: "isolation, laboratory or other hazardous exhaust",
	plant.Atex:       "an explosive-atmosphere zone",
	plant.Grease:     "grease-laden air",
	plant.Asbestos:   "asbestos in rope, board, gaskets or lagging",
	plant.Healthcare: "a patient area served",
	plant.Confined:   "a confined or awkward space",
	plant.Roof:       "work on a roof",
	plant.Ladder:     "a ladder to climb",
	plant.UVC:        "a UV lamp inside",
	plant.VFD:        "a variable-speed drive",
	plant.ElecHeat:   "an electric heater",
	plant.GasHeat:    "a gas burner",
	plant.Belt:       "a belt drive",
	plant.PressDoor:  "a door under pressure",
	plant.Wet:        "a wet or mouldy filter",
	plant.Droppings:  "bird or rodent droppings",
}

// Text is the list as people read it, plain.
func (l List) Text() string {
	lines := l.head()
	for i, s := range l.Steps {
		if l.Stop {
			lines = append(lines, s.Text)
			continue
		}
		lines = append(lines, fmt.Sprintf("%d. %s", i+1, s.Text))
	}
	switch {
	case l.Stop:
		lines = append(lines, "Do not open it. Call the supervisor.")
	case len(l.Steps) == 0:
		lines = append(lines, "No steps are on file. Do not start; call the supervisor.")
	}
	if rest := l.asks(false); rest != "" {
		lines = append(lines, "Nobody has answered, so ask before you go on: is there "+rest+"?")
	}
	for _, c := range Cautions() {
		lines = append(lines, "! "+c)
	}
	if cited := l.cited(); cited != "" {
		lines = append(lines, cited)
	}
	return strings.Join(lines, "\n")
}

// head names the plant and the moment, and asks first what would put a stop to
// everything.
func (l List) head() []string {
	if l.Stop {
		return []string{l.AHU + ": no crew list is given for this plant."}
	}
	lines := []string{l.AHU + ", " + l.When.Words() + ":"}
	if stops := l.asks(true); stops != "" {
		lines = append(lines, "First ask, since nobody has answered: is there "+stops+"? If yes or not sure, do not open it; call the supervisor.")
	}
	return lines
}

// asks words the unanswered conditions: those that would stop the job, or the
// rest. Plant that gets no list gets no questions.
func (l List) asks(stopping bool) string {
	if l.Stop {
		return ""
	}
	var what []string
	for _, c := range l.Asks {
		if slices.Contains(specialist, c) == stopping {
			what = append(what, questions[c])
		}
	}
	return oneOf(what)
}

// oneOf joins words: "a, b or c".
func oneOf(words []string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " or " + words[n-1]
	}
	return strings.Join(words, "")
}

// cited names the documents behind the list.
func (l List) cited() string {
	var parts []string
	if len(l.Sources) > 0 {
		name := l.Jurisdiction
		if name == other {
			name = "general"
		}
		parts = append(parts, name+": "+strings.Join(l.Sources, ", "))
	}
	if len(l.Elsewhere) > 0 {
		parts = append(parts, "other steps after "+strings.Join(l.Elsewhere, ", ")+" rules")
	}
	if len(parts) == 0 {
		return ""
	}
	return "Sources, " + strings.Join(parts, "; ") + "."
}
