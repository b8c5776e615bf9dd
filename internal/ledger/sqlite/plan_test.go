package sqlite_test

import (
	"strings"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// TestPlans: no question people or workers ask often reads the whole ledger, and
// a bank's entries come in order without being sorted.
func TestPlans(t *testing.T) {
	t.Parallel()
	s := fresh(t)
	claim, err := s.ClaimPlan()
	if err != nil {
		t.Fatal(err)
	}
	for _, index := range []string{"p USING INDEX post_ready", "e USING INDEX post_thread"} {
		if !strings.Contains(claim, index) {
			t.Errorf("claim does not search %s: %s", index, claim)
		}
	}
	if strings.Contains(claim, "SCAN") || strings.Contains(claim, "TEMP") {
		t.Errorf("claim scans or sorts: %s", claim)
	}
	samples, day := []entry.Kind{entry.KindSample, entry.KindRetract}, time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name   string
		f      ledger.Filter
		uses   string
		sorted bool // sorting what was found is the price
	}{
		{"a bank", ledger.Filter{Place: "s/a/b"}, "INDEX entry_place (place=?)", false},
		{"a bank, on from", ledger.Filter{Place: "s/a/b", AfterSeq: 7}, "INDEX entry_place (place=? AND rowid>?)", false},
		{"a bank's last", ledger.Filter{Place: "s/a/b", Limit: 1, Newest: true}, "INDEX entry_place (place=?)", false},
		{"an AHU", ledger.Filter{Place: "s/a"}, "INDEX entry_place (place>? AND place<?)", false},
		{"a site's last", ledger.Filter{Place: "s", Limit: 9, Newest: true}, "INDEX entry_place (place>? AND place<?)", false},
		{"bookings", ledger.Filter{Kinds: []entry.Kind{entry.KindBooking}}, "INDEX entry_rare (kind=?)", true},
		{"bookings of a bank", ledger.Filter{Place: "s/a/b", Kinds: []entry.Kind{entry.KindBooking}}, "INDEX entry_rare (kind=? AND place=?)", false},
		{"bookings of an AHU", ledger.Filter{Place: "s/a", Kinds: []entry.Kind{entry.KindBooking}, Limit: 9}, "INDEX entry_rare (kind=? AND place>? AND place<?)", true},
		{"a message's entries", ledger.Filter{Source: "chat:T:C:1.5:"}, "INDEX entry_source (source>? AND source<?)", true},
		{"several banks", ledger.Filter{Places: []plant.BankID{"s/a/b", "s/a/c"}}, "INDEX entry_place (place=? AND rowid>?)", false},
		{"several banks, on from", ledger.Filter{Places: []plant.BankID{"s/a/b", "s/a/c"}, AfterSeq: 7}, "INDEX entry_place (place=? AND rowid>?)", false},
		{"bookings of several banks", ledger.Filter{Places: []plant.BankID{"s/a/b", "s/a/c"}, Kinds: []entry.Kind{entry.KindBooking}}, "INDEX entry_rare (kind=? AND place=?)", true},
		{"values of an AHU's day", ledger.Filter{Place: "s/a", Exact: true, Kinds: samples, From: day, To: day.AddDate(0, 0, 1)}, "INDEX entry_sample (place=? AND at>? AND at<?)", true},
		{"values of an AHU that came since", ledger.Filter{Place: "s/a", Exact: true, Kinds: samples, From: day, AfterSeq: 7}, "INDEX entry_place (place=? AND rowid>?)", false},
		{"values kept aside", ledger.Filter{Place: "@aside", Kinds: samples[:1], AfterSeq: 7, Limit: 9}, "COVERING INDEX entry_place (place>? AND place<?)", true},
		{"on from", ledger.Filter{AfterSeq: 7, Limit: 100}, "INTEGER PRIMARY KEY (rowid>?)", false},
	} {
		plan, err := s.EntryPlan(c.f)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if !strings.Contains(plan, c.uses) {
			t.Errorf("%s: plan does not use %s: %s", c.name, c.uses, plan)
		}
		if strings.Contains(plan, "SCAN entry") {
			t.Errorf("%s: reads the whole ledger: %s", c.name, plan)
		}
		if !c.sorted && strings.Contains(plan, "USE TEMP B-TREE FOR ORDER BY") {
			t.Errorf("%s: sorts: %s", c.name, plan)
		}
	}
}
