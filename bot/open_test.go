package bot_test

import (
	"strings"
	"testing"
	"time"
)

// Questions do not get lost behind newer ones: each answer brings the next.
func TestOpenQuestionsAreAskedAgain(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(tove, "ahu1 131/148")
	r.says(tove, "ahu3 94, 151")
	m, reply := r.says(tove, "ok")
	wantText(t, reply, "AHU-3 primary: 94 Pa")
	p, err := r.store.Post(t.Context(), "open:"+m.Key())
	must(t, err)
	wantText(t, p.Post.Text, "1 more question is open", "AHU-1", "131")
	_, reply = r.says(tove, "the other way round")
	wantText(t, reply, "AHU-1 primary: 148 Pa")
	if r.kinds("reading") != 4 {
		t.Errorf("standing %q", r.standing())
	}
	if _, reply = r.says(tove, "ok"); reply != "" {
		t.Errorf("nothing is open, yet: %q", reply)
	}
}

// A word long after a question may be meant for something else.
func TestLateAnswersShowTheQuestionAgain(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		between func(*rig)
	}{
		{"time", func(r *rig) { r.now = r.now.Add(40 * time.Minute) }},
		{"messages", func(r *rig) {
			for range 9 {
				r.says(tove, "good morning everybody")
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			r.says(tove, "ahu1 131/148")
			c.between(r)
			_, reply := r.says(tove, "1")
			wantText(t, reply, "asked a while ago", "ahu1 131/148", "Nothing saved")
			if r.kinds("reading") != 0 {
				t.Error("recorded")
			}
			r.says(tove, "1")
			if r.kinds("reading") != 2 {
				t.Errorf("standing %q", r.standing())
			}
		})
	}
}

func TestUndoRightAfterAQuestionDropsIt(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(tove, "AHU-2 pre 90 Pa")
	was := r.count()
	r.says(tove, "ahu1 131/148")
	_, reply := r.says(tove, "undo")
	wantText(t, reply, "dropped", "ahu1 131/148")
	if r.count() != was {
		t.Errorf("standing %q", r.standing())
	}
	if _, reply = r.says(tove, "ok"); reply != "" {
		t.Errorf("answered a dropped question: %q", reply)
	}
	r.says(tove, "undo")
	if r.kinds("reading") != 0 {
		t.Errorf("the next undo takes back the entry: %q", r.standing())
	}
}

// The words of the button confirm a change-out in doubt, typed too.
func TestTypedWordsConfirmAChangeOutInDoubt(t *testing.T) {
	t.Parallel()
	for _, said := range []string{"it was changed", "Yes, it was changed.", "1"} {
		t.Run(said, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			r.aged()
			r.says(tove, "AHU-3 bag 147 Pa")
			r.now = r.now.AddDate(0, 0, 1)
			_, reply := r.says(tove, "AHU-3 bag changed 2 days ago")
			wantText(t, reply, "in doubt")
			swaps := r.kinds("swap")
			_, reply = r.says(tove, said)
			if !strings.Contains(reply, "confirmed") || r.kinds("swap") != swaps {
				t.Errorf("%q: %q, %d change-outs, want %d", said, reply, r.kinds("swap"), swaps)
			}
		})
	}
}
