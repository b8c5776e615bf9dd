package bot_test

import (
	"strings"
	"testing"

	"clogwise/internal/ledger"
)

// lists counts the safe-work lists that stand in the outbox.
func (r *rig) lists() (n int) {
	r.t.Helper()
	posts, err := r.store.Posts(r.t.Context(), ledger.PostReady, 0)
	must(r.t, err)
	for _, p := range posts {
		if strings.HasPrefix(p.Key, "steps:") {
			n++
		}
	}
	return n
}

// A second bank of an AHU under work begins a job of its own and none anew at the
// first; the steps that went out hold for both, and the answer names the new one.
func TestSecondBankOfAnAHUUnderWork(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(tove, "on site AHU-3 pre, about to start")
	if n := r.lists(); n != 3 {
		t.Fatalf("%d lists at the start, want before, during and after", n)
	}
	_, reply := r.says(tove, "on site AHU-3 bag, about to start")
	wantText(t, reply, "AHU-3 secondary: job started, too; the steps sent for AHU-3 hold for it as well and are not sent again.")
	_, reply = r.says(tove, "start AHU-3 pre")
	wantText(t, reply, "AHU-3 primary: job started already, Wed 4 Mar 10:01; recorded once.")
	_, reply = r.says(tove, "start AHU-3 both banks")
	wantText(t, reply, "AHU-3 primary: job started already", "AHU-3 secondary: job started already")
	if n := r.kinds("job-start "); n != 2 {
		t.Errorf("%d starts recorded, want one a bank: %q", n, r.standing())
	}
	if n := r.lists(); n != 3 {
		t.Errorf("%d lists, want the three of the start", n)
	}
}

// "done" said again and again is one question, and one answer settles it; after
// that there is nothing to finish, and who says it is told so. Others' "done" is
// nobody's business.
func TestDoneWhereNothingIsOpen(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	if _, reply := r.says(tove, "done"); reply != "" {
		t.Errorf("chatter is answered: %s", reply)
	}
	r.says(tove, "start AHU-3 both banks")
	for range 3 {
		_, reply := r.says(tove, "done")
		wantText(t, reply, "Which filters were changed: AHU-3 primary, AHU-3 secondary, all or none?")
	}
	m, reply := r.says(tove, "none")
	wantText(t, reply, "AHU-3 primary: job closed.", "AHU-3 secondary: job closed.")
	if _, err := r.store.Post(t.Context(), "open:"+m.Key()); err == nil {
		t.Error("the same question is asked again after its answer")
	}
	for _, who := range []string{tove, idris} {
		_, reply = r.says(who, "done")
		wantText(t, reply, "No job is open here any more: AHU-3 primary and AHU-3 secondary closed by Tove, Wed 4 Mar")
	}
	if _, reply = r.says(guest, "done"); reply != "" {
		t.Errorf("a stranger's chatter is answered: %s", reply)
	}
	r.now = r.now.Add(13 * 3600e9)
	if _, reply = r.says(tove, "done"); reply != "" {
		t.Errorf("chatter of the next shift is answered: %s", reply)
	}
}
