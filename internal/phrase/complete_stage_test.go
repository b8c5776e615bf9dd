package phrase_test

import (
	"testing"

	"clogwise/internal/phrase"
)

// A question for the bank is answered in any word for its stage.
func TestCompleteTakesWordsForStages(t *testing.T) {
	asked := phrase.Asking{Code: phrase.AskBank, Choices: []phrase.Choice{
		{Keys: []string{"primary", "primary"}, Label: "primary", Means: "a"}, {Keys: []string{"secondary", "secondary"}, Label: "secondary", Means: "b"},
	}}
	for answer, want := range map[string]int{"bag": 1, "Bags": 1, "pre": 0, "sec": 1, "Vorfilter": 0, "bolsas": 1, "return": -1, "lunch": -1, "2": 1} {
		if got := phrase.Complete(answer, asked); got != want {
			t.Errorf("%q picks %d, want %d", answer, got, want)
		}
	}
	asked.Code = phrase.AskUnit
	if got := phrase.Complete("bag", asked); got != -1 {
		t.Errorf("bag answers a question for the unit: %d", got)
	}
}
