package duelist_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/shopspring/decimal"

	"clogwise/internal/duelist"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

func gbp(f float64) units.Money {
	return units.Money{Amount: decimal.NewFromFloat(f).Round(2), Currency: "GBP"}
}

var weekdays = [7]bool{1: true, 2: true, 3: true, 4: true, 5: true}

// monday is the first day of the simulated plans.
var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func calendar() duelist.Calendar {
	return duelist.Calendar{From: monday, Loc: time.UTC, Work: weekdays}
}

// site simulates a site of n banks: AHUs of one to four banks, best days over
// horizon days, windows of weeks around them, running on to costs of the order a
// site of 3 m³/s units sees (common practice, no source).
func site(r *rand.Rand, n, horizon int) ([]duelist.Job, duelist.VisitCosts) {
	costs := duelist.VisitCosts{Visit: gbp(60 + 300*r.Float64()), Isolation: gbp(10 + 80*r.Float64())}
	var jobs []duelist.Job
	for a := 0; len(jobs) < n; a++ {
		for b := range 1 + r.IntN(4) {
			if len(jobs) == n {
				break
			}
			best := r.IntN(horizon)
			j := duelist.Job{
				Bank:   plant.BankID(fmt.Sprintf("north/ahu-%d/bank-%d", a, b)),
				Best:   monday.AddDate(0, 0, best),
				Latest: monday.AddDate(0, 0, best+r.IntN(45)-2),
				Early:  gbp(0.2 + 3*r.Float64()),
				Late:   gbp(0.2 + 4*r.Float64()),
				Hours:  1 + r.Float64(),
			}
			switch r.IntN(5) {
			case 0:
				j.Bend = gbp(0.05 * r.Float64())
			case 1:
				j.Earliest = monday.AddDate(0, 0, best-r.IntN(20))
			case 2:
				j.Early, j.Late, j.Bend = units.Money{}, units.Money{}, gbp(0.01+0.1*r.Float64())
			}
			jobs = append(jobs, j)
		}
	}
	return jobs, costs
}

func plan(t testing.TB, jobs []duelist.Job, costs duelist.VisitCosts, cal duelist.Calendar) duelist.Plan {
	t.Helper()
	p, err := duelist.Visits(jobs, costs, cal)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func amount(m units.Money) float64 { return m.Amount.InexactFloat64() }
