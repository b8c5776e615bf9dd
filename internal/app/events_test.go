package app_test

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"clogwise/internal/app"
	"clogwise/internal/config"
	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/queue"
)

// A change-out reaches an integrator once, signed, although his server fails at
// first; a replay sends it again under the same id.
func TestEventsReachAnIntegrator(t *testing.T) {
	t.Parallel()
	began := time.Now()
	a := running(t, func() time.Time { return present.Add(time.Since(began)) }) // the pause before the next try must pass
	got := make(chan string, 100)
	var hook *standardwebhooks.Webhook
	fails := 1
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil || hook.Verify(body, r.Header) != nil {
			t.Errorf("not signed: %v", err)
		}
		if fails > 0 {
			fails--
			w.WriteHeader(http.StatusInternalServerError)
			return
		}
		got <- r.Header.Get("webhook-id") + " " + string(body)
	}))
	defer srv.Close()
	k, secret, err := a.AddEndpoint(t.Context(), "hall automation", srv.URL, []string{"swapped"}, []string{"clinic"})
	if err != nil {
		t.Fatal(err)
	}
	if hook, err = standardwebhooks.NewWebhook(secret); err != nil {
		t.Fatal(err)
	}
	clean := 62.0
	res, err := a.Store.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{{
		Source: "test:swap", Kind: entry.KindSwap, Place: "clinic/ahu-3/secondary", At: present, Received: present, By: "Tove", Body: entry.Swap{CleanPa: &clean, Sure: true},
	}}})
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Queue.Notify(t.Context(), queue.Notice{Bank: "clinic/ahu-3/secondary", UpTo: res[0].Seq}); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- app.Run(ctx, a.Log, a.WorkerServices()...) }()
	defer func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}()
	await := func(what string) string {
		select {
		case x := <-got:
			return x
		case <-time.After(20 * time.Second):
			t.Fatalf("%s does not arrive", what)
			return ""
		}
	}
	first := await("the event")
	if id, _, _ := strings.Cut(first, " "); !strings.HasPrefix(id, "swapped:clinic/ahu-3/secondary:") || !strings.Contains(first, `"type":"clogwise.bank.swapped"`) || !strings.Contains(first, `"clean_pa":62`) {
		t.Error(first)
	}
	for sent := false; !sent; time.Sleep(10 * time.Millisecond) { // it is marked after it has arrived
		posts, err := a.SentEvents(t.Context(), k.ID, 10)
		if err != nil || len(posts) != 1 || t.Context().Err() != nil {
			t.Fatalf("%+v, %v", posts, err)
		}
		sent = posts[0].State == ledger.PostSent
	}
	if n, err := a.ReplayEvents(t.Context(), k.ID, present.Add(-time.Hour)); err != nil || n != 1 {
		t.Fatalf("replayed %d, %v", n, err)
	}
	if again := await("the replay"); again != first {
		t.Errorf("replayed as %s, was %s", again, first)
	}
	if _, err := a.ReplayEvents(t.Context(), "k0", present); err == nil || !strings.Contains(err.Error(), "no endpoint k0") {
		t.Errorf("unknown endpoint: %v", err)
	}
	if err := a.RemoveEndpoint(t.Context(), k.ID); err != nil {
		t.Fatal(err)
	}
	if all, err := a.Endpoints(t.Context()); err != nil || len(all) != 0 {
		t.Errorf("%+v, %v", all, err)
	}
}

// running is the demo's portfolio without a history, on a clock that runs.
func running(t *testing.T, now func() time.Time) *app.App {
	t.Helper()
	cfg, err := config.Load("", nil)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	cfg.Data, cfg.Ledger = dir, filepath.Join(dir, "ledger.db")
	a, err := app.Open(t.Context(), cfg, app.Options{Now: now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	})
	if err := a.Fill(t.Context(), demo.Portfolio(), nil, nil); err != nil {
		t.Fatal(err)
	}
	return a
}
