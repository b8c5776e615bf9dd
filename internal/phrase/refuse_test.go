package phrase_test

import (
	"slices"
	"strings"
	"testing"

	"clogwise/internal/phrase"
	"clogwise/internal/plant"
)

// What is said of an emergency begins with the call for help, and says of readings
// beside it that they are not saved.
func TestSafetyReplies(t *testing.T) {
	t.Parallel()
	cases := []struct {
		message string
		says    []string
		not     []string
	}{
		{"AHU-2 Motor brennt", []string{"Call the local emergency number first"}, []string{"saved"}},
		{"AHU-2 bag 150 pa, motor on fire", []string{"Call the local emergency number first", "Nothing of this message was saved"}, nil},
		{"Pell got a shock from AHU-3", []string{"Call the local emergency number first", "only if that is safe"}, []string{"smoke"}},
		{"AHU-4 smoke", []string{"emergency number", "wildfire smoke AHU-1"}, nil},
		{"can I work with the fan running on AHU-1? pre 80 Pa", []string{"No.", "Nothing of that line was saved"}, nil},
		{"swap filters AHU-3 fan running", []string{"No.", "no steps"}, []string{"saved"}},
		{"is it safe to go in AHU-3", []string{"I can't say that", "authorised"}, []string{"Yes"}},
	}
	for _, c := range cases {
		t.Run(c.message, func(t *testing.T) {
			t.Parallel()
			m := phrase.Understand(c.message, scopeNamed("north"))
			if m.Outcome != phrase.Refused || len(m.Items) > 0 {
				t.Fatalf("means %s", summary(m))
			}
			for _, s := range c.says {
				if !strings.Contains(m.Reply, s) {
					t.Errorf("%q lacks %q", m.Reply, s)
				}
			}
			for _, s := range c.not {
				if strings.Contains(m.Reply, s) {
					t.Errorf("%q holds %q", m.Reply, s)
				}
			}
		})
	}
}

// An emergency is about the places it names, and never about the one that was
// last talked of.
func TestEmergencyIsAboutWhatItNames(t *testing.T) {
	t.Parallel()
	for message, about := range map[string][]plant.BankID{
		"smell gas in plant room":     nil,
		"smoke from AHU-2 motor":      {"northgate/ahu-2"},
		"cut my hand on the frame":    nil,
		"fire at Eastmoor Depot":      {"eastmoor"},
		"AHU-33 is on fire":           nil,
		"fire in AHU-1 and AHU-2 now": {"northgate/ahu-1", "northgate/ahu-2"},
	} {
		m := phrase.Understand(message, scopeNamed("thread"))
		if m.Code != phrase.RefuseEmergency || !slices.Equal(m.About, about) {
			t.Errorf("%q: %s, about %v", message, summary(m), m.About)
		}
	}
}

// The reply says that a supervisor is told only where there is one to tell.
func TestToldOnlyWhereThereIsOne(t *testing.T) {
	t.Parallel()
	for by, told := range map[string]bool{"Tove": true, "Maren": false} { // Maren is the clinic's only supervisor
		sc := scopeNamed("demo")
		sc.By = by
		for _, message := range []string{"AHU-2 Motor brennt", "swap filters AHU-3 fan running", "is AHU-3 isolated", "remove lock on AHU-3"} {
			m := phrase.Understand(message, sc)
			if got := strings.Contains(m.Reply, "our supervisor is told"); m.Outcome != phrase.Refused || got != told {
				t.Errorf("%s: %q is answered %q", by, message, m.Reply)
			}
		}
	}
}

// An emergency is heard in a message that is too long to be read otherwise.
func TestEmergencyInALongMessage(t *testing.T) {
	t.Parallel()
	m := phrase.Understand("AHU-2 is on fire\n"+strings.Repeat("AHU-3 bag 205 pa\n", 1000), scopeNamed("north"))
	if m.Code != phrase.RefuseEmergency || len(m.Items) > 0 {
		t.Errorf("means %s", summary(m))
	}
}
