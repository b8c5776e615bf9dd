package bot_test

import (
	"testing"

	"clogwise/internal/phrase"
	"clogwise/internal/say"
)

// The wording names the job and says that nothing is closed; the engine's tests
// play the rest.
func TestDoneEarlySaysNothingIsClosed(t *testing.T) {
	text := say.DoneEarly("AHU-2 primary", "Thu 26 Nov 09:00")
	if got := say.NothingSaved(text); got != text {
		t.Errorf("said twice: %q", got)
	}
	a := phrase.Asking{Choices: []phrase.Choice{{Keys: []string{"yes"}, Label: "yes, done"}}}
	if phrase.Complete("yes", a) != 0 || phrase.Complete("no", a) != -1 {
		t.Error("yes does not pick the one choice, or no does")
	}
}
