package app_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"clogwise/internal/app"
	"clogwise/internal/config"
	"clogwise/internal/demo"
	"clogwise/internal/duelist"
	"clogwise/internal/plant"
)

// present is the moment the demo is looked at: a Wednesday morning in winter.
var present = time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)

func open(t *testing.T, dir string) *app.App {
	t.Helper()
	cfg, err := config.Load("", nil)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Data, cfg.Ledger, cfg.HTTP.Listen = dir, filepath.Join(dir, "ledger.db"), "127.0.0.1:0"
	a, err := app.Open(t.Context(), cfg, app.Options{Log: slog.New(slog.NewTextHandler(&bytes.Buffer{}, nil)), Now: func() time.Time { return present }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	})
	return a
}

func filled(t *testing.T) *app.App {
	t.Helper()
	a := open(t, t.TempDir())
	c := demo.Portfolio()
	if err := a.Fill(t.Context(), c, demo.History(c, present, 1), nil); err != nil {
		t.Fatal(err)
	}
	return a
}

// The demo shows every condition, as its doc comment promises.
func TestDemoShowsEveryCondition(t *testing.T) {
	t.Parallel()
	a := filled(t)
	as, err := a.View.Assessments(t.Context(), "", present)
	if err != nil {
		t.Fatal(err)
	}
	if len(as) < 30 {
		t.Fatalf("%d banks, want 30 or more", len(as))
	}
	count := map[duelist.Condition]int{}
	of := map[plant.BankID]duelist.Condition{}
	for _, x := range as {
		count[x.Condition]++
		of[x.Bank] = x.Condition
	}
	for _, c := range []duelist.Condition{duelist.Clean, duelist.Loading, duelist.DueSoon, duelist.Overdue, duelist.Doubtful, duelist.Unread} {
		if count[c] == 0 {
			t.Errorf("no bank is %s: %v", c, count)
		}
	}
	for bank, want := range map[plant.BankID]duelist.Condition{
		"hall/ahu-1/primary":    duelist.Overdue,  // neglected
		"hall/ahu-2/secondary":  duelist.Doubtful, // torn bag
		"hall/ahu-5/return":     duelist.Unread,   // archive locked
		"clinic/ahu-t1/primary": duelist.Clean,    // changed ten days ago
	} {
		if of[bank] != want {
			t.Errorf("%s is %s, want %s", bank, of[bank], want)
		}
	}
}

// Filling twice records everything once.
func TestFillIsOnceOnly(t *testing.T) {
	t.Parallel()
	a := filled(t)
	before, err := a.Store.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	c := demo.Portfolio()
	fresh, known, err := a.Record(t.Context(), demo.History(c, present, 1))
	if err != nil || fresh != 0 || known == 0 {
		t.Errorf("%d fresh, %d known, %v", fresh, known, err)
	}
	n, err := a.ApplyRegister(t.Context(), c, "again", "again", present)
	if err != nil || n != 0 {
		t.Errorf("%d register edits, %v", n, err)
	}
	after, err := a.Store.Head(t.Context())
	if err != nil || after != before {
		t.Errorf("head went from %d to %d (%v)", before, after, err)
	}
}

func TestDoctorFindsADemoWell(t *testing.T) {
	t.Parallel()
	for _, c := range filled(t).Doctor(t.Context()) {
		if !c.OK {
			t.Errorf("%s: %s", c.What, c.Says)
		}
	}
	empty := open(t, t.TempDir()).Doctor(t.Context())
	i := slices.IndexFunc(empty, func(c app.Check) bool { return c.What == "register" })
	if i < 0 || empty[i].OK || !strings.Contains(empty[i].Says, "clogwise import") {
		t.Errorf("an empty register is called well: %+v", empty)
	}
}

// Services stop in the reverse order of their start, and one that fails ends all.
func TestRunStopsInReverse(t *testing.T) {
	t.Parallel()
	var mu sync.Mutex
	var stopped []string
	started := make(chan struct{}, 3)
	service := func(name string) app.Service {
		return app.Service{Name: name, Run: func(ctx context.Context) error {
			started <- struct{}{}
			<-ctx.Done()
			mu.Lock()
			defer mu.Unlock()
			stopped = append(stopped, name)
			return nil
		}}
	}
	boom := errors.New("boom")
	failing := app.Service{Name: "chat", Run: func(ctx context.Context) error {
		for range 3 {
			<-started
		}
		return boom
	}}
	err := app.Run(t.Context(), slog.New(slog.DiscardHandler), service("worker"), service("outbox"), service("webhook"), failing)
	if !errors.Is(err, boom) || !strings.Contains(err.Error(), "chat") {
		t.Errorf("got %v, want chat: boom", err)
	}
	if !slices.Equal(stopped, []string{"webhook", "outbox", "worker"}) {
		t.Errorf("stopped in the order %v", stopped)
	}
}

func TestMoveLedgerComparesTheCopy(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	a := open(t, dir)
	c := demo.Portfolio()
	if err := a.Fill(t.Context(), c, demo.History(c, present, 1), nil); err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "copy.db")
	got, err := app.MoveLedger(t.Context(), a.Cfg.Ledger, to)
	if err != nil {
		t.Fatal(err)
	}
	head, err := a.Store.Head(t.Context())
	if err != nil || got.Rows["entry"] != head {
		t.Errorf("%d entries copied of %d (%v); tables %v", got.Rows["entry"], head, err, got.Rows)
	}
	if _, err := app.MoveLedger(t.Context(), a.Cfg.Ledger, to); err == nil {
		t.Error("a ledger that is not empty was copied into")
	}
}
