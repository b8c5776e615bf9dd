package main

import (
	"bytes"
	"context"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/app"
	"clogwise/internal/config"
	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// wednesday is the moment the portfolio is looked at.
var wednesday = time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)

// at opens the ledger of a data folder at that moment.
func at(t *testing.T, dir string) *app.App {
	t.Helper()
	cfg, err := config.Load("", nil)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Data, cfg.Ledger = dir, filepath.Join(dir, "ledger.db")
	a, err := app.Open(t.Context(), cfg, app.Options{Now: func() time.Time { return wednesday }})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// told is what a ledger says: its entries and what follows from them, as it is kept.
func told(t *testing.T, dir string) (all []entry.Entry, forecasts []string) {
	t.Helper()
	a := at(t, dir)
	defer a.Close() //nolint:errcheck // only read
	all, err := a.Store.Entries(t.Context(), ledger.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	as, err := a.View.Assessments(t.Context(), "", wednesday)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range as {
		raw, err := json.Marshal(x)
		if err != nil {
			t.Fatal(err)
		}
		forecasts = append(forecasts, string(raw))
	}
	return all, forecasts
}

func inFolder(t *testing.T, dir string, args ...string) (string, error) {
	t.Helper()
	var out bytes.Buffer
	p := &program{in: strings.NewReader(""), out: &out, err: &out}
	err := p.run(context.Background(), append(args, "--data", dir, "--now", wednesday.Format(time.RFC3339)))
	return out.String(), err
}

// The portfolio's whole ledger, with amendments, retractions, bookings, stock and
// orders, goes out to each open format and comes back the same, entry by entry
// and forecast by forecast.
func TestLedgerGoesOutAndComesBack(t *testing.T) {
	from := t.TempDir()
	a := at(t, from)
	c := demo.Portfolio()
	if err := a.Fill(t.Context(), c, demo.History(c, wednesday, 1), nil); err != nil {
		t.Fatal(err)
	}
	var b ledger.Batch
	for i, body := range []entry.Body{
		entry.Retract{Target: 900, Reason: "wrong bank"}, entry.Amend{Target: 901, Body: entry.Reading{Pa: 77, StepPa: 5}}, entry.Retract{Target: 902},
		entry.Booking{Start: wednesday.AddDate(0, 0, 7), Crew: []string{"Tove"}}, entry.Defer{Until: wednesday.AddDate(0, 0, 9), Reason: "=theatre week"},
		entry.Stock{Item: c.Items[0].Code, Count: 12}, entry.Order{Item: c.Items[0].Code, Count: 24}, entry.Point{Name: "@x", Quantity: "airflow", Unit: "m3/h"},
		entry.StepsSent{When: "day-before", Start: wednesday, Steps: []string{"D01"}}, entry.Event{What: "smoke, \"dense\"\n"},
	} {
		x := entry.Entry{Source: "test:" + string(rune('a'+i)), Kind: body.Kind(), Place: "clinic/ahu-3/secondary", At: wednesday, Received: wednesday, By: "Tove", Line: "line\r\ntwo", Body: body}
		if body.Kind() == entry.KindPoint || body.Kind() == entry.KindEvent {
			x.Place = plant.BankID("clinic/ahu-3")
		}
		b.Entries = append(b.Entries, x)
	}
	if _, err := a.Store.Commit(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	if _, err := a.View.Rebuild(t.Context(), wednesday, nil); err != nil {
		t.Fatal(err)
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	wantEntries, wantForecasts := told(t, from)
	if len(wantEntries) < 1000 || len(wantForecasts) < 30 {
		t.Fatalf("%d entries, %d forecasts", len(wantEntries), len(wantForecasts))
	}
	for _, form := range []string{"l.ndjson", "l.csv", "l.xlsx"} {
		file, to := filepath.Join(t.TempDir(), form), t.TempDir()
		if out, err := inFolder(t, from, "export", file, "--table", "ledger"); err != nil {
			t.Fatalf("%s: %s %v", form, out, err)
		}
		if out, err := inFolder(t, to, "import", file, "--whole"); err != nil || !strings.Contains(out, "Nothing saved") {
			t.Fatalf("%s, the trial: %s %v", form, out, err)
		}
		times := 1
		if form == "l.ndjson" {
			times = 2 // all is there already
		}
		for range times {
			if out, err := inFolder(t, to, "import", file, "--whole", "--save"); err != nil || !strings.Contains(out, "entries brought back") {
				t.Fatalf("%s: %s %v", form, out, err)
			}
		}
		gotEntries, gotForecasts := told(t, to)
		if d := cmp.Diff(wantEntries, gotEntries); d != "" {
			t.Errorf("%s: %s", form, d)
		}
		if d := cmp.Diff(wantForecasts, gotForecasts); d != "" {
			t.Errorf("%s: %s", form, d)
		}
	}
	other := t.TempDir()
	b2 := at(t, other)
	if _, err := b2.Store.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{{Source: "other", Kind: entry.KindStock, At: wednesday, Received: wednesday, Body: entry.Stock{Item: "x"}}}}); err != nil {
		t.Fatal(err)
	}
	if err := b2.Close(); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "l.ndjson")
	if _, err := inFolder(t, from, "export", file); err != nil {
		t.Fatal(err)
	}
	if _, err := inFolder(t, other, "import", file, "--whole", "--save"); err == nil || !strings.Contains(err.Error(), "into an empty one") {
		t.Errorf("into another ledger: %v", err)
	}
}
