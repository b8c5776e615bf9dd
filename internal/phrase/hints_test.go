package phrase_test

import (
	"strings"
	"testing"

	"clogwise/internal/locale"
	"clogwise/internal/phrase"
)

// What the texts of the doubts, the due list and the questions ask people to type
// is understood, word for word, of a bank and in the talk about it.
func TestWhatTextsAskToType(t *testing.T) {
	t.Parallel()
	cases := []struct{ scope, message, means string }{
		// doubts: "Say what was fixed, or changed", "say so with the date", "Say wet with a
		// reading", "say zero ok", "undo the change-out", "give it for the right bank".
		{"north", "AHU-2 secondary fixed", `defect ahu-2/secondary "secondary fixed" fixed`},
		{"north", "AHU-2 secondary door closed", `defect ahu-2/secondary "secondary door closed" fixed`},
		{"north", "AHU-2 secondary changed", "swap ahu-2/secondary lacks count+clean_pa"},
		{"north", "AHU-2 secondary changed 3 Mar", "swap ahu-2/secondary at 2026-03-03 12:00 GMT lacks count+clean_pa"},
		{"north", "AHU-2 secondary 190 Pa wet", "reading ahu-2/secondary 190 Pa wet"},
		{"north", "AHU-2 secondary zero ok", "zero-check ahu-2/secondary offset 0 Pa"},
		{"thread", "fixed", `defect ahu-3/secondary "fixed" fixed`},
		{"thread", "repaired", `defect ahu-3/secondary "repaired" fixed`},
		{"thread", "tube refitted", `defect ahu-3/secondary "tube refitted" fixed`},
		{"thread", "door closed", `defect ahu-3/secondary "door closed" fixed`},
		{"thread", "changed 3 Mar", "swap ahu-3/secondary at 2026-03-03 12:00 GMT lacks count+clean_pa"},
		{"thread", "zero ok", "zero-check ahu-3/secondary offset 0 Pa"},
		{"thread", "205 Pa wet", "reading ahu-3/secondary 205 Pa wet [here]"},
		{"thread", "undo", "query undo"},
		{"north", "undo 4127", "query undo #4127"},
		// lists and answers
		{"north", "orders", "query orders"},
		{"north", "visits", "query visits"},
		{"north", "owed", "query owed"},
		{"north", "due", "query due"},
		{"north", "help", "query help"},
		{"north", "steps AHU-3", "query steps ahu-3"},
		{"north", "stock BAG-592 14", "stock northgate BAG-592 14"},
		{"north", "wildfire smoke AHU-1", `event ahu-1 "wildfire smoke"`},
		{"north", "skip AHU-3: no key", `skip ahu-3 "no key" [access]`},
		{"north", "defer AHU-2 bag to 12 Mar: theatre week", `defer ahu-2/secondary until 2026-03-12 "theatre week"`},
		{"north", "correction AHU-2 primary should be 135 Pa not 112 Pa", "reading ahu-2/primary 135 Pa corrects was 112 Pa"},
	}
	for _, c := range cases {
		t.Run(c.scope+": "+c.message, func(t *testing.T) {
			t.Parallel()
			if got := summary(phrase.Understand(c.message, scopeNamed(c.scope))); got != c.means {
				t.Errorf("got %s, want %s", got, c.means)
			}
		})
	}
}

// Every example of the help is understood as typed.
func TestHelpIsUnderstood(t *testing.T) {
	t.Parallel()
	n := 0
	for _, line := range strings.Split(phrase.Help(locale.Locale{}), "\n") {
		_, examples, _ := strings.Cut(line, ": ")
		if i := strings.Index(examples, " (or "); i >= 0 {
			examples = examples[:i]
		}
		for _, e := range strings.Split(examples, " · ") {
			n++
			sc := scopeNamed("north")
			switch {
			case strings.HasPrefix(e, "EF-4"):
				sc = scopeNamed("clinic")
			case strings.HasPrefix(e, "AHU-6"):
				sc = scopeNamed("job")
			}
			if m := phrase.Understand(e, sc); m.Outcome == phrase.Chatter || m.Outcome == phrase.Refused || m.Outcome == phrase.Ask && m.Ask.Code != phrase.AskWhen {
				t.Errorf("%q means %s", e, summary(m))
			}
		}
	}
	if n < 25 {
		t.Errorf("only %d examples found", n)
	}
}
