package phrase_test

import (
	"strings"
	"testing"

	"clogwise/internal/phrase"
)

// Every way to say the second of two orders picks it.
func TestTheOtherWayRoundIsUnderstood(t *testing.T) {
	t.Parallel()
	m := phrase.Understand("AHU-1 131/148", scopeNamed("demo"))
	if m.Outcome != phrase.Ask || m.Ask.Code != phrase.AskOrder || !strings.Contains(m.Ask.Text, "the other way round") {
		t.Fatalf("%+v", m)
	}
	for _, said := range []string{"the other way round", "Other way round.", "other way around", "andersrum", "umgekehrt", "al revés", "2", "secondary first"} {
		if got := phrase.Complete(said, *m.Ask); got != 1 {
			t.Errorf("%q picks %d, want 1", said, got)
		}
	}
	if got := phrase.Complete("ok", *m.Ask); got != 0 {
		t.Errorf("ok picks %d", got)
	}
}
