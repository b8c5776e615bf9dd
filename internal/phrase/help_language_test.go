package phrase_test

import (
	"fmt"
	"strings"
	"testing"

	"clogwise/internal/locale"
	"clogwise/internal/phrase"
)

// The help of each language gives its examples in that language, with its decimal
// mark, and every one means what the English one in its place means.
func TestHelpIsUnderstoodInEveryLanguage(t *testing.T) {
	t.Parallel()
	examples := func(tag string) (out []string) {
		for _, line := range strings.Split(phrase.Help(locale.Of(tag)), "\n") {
			_, rest, _ := strings.Cut(line, ": ")
			rest, _, _ = strings.Cut(rest, " (o")
			out = append(out, strings.Split(rest, " · ")...)
		}
		return out
	}
	scope := func(e string) phrase.Scope {
		switch {
		case strings.HasPrefix(e, "EF-4"):
			return scopeNamed("clinic")
		case strings.Contains(e, "AHU-6") && !strings.Contains(e, "09:00"):
			return scopeNamed("job")
		}
		return scopeNamed("north")
	}
	kinds := func(e string) string {
		m := phrase.Understand(e, scope(e))
		out := []string{string(m.Outcome)}
		for _, it := range m.Items {
			out = append(out, fmt.Sprint(it.Body.Kind(), " ", it.Place, " ", it.CorrectsLast))
		}
		if m.Query != nil {
			out = append(out, string(m.Query.Kind))
		}
		return strings.Join(out, ", ")
	}
	english := examples("en")
	for _, tag := range []string{"de", "es"} {
		own := examples(tag)
		if len(own) != len(english) {
			t.Fatalf("%s has %d examples, English %d", tag, len(own), len(english))
		}
		for i, e := range own {
			if got, want := kinds(e), kinds(english[i]); got != want {
				t.Errorf("%s: %q means %s; %q means %s", tag, e, got, english[i], want)
			}
		}
	}
}
