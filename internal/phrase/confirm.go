package phrase

import (
	"regexp"
	"strconv"
	"strings"
	"unicode"

	"clogwise/internal/plant"
)

// confirmWords begin a message that confirms a change-out which readings speak
// against: "confirm 1045", "confirm AHU-3 bag".
var confirmWords = wordSet("confirm confirmed bestätige bestätigt bestätigen confirmo confirmado confirmar confirma")

// notChangedWords end a message that denies a change-out, after its place or alone.
var notChangedWords = regexp.MustCompile(`(?i)^(.*?)[\s,:;-]*\b(?:` +
	`(?:was|were|is|are|has|have|had)(?: not|n['’]?t) (?:been )?(?:changed|swapped|replaced)|not (?:been )?(?:changed|swapped|replaced)|never (?:changed|swapped|replaced)|` +
	`(?:wurden?|ist|sind)? ?(?:doch )?(?:nicht|nie) (?:gewechselt|getauscht|ausgetauscht)(?: worden)?|` +
	`no (?:se )?(?:cambi[oó]|cambiaron|ha cambiado|han cambiado|cambiad[oa]s?|sustituid[oa]s?))[\s.!]*$`)

// pronoun stands for the place that is spoken of.
var pronoun = wordSet("it they that this es sie das die eso it's")

// Confirmation reads a message that confirms a change-out, as a query of that kind
// with the number of the entry or its bank; false when it says anything else, as
// "confirmed" alone does, which is said of many things.
func Confirmation(text string, sc Scope) (Query, bool) {
	said, ok := oneLine(text)
	first, rest, _ := strings.Cut(said, " ")
	if !ok {
		return Query{}, false
	}
	if !confirmWords[strings.ToLower(strings.Trim(first, ".,:!"))] {
		return Query{}, false
	}
	if n, err := strconv.ParseInt(strings.TrimPrefix(strings.TrimSpace(rest), "#"), 10, 64); err == nil && n > 0 {
		return Query{Kind: QueryConfirm, Seq: n}, true
	}
	bank, ok := placeAlone(rest, sc)
	if !ok || !bank.Whole() {
		return Query{}, false
	}
	return Query{Kind: QueryConfirm, Places: []plant.BankID{bank}}, true
}

// denial reads a message that says of a bank that it was not changed.
func denial(text string, sc Scope) (Query, bool) {
	said, ok := oneLine(text)
	m := notChangedWords.FindStringSubmatch(said)
	if m == nil || !ok {
		return Query{}, false
	}
	bank := sc.Here
	if rest := strings.TrimSpace(m[1]); rest != "" && !pronoun[strings.ToLower(rest)] {
		if bank, ok = placeAlone(rest, sc); !ok {
			return Query{}, false
		}
	}
	if !bank.Whole() {
		return Query{}, false
	}
	return Query{Kind: QueryNotChanged, Places: []plant.BankID{bank}}, true
}

// oneLine is a text of one line with single blanks.
func oneLine(text string) (string, bool) {
	text = strings.TrimSpace(clean(text))
	return strings.Join(strings.Fields(text), " "), !strings.Contains(text, "\n")
}

// placeAlone reads a text that names one place and says nothing else.
func placeAlone(text string, sc Scope) (plant.BankID, bool) {
	if len(text) > MaxLength || strings.TrimSpace(text) == "" {
		return "", false
	}
	m := understand(text, sc, 0)
	if m.Outcome != Question || m.Query.Kind != QueryHow || len(m.Query.Places) != 1 {
		return "", false
	}
	return m.Query.Places[0], true
}

// longestCommand bounds a command in bytes: what is longer says more than that.
const longestCommand = 200

// command reads what is a command as a whole, before the message is taken apart.
func command(text string, sc Scope) (Meaning, bool) {
	if sc.Register == nil || len(text) > longestCommand {
		return Meaning{}, false
	}
	for _, read := range []func(string, Scope) (Query, bool){Confirmation, denial} {
		if q, ok := read(text, sc); ok {
			return Meaning{Outcome: Question, Query: &q, About: q.Places}, true
		}
	}
	m := pairsOf(text, sc)
	return m, m.Outcome != Chatter
}

func wordSet(words string) map[string]bool {
	out := map[string]bool{}
	for _, w := range strings.FieldsFunc(words, unicode.IsSpace) {
		out[w] = true
	}
	return out
}
