package app_test

import (
	"bytes"
	"context"
	"encoding/json"
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
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
)

const (
	room    = "C0CLINIC"
	marenID = "U0MAREN1"
	toveID  = "U0TOVE22"
)

// workspace is an app that runs in a fake workspace, with the clinic alone.
type workspace struct {
	*fakeslack.Server
	app    *app.App
	listen string
	ctx    context.Context
}

func connected(t *testing.T, alter func(*config.Config)) *workspace {
	t.Helper()
	fake := fakeslack.Start(t, fakeslack.Options{Clock: func() time.Time { return present }})
	cfg, err := config.Load("", nil)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	cfg.Data, cfg.Ledger, cfg.HTTP.Listen = dir, filepath.Join(dir, "ledger.db"), "127.0.0.1:0"
	cfg.Slack = config.Slack{BotToken: fakeslack.BotToken, AppToken: fakeslack.AppToken, SigningSecret: fakeslack.Secret,
		APIURL: fake.APIURL(), People: []string{"Maren = " + marenID, "Tove = " + toveID}}
	if alter != nil {
		alter(&cfg)
	}
	a, err := app.Open(t.Context(), cfg, app.Options{Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return present }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	})
	c := demo.Portfolio()
	c.Sites = c.Sites[:1]
	c.Sites[0].Channel = room
	if err := a.Fill(t.Context(), c, nil, nil); err != nil {
		t.Fatal(err)
	}
	services := append(a.WorkerServices(), a.SlackServices()...)
	web, listen, err := a.Webhook(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	done := make(chan error, 1)
	go func() { done <- app.Run(ctx, a.Log, append(services, web...)...) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return &workspace{Server: fake, app: a, listen: listen, ctx: ctx}
}

// answer is the reply in the thread of a message.
func (w *workspace) answer(t *testing.T, ts string) fakeslack.Post {
	t.Helper()
	p, err := w.WaitPost(w.ctx, func(p fakeslack.Post) bool { return p.Thread == ts })
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// readings counts the readings in the ledger.
func (w *workspace) readings(t *testing.T) int {
	t.Helper()
	all, err := w.app.Store.Entries(w.ctx, ledger.Filter{Kinds: []entry.Kind{entry.KindReading}})
	if err != nil {
		t.Fatal(err)
	}
	return len(all)
}

// event posts a signed message event as the Events API does, and returns the status.
func (w *workspace) event(t *testing.T, ts, user, text, retry string, at time.Time) int {
	t.Helper()
	body, err := json.Marshal(map[string]any{
		"type": "event_callback", "team_id": fakeslack.Team, "event_id": "Ev" + ts,
		"event": map[string]any{"type": "message", "channel": room, "user": user, "ts": ts, "text": text},
	})
	if err != nil {
		t.Fatal(err)
	}
	req, err := http.NewRequestWithContext(w.ctx, http.MethodPost, "http://"+w.listen+app.EventsPath, bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	fakeslack.Sign(req, body, at)
	req.Header.Set("Content-Type", "application/json")
	if retry != "" {
		req.Header.Set("X-Slack-Retry-Num", retry)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	if err := resp.Body.Close(); err != nil {
		t.Error(err)
	}
	return resp.StatusCode
}

// One engine answers both ways in, and what comes by both counts once.
func TestBothWaysIn(t *testing.T) {
	t.Parallel()
	w := connected(t, nil)
	ts := w.Say(room, toveID, "AHU-1 pre 80 Pa")
	if p := w.answer(t, ts); !strings.Contains(p.Text, "80 Pa") {
		t.Errorf("by socket: %q", p.Text)
	}
	if code := w.event(t, ts, toveID, "AHU-1 pre 80 Pa", "", time.Now()); code != http.StatusOK {
		t.Errorf("the same by HTTP: %d", code)
	}
	const other = "1764064800.000400"
	for _, retry := range []string{"", "1", "2"} {
		if code := w.event(t, other, toveID, "AHU-1 bag 120 Pa", retry, time.Now()); code != http.StatusOK {
			t.Errorf("by HTTP, retry %q: %d", retry, code)
		}
	}
	w.answer(t, other)
	if n := w.readings(t); n != 2 {
		t.Errorf("%d readings, want 2", n)
	}
	for _, at := range []time.Time{time.Now().Add(-6 * time.Minute), time.Now().Add(6 * time.Minute)} {
		if code := w.event(t, "1764064801.000500", toveID, "AHU-1 pre 81 Pa", "", at); code != http.StatusUnauthorized {
			t.Errorf("signed at %s: %d", at, code)
		}
	}
	if n := w.readings(t); n != 2 {
		t.Errorf("%d readings after refused ones", n)
	}
}

// The Events API alone needs no app token.
func TestEventsAlone(t *testing.T) {
	t.Parallel()
	w := connected(t, func(c *config.Config) { c.Slack.AppToken = "" })
	w.SendEventsTo("http://" + w.listen + app.EventsPath)
	if p := w.answer(t, w.Say(room, toveID, "AHU-1 pre 80 Pa")); !strings.Contains(p.Text, "80 Pa") {
		t.Errorf("%q", p.Text)
	}
}

// Alerts go to the supervisor's own id; without one to the channel, by name. A
// display name opens nothing.
func TestAlertsAndRolesGoById(t *testing.T) {
	t.Parallel()
	const alert = "AHU-1 belt squealing"
	w := connected(t, nil)
	w.AddUser(fakeslack.User{ID: "U0OTHER1", DisplayName: "Maren"})
	if p := w.answer(t, w.Say(room, "U0OTHER1", "AHU-1 pre 80 Pa")); !strings.Contains(p.Text, "crew") || w.readings(t) != 0 {
		t.Errorf("the name alone: %q, %d readings", p.Text, w.readings(t))
	}
	w.Say(room, toveID, alert)
	if _, err := w.WaitPost(w.ctx, func(p fakeslack.Post) bool {
		return p.Channel == "D"+marenID[1:] && strings.Contains(p.Text, "squealing")
	}); err != nil {
		t.Error(err)
	}
	w = connected(t, func(c *config.Config) { c.Slack.People = c.Slack.People[1:] })
	w.Say(room, toveID, alert)
	p, err := w.WaitPost(w.ctx, func(p fakeslack.Post) bool { return strings.HasPrefix(p.Text, "For Maren") })
	if err != nil || p.Channel != room || p.Thread != "" {
		t.Errorf("without an id: %+v, %v", p, err)
	}
}

// Members of a user group that the register's crew or supervisors name may do what
// these may, and nobody else.
func TestUserGroupsHaveRoles(t *testing.T) {
	t.Parallel()
	const days, bosses = "S0DAYCREW", "S0BOSSES"
	w := connected(t, func(c *config.Config) { c.Slack.People = []string{"Idris = " + days, "Maren = " + bosses} })
	w.SetGroup(days, "U0ONE", "U0TWO")
	w.SetGroup(bosses, "U0CHIEF")
	for _, c := range []struct {
		user, text, want string
		readings         int
	}{
		{"U0ONE", "AHU-1 pre 80 Pa", "Saved as", 1},
		{"U0TWO", "AHU-1 bag 120 Pa", "Saved as", 2},
		{"U0OTHER", "AHU-2 pre 80 Pa", "crew", 2},
		{"U0ONE", "defer AHU-1 bag to 12 Dec: theatre week", "Not saved", 2},
		{"U0CHIEF", "defer AHU-1 bag to 12 Dec: theatre week", "put off until 12 Dec", 2},
	} {
		if p := w.answer(t, w.Say(room, c.user, c.text)); !strings.Contains(p.Text, c.want) || w.readings(t) != c.readings {
			t.Errorf("%s: %q is answered %q, %d readings", c.user, c.text, p.Text, w.readings(t))
		}
	}
}

func TestDoctorProvesTheSecretAndNamesPeople(t *testing.T) {
	t.Parallel()
	w := connected(t, nil)
	for _, id := range []string{marenID, toveID} {
		w.AddUser(fakeslack.User{ID: id})
	}
	says := func() map[string]app.Check {
		w.app.Cfg.HTTP.Listen = w.listen
		out := map[string]app.Check{}
		for _, c := range w.app.Doctor(w.ctx) {
			out[c.What] = c
		}
		return out
	}
	got := says()
	if c := got["chat people"]; c.OK || !strings.Contains(c.Says, "Idris, Pell") || strings.Contains(c.Says, "Tove") {
		t.Errorf("people: %+v", c)
	}
	if c := got["chat events over HTTP"]; !c.OK || !strings.Contains(c.Says, "was answered") {
		t.Errorf("events: %+v", c)
	}
	w.app.Cfg.Slack.SigningSecret = "another"
	if c := says()["chat events over HTTP"]; c.OK || !strings.Contains(c.Says, "Basic Information") {
		t.Errorf("another secret: %+v", c)
	}
}
