package bot_test

import (
	"strings"
	"testing"
)

// Figures that can hardly be are asked about before they count; what differs from
// the register is said.
func TestUnlikelyFiguresAreAskedAbout(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, before, say, asks string
	}{
		{"far too many filters", "", "AHU-1 pre changed, 400 off, clean 52 Pa", "The register says"},
		{"airflow", "", "AHU-1 pre 131 Pa at 40 m3/s", "times the design airflow"},
		{"creeping fan", "", "AHU-1 pre 131 Pa at 10 %", "very slow"},
		{"read high since", "AHU-1 pre 131 Pa", "AHU-1 pre changed yesterday 15:00, 4 off, clean 40 Pa", "after that change-out"},
		{"told twice", "AHU-1 pre changed, 4 off, clean 52 Pa", "AHU-1 pre changed, 4 off, clean 50 Pa", "already recorded, as #"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			if c.before != "" {
				r.says(tove, c.before)
			}
			was := r.count()
			_, reply := r.says(tove, c.say)
			wantText(t, reply, c.asks, "Is that right?", "Nothing saved yet")
			if r.count() != was {
				t.Errorf("recorded: %q", r.standing())
			}
			if _, reply = r.says(tove, "yes"); !strings.Contains(reply, "Saved as #") {
				t.Errorf("after yes: %q", reply)
			}
		})
	}
}

func TestAChangeOutThatDiffersFromTheRegisterIsMinded(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	_, reply := r.says(tove, "AHU-1 pre changed, 3 off, clean 52 Pa")
	wantText(t, reply, "Mind: ", "The register says", "not 3", "Saved as #")
}
