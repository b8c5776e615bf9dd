package ledgertest

import (
	"encoding/json"
	"errors"
	"fmt"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

func projection(bank plant.BankID, upTo int64, note string) ledger.Projection {
	return ledger.Projection{Bank: bank, UpTo: upTo, At: monday, Data: json.RawMessage(`{"note":"` + note + `"}`)}
}

func lagging(t *testing.T, s ledger.Store, limit int) []ledger.Lag {
	t.Helper()
	l, err := s.Lagging(t.Context(), limit)
	if err != nil {
		t.Fatalf("Lagging: %v", err)
	}
	return l
}

func testProjections(t *testing.T, s ledger.Store) {
	steps := []struct {
		name string
		put  ledger.Projection
		want string // note kept afterwards
	}{
		{"first", projection(bank, 5, "five"), "five"},
		{"newer", projection(bank, 7, "seven"), "seven"},
		{"older UpTo", projection(bank, 6, "six"), "seven"},
		{"same UpTo, same time", projection(bank, 7, "seven again"), "seven again"},
	}
	earlier, later := projection(bank, 7, "earlier"), projection(bank, 7, "later")
	earlier.At, later.At = monday.Add(-time.Hour), monday.Add(time.Hour)
	steps = append(steps, []struct {
		name string
		put  ledger.Projection
		want string
	}{{"same UpTo, earlier time", earlier, "seven again"}, {"same UpTo, later time", later, "later"}}...)
	for _, step := range steps {
		must(t, s.PutProjection(t.Context(), step.put))
		got, err := s.Projection(t.Context(), bank)
		must(t, err)
		var data struct{ Note string }
		must(t, json.Unmarshal(got.Data, &data))
		if data.Note != step.want {
			t.Errorf("%s: kept %q, want %q", step.name, data.Note, step.want)
		}
	}
	got, err := s.Projection(t.Context(), bank)
	must(t, err)
	same(t, "projection", got, later)

	for name, p := range map[string]ledger.Projection{
		"of an AHU": projection("harbour/ahu-3", 1, ""), "not JSON": {Bank: bank, UpTo: 99, Data: []byte("{")},
	} {
		if err := s.PutProjection(t.Context(), p); !errors.Is(err, ledger.ErrInvalid) {
			t.Errorf("projection %s: %v, want ErrInvalid", name, err)
		}
	}
}

func testProjectionsByPlace(t *testing.T, s ledger.Store) {
	for _, b := range []plant.BankID{"s/ahu-10/p", "s/ahu-1/q", "s/ahu-1/p", "s-2/ahu-1/p"} {
		must(t, s.PutProjection(t.Context(), projection(b, 1, "")))
	}
	for _, c := range []struct {
		place plant.BankID
		want  []plant.BankID
	}{
		{"", []plant.BankID{"s-2/ahu-1/p", "s/ahu-1/p", "s/ahu-1/q", "s/ahu-10/p"}},
		{"s", []plant.BankID{"s/ahu-1/p", "s/ahu-1/q", "s/ahu-10/p"}},
		{"s/ahu-1", []plant.BankID{"s/ahu-1/p", "s/ahu-1/q"}},
		{"s/ahu-1/q", []plant.BankID{"s/ahu-1/q"}},
		{"s/ahu", nil},
	} {
		ps, err := s.Projections(t.Context(), c.place)
		must(t, err)
		var got []plant.BankID
		for _, p := range ps {
			got = append(got, p.Bank)
		}
		same(t, fmt.Sprintf("projections below %q", c.place), got, c.want)
	}
}

// testProjectionsTogether: several are kept as one by one, or none is.
func testProjectionsTogether(t *testing.T, s ledger.Store) {
	must(t, s.PutProjections(t.Context(), nil))
	must(t, s.PutProjection(t.Context(), projection("s/a/q", 9, "newer")))
	must(t, s.PutProjections(t.Context(), []ledger.Projection{
		projection("s/b/p", 3, "p"), projection("s/a/q", 4, "older"), projection("s/a/p", 5, "first"),
	}))
	of := func(banks ...plant.BankID) []ledger.Projection {
		ps, err := s.ProjectionsOf(t.Context(), banks)
		must(t, err)
		return ps
	}
	same(t, "some of them", of("s/b/p", "s/a/q", "s/a/nobody", "s/a/q"), []ledger.Projection{projection("s/a/q", 9, "newer"), projection("s/b/p", 3, "p")})
	same(t, "none", len(of()), 0)
	if err := s.PutProjections(t.Context(), []ledger.Projection{projection("s/c/p", 1, ""), {Bank: "s/c/q", Data: []byte("{")}}); !errors.Is(err, ledger.ErrInvalid) {
		t.Errorf("one of them not JSON: %v, want ErrInvalid", err)
	}
	same(t, "after a refusal", len(of("s/c/p")), 0)
	commit(t, s, ledger.Batch{Entries: readings("x", "s/a/p", 2)})
	same(t, "lagging", lagging(t, s, 0), []ledger.Lag(nil))
}

func testProjectionsDropped(t *testing.T, s ledger.Store) {
	commit(t, s, ledger.Batch{Entries: readings("x", bank, 2)})
	must(t, s.PutProjection(t.Context(), projection(bank, 2, "")))
	must(t, s.DropProjections(t.Context()))
	if _, err := s.Projection(t.Context(), bank); !errors.Is(err, ledger.ErrNotFound) {
		t.Errorf("Projection after the drop: %v", err)
	}
	same(t, "lagging", lagging(t, s, 0), []ledger.Lag{{Bank: bank, Head: 2}})
	must(t, s.PutProjection(t.Context(), projection(bank, 1, "made again, so far"))) // older than the dropped one, and kept
	same(t, "lagging", lagging(t, s, 0), []ledger.Lag{{Bank: bank, Head: 2, Done: 1}})
}

func testLagging(t *testing.T, s ledger.Store) {
	if l := lagging(t, s, 0); len(l) != 0 {
		t.Errorf("an empty ledger lags: %v", l)
	}
	commit(t, s, ledger.Batch{Entries: readings("x", bank, 3)})
	same(t, "new bank", lagging(t, s, 0), []ledger.Lag{{Bank: bank, Head: 3}})

	must(t, s.PutProjection(t.Context(), projection(bank, 2, "")))
	same(t, "half done", lagging(t, s, 0), []ledger.Lag{{Bank: bank, Head: 3, Done: 2}})
	must(t, s.PutProjection(t.Context(), projection(bank, 3, "")))
	same(t, "done", lagging(t, s, 0), []ledger.Lag(nil))
	must(t, s.PutProjection(t.Context(), projection(bank, 2, "late")))
	same(t, "an older projection came late", lagging(t, s, 0), []ledger.Lag(nil))

	commit(t, s, ledger.Batch{Entries: readings("x", bank, 3)})
	same(t, "resend", lagging(t, s, 0), []ledger.Lag(nil))

	retract := reading("undo", bank)
	retract.Kind, retract.Body = entry.KindRetract, entry.Retract{Target: 1}
	commit(t, s, ledger.Batch{Entries: []entry.Entry{retract}})
	same(t, "retracted", lagging(t, s, 0), []ledger.Lag{{Bank: bank, Head: 4, Done: 3}})

	must(t, s.PutProjection(t.Context(), projection("s/a/ahead", 10, "")))
	same(t, "a projection without entries", len(lagging(t, s, 0)), 1)
}

func testTouch(t *testing.T, s ledger.Store) {
	site := reading("site", "harbour")
	ahu := reading("ahu", "harbour/ahu-3")
	for _, e := range []*entry.Entry{&site, &ahu} {
		e.Kind, e.Body = entry.KindEvent, entry.Event{What: "smoke"}
	}
	commit(t, s, ledger.Batch{Entries: []entry.Entry{site, ahu}})
	same(t, "site's and AHU's entries alone", lagging(t, s, 0), []ledger.Lag(nil))

	commit(t, s, ledger.Batch{Entries: []entry.Entry{site}, Touch: []plant.BankID{bank}})
	same(t, "touched by a duplicate", lagging(t, s, 0), []ledger.Lag(nil))

	site.Source = "site 2"
	commit(t, s, ledger.Batch{Entries: []entry.Entry{site, reading("x", "harbour/ahu-4/primary")}, Touch: []plant.BankID{bank}})
	same(t, "touched", lagMap(lagging(t, s, 0)), map[plant.BankID]int64{bank: 4, "harbour/ahu-4/primary": 4})
}

func lagMap(lags []ledger.Lag) map[plant.BankID]int64 {
	out := map[plant.BankID]int64{}
	for _, l := range lags {
		out[l.Bank] = l.Head
	}
	return out
}

func testLaggingOrder(t *testing.T, s ledger.Store) {
	banks := []plant.BankID{"s/a/3", "s/a/1", "s/a/2"}
	for i, b := range banks {
		commit(t, s, ledger.Batch{Entries: readings(fmt.Sprint("x", i), b, 1)})
	}
	commit(t, s, ledger.Batch{Entries: readings("more", banks[0], 5)}) // was behind first, and stays first
	var got []plant.BankID
	for _, l := range lagging(t, s, 0) {
		got = append(got, l.Bank)
	}
	same(t, "order", got, banks)
	same(t, "limited", lagging(t, s, 1), []ledger.Lag{{Bank: "s/a/3", Head: 8}})

	must(t, s.PutProjection(t.Context(), projection(banks[0], 8, "")))
	commit(t, s, ledger.Batch{Entries: readings("again", banks[0], 1)}) // caught up, then behind anew: last
	got = nil
	for _, l := range lagging(t, s, 0) {
		got = append(got, l.Bank)
	}
	same(t, "order", got, []plant.BankID{"s/a/1", "s/a/2", "s/a/3"})

	// Projected in part, a bank is behind only since the first entry not covered.
	commit(t, s, ledger.Batch{Entries: readings("last", "s/a/1", 1)})
	must(t, s.PutProjection(t.Context(), projection("s/a/1", 9, "")))
	got = nil
	for _, l := range lagging(t, s, 0) {
		got = append(got, l.Bank)
	}
	same(t, "order", got, []plant.BankID{"s/a/2", "s/a/3", "s/a/1"})
}
