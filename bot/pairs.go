package bot

import (
	"context"
	"regexp"
	"strings"

	"clogwise/internal/channel"
	"clogwise/internal/digest"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// pairsQuestion is "pairs AHU-3" or "how often primaries AHU-3": how many primaries
// to use up for each secondary. The place is what is left of it.
var pairsQuestion = regexp.MustCompile(`(?i)^\s*(?:pairs?\b|how often\b.*?\b(?:primar(?:y|ies)|pre-?filters?|pres?|panels?)\b)(.*)$`)

// pairsFiller are words between the question and the place.
var pairsFiller = wordSet("for of on in at the per each secondary secondaries be changed change to should we do changing")

// pairsPlace reads a message as that question; ok is false when it is none.
func (t *talk) pairsPlace(text string) (places []plant.BankID, ok bool) {
	m := pairsQuestion.FindStringSubmatch(text)
	if m == nil || strings.Contains(text, "\n") {
		return nil, false
	}
	var rest []string
	for _, w := range strings.Fields(strings.TrimRight(m[1], " ?!.")) {
		if !pairsFiller[strings.ToLower(w)] {
			rest = append(rest, w)
		}
	}
	if len(rest) == 0 {
		if t.scope.Here != "" {
			return []plant.BankID{t.scope.Here.AHU()}, true
		}
		return nil, true
	}
	meaning := phrase.Understand(strings.Join(rest, " "), t.scope)
	if meaning.Outcome != phrase.Question || meaning.Query.Kind != phrase.QueryHow || len(meaning.Query.Places) == 0 {
		return nil, false
	}
	return meaning.Query.Places, true
}

// pairsAsked answers how many primaries to use up for each secondary.
func (e *Engine) pairsAsked(ctx context.Context, t *talk) (handled bool, err error) {
	places, ok := t.pairsPlace(t.m.Text)
	if !ok {
		return false, nil
	}
	if len(places) == 0 {
		for _, s := range t.sites {
			places = append(places, plant.BankID(s.ID))
		}
	}
	var pairs []digest.Pair
	for _, ahu := range t.ahusOf(places) {
		p, ok, err := e.View.Pair(ctx, ahu, e.Now())
		if err != nil {
			return true, err
		}
		if ok {
			pairs = append(pairs, p)
		}
	}
	return true, e.reply(ctx, t, channel.Post{Text: say.Pairs(t.in(), pairs)})
}

// ahusOf lists the AHUs of places, each once.
func (t *talk) ahusOf(places []plant.BankID) (out []plant.BankID) {
	seen := map[plant.BankID]bool{}
	for _, p := range places {
		for _, b := range t.reg.Banks(p) {
			if ahu := b.AHU(); !seen[ahu] {
				seen[ahu] = true
				out = append(out, ahu)
			}
		}
	}
	return out
}
