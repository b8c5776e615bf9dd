package phrase

import (
	"slices"
	"strings"
)

// Complete reads an answer to a question that was asked before: the index of
// the choice it picks, or -1 when it is not an answer to it (then it is read as
// a message of its own).
func Complete(answer string, a Asking) int {
	if len(answer) > 200 || len(a.Choices) == 0 {
		return -1
	}
	said := plain(answer)
	if said == "" {
		return -1
	}
	for i, c := range a.Choices {
		for _, k := range append([]string{c.Label}, c.Keys...) {
			if plain(k) == said {
				return i
			}
		}
	}
	if i := byStage(said, a); i >= 0 {
		return i
	}
	if n, ok := ordinals[said]; ok && n < len(a.Choices) {
		return n
	}
	if agrees[said] && (len(a.Choices) == 1 || a.Code == AskOrder || a.Code == AskMixedUnits || a.Code == AskHigh) {
		return 0
	}
	return -1
}

// byStage reads an answer to the question for a bank in any word for its stage:
// "bag" picks the secondary.
func byStage(said string, a Asking) int {
	if a.Code != AskBank {
		return -1
	}
	for _, phrases := range stageWords {
		for _, p := range phrases {
			if strings.Join(p.words, "") != said && !(p.plural && strings.Join(p.words, "")+"s" == said) {
				continue
			}
			return slices.IndexFunc(a.Choices, func(c Choice) bool { return slices.Contains(c.Keys, string(p.stage)) })
		}
	}
	return -1
}

// plain is an answer, or a word that picks a choice, without case, blanks,
// punctuation and manners.
func plain(s string) string { return strings.Join(answerWords(s), "") }

// answerWords are the words of an answer without the manners around it.
func answerWords(answer string) []string {
	var out []string
	for _, t := range lex(answer) {
		switch t.kind {
		case tWord:
			if !manners[t.text] {
				out = append(out, t.text)
			}
		case tNumber:
			if t.num.decimals > 0 {
				out = append(out, t.num.digits)
				continue
			}
			out = append(out, trimZeros(t.num.digits))
		case tUnit:
			out = append(out, strings.ReplaceAll(strings.ToLower(t.text), "h2o", "wc"))
		case tBreak:
			if len(out) > 0 {
				out = append(out, "\n")
			}
		case tPunct:
			if t.text == ">" {
				out = append(out, ">")
			}
		}
	}
	for len(out) > 0 && out[len(out)-1] == "\n" {
		out = out[:len(out)-1]
	}
	if len(out) == 0 { // "ok" or "please" is all there was
		for _, t := range lex(answer) {
			if t.kind == tWord {
				out = append(out, t.text)
			}
		}
	}
	return out
}

// manners are words an answer may carry without changing.
var manners = set("the please pls thanks thx ta its it is was meant i mean option number no nr choice that one ok yes sorry think at site bank der die das den bitte el la los por favor en")

var agrees = set("ok okay yes y yep yeah right correct confirm confirmed sure ja stimmt genau si vale correcto")

var ordinals = map[string]int{
	"1": 0, "2": 1, "3": 2, "first": 0, "second": 1, "third": 2, "one": 0, "two": 1, "three": 2, "1st": 0, "2nd": 1, "3rd": 2,
	"a": 0, "b": 1, "c": 2, "erste": 0, "zweite": 1, "dritte": 2, "primero": 0, "segundo": 1, "tercero": 2, "eins": 0, "zwei": 1, "drei": 2,
}

func set(words string) map[string]bool {
	out := map[string]bool{}
	for _, w := range strings.Fields(words) {
		out[w] = true
	}
	return out
}
