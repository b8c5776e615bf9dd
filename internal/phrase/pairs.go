package phrase

import (
	"regexp"
	"strings"

	"clogwise/internal/plant"
)

// pairsQuestion is "pairs AHU-3" or "how often primaries AHU-3": how many primaries
// to use up for each secondary. The place is what is left of it.
var pairsQuestion = regexp.MustCompile(`(?i)^\s*(?:pairs?\b|paare?\b|parejas?\b|pares?\b|how often\b.*?\b(?:primar(?:y|ies)|pre-?filters?|pres?|panels?)\b|` +
	`wie oft\b.*?\bvorfilter\b|cada cu[aá]nto\b.*?\bprefiltros?\b)(.*)$`)

// pairsFiller are words between the question and the place.
var pairsFiller = wordSet("for of on in at the per each secondary secondaries be changed change to should we do changing " +
	"bei für von an am im wechseln gewechselt werden muss sollen wir en de del la el para cambiar cambiamos los las")

// PairsQuestion reads that question. No place asks about all of the channel, unless
// the talk is about an AHU; false when the message says anything else.
func PairsQuestion(text string, sc Scope) (Query, bool) {
	m := pairsOf(text, sc)
	if m.Outcome != Question {
		return Query{}, false
	}
	return *m.Query, true
}

// pairsOf is that question, or what is to be asked about its place; Chatter when the
// message says anything else.
func pairsOf(text string, sc Scope) Meaning {
	said, ok := oneLine(text)
	m := pairsQuestion.FindStringSubmatch(said)
	if m == nil || !ok {
		return Meaning{Outcome: Chatter}
	}
	var rest []string
	for _, w := range strings.Fields(strings.TrimRight(m[1], " ?!.")) {
		if !pairsFiller[strings.ToLower(w)] {
			rest = append(rest, w)
		}
	}
	q := Query{Kind: QueryPairs}
	switch {
	case len(rest) > 0:
		place := strings.Join(rest, " ")
		asked := understand(place, sc, 0)
		if asked.Outcome == Ask && (asked.Ask.Code == AskAHU || asked.Ask.Code == AskSite) { // "pairs AHU-99"
			for i := range asked.Ask.Choices {
				asked.Ask.Choices[i].Means = "pairs " + asked.Ask.Choices[i].Means
			}
			return asked
		}
		if asked.Outcome != Question || asked.Query.Kind != QueryHow || len(asked.Query.Places) == 0 {
			return Meaning{Outcome: Chatter}
		}
		q.Places = asked.Query.Places
	case sc.Here != "":
		q.Places = []plant.BankID{sc.Here.AHU()}
	}
	return Meaning{Outcome: Question, Query: &q, About: q.Places}
}
