package ledgertest

import (
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

const lease = time.Minute

// claim takes up to limit posts of the terminal at a time and returns their keys.
func claim(t *testing.T, s ledger.Store, now time.Time, limit int) []string {
	t.Helper()
	ps, err := s.Claim(t.Context(), "terminal", now, lease, limit)
	if err != nil {
		t.Fatalf("Claim: %v", err)
	}
	return keysOf(ps)
}

func keysOf(ps []ledger.OutboxPost) []string {
	keys := []string{}
	for _, p := range ps {
		keys = append(keys, p.Key)
	}
	return keys
}

func find(t *testing.T, s ledger.Store, key string) ledger.OutboxPost {
	t.Helper()
	p, err := s.Post(t.Context(), key)
	if err != nil {
		t.Fatalf("Post(%s): %v", key, err)
	}
	return p
}

func inState(t *testing.T, s ledger.Store, state ledger.PostState, want ...string) {
	t.Helper()
	ps, err := s.Posts(t.Context(), state, 0)
	if err != nil {
		t.Fatalf("Posts(%s): %v", state, err)
	}
	same(t, "posts in state "+string(state), keysOf(ps), append([]string{}, want...))
}

func testPostOnce(t *testing.T, s ledger.Store) {
	other := post("a", "")
	other.Post.Text = "another text"
	put(t, s, post("a", ""), other)
	put(t, s, other, post("b", ""))
	inState(t, s, "", "a", "b")
	if got := find(t, s, "a").Post.Text; got != "text of a" {
		t.Errorf("the second put changed the text to %q", got)
	}
	must(t, s.MarkSent(t.Context(), "a", "id-1", monday))
	put(t, s, other)
	inState(t, s, ledger.PostSent, "a")

	// Entries that were known before do not keep a new post out.
	commit(t, s, ledger.Batch{Entries: readings("x", bank, 1)})
	commit(t, s, ledger.Batch{Entries: readings("x", bank, 1), Posts: []ledger.OutboxPost{post("already", "")}})
	inState(t, s, ledger.PostReady, "b", "already")
}

func testPostComesBack(t *testing.T, s ledger.Store) {
	full := ledger.OutboxPost{
		Key: "full", Site: "harbour", State: ledger.PostWaiting,
		Post: channel.Post{
			To:      channel.Address{Platform: "terminal", Channel: "C1", Thread: "T1", OnlyFor: "U1"},
			Text:    "AHU-3 secondary: 145 Pa, 0.58 in wc <&> \"ok\" Δ",
			Choices: []channel.Choice{{Label: "Undo", Action: "undo", Value: "4127", Keys: []string{"undo", "u"}}},
			Files:   []channel.File{{Name: "a.png", Title: "A", Data: []byte{0x89, 0, 0xff}}, {Name: "b.txt", Title: "B", Data: []byte("b")}},
		},
		Recipe: json.RawMessage(`{"kind":"reply","seqs":[1,2]}`), WaitsFor: map[plant.BankID]int64{bank: 9, "harbour/ahu-3/primary": 7},
		Created: monday, NotBefore: monday.Add(time.Hour),
	}
	put(t, s, full, ledger.OutboxPost{Key: "bare"})
	same(t, "waiting post", find(t, s, "full"), full)
	same(t, "bare post", find(t, s, "bare"), ledger.OutboxPost{Key: "bare", State: ledger.PostReady})

	// A row moved from another ledger keeps its history.
	moved := post("moved", "T9")
	moved.State, moved.Attempts, moved.LastError, moved.PostID, moved.Uncertain = ledger.PostSent, 3, "timeout", "1.5", true
	put(t, s, moved)
	same(t, "moved post", find(t, s, "moved"), moved)
	got, err := s.PostBySent(t.Context(), "terminal", "C1", "1.5")
	must(t, err)
	same(t, "moved post by its platform id", got, moved)
}

func testWaiting(t *testing.T, s ledger.Store) {
	wait := func(key string, banks ...plant.BankID) ledger.OutboxPost {
		p := post(key, "")
		p.State, p.Post.Text, p.WaitsFor = ledger.PostWaiting, "", map[plant.BankID]int64{}
		for _, b := range banks {
			p.WaitsFor[b] = 3
		}
		return p
	}
	waiting := func(banks ...plant.BankID) []string {
		ps, err := s.Waiting(t.Context(), banks)
		must(t, err)
		return keysOf(ps)
	}
	put(t, s, wait("one", "s/a/1"), post("ready", ""), wait("two", "s/a/2", "s/a/1"), wait("none"))
	same(t, "all", waiting(), []string{"one", "two", "none"})
	same(t, "bank 1", waiting("s/a/1"), []string{"one", "two"})
	same(t, "bank 2", waiting("s/a/2"), []string{"two"})
	same(t, "banks 1 and 2: each post once", waiting("s/a/1", "s/a/2"), []string{"one", "two"})
	same(t, "another bank", waiting("s/a/9"), []string{})
	var many []plant.BankID
	for i := range 2000 {
		many = append(many, plant.BankID(fmt.Sprint("s/a/", i)))
	}
	same(t, "two thousand banks", waiting(many...), []string{"one", "two"})

	same(t, "waiting posts are not claimed", claim(t, s, monday, 10), []string{"ready"})
	text := channel.Post{To: channel.Address{Platform: "terminal", Channel: "C2"}, Text: "rendered", Files: []channel.File{{Name: "f", Data: []byte("x")}}}
	must(t, s.Render(t.Context(), "two", text))
	same(t, "after rendering", waiting("s/a/1", "s/a/2"), []string{"one"})
	p := find(t, s, "two")
	same(t, "rendered content", p.Post, text)
	same(t, "rendered state", p.State, ledger.PostReady)

	text.Text = "rendered again"
	must(t, s.Render(t.Context(), "two", text))
	same(t, "a ready post's text", find(t, s, "two").Post.Text, "rendered")
	same(t, "claimed once rendered", claim(t, s, monday, 10), []string{"two"})
	if err := s.MarkSent(t.Context(), "one", "id", monday); !errors.Is(err, ledger.ErrPostState) {
		t.Errorf("MarkSent of a waiting post: %v, want ErrPostState", err)
	}
}

func testClaim(t *testing.T, s ledger.Store) {
	later, other := post("later", ""), post("other platform", "")
	later.NotBefore = monday.Add(time.Hour)
	other.Post.To.Platform = "slack"
	var undated ledger.OutboxPost
	undated.Key, undated.Post.To.Platform = "undated", "terminal"
	put(t, s, later, post("a", ""), other, post("b", ""), undated, post("c", ""))
	same(t, "none wanted", claim(t, s, monday, 0), []string{})
	same(t, "before they are due", claim(t, s, monday.Add(-time.Second), 9), []string{"undated"})
	same(t, "oldest first, at most two", claim(t, s, monday, 2), []string{"a", "b"})
	same(t, "the rest", claim(t, s, monday, 9), []string{"c"})
	same(t, "nothing left", claim(t, s, monday, 9), []string{})
	must(t, s.MarkSent(t.Context(), "undated", "1", monday))
	same(t, "later", claim(t, s, monday.Add(time.Hour), 1), []string{"later"})
	ps, err := s.Claim(t.Context(), "slack", monday, lease, 9)
	must(t, err)
	same(t, "the other platform's", keysOf(ps), []string{"other platform"})
}

func testLease(t *testing.T, s ledger.Store) {
	put(t, s, post("a", "T1"))
	same(t, "first claim", claim(t, s, monday, 9), []string{"a"})
	same(t, "attempts", find(t, s, "a").Attempts, 1)
	same(t, "a moment before the lease ends", claim(t, s, monday.Add(lease-time.Nanosecond), 9), []string{})
	if find(t, s, "a").Uncertain {
		t.Error("uncertain while the lease holds")
	}
	ps, err := s.Claim(t.Context(), "terminal", monday.Add(lease), lease, 9)
	must(t, err)
	if len(ps) != 1 || !ps[0].Uncertain || ps[0].Attempts != 2 {
		t.Errorf("claimed after the lease: %+v, want it once, uncertain, second attempt", ps)
	}
	must(t, s.MarkSent(t.Context(), "a", "id", monday))
	if p := find(t, s, "a"); !p.Uncertain || p.State != ledger.PostSent {
		t.Errorf("sent after a crash: %+v", p)
	}
	same(t, "nothing after it was sent", claim(t, s, monday.Add(24*time.Hour), 9), []string{})
}

func testThread(t *testing.T, s ledger.Store) {
	elsewhere := post("same id, other channel", "T1")
	elsewhere.Post.To.Channel = "C2"
	waits := post("t1 second", "T1")
	waits.State = ledger.PostWaiting
	scheduled := post("t3 tomorrow", "T3")
	scheduled.NotBefore = monday.Add(24 * time.Hour)
	put(t, s, post("t1 first", "T1"), waits, post("t1 third", "T1"), post("t2 first", "T2"), post("t2 second", "T2"),
		elsewhere, post("loose", ""), post("loose too", ""), scheduled, post("t3 now", "T3"))

	same(t, "heads of threads", claim(t, s, monday, 99), []string{"t1 first", "t2 first", "same id, other channel", "loose", "loose too", "t3 now"})
	same(t, "while they are leased", claim(t, s, monday, 99), []string{})

	must(t, s.MarkFailed(t.Context(), "t2 first", "no answer", monday.Add(10*time.Second), false))
	same(t, "while the first backs off", claim(t, s, monday.Add(9*time.Second), 99), []string{})
	same(t, "its next attempt", claim(t, s, monday.Add(10*time.Second), 99), []string{"t2 first"})
	must(t, s.MarkFailed(t.Context(), "t2 first", "no such thread", monday, true))
	same(t, "once the first is parked", claim(t, s, monday.Add(10*time.Second), 99), []string{"t2 second"})

	must(t, s.MarkSent(t.Context(), "t1 first", "1", monday))
	same(t, "while the second waits for its text", claim(t, s, monday.Add(10*time.Second), 99), []string{})
	must(t, s.Render(t.Context(), "t1 second", waits.Post))
	same(t, "once it is rendered", claim(t, s, monday.Add(10*time.Second), 99), []string{"t1 second"})
	must(t, s.MarkSent(t.Context(), "t1 second", "2", monday))
	same(t, "the third", claim(t, s, monday.Add(10*time.Second), 99), []string{"t1 third"})
}

func testClaimRace(t *testing.T, s ledger.Store) {
	const posts, racers = 60, 6
	var b ledger.Batch
	for i := range posts {
		b.Posts = append(b.Posts, post(fmt.Sprintf("p%02d", i), ""))
	}
	commit(t, s, b)
	var mu sync.Mutex
	times := map[string]int{}
	var wg sync.WaitGroup
	for range racers {
		wg.Go(func() {
			for {
				ps, err := s.Claim(t.Context(), "terminal", monday, lease, 7)
				if err != nil {
					t.Errorf("Claim: %v", err)
				}
				if len(ps) == 0 {
					return
				}
				mu.Lock()
				for _, p := range ps {
					times[p.Key]++
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	if len(times) != posts {
		t.Errorf("%d of %d posts were claimed", len(times), posts)
	}
	for k, n := range times {
		if n != 1 {
			t.Errorf("%s was claimed %d times", k, n)
		}
	}
}

func testSent(t *testing.T, s ledger.Store) {
	p := post("a", "T1")
	p.Post.Files = []channel.File{{Name: "chart.png", Title: "Chart", Data: []byte("png")}}
	put(t, s, p)
	claim(t, s, monday, 1)
	must(t, s.MarkSent(t.Context(), "a", "170.01", monday))
	got, err := s.PostBySent(t.Context(), "terminal", "C1", "170.01")
	must(t, err)
	if got.Key != "a" || got.State != ledger.PostSent || got.PostID != "170.01" || got.Uncertain {
		t.Errorf("sent post: %+v", got)
	}
	same(t, "files once sent", got.Post.Files, []channel.File{{Name: "chart.png", Title: "Chart"}})

	must(t, s.MarkSent(t.Context(), "a", "170.01", monday))
	if find(t, s, "a").Uncertain {
		t.Error("marking twice alike made it uncertain")
	}
	must(t, s.MarkUncertain(t.Context(), "a"))
	must(t, s.MarkFailed(t.Context(), "a", "timeout", monday, true))
	if got := find(t, s, "a"); got.State != ledger.PostSent || got.LastError != "" || got.Uncertain {
		t.Errorf("a late failure changed a sent post: %+v", got)
	}
	must(t, s.MarkSent(t.Context(), "a", "170.02", monday))
	if got := find(t, s, "a"); got.PostID != "170.01" || !got.Uncertain {
		t.Errorf("sent a second time: %+v, want the first id and uncertain", got)
	}
	for _, c := range [][3]string{{"slack", "C1", "170.01"}, {"terminal", "C2", "170.01"}, {"terminal", "C1", "170.02"}, {"terminal", "C1", ""}} {
		if _, err := s.PostBySent(t.Context(), c[0], c[1], c[2]); !errors.Is(err, ledger.ErrNotFound) {
			t.Errorf("PostBySent%v: %v, want ErrNotFound", c, err)
		}
	}
}

func testFailed(t *testing.T, s ledger.Store) {
	put(t, s, post("a", ""), post("b", ""))
	next := monday.Add(10 * time.Second)
	same(t, "first claim", claim(t, s, monday, 1), []string{"a"})
	must(t, s.MarkFailed(t.Context(), "a", "no answer", next, false))
	p := find(t, s, "a")
	if p.State != ledger.PostReady || p.LastError != "no answer" || !p.NotBefore.Equal(next) || p.Attempts != 1 || p.Uncertain {
		t.Errorf("failed post: %+v", p)
	}
	same(t, "second claim", claim(t, s, next, 1), []string{"a"})
	must(t, s.MarkFailed(t.Context(), "a", "asked to wait for long", next.Add(ledger.MostBackOff), false))
	same(t, "at the longest wait", claim(t, s, next, 1), []string{"b"})
	must(t, s.MarkFailed(t.Context(), "a", "by a clock ahead", next.Add(ledger.MostBackOff+1), false))
	same(t, "beyond it", claim(t, s, next, 1), []string{"a"})
	must(t, s.MarkFailed(t.Context(), "a", "channel gone", next, true))
	if p := find(t, s, "a"); p.State != ledger.PostParked || p.LastError != "channel gone" || p.Attempts != 3 || p.Uncertain {
		t.Errorf("parked post: %+v", p)
	}
	must(t, s.MarkUncertain(t.Context(), "a"))
	if p := find(t, s, "a"); p.State != ledger.PostParked || p.Attempts != 3 || !p.Uncertain {
		t.Errorf("post that may have been sent: %+v", p)
	}
	if err := s.MarkUncertain(t.Context(), "nobody's"); !errors.Is(err, ledger.ErrNotFound) {
		t.Errorf("MarkUncertain of no post: %v, want ErrNotFound", err)
	}
	inState(t, s, ledger.PostParked, "a")
	same(t, "parked posts are not claimed", claim(t, s, next.Add(time.Hour), 9), []string{"b"})

	if err := s.RetryPost(t.Context(), "b", next); !errors.Is(err, ledger.ErrPostState) {
		t.Errorf("RetryPost of a ready post: %v, want ErrPostState", err)
	}
	again := next.Add(2 * time.Hour)
	must(t, s.RetryPost(t.Context(), "a", again))
	if p := find(t, s, "a"); p.State != ledger.PostReady || p.Attempts != 0 || !p.NotBefore.Equal(again) {
		t.Errorf("retried post: %+v", p)
	}
	must(t, s.MarkSent(t.Context(), "b", "1", again))
	same(t, "claimed after the retry", claim(t, s, again, 9), []string{"a"})
}

func testParkedWaiting(t *testing.T, s ledger.Store) {
	p := post("a", "")
	p.State, p.Recipe, p.WaitsFor = ledger.PostWaiting, json.RawMessage(`{}`), map[plant.BankID]int64{bank: 1}
	put(t, s, p)
	must(t, s.MarkFailed(t.Context(), "a", "cannot be rendered", monday, true))
	inState(t, s, ledger.PostParked, "a")
	for _, retried := range []bool{false, true} {
		if retried {
			must(t, s.RetryPost(t.Context(), "a", monday))
			inState(t, s, ledger.PostWaiting, "a")
		}
		ps, err := s.Waiting(t.Context(), []plant.BankID{bank})
		must(t, err)
		if len(ps) == 1 != retried {
			t.Errorf("retried %t: waiting for the bank: %v", retried, keysOf(ps))
		}
	}
}

func testDropped(t *testing.T, s ledger.Store) {
	waits := post("waiting", "")
	waits.State, waits.WaitsFor = ledger.PostWaiting, map[plant.BankID]int64{bank: 1}
	put(t, s, post("ready", "T1"), post("next", "T1"), waits, post("parked", ""), post("sent", ""))
	must(t, s.MarkFailed(t.Context(), "parked", "x", monday, true))
	must(t, s.MarkSent(t.Context(), "sent", "1", monday))
	for _, k := range []string{"ready", "waiting", "parked"} {
		must(t, s.DropPost(t.Context(), k))
	}
	if err := s.DropPost(t.Context(), "sent"); !errors.Is(err, ledger.ErrPostState) {
		t.Errorf("DropPost of a sent post: %v, want ErrPostState", err)
	}
	inState(t, s, ledger.PostDropped, "ready", "waiting", "parked")
	same(t, "claim", claim(t, s, monday, 9), []string{"next"})
	ps, err := s.Waiting(t.Context(), []plant.BankID{bank})
	must(t, err)
	same(t, "waiting", keysOf(ps), []string{})

	put(t, s, post("ready", "T1")) // the key stays used
	must(t, s.MarkFailed(t.Context(), "ready", "late", monday, false))
	inState(t, s, ledger.PostDropped, "ready", "waiting", "parked")
}

func testUnknownPost(t *testing.T, s ledger.Store) {
	ctx := t.Context()
	_, err := s.Post(ctx, "x")
	for name, err := range map[string]error{
		"Post": err, "Render": s.Render(ctx, "x", channel.Post{}), "MarkSent": s.MarkSent(ctx, "x", "1", monday),
		"MarkFailed": s.MarkFailed(ctx, "x", "", monday, false), "MarkUncertain": s.MarkUncertain(ctx, "x"), "RetryPost": s.RetryPost(ctx, "x", monday), "DropPost": s.DropPost(ctx, "x"),
	} {
		if !errors.Is(err, ledger.ErrNotFound) {
			t.Errorf("%s of an unknown post: %v, want ErrNotFound", name, err)
		}
	}
}
