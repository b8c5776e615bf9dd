package app_test

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/app"
	"clogwise/internal/config"
	"clogwise/internal/demo"
	"clogwise/internal/queue/redistest"
)

// While Redis is gone what is typed is answered and what is sent is acknowledged,
// readiness says so, and forecasts wait; when it is back, empty, they follow.
func TestRedisGone(t *testing.T) {
	t.Parallel()
	redis := redistest.Start(t, redistest.Options{})
	fake := fakeslack.Start(t, fakeslack.Options{})
	cfg, err := config.Load("", nil)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	cfg.Data, cfg.Ledger, cfg.HTTP.Listen, cfg.Redis = dir, filepath.Join(dir, "ledger.db"), "127.0.0.1:0", redis.URL()
	cfg.Slack = config.Slack{BotToken: fakeslack.BotToken, AppToken: fakeslack.AppToken, APIURL: fake.APIURL(), People: []string{"Tove = " + toveID}}
	cfg.Outbox.PerSecond, cfg.Outbox.ReplyWait = 0, 200*time.Millisecond
	cfg.Worker.SweepEvery = time.Hour // the test says when
	a, err := app.Open(t.Context(), cfg, app.Options{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	})
	p := demo.Portfolio()
	p.Sites = p.Sites[:1]
	p.Sites[0].Channel = room
	if err := a.Fill(t.Context(), p, nil, nil); err != nil {
		t.Fatal(err)
	}
	_, secret, err := a.NewKey(t.Context(), "hall automation", "bearer", nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	web, listen, err := a.Webhook(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	done := make(chan error, 1)
	services := append(a.WorkerServices()[:2], a.SlackServices()...) // nothing that is scheduled
	go func() { done <- app.Run(ctx, a.Log, append(services, web...)...) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	if err := fake.WaitConnected(ctx, 1); err != nil {
		t.Fatal(err)
	}
	ask := func(method, path, body string) (int, string) {
		t.Helper()
		req, err := http.NewRequestWithContext(ctx, method, "http://"+listen+path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Authorization", "Bearer "+secret)
		req.Header.Set("Content-Type", "application/json")
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		raw, err := io.ReadAll(resp.Body)
		_ = resp.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
		return resp.StatusCode, string(raw)
	}
	behind := func() int {
		t.Helper()
		lags, err := a.Store.Lagging(ctx, 0)
		if err != nil {
			t.Fatal(err)
		}
		return len(lags)
	}
	readiness := func() (says struct{ Ledger, Queue string }) {
		t.Helper()
		code, raw := ask(http.MethodGet, "/readyz", "")
		if err := json.Unmarshal([]byte(raw), &says); err != nil || code != http.StatusOK {
			t.Fatalf("/readyz: %d %s", code, raw)
		}
		return says
	}
	must := func(what string, ok func() bool) {
		t.Helper()
		for !ok() {
			select {
			case <-ctx.Done():
				t.Fatalf("%s: not so in time", what)
			case <-time.After(20 * time.Millisecond):
			}
		}
	}
	must("the first sweep is over", func() bool { return behind() == 0 })

	redis.Kill()
	ts := fake.Say(room, toveID, "AHU-1 pre 80 Pa")
	if code, raw := ask(http.MethodPost, "/v1/readings", `[{"id":"r1","bank":"clinic/ahu-2/secondary","pa":90}]`); code != http.StatusAccepted || !strings.Contains(raw, `"seq"`) {
		t.Errorf("/v1/readings: %d %s", code, raw)
	}
	replied := func(words string) {
		t.Helper()
		if p, err := fake.WaitPost(ctx, func(p fakeslack.Post) bool { return p.Thread == ts && strings.Contains(p.Text, words) }); err != nil {
			t.Fatalf("no reply saying %q: %v", words, err)
		} else if !strings.Contains(p.Text, "AHU-1 primary") {
			t.Errorf("reply %q", p.Text)
		}
	}
	replied("Recorded, forecast to follow")
	if says := readiness(); says.Ledger != "ready" || !strings.HasPrefix(says.Queue, "out of reach: readings are taken") {
		t.Errorf("/readyz while Redis was gone: %+v", says)
	}
	if n := behind(); n != 2 {
		t.Errorf("%d banks wait for their forecast, want the two that were read", n)
	}

	redis.Restart()
	must("the queue is ready again", func() bool { return readiness().Queue == "ready" })
	if err := a.Sweep(ctx); err != nil {
		t.Fatal(err)
	}
	must("the backlog drains", func() bool { return behind() == 0 })
	replied("The forecast that was still to come")
}
