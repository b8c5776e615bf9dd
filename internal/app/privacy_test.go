package app_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/demo"
	"clogwise/internal/ledger"
)

// A person who has left is shown under an alias everywhere; the entries stay.
func TestEraseName(t *testing.T) {
	t.Parallel()
	w := connected(t, nil)
	w.answer(t, w.Say(room, toveID, "AHU-1 pre 80 Pa"))
	w.answer(t, w.Say(room, marenID, "book AHU-2 pre 1 Dec 09:00 with Tove and Idris"))
	w.answer(t, w.Say(room, toveID, "AHU-2 bags changed, 4 off, clean 60 Pa"))
	if _, err := w.app.EraseName(w.ctx, "Tove", "test"); err == nil || !strings.Contains(err.Error(), "register of Quillford Clinic") {
		t.Errorf("while in the crew: %v", err)
	}
	c := demo.Portfolio()
	c.Sites = c.Sites[:1]
	c.Sites[0].Channel, c.Sites[0].Crew = room, []string{"Idris", "Pell"}
	if _, err := w.app.ApplyRegister(w.ctx, c, "test", "leaver", present); err != nil {
		t.Fatal(err)
	}
	mine, err := w.app.EntriesOf(w.ctx, "tove")
	if err != nil || len(mine) != 3 {
		t.Errorf("%d entries of Tove, %v", len(mine), err)
	}
	alias, err := w.app.EraseName(w.ctx, "Tove", "test")
	if err != nil {
		t.Fatal(err)
	}
	for _, ask := range []string{"why AHU-2 bag", "digest", "how AHU-2 pre"} {
		if p := w.answer(t, w.Say(room, marenID, ask)); strings.Contains(p.Text, "Tove") {
			t.Errorf("%s shows the name: %q", ask, p.Text)
		}
	}
	all, err := w.app.Store.Entries(w.ctx, ledger.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	shown := 0
	for _, x := range all {
		if js, err := json.Marshal(x); err != nil || strings.Contains(string(js), "Tove") {
			t.Errorf("entry shows the name: %s %v", js, err)
		}
		if x.By == alias {
			shown++
		}
	}
	if shown != 2 {
		t.Errorf("%d entries under %s", shown, alias)
	}
	var out bytes.Buffer
	if n, err := w.app.ExportLedger(w.ctx, "all.ndjson", &out); err != nil || n != len(all) || strings.Contains(out.String(), "Tove") {
		t.Errorf("the export of %d of %d entries shows the name, or %v", n, len(all), err)
	}
	posts, err := w.app.Store.Posts(w.ctx, ledger.PostSent, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range posts {
		if strings.Contains(p.Post.Text+string(p.Recipe), "Tove") {
			t.Errorf("the outbox keeps the name: %+v", p)
		}
	}
	if mine, err := w.app.EntriesOf(w.ctx, "Tove"); err != nil || len(mine) != 0 {
		t.Errorf("%d entries still found by the name, %v", len(mine), err)
	}
}

// What was unclear, and what was said, is forgotten after its time; a button
// under it is out of date then. Chatter is not kept to begin with.
func TestTextIsForgotten(t *testing.T) {
	t.Parallel()
	w := connected(t, nil)
	p := w.answer(t, w.Say(room, toveID, "AHU-3 62 Pa by the back stairs"))
	w.Say(room, toveID, "lunch at the crooked spoon?")
	w.answer(t, w.Say(room, toveID, "due"))
	kept := func() string {
		posts, err := w.app.Store.Posts(w.ctx, "", 0)
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		for _, p := range posts {
			b.WriteString(p.Post.Text + string(p.Recipe))
		}
		return b.String()
	}
	if got := kept(); strings.Contains(got, "crooked spoon") || !strings.Contains(got, "back stairs") {
		t.Errorf("kept: %q", got)
	}
	for forgotten := int64(0); forgotten < 2; { // a post is marked as sent a moment after it is seen
		n, err := w.app.Store.ForgetPosts(w.ctx, present.Add(time.Hour), "")
		if err != nil {
			t.Fatal(err)
		}
		forgotten += n
	}
	if got := kept(); got != "" {
		t.Errorf("kept after its time: %q", got)
	}
	if err := w.Press(p, "primary", toveID); err != nil {
		t.Fatal(err)
	}
	if _, err := w.WaitPost(w.ctx, func(p2 fakeslack.Post) bool { return strings.Contains(p2.Text, "out of date") }); err != nil || w.readings(t) != 0 {
		t.Errorf("an old button: %v, %d readings", err, w.readings(t))
	}
}
