package duelist

import (
	"cmp"
	"slices"
	"time"

	"clogwise/internal/units"
)

// Rank returns the rows in the order to act on them, without altering the input.
//
//  1. By condition: overdue, due, due soon, doubtful, unread, loading, clean. A
//     row deferred to a day ahead goes below the banks that are due soon: somebody
//     decided that it can wait.
//  2. Overdue and due banks are late already, so the money decides: the highest
//     cost of waiting a week first, then the earliest date.
//  3. All others by the day to act on (Row.ActOn), undated last, and on the same
//     day by the cost of waiting, highest first.
//  4. What is still equal goes by bank id.
//
// Amounts of different currencies are never compared: where the cost decides,
// rows of one currency stand together, currencies in alphabetical order.
func Rank(rows []Row, now time.Time) []Row {
	out := slices.Clone(rows)
	slices.SortStableFunc(out, func(a, b Row) int {
		ta, tb := tier(a, now), tier(b, now)
		if c := cmp.Compare(ta, tb); c != 0 {
			return c
		}
		date, cost := byDay(a.ActOn(now), b.ActOn(now)), byCost(a.WaitWeek, b.WaitWeek)
		if ta <= lateTier {
			date, cost = cost, date
		}
		return cmp.Or(date, cost, cmp.Compare(a.Bank, b.Bank))
	})
	return out
}

var tiers = map[Condition]int{Overdue: 0, Due: 1, DueSoon: 2, Doubtful: 4, Unread: 5, Loading: 6, Clean: 7}

const (
	lateTier     = 1 // overdue and due
	deferredTier = 3
	lastTier     = 8
)

func tier(r Row, now time.Time) int {
	t, known := tiers[r.Condition]
	if !known {
		return lastTier
	}
	if r.deferred(now) {
		return max(t, deferredTier)
	}
	return t
}

// byDay compares civil days, each in its own zone; no date comes last.
func byDay(a, b time.Time) int {
	if a.IsZero() || b.IsZero() {
		return cmp.Compare(boolInt(a.IsZero()), boolInt(b.IsZero()))
	}
	return cmp.Compare(dayOf(a, a.Location()), dayOf(b, b.Location()))
}

func byCost(a, b units.Money) int {
	return cmp.Or(cmp.Compare(a.Currency, b.Currency), b.Amount.Cmp(a.Amount))
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}
