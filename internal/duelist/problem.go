package duelist

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"github.com/shopspring/decimal"

	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// micros is an amount in millionths of a currency unit.
type micros int64

// never is the cost of a day that a job cannot have. Sums stop at it.
const never micros = 1 << 60

func plus(a, b micros) micros { return min(a+b, never) }

// A problem is the visits question in whole numbers: candidate days by index,
// jobs grouped by AHU.
type problem struct {
	days      []day // candidates, ascending
	all       []int // their indices
	visit     micros
	isolation micros
	jobs      []task // by bank id
	groups    []group
	currency  string
	loc       *time.Location
}

// A task is a job on the line of candidate days.
type task struct {
	Job
	bestDay, lo, hi day
	booked, late    bool
	line
}

// A group is the jobs of one AHU.
type group struct {
	jobs  []int  // by index
	lines []line // ascending by best day
	floor micros // least cost with visits on every day, of this AHU and all after it
}

// near are the days, of those given, that the AHU can want: from the last one up
// to its first best day to the first one from its last best day on. Days further
// out suit every job less.
func (g *group) near(days []int) []int {
	i, exact := slices.BinarySearch(days, g.lines[0].best)
	if !exact && i > 0 {
		i--
	}
	j, _ := slices.BinarySearch(days, g.lines[len(g.lines)-1].best)
	return days[i:min(j+1, len(days))]
}

func newProblem(jobs []Job, costs VisitCosts, cal Calendar) (*problem, error) {
	open, err := cal.open(jobs)
	if err != nil {
		return nil, err
	}
	p := &problem{loc: cal.Loc}
	if p.visit, err = p.amount("visit", costs.Visit); err != nil {
		return nil, err
	}
	if p.isolation, err = p.amount("isolation", costs.Isolation); err != nil {
		return nil, err
	}
	for _, j := range slices.SortedFunc(slices.Values(jobs), func(a, b Job) int { return cmp.Compare(a.Bank, b.Bank) }) {
		if n := len(p.jobs); n > 0 && p.jobs[n-1].Bank == j.Bank {
			return nil, fmt.Errorf("%w: %s is listed twice", ErrJob, j.Bank)
		}
		t, err := newTask(j, open)
		if err != nil {
			return nil, err
		}
		p.jobs = append(p.jobs, t)
	}
	p.candidates(open)
	for i := range p.jobs {
		if err := p.price(&p.jobs[i]); err != nil {
			return nil, err
		}
	}
	p.group()
	return p, nil
}

// newTask turns a job's dates into days and settles what it may have.
func newTask(j Job, open workdays) (task, error) {
	if j.Best.IsZero() || j.Latest.IsZero() {
		return task{}, fmt.Errorf("%w: %s needs a best and a latest day", ErrJob, j.Bank)
	}
	t := task{Job: j, bestDay: dayOf(j.Best, open.loc), lo: open.from, hi: dayOf(j.Latest, open.loc)}
	if !j.Earliest.IsZero() {
		t.lo = max(t.lo, dayOf(j.Earliest, open.loc))
	}
	if t.lo > open.from+maxAhead || t.hi > open.from+maxAhead {
		return task{}, fmt.Errorf("%w: %s lies more than five years ahead", ErrJob, j.Bank)
	}
	if d, ok := open.bookedDay(j); ok {
		t.booked, t.late = true, d > t.hi
		t.lo, t.hi = d, d
		return t, nil
	}
	first, err := open.first(t.lo)
	if err != nil {
		return task{}, err
	}
	if first > t.hi {
		t.late, t.hi = true, first
	}
	t.lo = first
	return t, nil
}

// candidates are the working days from the first to the last that a job may have.
func (p *problem) candidates(open workdays) {
	lo, hi := p.jobs[0].lo, p.jobs[0].hi
	for _, t := range p.jobs {
		lo, hi = min(lo, t.lo), max(hi, t.hi)
	}
	for d := lo; d <= hi; d++ {
		if open.works(d) {
			p.all = append(p.all, len(p.days))
			p.days = append(p.days, d)
		}
	}
}

// price fills a task's cost by day.
func (p *problem) price(t *task) error {
	early, err := p.amount(string(t.Bank), t.Early)
	if err != nil {
		return err
	}
	late, err := p.amount(string(t.Bank), t.Late)
	if err != nil {
		return err
	}
	bend, err := p.amount(string(t.Bank), t.Bend)
	if err != nil {
		return err
	}
	t.cost = make([]micros, len(p.days))
	t.best = -1
	for i, d := range p.days {
		t.cost[i] = never
		if d < t.lo || d > t.hi {
			continue
		}
		t.cost[i] = offCost(d-t.bestDay, early, late, bend)
		if t.best < 0 || t.cost[i] < t.cost[t.best] {
			t.best = i
		}
	}
	return nil
}

// capCost is the most that being off its best day can cost one job, 281 million
// currency units. It keeps the sum of thousands of jobs below never.
const capCost micros = 1 << 48

func offCost(off day, early, late, bend micros) micros {
	n, rate := micros(off), late
	if n < 0 {
		n, rate = -n, early
	}
	return min(capped(rate, n)+capped(bend, n*n), capCost)
}

// capped is a·b, at most capCost.
func capped(a, b micros) micros {
	if b > 0 && a > capCost/b {
		return capCost
	}
	return a * b
}

// group gathers the jobs of each AHU.
func (p *problem) group() {
	byAHU := map[plant.BankID]int{}
	for i, t := range p.jobs {
		k, ok := byAHU[t.Bank.AHU()]
		if !ok {
			k = len(p.groups)
			byAHU[t.Bank.AHU()] = k
			p.groups = append(p.groups, group{})
		}
		g := &p.groups[k]
		g.jobs, g.lines = append(g.jobs, i), append(g.lines, t.line)
	}
	for i := range p.groups {
		slices.SortStableFunc(p.groups[i].lines, byBest)
	}
	var w walker
	floor := micros(0)
	for i := range slices.Backward(p.groups) {
		g := &p.groups[i]
		floor = plus(floor, w.walk(g.lines, g.near(p.all), p.isolation))
		g.floor = floor
	}
}

// maxAmount is the highest cost taken, in currency units.
const maxAmount = 1e8

// amount reads a cost, minding sign and currency.
func (p *problem) amount(what string, m units.Money) (micros, error) {
	if m.Amount.IsNegative() || m.Amount.GreaterThan(decimal.NewFromInt(maxAmount)) {
		return 0, fmt.Errorf("%w: %s costs %s", ErrCost, what, m)
	}
	if m.Currency != "" && !m.Amount.IsZero() {
		if p.currency != "" && p.currency != m.Currency {
			return 0, fmt.Errorf("%w: %s and %s", units.ErrCurrency, p.currency, m.Currency)
		}
		p.currency = m.Currency
	}
	return micros(m.Amount.Shift(6).Round(0).IntPart()), nil
}

func (p *problem) money(m micros) units.Money {
	return units.Money{Amount: decimal.New(int64(m), -6), Currency: p.currency}
}
