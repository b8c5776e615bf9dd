package bot_test

import (
	"strings"
	"testing"

	"clogwise/bot"
)

func TestTablesForTheAuditFile(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(tove, "AHU-3 bag 145 Pa")
	for text, want := range map[string]string{
		"digest xlsx": "clinic-2026-03-04.xlsx", "due csv": "clinic-2026-03-04.csv", "Chart AHU-3 bag XLSX": "clinic-ahu-3-secondary.xlsx",
		"chart AHU-3 bag csv": "clinic-ahu-3-secondary.csv",
	} {
		m, reply := r.says(guest, text)
		wantText(t, reply, "as a table")
		p, err := r.store.Post(t.Context(), bot.ReplyKey(m))
		must(t, err)
		if len(p.Post.Files) != 1 || p.Post.Files[0].Name != want || len(p.Post.Files[0].Data) < 60 {
			t.Errorf("%s: %d files, %+v", text, len(p.Post.Files), p.Post.Files)
		}
	}
	if _, reply := r.says(tove, "send me the csv"); reply != "" {
		t.Errorf("chatter is answered: %q", reply)
	}
}

// What the help offers beside the grammar is understood as it stands.
func TestHelpOfFormsAndTablesIsUnderstood(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(tove, "AHU-3 bag 100 Pa")
	_, help := r.says(tove, "help")
	_, line, ok := strings.Cut(help, "At once: ")
	if !ok {
		t.Fatalf("help lacks forms and tables: %q", help)
	}
	for _, offered := range strings.Split(line, " · ") {
		text, _, _ := strings.Cut(offered, " (")
		if _, reply := r.says(tove, text); reply == "" || strings.Contains(reply, "did not understand") {
			t.Errorf("%q is answered %q", text, reply)
		}
	}
}
