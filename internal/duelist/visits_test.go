package duelist_test

import (
	"errors"
	"flag"
	"fmt"
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/shopspring/decimal"

	"clogwise/internal/duelist"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// sites is how many sites of 60 banks are compared with the best plan known. The
// figures in the doc comment of Visits are those of 200.
var sites = flag.Int("sites", 24, "simulated sites of 60 banks")

// cheapest tries every way to split the jobs into visits, each on every day. Its
// answer is in pence.
func cheapest(jobs []duelist.Job, costs duelist.VisitCosts, cal duelist.Calendar) int64 {
	days := workdays(jobs, cal)
	visit, isolation := int64(math.Round(amount(costs.Visit)*100)), int64(math.Round(amount(costs.Isolation)*100))
	may := make([][]bool, len(jobs))
	for i, j := range jobs {
		may[i] = allowed(j, days, cal)
	}
	price := map[int]int64{}
	one := func(set int) int64 {
		if c, ok := price[set]; ok {
			return c
		}
		best, ahus := int64(math.MaxInt64/64), map[plant.BankID]bool{}
		for d := range days {
			sum := int64(0)
			for s := set; s > 0 && sum >= 0; s &= s - 1 {
				i := bits.TrailingZeros(uint(s))
				ahus[jobs[i].Bank.AHU()] = true
				if sum += pence(jobs[i], days[d], cal.Loc); !may[i][d] {
					sum = -1
				}
			}
			if sum >= 0 {
				best = min(best, sum)
			}
		}
		for s := set; s > 0; s &= s - 1 {
			ahus[jobs[bits.TrailingZeros(uint(s))].Bank.AHU()] = true
		}
		price[set] = best + visit + isolation*int64(len(ahus))
		return price[set]
	}
	best := int64(math.MaxInt64)
	var deal func(i int, visits []int)
	deal = func(i int, visits []int) {
		if i == len(jobs) {
			sum := int64(0)
			for _, v := range visits {
				sum += one(v)
			}
			best = min(best, sum)
			return
		}
		for k := range visits {
			visits[k] |= 1 << i
			deal(i+1, visits)
			visits[k] &^= 1 << i
		}
		deal(i+1, append(visits, 1<<i))
	}
	deal(0, nil)
	return best
}

// oddSite adds what the plain simulation lacks: bookings, past limits, days off.
func oddSite(seed uint64, n int) ([]duelist.Job, duelist.VisitCosts, duelist.Calendar) {
	r := rand.New(rand.NewPCG(seed, 5))
	jobs, costs := site(r, n, 10+r.IntN(60))
	cal := calendar()
	cal.Closed = []string{"2026-03-02", "2026-04-03"}
	for i := range jobs {
		switch r.IntN(8) {
		case 0:
			jobs[i].Booked = monday.AddDate(0, 0, r.IntN(20))
		case 1:
			jobs[i].Latest = monday.AddDate(0, 0, -r.IntN(30))
		case 2:
			jobs[i].Earliest = jobs[i].Latest.AddDate(0, 0, r.IntN(9))
		}
	}
	return jobs, costs, cal
}

func TestFewJobsGetTheCheapestPlan(t *testing.T) {
	t.Parallel()
	for seed := range uint64(60) {
		n := 1 + int(seed)%7
		if seed >= 57 {
			n = 10
		}
		jobs, costs, cal := oddSite(seed, n)
		want := decimal.New(cheapest(jobs, costs, cal), -2)
		if got := plan(t, jobs, costs, cal).Cost; !got.Amount.Equal(want) {
			t.Errorf("seed %d, %d jobs: plan costs %s, every plan was tried and the cheapest costs %s", seed, n, got, want)
		}
	}
}

func TestSearchComesCloseToTheCheapestPlan(t *testing.T) {
	t.Parallel()
	hits, n := 0, 60
	for seed := range uint64(n) {
		jobs, costs, cal := oddSite(seed, 10)
		exact := plan(t, jobs, costs, cal)
		got, err := duelist.Searched(jobs, costs, cal)
		if err != nil {
			t.Fatal(err)
		}
		ratio := amount(got.Cost) / amount(exact.Cost)
		if ratio < 1 || ratio > 1.02 {
			t.Errorf("seed %d: search costs %s, cheapest %s", seed, got.Cost, exact.Cost)
		}
		if ratio == 1 {
			hits++
		}
	}
	if hits < n*9/10 {
		t.Errorf("the search found the cheapest plan for %d of %d sites", hits, n)
	}
}

func TestManyJobsComeWithinTwoPercentOfTheBestKnown(t *testing.T) {
	t.Parallel()
	worst, mean, slowest := 0.0, 0.0, time.Duration(0)
	for seed := range uint64(*sites) {
		jobs, costs := site(rand.New(rand.NewPCG(seed, 1)), 60, 120+int(seed%3)*120)
		began := time.Now()
		got := plan(t, jobs, costs, calendar())
		slowest = max(slowest, time.Since(began))
		known, err := duelist.BestKnown(jobs, costs, calendar(), 20)
		if err != nil {
			t.Fatal(err)
		}
		gap := amount(got.Cost)/amount(known.Cost) - 1
		worst = max(worst, gap)
		if gap > 0.02 {
			t.Errorf("seed %d: plan costs %s, best known %s", seed, got.Cost, known.Cost)
		}
		bound := relax(jobs, costs, calendar()).bound(amount(got.Cost), 150)
		if over := amount(got.Cost)/bound - 1; over < -1e-9 {
			t.Errorf("seed %d: plan costs %s, below the bound %.2f", seed, got.Cost, bound)
		} else {
			mean += over / float64(*sites)
		}
	}
	if mean > 0.01 {
		t.Errorf("plans cost %.2f %% more than the lower bound on average", mean*100)
	}
	t.Logf("%d sites of 60 banks: at most %.2f %% above the best known, on average %.2f %% above a lower bound, slowest %v",
		*sites, worst*100, mean*100, slowest)
}

func TestPlanKeepsItsRules(t *testing.T) {
	t.Parallel()
	for seed := range uint64(80) {
		jobs, costs, cal := oddSite(seed, 3+int(seed%3)*12)
		p := plan(t, jobs, costs, cal)
		byBank := map[plant.BankID]duelist.Job{}
		for _, j := range jobs {
			byBank[j.Bank] = j
		}
		days := workdays(jobs, cal)
		total := decimal.Zero
		for k, v := range p.Visits {
			if k > 0 && !p.Visits[k-1].Day.Before(v.Day) {
				t.Errorf("seed %d: visits out of order", seed)
			}
			own := costs.Visit.Amount.Add(costs.Isolation.Amount.Mul(decimal.NewFromInt(int64(v.AHUs))))
			for _, placed := range v.Jobs {
				j, ok := byBank[placed.Bank]
				if !ok {
					t.Fatalf("seed %d: %s is placed twice or was never asked for", seed, placed.Bank)
				}
				delete(byBank, placed.Bank)
				d := slices.IndexFunc(days, v.Day.Equal)
				if d < 0 || !allowed(j, days, cal)[d] {
					t.Errorf("seed %d: %s may not be done on %s", seed, j.Bank, v.Day)
				}
				if late := v.Day.Format(time.DateOnly) > j.Latest.Format(time.DateOnly); late != placed.Late {
					t.Errorf("seed %d: %s on %s, latest %s, says late: %v", seed, j.Bank, v.Day, j.Latest, placed.Late)
				}
				own = own.Add(placed.Cost.Amount)
			}
			if !own.Equal(v.Cost.Amount) {
				t.Errorf("seed %d: visit costs %s, its parts %s", seed, v.Cost, own)
			}
			total = total.Add(own)
		}
		if len(byBank) > 0 {
			t.Errorf("seed %d: %d jobs have no day", seed, len(byBank))
		}
		if !total.Equal(p.Cost.Amount) || p.Cost.Amount.GreaterThan(p.Separate.Amount) {
			t.Errorf("seed %d: plan costs %s, its visits %s, one by one %s", seed, p.Cost, total, p.Separate)
		}
	}
}

func TestOrderOfJobsDoesNotMatter(t *testing.T) {
	t.Parallel()
	for _, n := range []int{8, 40} {
		jobs, costs, cal := oddSite(3, n)
		want := plan(t, jobs, costs, cal)
		r := rand.New(rand.NewPCG(9, 9))
		for range 5 {
			r.Shuffle(n, func(i, k int) { jobs[i], jobs[k] = jobs[k], jobs[i] })
			if diff := cmp.Diff(want, plan(t, jobs, costs, cal)); diff != "" {
				t.Errorf("%d jobs in another order (-want +got):\n%s", n, diff)
			}
		}
	}
}

func TestOneMoreJobNeverCostsLess(t *testing.T) {
	t.Parallel()
	for seed := range uint64(20) {
		jobs, costs, cal := oddSite(seed, 10)
		for i := range jobs {
			jobs[i].Booked = time.Time{} // a booked day opens a day that others use
		}
		last := decimal.Zero
		for n := 1; n <= len(jobs); n++ {
			c := plan(t, jobs[:n], costs, cal).Cost.Amount
			if c.LessThan(last) {
				t.Errorf("seed %d: %d jobs cost %s, one less %s", seed, n, c, last)
			}
			last = c
		}
	}
}

func TestTighterLimitNeverCostsLess(t *testing.T) {
	t.Parallel()
	for seed := range uint64(20) {
		jobs, costs := site(rand.New(rand.NewPCG(seed, 8)), 8, 60)
		for i := range jobs { // room enough to stay in time
			jobs[i].Earliest, jobs[i].Latest = time.Time{}, jobs[i].Best.AddDate(0, 0, 30)
		}
		wide := plan(t, jobs, costs, calendar())
		jobs[2].Latest = jobs[2].Latest.AddDate(0, 0, -25)
		if tight := plan(t, jobs, costs, calendar()); tight.Cost.Amount.LessThan(wide.Cost.Amount) {
			t.Errorf("seed %d: a tighter limit lowered the cost from %s to %s", seed, wide.Cost, tight.Cost)
		}
	}
}

// Two banks of one unit a week apart: worked out by hand from the stated costs.
func TestTwoBanksOfOneUnit(t *testing.T) {
	t.Parallel()
	job := func(bank string, best int) duelist.Job {
		return duelist.Job{Bank: plant.BankID("north/ahu-3/" + bank), Best: monday.AddDate(0, 0, best),
			Latest: monday.AddDate(0, 0, 60), Early: gbp(1), Late: gbp(3), Hours: 1.5}
	}
	for _, c := range []struct {
		name                   string
		visit, isolation, cost float64
		visits, offBest        []int // jobs per visit; days off best in bank order
	}{
		// Together on the earlier day: 50 + 10 + 7 days early at £1.
		{"dear visits are shared", 50, 10, 67, []int{2}, []int{0, -7}},
		// Apart: 2 × (3 + 10) = 26; together 3 + 10 + 7 = 20.
		{"isolation alone is worth sharing", 3, 10, 20, []int{2}, []int{0, -7}},
		// Apart: 2 × (1 + 2) = 6; together 1 + 2 + 7 = 10.
		{"cheap visits are not shared", 1, 2, 6, []int{1, 1}, []int{0, 0}},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := plan(t, []duelist.Job{job("primary", 7), job("secondary", 14)}, duelist.VisitCosts{Visit: gbp(c.visit), Isolation: gbp(c.isolation)}, calendar())
			var visits, off []int
			for _, v := range p.Visits {
				visits = append(visits, len(v.Jobs))
				for _, j := range v.Jobs {
					off = append(off, j.OffBest)
				}
			}
			if amount(p.Cost) != c.cost || !slices.Equal(visits, c.visits) || !slices.Equal(off, c.offBest) {
				t.Errorf("cost %s, visits %v, off best %v; want %v, %v, %v", p.Cost, visits, off, c.cost, c.visits, c.offBest)
			}
			if h, want := p.Visits[0].Hours, 1.5*float64(c.visits[0]); h != want {
				t.Errorf("first visit takes %v person-hours, want %v", h, want)
			}
		})
	}
}

// Days are civil days wherever the clock changes: Cairo skips the midnight of 24
// April 2026, New York has 23 hours on 8 March 2026 (IANA time zone database).
func TestChangesOfTheClock(t *testing.T) {
	t.Parallel()
	for zone, change := range map[string]string{"Africa/Cairo": "2026-04-24", "America/New_York": "2026-03-08", "Pacific/Apia": "2026-01-15"} {
		t.Run(zone, func(t *testing.T) {
			t.Parallel()
			loc, err := time.LoadLocation(zone)
			if err != nil {
				t.Skip("no time zone database:", err)
			}
			d, _ := time.ParseInLocation(time.DateOnly, change, loc)
			cal := duelist.Calendar{From: d.AddDate(0, 0, -3), Loc: loc, Work: [7]bool{true, true, true, true, true, true, true}}
			for off := range 6 {
				best := cal.From.AddDate(0, 0, off).Add(20 * time.Hour)
				p := plan(t, []duelist.Job{{Bank: "a/b/c", Best: best, Latest: best.AddDate(0, 0, 9), Early: gbp(1), Late: gbp(1)}}, duelist.VisitCosts{}, cal)
				if got, want := p.Visits[0].Day.In(loc).Format(time.DateOnly), best.Format(time.DateOnly); got != want || p.Visits[0].Jobs[0].OffBest != 0 {
					t.Errorf("best on %s, planned on %s, %d days off", want, got, p.Visits[0].Jobs[0].OffBest)
				}
			}
		})
	}
}

func TestVisitsRefuses(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		spoil func(*[]duelist.Job, *duelist.VisitCosts, *duelist.Calendar)
		want  error
	}{
		"no zone":         {func(_ *[]duelist.Job, _ *duelist.VisitCosts, cal *duelist.Calendar) { cal.Loc = nil }, duelist.ErrCalendar},
		"no first day":    {func(_ *[]duelist.Job, _ *duelist.VisitCosts, cal *duelist.Calendar) { cal.From = time.Time{} }, duelist.ErrCalendar},
		"no working days": {func(_ *[]duelist.Job, _ *duelist.VisitCosts, cal *duelist.Calendar) { cal.Work = [7]bool{} }, duelist.ErrCalendar},
		"a bank twice":    {func(js *[]duelist.Job, _ *duelist.VisitCosts, _ *duelist.Calendar) { *js = append(*js, (*js)[0]) }, duelist.ErrJob},
		"no best day":     {func(js *[]duelist.Job, _ *duelist.VisitCosts, _ *duelist.Calendar) { (*js)[0].Best = time.Time{} }, duelist.ErrJob},
		"no latest day":   {func(js *[]duelist.Job, _ *duelist.VisitCosts, _ *duelist.Calendar) { (*js)[0].Latest = time.Time{} }, duelist.ErrJob},
		"next century": {func(js *[]duelist.Job, _ *duelist.VisitCosts, _ *duelist.Calendar) {
			(*js)[0].Latest = monday.AddDate(100, 0, 0)
		}, duelist.ErrJob},
		"negative cost":    {func(_ *[]duelist.Job, cs *duelist.VisitCosts, _ *duelist.Calendar) { cs.Visit = gbp(-1) }, duelist.ErrCost},
		"negative rate":    {func(js *[]duelist.Job, _ *duelist.VisitCosts, _ *duelist.Calendar) { (*js)[1].Late = gbp(-1) }, duelist.ErrCost},
		"absurd cost":      {func(_ *[]duelist.Job, cs *duelist.VisitCosts, _ *duelist.Calendar) { cs.Isolation = gbp(1e12) }, duelist.ErrCost},
		"mixed currencies": {func(_ *[]duelist.Job, cs *duelist.VisitCosts, _ *duelist.Calendar) { cs.Visit.Currency = "EUR" }, units.ErrCurrency},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			jobs, costs := site(rand.New(rand.NewPCG(1, 1)), 3, 30)
			cal := calendar()
			c.spoil(&jobs, &costs, &cal)
			if p, err := duelist.Visits(jobs, costs, cal); !errors.Is(err, c.want) || len(p.Visits) > 0 {
				t.Errorf("error is %v, want %v", err, c.want)
			}
		})
	}
}

// Costs at the edge of what is taken must not overflow or lose a job.
func TestDearestCostsLoseNoJob(t *testing.T) {
	t.Parallel()
	jobs, costs := site(rand.New(rand.NewPCG(2, 2)), 300, 60)
	costs.Visit, costs.Isolation = gbp(1e8), gbp(1e8)
	for i := range jobs {
		jobs[i].Early, jobs[i].Late, jobs[i].Bend = gbp(1e8), gbp(1e8), gbp(1e8)
	}
	p := plan(t, jobs, costs, calendar())
	placed := 0
	for _, v := range p.Visits {
		placed += len(v.Jobs)
	}
	if placed != len(jobs) || p.Cost.Amount.IsNegative() {
		t.Errorf("%d of %d jobs placed at %s", placed, len(jobs), p.Cost)
	}
}

func TestNoJobsNoVisits(t *testing.T) {
	t.Parallel()
	if p := plan(t, nil, duelist.VisitCosts{}, duelist.Calendar{}); len(p.Visits) > 0 || !p.Cost.Amount.IsZero() {
		t.Errorf("no jobs give %+v", p)
	}
}

func BenchmarkVisits(b *testing.B) {
	for _, n := range []int{10, 60, 200} {
		b.Run(fmt.Sprintf("banks=%d", n), func(b *testing.B) {
			jobs, costs := site(rand.New(rand.NewPCG(4, 1)), n, 240)
			for b.Loop() {
				plan(b, jobs, costs, calendar())
			}
		})
	}
}
