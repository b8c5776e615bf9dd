package main

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"clogwise/bot/webhook/load"
	"clogwise/internal/app"
	"clogwise/internal/config"
	"clogwise/internal/demo"
)

// The load on the real intake: every reading acknowledged is in the ledger once,
// and no forecast is moved.
func TestLoadOnTheRealIntake(t *testing.T) {
	ctx := context.Background()
	t.Setenv("CLOGWISE_HTTP_LISTEN", "127.0.0.1:0")
	t.Setenv("CLOGWISE_DATA", t.TempDir())
	t.Setenv("CLOGWISE_HTTP_RATE_PER_SECOND", "10000")
	t.Setenv("CLOGWISE_HTTP_BURST", "10000")
	cfg, err := config.Load("", nil)
	if err != nil {
		t.Fatal(err)
	}
	a, err := app.Open(ctx, cfg, app.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close() //nolint:errcheck // the test is over
	if err := a.Fill(ctx, demo.Portfolio(), nil, nil); err != nil {
		t.Fatal(err)
	}
	_, secret, err := a.NewKey(ctx, "trial", "signature", nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Setenv("CLOGWISE_SECRET", secret)
	services, addr, err := a.Webhook(ctx)
	if err != nil {
		t.Fatal(err)
	}
	run, stop := context.WithCancel(ctx)
	done := make(chan error, 1)
	go func() { done <- app.Run(run, a.Log, append(a.WorkerServices(), services...)...) }()

	var out bytes.Buffer
	p := &program{in: strings.NewReader(""), out: &out, err: &out}
	if err := p.run(ctx, []string{"load", "--url", "http://" + addr, "--requests", "30", "--batch", "7", "--parallel", "4", "--for", time.Minute.String(), "--json"}); err != nil {
		t.Errorf("load: %v", err)
	}
	var rep load.Report
	if err := json.Unmarshal(out.Bytes(), &rep); err != nil {
		t.Fatalf("%s: %v", out.String(), err)
	}
	if rep.Requests != 30 || rep.Readings != 210 || rep.Entries != 210 || rep.LedgerEntries != 210 || rep.Resent != 30 || rep.Followed == 0 || rep.Unfollowed > 0 || !rep.Sound() {
		t.Errorf("%+v", rep)
	}
	stop()
	if err := <-done; err != nil {
		t.Error(err)
	}
}
