package safework

import (
	"slices"
	"strconv"
	"strings"

	"clogwise/internal/locale"
	"clogwise/internal/plant"
)

// Cautions stand under every list, in the site's language.
func Cautions(in locale.Locale) []string {
	return []string{
		in.Text("A reminder only: no permit, no procedure, no training."),
		in.Text("Local law, the site's permit system and its written isolation procedure come first."),
		in.Text("Only authorised and competent people, licensed where that is required, isolate, enter or prove dead."),
		in.Text("If the plant differs from what you expected, stop and call the supervisor."),
	}
}

// questions are how an unanswered condition is asked about: "Is there …?"
var questions = map[plant.Condition]string{
	plant.HazExhaust: locale.Mark("isolation, laboratory or other hazardous exhaust"),
	plant.Atex:       locale.Mark("an explosive-atmosphere zone"),
	plant.Grease:     locale.Mark("grease-laden air"),
	plant.Asbestos:   locale.Mark("asbestos in rope, board, gaskets or lagging"),
	plant.Healthcare: locale.Mark("a patient area served"),
	plant.Confined:   locale.Mark("a confined or awkward space"),
	plant.Roof:       locale.Mark("work on a roof"),
	plant.Ladder:     locale.Mark("a ladder to climb"),
	plant.UVC:        locale.Mark("a UV lamp inside"),
	plant.VFD:        locale.Mark("a variable-speed drive"),
	plant.ElecHeat:   locale.Mark("an electric heater"),
	plant.GasHeat:    locale.Mark("a gas burner"),
	plant.Belt:       locale.Mark("a belt drive"),
	plant.PressDoor:  locale.Mark("a door under pressure"),
	plant.Wet:        locale.Mark("a wet or mouldy filter"),
	plant.Droppings:  locale.Mark("bird or rodent droppings"),
}

// Text is the list as people read it, plain, in the site's language.
func (l List) Text(in locale.Locale) string {
	lines := l.head(in)
	for i, s := range l.Steps {
		text := in.Say(s.Text)
		if l.Stop {
			lines = append(lines, text)
			continue
		}
		lines = append(lines, strconv.Itoa(i+1)+". "+text)
	}
	switch {
	case l.Stop:
		lines = append(lines, in.Text("Do not open it. Call the supervisor."))
	case len(l.Steps) == 0:
		lines = append(lines, in.Text("No steps are on file. Do not start; call the supervisor."))
	}
	if rest := l.asks(in, false); rest != "" {
		lines = append(lines, in.Text("Nobody has answered, so ask before you go on: is there %s?", rest))
	}
	for _, c := range Cautions(in) {
		lines = append(lines, "! "+c)
	}
	if cited := l.cited(in); cited != "" {
		lines = append(lines, cited)
	}
	return strings.Join(lines, "\n")
}

// head names the plant and the moment, and asks first what would put a stop to
// everything.
func (l List) head(in locale.Locale) []string {
	if l.Stop {
		return []string{in.Text("%s: no crew list is given for this plant.", l.AHU)}
	}
	lines := []string{l.AHU + ", " + l.When.Words(in) + ":"}
	if stops := l.asks(in, true); stops != "" {
		lines = append(lines, in.Text("First ask, since nobody has answered: is there %s? If yes or not sure, do not open it; call the supervisor.", stops))
	}
	return lines
}

// asks words the unanswered conditions: those that would stop the job, or the
// rest. Plant that gets no list gets no questions.
func (l List) asks(in locale.Locale, stopping bool) string {
	if l.Stop {
		return ""
	}
	var what []string
	for _, c := range l.Asks {
		if slices.Contains(specialist, c) == stopping {
			what = append(what, in.Say(questions[c]))
		}
	}
	return in.Or(what)
}

// Sources that are words; documents keep the names they are published under.
var _ = [...]string{locale.Mark("common practice"), locale.Mark("site biosafety rules")}

// cited names the documents behind the list.
func (l List) cited(in locale.Locale) string {
	var parts []string
	if len(l.Sources) > 0 {
		name := l.Jurisdiction
		if name == other {
			name = in.Text("general")
		}
		var docs []string
		for _, d := range l.Sources {
			docs = append(docs, in.Say(d))
		}
		parts = append(parts, name+": "+strings.Join(docs, ", "))
	}
	if len(l.Elsewhere) > 0 {
		parts = append(parts, in.Text("other steps after %s rules", strings.Join(l.Elsewhere, ", ")))
	}
	if len(parts) == 0 {
		return ""
	}
	return in.Text("Sources, %s.", strings.Join(parts, "; "))
}
