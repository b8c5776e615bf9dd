package bot_test

import (
	"strings"
	"testing"

	"clogwise/internal/ledger"
)

// supervisorPosts are the texts sent to the clinic's supervisor.
func (r *rig) supervisorPosts() []string {
	r.t.Helper()
	due, err := r.store.Posts(r.t.Context(), ledger.PostReady, 0)
	must(r.t, err)
	var out []string
	for _, p := range due {
		if p.Post.To.Channel == maren {
			out = append(out, p.Post.Text)
		}
	}
	return out
}

// An emergency is answered at once with the number to call, whoever reports it;
// nothing is recorded, and the supervisor gets the words.
func TestEmergencies(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ who, text string }{
		{tove, "AHU-2 Motor brennt"},
		{tove, "theres smoke coming out of ahu1"},
		{guest, "fire in ahu2"},
		{tove, "AHU-3 bag 150 Pa, Pell got a shock from ahu3"},
		{guest, "Idris is hurt at AHU-3"},
		{tove, "smell gas in plant room"},
	} {
		t.Run(c.text, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			r.says(tove, "how AHU-3") // the place last talked about
			_, reply := r.says(c.who, c.text)
			if !strings.HasPrefix(reply, "Call the local emergency number first") {
				t.Errorf("answered %q", reply)
			}
			r.wantStanding()
			posts := r.supervisorPosts()
			if len(posts) != 1 || !strings.Contains(posts[0], c.text) || !strings.Contains(posts[0], "EMERGENCY") || !strings.Contains(posts[0], c.who) {
				t.Errorf("the supervisor was sent %q", posts)
			}
		})
	}
}

// Somebody may report a fire by editing an earlier message: that reaches the
// supervisor too, once for each text.
func TestEmergencyByEdit(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m, _ := r.says(tove, "can I swap AHU-2 bags with the fan running")
	m, reply := r.edit(m, "AHU-2 motor is on fire")
	wantText(t, reply, "emergency number")
	r.hear(m) // sent again
	if posts := r.supervisorPosts(); len(posts) != 2 {
		t.Errorf("the supervisor was sent %q", posts)
	}
}

func TestOutdoorSmokeIsNoEmergency(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(tove, "wildfire smoke this week")
	r.wantStanding("event clinic")
	if posts := r.supervisorPosts(); len(posts) != 0 {
		t.Errorf("the supervisor was sent %q", posts)
	}
}

// Work on a running fan is refused with nothing recorded, whatever reading rides
// along; the supervisor is told.
func TestRunningFanRecordsNothing(t *testing.T) {
	t.Parallel()
	for _, text := range []string{
		"can I work with the fan running on AHU-1? pre 80 Pa", "quitar filtro ahu3 con ventilador en marcha",
		"AHU-3 Taschen wechseln bei laufendem Ventilator 90 Pa", "is it safe to go in AHU-3",
	} {
		t.Run(text, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			_, reply := r.says(tove, text)
			wantText(t, reply, "our supervisor is told")
			r.wantStanding()
			if posts := r.supervisorPosts(); len(posts) != 1 || !strings.Contains(posts[0], tove) {
				t.Errorf("the supervisor was sent %q", posts)
			}
		})
	}
}
