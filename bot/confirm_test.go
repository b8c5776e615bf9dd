package bot_test

import (
	"strings"
	"testing"
	"time"
)

// aged gives the clinic's AHU-3 bags a life of ten weeks: 70 to 142 Pa.
func (r *rig) aged() {
	r.t.Helper()
	r.says(maren, "AHU-3 bags changed, 4 off, clean 64 Pa")
	for week := range 10 {
		r.now = r.now.AddDate(0, 0, 7)
		r.says(tove, "AHU-3 bag "+[]string{"70", "78", "86", "94", "102", "110", "118", "126", "134", "142"}[week]+" Pa")
	}
	r.now = r.now.AddDate(0, 0, 3)
}

// number is the last entry that a reply speaks of: "Saved as #12".
func number(t *testing.T, reply string) string {
	t.Helper()
	_, rest, ok := strings.Cut(reply, "Saved as #")
	n, _, _ := strings.Cut(rest, ";")
	if !ok {
		t.Fatalf("nothing saved: %q", reply)
	}
	return n
}

// The reply to a change-out that readings speak against says what holds, and what
// to type; and that is what the forecast does.
func TestChangeOutInDoubtIsConfirmedOrWithdrawn(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name string
		says func(seq string) string
		want []string
		new  bool // the new life has begun
	}{
		{"by its number", func(n string) string { return "confirm " + n }, []string{"confirmed (#"}, true},
		{"with a hash", func(n string) string { return "Confirmed #" + n }, []string{"confirmed (#"}, true},
		{"by its bank", func(string) string { return "confirm AHU-3 bag" }, []string{"confirmed (#"}, true},
		{"where the talk is", func(string) string { return "confirmed" }, []string{"confirmed (#"}, true},
		{"withdrawn", func(n string) string { return "undo " + n }, []string{"Taken back"}, false},
		{"another number", func(string) string { return "confirm 1" }, []string{"no change-out"}, false},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			r.aged()
			_, reply := r.says(tove, "AHU-3 bag changed yesterday")
			seq := number(t, reply)
			_, reply = r.says(tove, "AHU-3 bag 147 Pa")
			wantText(t, reply, "in doubt", "goes on without it", "confirm "+seq, "undo "+seq)
			if _, how := r.says(tove, "how AHU-3 bag"); strings.Contains(how, "0 h run") {
				t.Errorf("a new life before anybody confirmed it: %q", how)
			}
			_, reply = r.says(tove, c.says(seq))
			wantText(t, reply, c.want...)
			a, _, err := r.view.Assessment(t.Context(), "clinic/ahu-3/secondary")
			must(t, err)
			if begun := r.now.Sub(*a.LifeStart) < 7*24*time.Hour; begun != c.new {
				t.Errorf("present life from %v", a.LifeStart)
			}
		})
	}
}

// Told late, with readings since that have not fallen: the reply to the change-out
// itself says so.
func TestChangeOutToldLateIsDoubtedAtOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.aged()
	r.says(tove, "AHU-3 bag 147 Pa")
	r.now = r.now.AddDate(0, 0, 1)
	m, reply := r.says(tove, "AHU-3 bag changed 2 days ago")
	seq := number(t, reply)
	wantText(t, reply, "in doubt", "147 Pa", "confirm "+seq)
	if reply := r.press(tove, m, "It was changed"); !strings.Contains(reply, "confirmed") {
		t.Errorf("pressed: %q", reply)
	}
	if _, reply := r.says(tove, "confirm "+seq); !strings.Contains(reply, "already") {
		t.Errorf("said twice: %q", reply)
	}
	r.says(tove, "undo "+seq)
	if _, reply := r.says(tove, "confirm "+seq); !strings.Contains(reply, "taken back") {
		t.Errorf("confirmed after it was taken back: %q", reply)
	}
}

func TestStrangersConfirmNothing(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.aged()
	_, reply := r.says(tove, "AHU-3 bag changed yesterday")
	before := r.count()
	if _, reply := r.says(guest, "confirm "+number(t, reply)); !strings.Contains(reply, "Not saved") || r.count() != before {
		t.Errorf("%q", reply)
	}
	if _, reply := r.says(tove, "confirmed"); reply != "" {
		t.Errorf("talk was answered: %q", reply)
	}
}
