package ledgertest

import (
	"context"
	"encoding/json"
	"testing"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
)

// ForgetPosts implements ledger.Store.
func (f *Faulty) ForgetPosts(ctx context.Context, before time.Time, naming string) (int64, error) {
	if err := f.out(); err != nil {
		return 0, err
	}
	return f.store.ForgetPosts(ctx, before, naming)
}

// testForget: text of what was said is forgotten after its time, what is still
// to be said is not, and a key stays used.
func testForget(t *testing.T, s ledger.Store) {
	ctx := t.Context()
	old := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	put := func(key, text string, at time.Time) {
		t.Helper()
		p := ledger.OutboxPost{Key: key, Site: "s", State: ledger.PostReady, Created: at, NotBefore: at, Recipe: json.RawMessage(`{"said":"` + text + `"}`),
			Post: channel.Post{To: channel.Address{Platform: "test", Channel: "c"}, Text: text,
				Choices: []channel.Choice{{Label: "Undo", Action: "undo", Value: key}}}}
		if _, err := s.Commit(ctx, ledger.Batch{Posts: []ledger.OutboxPost{p}}); err != nil {
			t.Fatal(err)
		}
	}
	sent := func(key, text string, at time.Time) {
		t.Helper()
		put(key, text, at)
		if err := s.MarkSent(ctx, key, "id-"+key, at); err != nil {
			t.Fatal(err)
		}
	}
	sent("old", "Tove read 80 Pa", old)
	sent("older", "Jörg read 80 Pa", old.Add(-time.Hour))
	sent("new", "Tove read 81 Pa", old.AddDate(0, 0, 9))
	put("unsent", "Tove read 82 Pa", old)
	forget := func(before time.Time, naming string, want int64) {
		t.Helper()
		if n, err := s.ForgetPosts(ctx, before, naming); err != nil || n != want {
			t.Errorf("forgot %d posts (%v), want %d", n, err, want)
		}
	}
	forget(old.AddDate(0, 0, 1), "Jörg", 1)
	forget(old.AddDate(0, 0, 1), "", 1)
	forget(old.AddDate(0, 0, 1), "", 0)
	for key, want := range map[string]string{"old": "", "older": "", "new": "Tove read 81 Pa", "unsent": "Tove read 82 Pa"} {
		p, err := s.Post(ctx, key)
		if err != nil {
			t.Fatal(err)
		}
		if p.Post.Text != want || (len(p.Recipe) > 0) != (want != "") || (len(p.Post.Choices) > 0) != (want != "") || p.Post.To.Channel != "c" {
			t.Errorf("%s is %+v", key, p)
		}
	}
	put("old", "again", old)
	if p, err := s.Post(ctx, "old"); err != nil || p.Post.Text != "" || p.State != ledger.PostSent {
		t.Errorf("a forgotten key was used anew: %+v %v", p, err)
	}
}
