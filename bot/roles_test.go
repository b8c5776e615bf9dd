package bot_test

import (
	"testing"
)

// A display name grants nothing: the edge vouches for who somebody is.
func TestImpostorInNameAlone(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	said, _ := r.says(maren, "AHU-1 pre 80 Pa")
	m := r.message("U0IMPOSTOR", "AHU-1 pre 95 Pa")
	m.UserName = maren
	r.hear(m)
	wantText(t, r.reply(m), "crew")
	m = r.message("U0IMPOSTOR", "undo")
	m.UserName = maren
	r.hear(m)
	r.wantStanding("reading clinic/ahu-1/primary 80 Pa hz=?")

	// One of the crew who takes Maren's name for a display name is told apart.
	m = r.message("U0TOVE", "AHU-1 pre 81 Pa")
	m.UserName, m.Is = maren, []string{tove}
	r.hear(m)
	made, err := r.engine.Store.Entry(t.Context(), int64(r.count()))
	must(t, err)
	if made.By != maren+" (U0TOVE)" {
		t.Errorf("signed %q", made.By)
	}
	m = r.message("U0TOVE", "undo")
	m.UserName, m.Is, m.Thread = maren, []string{tove}, said.ID
	r.hear(m)
	r.wantStanding("reading clinic/ahu-1/primary 80 Pa hz=?")

	// A group of the register is enough to record.
	m = r.message("U0NEW", "AHU-2 pre 70 Pa")
	m.Is = []string{idris}
	r.hear(m)
	wantText(t, r.reply(m), "70 Pa")
}
