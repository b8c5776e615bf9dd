package ledgertest

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

func testEmpty(t *testing.T, s ledger.Store) {
	must(t, s.Ping(t.Context()))
	if n := head(t, s); n != 0 {
		t.Errorf("head of an empty ledger is %d", n)
	}
	if es := entries(t, s, ledger.Filter{}); len(es) != 0 {
		t.Errorf("an empty ledger has entries: %v", es)
	}
	if _, err := s.Entry(t.Context(), 1); !errors.Is(err, ledger.ErrNotFound) {
		t.Errorf("Entry(1) of an empty ledger: %v", err)
	}
	if _, err := s.Projection(t.Context(), bank); !errors.Is(err, ledger.ErrNotFound) {
		t.Errorf("Projection in an empty ledger: %v", err)
	}
	if _, err := s.LastFiring(t.Context(), "digest", "harbour"); !errors.Is(err, ledger.ErrNotFound) {
		t.Errorf("LastFiring in an empty ledger: %v", err)
	}
	if res := commit(t, s, ledger.Batch{}); len(res) != 0 {
		t.Errorf("an empty batch gave %v", res)
	}
}

func testSequence(t *testing.T, s ledger.Store) {
	want := int64(1)
	for i, n := range []int{1, 3, 1, 250} {
		for _, r := range commit(t, s, ledger.Batch{Entries: readings(fmt.Sprint("batch", i), bank, n)}) {
			if r.Seq != want || r.Duplicate {
				t.Fatalf("result %+v, want Seq %d", r, want)
			}
			want++
		}
		if got := head(t, s); got != want-1 {
			t.Fatalf("head %d, want %d", got, want-1)
		}
	}
	for i, e := range entries(t, s, ledger.Filter{}) {
		if e.Seq != int64(i+1) {
			t.Fatalf("entry %d of the ledger is #%d", i+1, e.Seq)
		}
	}
	e, err := s.Entry(t.Context(), 2)
	must(t, err)
	if e.Source != "batch1:000000" {
		t.Errorf("entry 2 has source %q", e.Source)
	}
}

func ptr[T any](v T) *T { return &v }

// bodies are one or more of every kind, every field set at least once.
func bodies() []entry.Body {
	later := monday.Add(48 * time.Hour)
	full := entry.Reading{
		Pa: 144.5, FlowM3s: ptr(3.2), FanHz: ptr(45.0), FanPct: ptr(90.0), StepPa: 2.49,
		Wet: true, Suspect: true, Quality: "median of 96", Unit: "in wc", Assumed: true,
	}
	return []entry.Body{
		full,
		entry.Reading{Pa: -0.1},
		entry.Reading{Pa: math.Pi * 1e-9},
		entry.Swap{
			Count: ptr(8), CleanPa: ptr(55.0), BeforePa: ptr(201.0), FlowM3s: ptr(3.2), FanHz: ptr(50.0),
			FanPct: ptr(100.0), Item: "BAG-592-7", Who: "kim", Confirmed: true,
		},
		entry.Swap{},
		entry.ZeroCheck{OffsetPa: 2},
		entry.OverRange{TopPa: 500, FlowM3s: ptr(1.0), FanHz: ptr(50.0), FanPct: ptr(99.5)},
		entry.Range{LowPa: 100, HighPa: 150},
		entry.Skip{Reason: "door blocked"},
		entry.FanOff{Reason: "holiday"},
		entry.Defect{Note: "belt <squealing> & \"tube\" off", Fixed: true, From: &monday},
		entry.Amend{Target: 1, Body: full},
		entry.Amend{Target: 4, Body: entry.Swap{Count: ptr(9)}},
		entry.Retract{Target: 2, Reason: "wrong bank"},
		entry.Event{What: "smoke", Until: &later},
		entry.Booking{Start: later, Crew: []string{"kim", "lee"}},
		entry.Booking{Start: later, Cancelled: true},
		entry.JobStart{},
		entry.JobDone{CleanPa: ptr(54.0), FanHz: ptr(50.0), ZeroOK: true},
		entry.Stock{Item: "BAG-592-7", Count: 0},
		entry.Order{Item: "BAG-592-7", Count: 12, Due: &later, Requested: true},
		entry.Order{Item: "BAG-592-7", Count: 12, Received: true},
		entry.Defer{Until: later, Reason: "theatre in use"},
		entry.StepsSent{When: "day-before", Start: later, To: []string{"kim"}, Steps: []string{"fan-off", "lock"}},
		entry.StepsRead{When: "before-start", Start: later},
		entry.Point{Name: "N.AHU1.SF", Quantity: "airflow", Unit: "m3/h", Scale: 0.1}, entry.Sample{Point: "x", Value: ptr(1.5), Unit: "Pa", Sites: []string{"north"}},
		entry.RegisterEdit{Object: "bank", ID: string(bank), Value: json.RawMessage(`{"id":"secondary","limit_pa":250}`)},
		entry.RegisterEdit{Object: "item", ID: "BAG-592-7", Removed: true},
	}
}

// kinds is the number of entry kinds; a new kind must be added to bodies too.
const kinds = 22

func testKinds(t *testing.T, s ledger.Store) {
	seen := map[entry.Kind]bool{}
	var batch ledger.Batch
	for i, b := range bodies() {
		e := reading(fmt.Sprint("kind:", i), bank)
		e.Kind, e.Body = b.Kind(), b
		batch.Entries = append(batch.Entries, e)
		seen[b.Kind()] = true
	}
	if len(seen) != kinds {
		t.Errorf("the suite knows bodies of %d kinds, want %d", len(seen), kinds)
	}
	for i, r := range commit(t, s, batch) {
		batch.Entries[i].Seq = r.Seq
	}
	same(t, "entries read back", entries(t, s, ledger.Filter{}), batch.Entries)
}

func testTimes(t *testing.T, s ledger.Store) {
	tokyo := time.FixedZone("", 9*3600)
	for i, at := range []time.Time{
		monday, monday.In(tokyo), {}, time.Unix(0, 0), time.Unix(0, -1),
		time.Date(1700, 1, 1, 0, 0, 0, 1, time.UTC), time.Date(2261, 1, 1, 0, 0, 0, 0, time.UTC),
	} {
		e := reading(fmt.Sprint("time:", i), bank)
		e.At, e.Received = at, at
		res := commit(t, s, ledger.Batch{Entries: []entry.Entry{e}})
		got, err := s.Entry(t.Context(), res[0].Seq)
		must(t, err)
		if !got.At.Equal(at) || !got.Received.Equal(at) || got.At.Location() != time.UTC || got.At.IsZero() != at.IsZero() {
			t.Errorf("time %s came back as %s and %s", at, got.At, got.Received)
		}
	}
}

func testText(t *testing.T, s ledger.Store) {
	for i, c := range []struct{ put, want string }{
		{"Δp 145 Pa — “ok”", "Δp 145 Pa — “ok”"},
		{"'; DROP TABLE entry; --", "'; DROP TABLE entry; --"},
		{"nul\x00inside", "nul\uFFFDinside"},
		{"not\xffutf8", "not\uFFFDutf8"},
		{strings.Repeat("long ", 20_000), strings.Repeat("long ", 20_000)},
	} {
		e := reading(fmt.Sprint("text:", i), bank)
		e.Line, e.By = c.put, c.put
		res := commit(t, s, ledger.Batch{Entries: []entry.Entry{e}})
		got, err := s.Entry(t.Context(), res[0].Seq)
		must(t, err)
		if got.Line != c.want || got.By != c.want {
			t.Errorf("%.40q came back as %.40q", c.put, got.Line)
		}
	}
}

func testOnce(t *testing.T, s ledger.Store) {
	first := commit(t, s, ledger.Batch{Entries: readings("a", bank, 3)})
	again := readings("a", bank, 4) // one new among known ones
	again[1].Body = entry.Reading{Pa: 999}
	res := commit(t, s, ledger.Batch{Entries: again})
	same(t, "results of the resend", res, []ledger.Result{
		{Seq: first[0].Seq, Duplicate: true}, {Seq: first[1].Seq, Duplicate: true},
		{Seq: first[2].Seq, Duplicate: true}, {Seq: 4},
	})
	e, err := s.Entry(t.Context(), first[1].Seq)
	must(t, err)
	same(t, "the entry first sent", e.Body, entry.Body(entry.Reading{Pa: 145}))
	same(t, "sources", sources(entries(t, s, ledger.Filter{})), []string{"a:000000", "a:000001", "a:000002", "a:000003"})
}

func testOnceInBatch(t *testing.T, s ledger.Store) {
	x, y := reading("x", bank), reading("y", bank)
	res := commit(t, s, ledger.Batch{Entries: []entry.Entry{x, y, x, x}})
	same(t, "results", res, []ledger.Result{{Seq: 1}, {Seq: 2}, {Seq: 1, Duplicate: true}, {Seq: 1, Duplicate: true}})
	same(t, "sources", sources(entries(t, s, ledger.Filter{})), []string{"x", "y"})
}

// testOnceInLarge has known sources scattered over a batch that stores may write
// many rows at a time: no number may be left out.
func testOnceInLarge(t *testing.T, s ledger.Store) {
	all := readings("a", bank, 95)
	known := []entry.Entry{all[3], all[41], all[42], all[94]}
	commit(t, s, ledger.Batch{Entries: known})
	twice := append(slices.Clone(all), all[70])
	next := int64(len(known))
	for i, r := range commit(t, s, ledger.Batch{Entries: twice}) {
		was := slices.IndexFunc(known, func(x entry.Entry) bool { return x.Source == twice[i].Source })
		want := ledger.Result{Seq: int64(was) + 1, Duplicate: true}
		switch {
		case i == len(all):
			want.Seq = 4 + 70 - 3 + 1 // after the four known ones, as all[70], before which three are known
		case was < 0:
			next++
			want = ledger.Result{Seq: next}
		}
		if r != want {
			t.Errorf("entry %d: %+v, want %+v", i, r, want)
		}
	}
	if head, err := s.Head(t.Context()); err != nil || head != 95 {
		t.Errorf("head %d (%v), want 95", head, err)
	}
}

func testOnceInRace(t *testing.T, s ledger.Store) {
	const racers, each = 8, 40
	var wg sync.WaitGroup
	fresh := make([]int, racers)
	for r := range racers {
		wg.Go(func() {
			for _, e := range readings("race", bank, each) {
				res, err := s.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{e}})
				if err != nil {
					t.Errorf("Commit: %v", err)
					return
				}
				if !res[0].Duplicate {
					fresh[r]++
				}
			}
		})
	}
	wg.Wait()
	total := 0
	for _, n := range fresh {
		total += n
	}
	if got := len(entries(t, s, ledger.Filter{})); total != each || got != each {
		t.Errorf("%d sources were reported new %d times and written %d times", each, total, got)
	}
}

func testInvalid(t *testing.T, s ledger.Store) {
	good := reading("good", bank)
	bad := func(change func(*entry.Entry)) ledger.Batch {
		e := reading("bad", bank)
		change(&e)
		return ledger.Batch{Entries: []entry.Entry{good, e}, Posts: []ledger.OutboxPost{post("p", "")}}
	}
	for _, c := range []struct {
		name string
		b    ledger.Batch
	}{
		{"no source", bad(func(e *entry.Entry) { e.Source = "" })},
		{"endless source", bad(func(e *entry.Entry) { e.Source = strings.Repeat("x", ledger.MaxKey+1) })},
		{"source not text", bad(func(e *entry.Entry) { e.Source = "a\x00b" })},
		{"no body", bad(func(e *entry.Entry) { e.Body = nil })},
		{"body of another kind", bad(func(e *entry.Entry) { e.Kind = entry.KindSwap })},
		{"no place", bad(func(e *entry.Entry) { e.Place = "" })},
		{"not a number", bad(func(e *entry.Entry) { e.Body = entry.Reading{Pa: math.NaN()} })},
		{"amendment to nothing", bad(func(e *entry.Entry) { e.Kind, e.Body = entry.KindAmend, entry.Amend{Target: 1} })},
		{"year 3000", bad(func(e *entry.Entry) { e.At = e.At.AddDate(974, 0, 0) })},
		{"touch of an AHU", ledger.Batch{Entries: []entry.Entry{good}, Touch: []plant.BankID{"harbour/ahu-3"}}},
		{"post without a key", ledger.Batch{Entries: []entry.Entry{good}, Posts: []ledger.OutboxPost{post("", "")}}},
		{"post in an unknown state", ledger.Batch{Entries: []entry.Entry{good}, Posts: []ledger.OutboxPost{{Key: "k", State: "lost"}}}},
		{"recipe not JSON", ledger.Batch{Entries: []entry.Entry{good}, Posts: []ledger.OutboxPost{{Key: "k", Recipe: []byte("{")}}}},
		{"nameless firing", ledger.Batch{Entries: []entry.Entry{good}, Firings: []ledger.Firing{{Site: "harbour"}}}},
		{"firing twice in a batch", ledger.Batch{Entries: []entry.Entry{good}, Firings: []ledger.Firing{
			{Job: "digest", Site: "harbour", Scheduled: "2026-03-02T07:00"}, {Job: "digest", Site: "harbour", Scheduled: "2026-03-02T07:00"},
		}}},
	} {
		if _, err := s.Commit(t.Context(), c.b); !errors.Is(err, ledger.ErrInvalid) {
			t.Errorf("%s: %v, want ErrInvalid", c.name, err)
		}
	}
	if n := head(t, s); n != 0 {
		t.Errorf("invalid batches left %d entries", n)
	}
	posts, err := s.Posts(t.Context(), "", 0)
	if err != nil || len(posts) != 0 {
		t.Errorf("invalid batches left posts %v (%v)", posts, err)
	}
}

// filterLedger is a small ledger with the pitfalls of prefixes in it. The
// source of each entry is its number.
func filterLedger(t *testing.T, s ledger.Store) {
	t.Helper()
	var b ledger.Batch
	for i, l := range []struct {
		place plant.BankID
		body  entry.Body
		hour  int
	}{
		{"site/ahu-1/primary", entry.Reading{Pa: 1}, 0},       // 1
		{"site/ahu-10/primary", entry.Reading{Pa: 2}, 1},      // 2
		{"site/ahu-1/secondary", entry.Swap{}, 2},             // 3
		{"site/ahu-1", entry.Event{What: "smoke"}, 3},         // 4
		{"site", entry.Event{What: "building work"}, 4},       // 5
		{"site-2/ahu-1/primary", entry.Reading{Pa: 6}, 5},     // 6
		{"site", entry.Stock{Item: "BAG", Count: 2}, 1},       // 7, happened before 3
		{"site/ahu-1/primary", entry.Retract{Target: 1}, 7},   // 8
		{"Site/ahu-1/primary", entry.Reading{Pa: 9}, 8},       // 9: ids are not case-blind
		{"site/ahu-1/primary-2", entry.Reading{Pa: 10}, 9},    // 10
		{"si%e/ahu_1/primary", entry.Reading{Pa: 11}, 10},     // 11: no pattern
		{"", entry.RegisterEdit{Object: "item", ID: "B"}, 11}, // 12
	} {
		e := reading(fmt.Sprintf("%02d", i+1), l.place)
		e.Kind, e.Body, e.At = l.body.Kind(), l.body, monday.Add(time.Duration(l.hour)*time.Hour)
		b.Entries = append(b.Entries, e)
	}
	commit(t, s, b)
	more := ledger.Batch{}
	for _, src := range []string{"hook:a:1", "hook:a:10", "hook:ab:1", "hook_a:1", "ho\u00f6k"} {
		more.Entries = append(more.Entries, reading(src, "other/ahu-9/return"))
	}
	commit(t, s, more)
}

func testFilters(t *testing.T, s ledger.Store) {
	filterLedger(t, s)
	hour := func(n int) time.Time { return monday.Add(time.Duration(n) * time.Hour) }
	for _, c := range []struct {
		name string
		f    ledger.Filter
		want string // sources
	}{
		{"site and below", ledger.Filter{Place: "site"}, "01 02 03 04 05 07 08 10"},
		{"AHU and below, not AHU-10", ledger.Filter{Place: "site/ahu-1"}, "01 03 04 08 10"},
		{"bank, not primary-2", ledger.Filter{Place: "site/ahu-1/primary"}, "01 08"},
		{"nothing there", ledger.Filter{Place: "site/ahu-2"}, ""},
		{"half a slug", ledger.Filter{Place: "sit"}, ""},
		{"several places, in order of Seq", ledger.Filter{Places: []plant.BankID{"site/ahu-1/primary", "site", "site/ahu-1"}}, "01 04 05 07 08"},
		{"several places, some twice or unknown", ledger.Filter{Places: []plant.BankID{"site", "site", "site/ahu-2"}}, "05 07"},
		{"several places, on from", ledger.Filter{Places: []plant.BankID{"site/ahu-1/primary", "site"}, AfterSeq: 5}, "07 08"},
		{"several places and kinds", ledger.Filter{Places: []plant.BankID{"site/ahu-1", "site"}, Kinds: []entry.Kind{entry.KindEvent}}, "04 05"},
		{"several places and kinds with readings", ledger.Filter{Places: []plant.BankID{"site/ahu-1/primary", "site"}, Kinds: []entry.Kind{entry.KindReading}}, "01"},
		{"several places within one", ledger.Filter{Place: "site/ahu-1", Places: []plant.BankID{"site/ahu-1/primary", "site"}}, "01 08"},
		{"several places, last two", ledger.Filter{Places: []plant.BankID{"site/ahu-1/primary", "site"}, Limit: 2, Newest: true}, "07 08"},
		{"several places, source", ledger.Filter{Places: []plant.BankID{"site/ahu-1/primary", "site"}, Source: "0"}, "01 05 07 08"},
		{"site exactly", ledger.Filter{Place: "site", Exact: true}, "05 07"},
		{"AHU exactly", ledger.Filter{Place: "site/ahu-1", Exact: true}, "04"},
		{"pattern characters", ledger.Filter{Place: "si%e"}, "11"},
		{"one kind", ledger.Filter{Kinds: []entry.Kind{entry.KindSwap}}, "03"},
		{"kinds in order of Seq", ledger.Filter{Kinds: []entry.Kind{entry.KindStock, entry.KindEvent, entry.KindRetract}}, "04 05 07 08"},
		{"kinds at a place", ledger.Filter{Place: "site/ahu-1", Kinds: []entry.Kind{entry.KindEvent, entry.KindRetract}}, "04 08"},
		{"kinds at a bank", ledger.Filter{Place: "site/ahu-1/primary", Kinds: []entry.Kind{entry.KindRetract}}, "08"},
		{"kinds with readings", ledger.Filter{Place: "site", Kinds: []entry.Kind{entry.KindReading, entry.KindSwap}}, "01 02 03 10"},
		{"kinds exactly at the site", ledger.Filter{Place: "site", Exact: true, Kinds: []entry.Kind{entry.KindStock, entry.KindSwap}}, "07"},
		{"after", ledger.Filter{Place: "site", AfterSeq: 4}, "05 07 08 10"},
		{"after, at a bank", ledger.Filter{Place: "site/ahu-1/primary", AfterSeq: 1}, "08"},
		{"after, any place", ledger.Filter{AfterSeq: 15}, "hook_a:1 hoök"},
		{"from, inclusive", ledger.Filter{Place: "site", From: hour(3)}, "04 05 08 10"},
		{"to, exclusive", ledger.Filter{Place: "site", To: hour(3)}, "01 02 03 07"},
		{"from and to", ledger.Filter{From: hour(1), To: hour(3)}, "02 03 07"},
		{"source prefix", ledger.Filter{Source: "hook:a:"}, "hook:a:1 hook:a:10"},
		{"source prefix without pattern", ledger.Filter{Source: "hook_"}, "hook_a:1"},
		{"source beyond ASCII", ledger.Filter{Source: "ho\u00f6"}, "hoök"},
		{"source and kinds", ledger.Filter{Source: "0", Kinds: []entry.Kind{entry.KindEvent}}, "04 05"},
		{"source and place", ledger.Filter{Source: "0", Place: "site/ahu-1"}, "01 03 04 08"},
		{"first two", ledger.Filter{Place: "site", Limit: 2}, "01 02"},
		{"last two, in order", ledger.Filter{Place: "site", Limit: 2, Newest: true}, "08 10"},
		{"last one of a bank", ledger.Filter{Place: "site/ahu-1/primary", Limit: 1, Newest: true}, "08"},
		{"last of a kind", ledger.Filter{Kinds: []entry.Kind{entry.KindEvent}, Limit: 1, Newest: true}, "05"},
		{"newest without limit", ledger.Filter{Place: "site/ahu-1", Newest: true}, "01 03 04 08 10"},
		{"last of all", ledger.Filter{Limit: 1, Newest: true}, "hoök"},
		{"everything at once", ledger.Filter{
			Place: "site", Kinds: []entry.Kind{entry.KindReading, entry.KindEvent}, AfterSeq: 1,
			From: hour(1), To: hour(5), Source: "0", Limit: 2, Newest: true,
		}, "04 05"},
	} {
		if got := strings.Join(sources(entries(t, s, c.f)), " "); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

// testSamples: the values of some hours are found in order of Seq whatever order
// they came in, with what takes them back, and nothing else of their place.
func testSamples(t *testing.T, s ledger.Store) {
	const ahu, next plant.BankID = "site/ahu-1", "site/ahu-10"
	value := 5.0
	hour := func(n int) time.Time { return monday.Add(time.Duration(n) * time.Hour) }
	var b ledger.Batch
	for i, l := range []struct {
		place plant.BankID
		body  entry.Body
		hour  int
	}{
		{ahu, entry.Sample{Point: "P", Value: &value}, 3},                // 1
		{ahu, entry.Sample{Point: "P", Value: &value}, 1},                // 2, came late
		{ahu, entry.Event{What: "smoke"}, 2},                             // 3
		{next, entry.Sample{Point: "Q", Value: &value}, 2},               // 4
		{ahu, entry.Sample{Point: "P", Value: &value}, 2},                // 5
		{ahu, entry.Retract{Target: 1}, 3},                               // 6
		{ahu + "/primary", entry.Sample{Point: "P", Value: &value}, 2},   // 7
		{ahu, entry.Sample{Point: "P", Value: &value}, 4},                // 8
		{ahu, entry.Amend{Target: 5, Body: entry.Sample{Point: "P"}}, 2}, // 9
	} {
		e := reading(fmt.Sprint(i+1), l.place)
		e.Kind, e.Body, e.At = l.body.Kind(), l.body, hour(l.hour)
		b.Entries = append(b.Entries, e)
	}
	commit(t, s, b)
	both := []entry.Kind{entry.KindSample, entry.KindRetract}
	for _, c := range []struct {
		name string
		f    ledger.Filter
		want string // sources
	}{
		{"from and to", ledger.Filter{Place: ahu, Exact: true, Kinds: both, From: hour(1), To: hour(4)}, "1 2 5 6"},
		{"from is in, to is not", ledger.Filter{Place: ahu, Exact: true, Kinds: both, From: hour(2), To: hour(3)}, "5"},
		{"one kind", ledger.Filter{Place: ahu, Exact: true, Kinds: both[:1], From: hour(2)}, "1 5 8"},
		{"what took back", ledger.Filter{Place: ahu, Exact: true, Kinds: both[1:], From: hour(1)}, "6"},
		{"after a number", ledger.Filter{Place: ahu, Exact: true, Kinds: both, From: hour(2), AfterSeq: 1}, "5 6 8"},
		{"the last two", ledger.Filter{Place: ahu, Exact: true, Kinds: both, From: hour(1), To: hour(4), Limit: 2, Newest: true}, "5 6"},
		{"below too", ledger.Filter{Place: ahu, Kinds: both, From: hour(2), To: hour(3)}, "5 7"},
		{"with another kind", ledger.Filter{Place: ahu, Exact: true, Kinds: append(both, entry.KindEvent), From: hour(2), To: hour(3)}, "3 5"},
		{"by source", ledger.Filter{Place: ahu, Exact: true, Kinds: both, From: hour(1), Source: "5"}, "5"},
		{"of several places", ledger.Filter{Place: ahu, Exact: true, Places: []plant.BankID{ahu, next}, Kinds: both, From: hour(2), To: hour(3)}, "5"},
	} {
		if got := strings.Join(sources(entries(t, s, c.f)), " "); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

func testCounts(t *testing.T, s ledger.Store) {
	filterLedger(t, s)
	filterLedger(t, s) // all of it duplicates
	got, err := s.Counts(t.Context())
	must(t, err)
	same(t, "counts", got, map[entry.Kind]int64{
		entry.KindReading: 11, entry.KindSwap: 1, entry.KindEvent: 2, entry.KindStock: 1, entry.KindRetract: 1, entry.KindRegister: 1,
	})
}

func testAmend(t *testing.T, s ledger.Store) {
	first := commit(t, s, ledger.Batch{Entries: readings("r", bank, 2)})
	amend := reading("a", bank)
	amend.Kind, amend.Body = entry.KindAmend, entry.Amend{Target: first[0].Seq, Body: entry.Reading{Pa: 154}}
	retract := reading("t", bank)
	retract.Kind, retract.Body = entry.KindRetract, entry.Retract{Target: first[1].Seq}
	commit(t, s, ledger.Batch{Entries: []entry.Entry{amend, retract}})

	kept := entries(t, s, ledger.Filter{Place: bank})
	same(t, "kept", sources(kept), []string{"r:000000", "r:000001", "a", "t"})
	same(t, "the amended entry's own body", kept[0].Body, entry.Body(entry.Reading{Pa: 145}))
	standing := entry.Standing(kept)
	same(t, "standing", sources(standing), []string{"r:000000"})
	same(t, "standing body", standing[0].Body, entry.Body(entry.Reading{Pa: 154}))
}

func testWriters(t *testing.T, s ledger.Store) {
	const writers = 16
	each := 500
	if testing.Short() {
		each = 100 // the race detector slows a store of transpiled code twentyfold
	}
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			var last int64
			size := 1 + w%5*3 // batches of 1 to 13
			for part := range slices.Chunk(readings(fmt.Sprintf("w%02d", w), plant.BankID(fmt.Sprintf("s/a/b%d", w)), each), size) {
				res, err := s.Commit(t.Context(), ledger.Batch{Entries: part})
				if err != nil {
					t.Errorf("writer %d: %v", w, err)
					return
				}
				for _, r := range res {
					if r.Duplicate || r.Seq <= last {
						t.Errorf("writer %d: %+v after #%d", w, r, last)
						return
					}
					last = r.Seq
				}
				if w > 1 {
					continue
				}
				if h, err := s.Head(t.Context()); err != nil || h < last {
					t.Errorf("writer %d: head %d (%v) right after committing #%d", w, h, err, last)
					return
				}
			}
		})
	}
	wg.Wait()
	all := entries(t, s, ledger.Filter{})
	if len(all) != writers*each {
		t.Fatalf("%d entries, want %d", len(all), writers*each)
	}
	next := map[plant.BankID]int{}
	for i, e := range all {
		if e.Seq != int64(i+1) {
			t.Fatalf("entry %d is #%d", i+1, e.Seq)
		}
		w := strings.TrimPrefix(string(e.Place), "s/a/b")
		if want := fmt.Sprintf("w%02s:%06d", w, next[e.Place]); e.Source != want {
			t.Fatalf("#%d is %s, want %s: a writer's entries are out of order", e.Seq, e.Source, want)
		}
		next[e.Place]++
	}
}

// testPrefix: a reader that follows the ledger by AfterSeq misses nothing.
func testPrefix(t *testing.T, s ledger.Store) {
	const writers, each = 4, 60
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for _, e := range readings(fmt.Sprint("w", w), bank, each) {
				if _, err := s.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{e}}); err != nil {
					t.Errorf("writer: %v", err)
					return
				}
			}
		})
	}
	done := make(chan struct{})
	go func() { wg.Wait(); close(done) }()
	seen, finished := int64(0), false
	for {
		select {
		case <-done:
			finished = true
		default:
		}
		for _, e := range entries(t, s, ledger.Filter{AfterSeq: seen}) {
			if e.Seq != seen+1 {
				t.Fatalf("#%d became visible before #%d", e.Seq, seen+1)
			}
			seen = e.Seq
		}
		if finished {
			break
		}
	}
	if seen != writers*each {
		t.Errorf("the reader saw %d of %d entries", seen, writers*each)
	}
}

func testCancelled(t *testing.T, s ledger.Store) {
	ctx := cancelled(t)
	_, err := s.Commit(ctx, ledger.Batch{Entries: readings("x", bank, 1)})
	if !errors.Is(err, context.Canceled) || errors.Is(err, ledger.ErrUncertain) || errors.Is(err, ledger.ErrUnavailable) {
		t.Errorf("Commit with a cancelled context: %v, want the context's error alone", err)
	}
	if n := head(t, s); n != 0 {
		t.Errorf("%d entries were written for a caller who had given up", n)
	}
	if _, err := s.Entries(ctx, ledger.Filter{}); !errors.Is(err, context.Canceled) {
		t.Errorf("Entries with a cancelled context: %v", err)
	}
	if err := s.PutProjection(ctx, ledger.Projection{Bank: bank, UpTo: 1, Data: []byte(`{}`)}); !errors.Is(err, context.Canceled) {
		t.Errorf("PutProjection with a cancelled context: %v", err)
	}
}

// testCancelling gives up at every moment around a write: what is reported as
// written is there, what is reported as not written is not.
func testCancelling(t *testing.T, s ledger.Store) {
	const writers, each = 4, 100
	type outcome struct {
		source string
		err    error
	}
	outcomes := make(chan outcome, writers*each)
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for i, e := range readings(fmt.Sprint("w", w), bank, each) {
				ctx, cancel := context.WithTimeout(t.Context(), time.Duration(i*37%2000)*time.Microsecond)
				_, err := s.Commit(ctx, ledger.Batch{Entries: []entry.Entry{e}})
				cancel()
				outcomes <- outcome{e.Source, err}
			}
		})
	}
	wg.Wait()
	close(outcomes)
	there := map[string]bool{}
	for _, e := range entries(t, s, ledger.Filter{}) {
		there[e.Source] = true
	}
	for o := range outcomes {
		switch {
		case errors.Is(o.err, ledger.ErrUncertain):
		case o.err == nil && !there[o.source]:
			t.Errorf("%s was reported written and is not", o.source)
		case o.err != nil && there[o.source]:
			t.Errorf("%s was reported not written (%v) and is there", o.source, o.err)
		case o.err != nil && !errors.Is(o.err, context.DeadlineExceeded):
			t.Errorf("%s: %v, want the context's error", o.source, o.err)
		}
	}
}

func testClosed(t *testing.T, s ledger.Store) {
	commit(t, s, ledger.Batch{Entries: readings("x", bank, 1)})
	must(t, s.Close())
	must(t, s.Close())
	if _, err := s.Commit(t.Context(), ledger.Batch{Entries: readings("y", bank, 1)}); !errors.Is(err, ledger.ErrUnavailable) {
		t.Errorf("Commit after Close: %v", err)
	}
	if _, err := s.Entries(t.Context(), ledger.Filter{}); !errors.Is(err, ledger.ErrUnavailable) {
		t.Errorf("Entries after Close: %v", err)
	}
	if err := s.Ping(t.Context()); !errors.Is(err, ledger.ErrUnavailable) {
		t.Errorf("Ping after Close: %v", err)
	}
	if _, err := s.Claim(t.Context(), "terminal", monday, time.Minute, 1); !errors.Is(err, ledger.ErrUnavailable) {
		t.Errorf("Claim after Close: %v", err)
	}
}

// testForgetSamples lets go of the values of one point's old samples and of
// nothing else.
func testForgetSamples(t *testing.T, s ledger.Store) {
	var b ledger.Batch
	for i, x := range []struct {
		place plant.BankID
		point string
		hours int
	}{{"s/a", "dp", -2}, {"s/a", "dp", -1}, {"s/a", "dp", 0}, {"s/a", "hz", -2}, {"s/b", "dp", -2}} {
		e := reading(fmt.Sprint("sample:", i), x.place)
		e.At = monday.Add(time.Duration(x.hours) * time.Hour)
		e.Kind, e.Body = entry.KindSample, entry.Sample{Point: x.point, Quantity: "pressure", Value: ptr(1.5), Unit: "Pa"}
		b.Entries = append(b.Entries, e)
	}
	old := reading("reading", "s/a/b")
	old.At = monday.Add(-3 * time.Hour)
	b.Entries = append(b.Entries, old)
	commit(t, s, b)
	for _, want := range []int64{2, 0} {
		if n, err := s.ForgetSamples(t.Context(), "s/a", "dp", monday); err != nil || n != want {
			t.Errorf("%d forgotten (%v), want %d", n, err, want)
		}
	}
	for i, e := range entries(t, s, ledger.Filter{}) {
		x, isSample := e.Body.(entry.Sample)
		if want := b.Entries[i]; e.Seq != int64(i+1) || e.Source != want.Source || !e.At.Equal(want.At) || e.Place != want.Place || isSample && x.Point != want.Body.(entry.Sample).Point {
			t.Errorf("entry %d has become %+v", i, e)
		}
		if gone := isSample && x.Value == nil; gone != (i < 2) || gone && (x.Unit != "" || x.Quantity != "pressure") {
			t.Errorf("entry %d: %+v", i, x)
		}
	}
	if res := commit(t, s, ledger.Batch{Entries: b.Entries[:1]}); !res[0].Duplicate {
		t.Error("the source of a forgotten sample is free again")
	}
}
