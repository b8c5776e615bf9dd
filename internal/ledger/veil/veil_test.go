package veil_test

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/ledgertest"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/ledger/veil"
	"clogwise/internal/register"
)

var now = time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC)

func open(t *testing.T) ledger.Store {
	t.Helper()
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "l.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// A veiled ledger is a ledger.
func TestConformance(t *testing.T) {
	if testing.Short() {
		t.Skip("the ledgers themselves are held to it")
	}
	ledgertest.Conformance(t, func(t *testing.T) ledger.Store { return veil.New(open(t)) })
}

func TestHiddenNames(t *testing.T) {
	t.Parallel()
	raw := open(t)
	s := veil.New(raw)
	bodies := []entry.Body{
		entry.Reading{Pa: 80}, entry.Swap{Who: "Tove"}, entry.Booking{Start: now, Crew: []string{"tove", "Idris"}},
		entry.Defect{Note: "Tove saw a torn bag"}, entry.Amend{Target: 2, Body: entry.Swap{Who: "TOVE"}},
	}
	var b ledger.Batch
	for i, body := range bodies {
		b.Entries = append(b.Entries, entry.Entry{Source: "m:" + string(rune('a'+i)), Kind: body.Kind(), Place: "s/a/b", At: now, Received: now,
			By: "Tove", Line: "booked with Tove, and stovetop; Anna-Tove stays", Body: body})
	}
	b.Entries = append(b.Entries, entry.Entry{Source: "m:z", Kind: entry.KindReading, Place: "s/a/b", At: now, Received: now, By: "Tove (U0TOVE)", Body: entry.Reading{Pa: 1}})
	if _, err := s.Commit(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	shown := func() string {
		all, err := s.Entries(t.Context(), ledger.Filter{Place: "s/a/b"})
		if err != nil {
			t.Fatal(err)
		}
		one, err := s.Entry(t.Context(), 1)
		if err != nil {
			t.Fatal(err)
		}
		js, err := json.Marshal(append(all, one))
		if err != nil {
			t.Fatal(err)
		}
		return string(js)
	}
	if n := strings.Count(strings.ToLower(shown()), "tove"); n < 20 {
		t.Errorf("before, the name is shown %d times", n)
	}
	if _, err := s.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{veil.Erasure("Tove", now, "Maren")}}); err != nil {
		t.Fatal(err)
	}
	after := shown()
	rest := strings.NewReplacer("stovetop", "", "Anna-Tove", "").Replace(after)
	if strings.Contains(strings.ToLower(rest), "tove") {
		t.Errorf("the name is still shown: %s", after)
	}
	if alias := veil.Alias(veil.Hash("Tove")); !strings.Contains(after, alias) || strings.Count(after, "stovetop") != 6 || !strings.Contains(after, "Idris") {
		t.Errorf("shown: %s", after)
	}
	// The entries themselves stay, and the erasure does not tell whose it is.
	all, err := raw.Entries(t.Context(), ledger.Filter{Limit: 1})
	if err != nil || all[0].By != "Tove" {
		t.Errorf("the entry itself: %+v %v", all, err)
	}
	edits, err := raw.Entries(t.Context(), ledger.Filter{Source: "person:"})
	if err != nil || len(edits) != 1 {
		t.Fatalf("%+v %v", edits, err)
	}
	if js, _ := json.Marshal(edits); strings.Contains(strings.ToLower(string(js)), "tove") {
		t.Errorf("the erasure names the person: %s", js)
	}
	if c, err := register.Fold(edits); err != nil || len(c.Sites) != 0 {
		t.Errorf("the register stumbles over it: %v", err)
	}
}

// Old edits of the register hold the crews of their time. The name is hidden
// there and nowhere else in the value; whoever comes later with the same name is
// known by it.
func TestHiddenInTheRegister(t *testing.T) {
	t.Parallel()
	s := veil.New(open(t))
	edit := func(source, value string) entry.Entry {
		body := entry.RegisterEdit{Object: register.ObjectSite, ID: "hall", Value: json.RawMessage(value)}
		return entry.Entry{Source: source, Kind: body.Kind(), Place: "hall", At: now, Received: now, By: "Maren", Body: body}
	}
	const plain = `{"id":"hall","crew":["Idris"],"altitude_m":12.50}`
	all := []entry.Entry{
		edit("a", `{"id":"hall","crew":["Tove","Idris","Hall"],"supervisors":["hall (U1)"],"altitude_m":12.50,"tariff":{"source":"asked Hall & Sons"}}`),
		edit("b", plain),
	}
	commit := func(xs ...entry.Entry) {
		if _, err := s.Commit(t.Context(), ledger.Batch{Entries: xs}); err != nil {
			t.Fatal(err)
		}
	}
	commit(all...)
	commit(veil.Erasure("Hall", now, "Maren"))
	commit(edit("c", `{"id":"hall","crew":["Hall"]}`))
	got, err := s.Entries(t.Context(), ledger.Filter{Place: "hall"})
	if err != nil {
		t.Fatal(err)
	}
	value := func(i int) string { return string(got[i].Body.(entry.RegisterEdit).Value) }
	alias := veil.Alias(veil.Hash("hall"))
	want := `{"altitude_m":12.50,"crew":["Tove","Idris","` + alias + `"],"id":"hall","supervisors":["` + alias + `"],"tariff":{"source":"asked ` + alias + ` & Sons"}}`
	if value(0) != want {
		t.Errorf("old crew: %s\nwant %s", value(0), want)
	}
	if value(1) != plain {
		t.Errorf("an edit without the name: %s", value(1))
	}
	if value(2) != `{"id":"hall","crew":["Hall"]}` {
		t.Errorf("a newcomer: %s", value(2))
	}
}

func FuzzText(f *testing.F) {
	f.Add("with Tove, and more")
	f.Add("Tove")
	f.Add("ÄÖ Tove\x00 'x")
	s := []string{"Tove"}
	f.Fuzz(func(t *testing.T, in string) {
		got := veil.Text(in, s...)
		if strings.Contains(strings.ToLower(got), " tove ") {
			t.Errorf("%q shows in %q", in, got)
		}
	})
}
