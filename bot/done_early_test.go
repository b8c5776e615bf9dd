package bot_test

import (
	"testing"
	"time"

	"clogwise/internal/locale"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// The wording names the job and says that nothing is closed; the engine's tests
// play the rest.
func TestDoneEarlySaysNothingIsClosed(t *testing.T) {
	for _, tag := range locale.Languages() {
		at := say.At(plant.Site{Language: tag}, time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC))
		text := say.DoneEarly(at, "AHU-2 primary", at.Now)
		if got := say.NothingSaved(at.In, text); got != text {
			t.Errorf("%s: said twice: %q", tag, got)
		}
	}
	a := phrase.Asking{Choices: []phrase.Choice{{Keys: []string{"yes"}, Label: "yes, done"}}}
	if phrase.Complete("yes", a) != 0 || phrase.Complete("no", a) != -1 {
		t.Error("yes does not pick the one choice, or no does")
	}
}
