package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"clogwise/internal/app"
	"clogwise/internal/realised"
)

func TestStatusOfTheDemo(t *testing.T) {
	t.Parallel()
	data := t.TempDir()
	run := func(args ...string) string {
		t.Helper()
		out, errs, err := clogwise(t, "", append(args, "--data", data, "--now", present)...)
		if err != nil {
			t.Fatalf("%v: %v %s", args, err, errs)
		}
		return out
	}
	run("demo", "--http-listen", "127.0.0.1:0")
	first := run("status")
	for _, want := range []string{"Banks: 32,", "last backup never. Type: clogwise backup", "Forecasts: up to date", "Forecasts against what happened: of "} {
		if !strings.Contains(first, want) {
			t.Errorf("lacks %q:\n%s", want, first)
		}
	}
	run("backup", filepath.Join(t.TempDir(), "b.db"))
	if got := run("status"); !strings.Contains(got, "last backup 0 s ago.\n") {
		t.Errorf("after a backup:\n%s", got)
	}
	var s app.Status
	if err := json.Unmarshal([]byte(run("status", "--json")), &s); err != nil {
		t.Fatal(err)
	}
	// The demo has doubtful and overdue banks and a ledger of more than nothing.
	if s.Banks != 32 || s.Doubtful == 0 || s.Overdue == 0 || s.Bytes == 0 || s.Realised.Count == 0 || s.Intake.Last24h > s.Intake.Total || !s.ChatOK {
		t.Errorf("%+v", s)
	}
}

func TestStatusPointsAtWhatIsWrong(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	s := app.Status{At: at, Parked: 2, Queue: "gone", Chat: "bot token: no answer", Backup: at.AddDate(0, 0, -9), Digests: map[string]time.Time{"clinic": {}}}
	s.Behind.Banks, s.Behind.Oldest = 7, 12*time.Minute
	s.Outbox.Posts, s.Outbox.Oldest = 3, 3*time.Hour
	s.Realised = realised.Summary{Count: 4, MedianAbsDays: 6, InsideShare: .75}
	got := strings.Join(statusLines(s), "\n")
	for _, want := range []string{
		"LOOK  Intake: 0 entries", "LOOK  Forecasts: 7 banks wait for a new forecast, the oldest for 12 min.",
		"LOOK  Posts: 3 wait to be sent, the oldest for 3 h.", "LOOK  Parked: 2 failed", "LOOK  Queue: no answer",
		"LOOK  Chat: bot token: no answer.", "LOOK  Digest of clinic: last never.", "within 6 days", "75 %",
		"LOOK  Ledger: 0.0 MB; last backup 9 days ago. Type: clogwise backup --into DIR",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("lacks %q:\n%s", want, got)
		}
	}
}
