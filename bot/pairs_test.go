package bot_test

import (
	"fmt"
	"strings"
	"testing"
)

// pairAged gives both banks of AHU-3 a life, the primary's of six weeks.
func (r *rig) pairAged() {
	r.t.Helper()
	r.says(maren, "AHU-3 bags changed, 4 off, clean 64 Pa\nAHU-3 pre changed, 4 off, clean 50 Pa")
	for week := range 6 {
		r.now = r.now.AddDate(0, 0, 7)
		r.says(tove, fmt.Sprintf("AHU-3 pre %d Pa, bag %d Pa", 58+12*week, 70+6*week))
	}
}

func TestPairsAreWeighed(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.pairAged()
	for _, ask := range []string{"pairs AHU-3", "how often primaries AHU-3", "How often should we change the pre-filters on AHU-3?"} {
		_, reply := r.says(tove, ask)
		wantText(t, reply, "AHU-3: cheapest is", "for each secondary", "a year", "weeks", "With ")
	}
	_, reply := r.says(tove, "pairs")
	wantText(t, reply, "AHU-3")
	_, reply = r.says(tove, "pairs SF-1") // one bank, without a gauge
	wantText(t, reply, "Nothing to weigh")
	if _, reply := r.says(tove, "pairs of gloves are in the van"); reply != "" {
		t.Errorf("talk was answered: %q", reply)
	}
}

// The answer about money says what other prices and other dust would change.
func TestCostTellsHowFirmItIs(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.pairAged()
	_, reply := r.says(tove, "cost AHU-3 bag")
	wantText(t, reply, "a fifth up or down", "tariff ", "filter price ", "dust ", "Keeping to the date costs")
	if n := strings.Count(reply, "\n"); n > 4 {
		t.Errorf("%d lines: %q", n+1, reply)
	}
}
