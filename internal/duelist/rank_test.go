package duelist_test

import (
	"encoding/json"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/duelist"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

func row(bank string, c duelist.Condition, median int, wait float64) duelist.Row {
	return duelist.Row{Bank: plant.BankID(bank), Condition: c, Median: now.AddDate(0, 0, median), WaitWeek: gbp(wait)}
}

func banks(rows []duelist.Row) []string {
	var out []string
	for _, r := range rows {
		out = append(out, string(r.Bank))
	}
	return out
}

func TestRank(t *testing.T) {
	t.Parallel()
	later, earlier := now.AddDate(0, 0, 30), now.AddDate(0, 0, -1)
	put := func(r duelist.Row, until time.Time) duelist.Row { r.Deferred = &until; return r }
	cheap := func(r duelist.Row, days int) duelist.Row { r.LeastCost = now.AddDate(0, 0, days); return r }
	undated := func(r duelist.Row) duelist.Row { r.Median = time.Time{}; return r }
	euro := func(r duelist.Row) duelist.Row { r.WaitWeek.Currency = "EUR"; return r }
	for name, want := range map[string][]duelist.Row{
		"by condition": {
			row("a", duelist.Overdue, 9, 0), row("b", duelist.Due, 0, 99), row("c", duelist.DueSoon, 9, 0), row("d", duelist.Doubtful, 1, 0),
			row("e", duelist.Unread, 1, 0), row("f", duelist.Loading, 50, 0), row("g", duelist.Clean, 1, 0), row("h", "unheard of", 0, 0),
		},
		"overdue by cost, then date":      {row("c", duelist.Overdue, -1, 9), row("b", duelist.Overdue, -9, 5), row("a", duelist.Overdue, -8, 5)},
		"due soon by day, then cost":      {row("c", duelist.DueSoon, 3, 1), row("b", duelist.DueSoon, 4, 9), row("a", duelist.DueSoon, 4, 5)},
		"the least-cost date counts":      {cheap(row("b", duelist.Loading, 50, 0), 20), row("a", duelist.Loading, 40, 0)},
		"undated comes last":              {row("b", duelist.Loading, 400, 0), undated(row("a", duelist.Loading, 0, 50))},
		"deferred gives way":              {row("c", duelist.DueSoon, 9, 0), put(row("a", duelist.Overdue, -9, 99), later), row("b", duelist.Doubtful, 0, 0)},
		"a deferral that ran out is gone": {put(row("a", duelist.Overdue, -9, 99), earlier), row("c", duelist.DueSoon, 9, 0)},
		"currencies are not compared":     {euro(row("c", duelist.Overdue, 0, 1)), row("b", duelist.Overdue, 0, 900), row("a", duelist.Overdue, 0, 2)},
		"by bank at last":                 {row("a", duelist.Due, 0, 5), row("b", duelist.Due, 0, 5)},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := rand.New(rand.NewPCG(1, 1))
			for range 20 {
				in := slices.Clone(want)
				r.Shuffle(len(in), func(i, k int) { in[i], in[k] = in[k], in[i] })
				before := banks(in)
				if diff := cmp.Diff(banks(want), banks(duelist.Rank(in, now))); diff != "" {
					t.Fatalf("order (-want +got):\n%s", diff)
				}
				if !slices.Equal(before, banks(in)) {
					t.Fatal("the input was reordered")
				}
			}
		})
	}
}

// Hours of the day do not decide: two banks due on one day go by cost.
func TestRankComparesDays(t *testing.T) {
	t.Parallel()
	morning, evening := row("a", duelist.DueSoon, 3, 1), row("b", duelist.DueSoon, 3, 8)
	evening.Median = evening.Median.Add(10 * time.Hour)
	if got := banks(duelist.Rank([]duelist.Row{morning, evening}, now)); got[0] != "b" {
		t.Errorf("order is %v", got)
	}
}

// The names of the printed fields are stable: integrators read them.
func TestRowAsJSON(t *testing.T) {
	t.Parallel()
	r := row("north/ahu-3/secondary", duelist.DueSoon, 16, 14.3)
	r.PenaltyPerDay = units.Money{}
	raw, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"bank":"north/ahu-3/secondary"`, `"condition":"due soon"`, `"median":"2026-03-18T09:00:00Z"`, `"wait_week":{"amount":"14.3","currency":"GBP"}`} {
		if !strings.Contains(string(raw), want) {
			t.Errorf("%s is missing in %s", want, raw)
		}
	}
	for _, absent := range []string{"p10", "least_cost", "deferred", "booked", "last_read", "0001"} {
		if strings.Contains(string(raw), absent) {
			t.Errorf("%s is not known and yet printed in %s", absent, raw)
		}
	}
}
