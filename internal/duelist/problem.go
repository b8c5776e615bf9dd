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
	jobs   []int  // by index
	lines  []line // ascending by best day
	lo, hi int    // candidates that any of them can have
}

// within are the days, of those given, that any job of the AHU can have.
func (g *group) within(days []int) []int {
	i, _ := slices.BinarySearch(days, g.lo)
	j, _ := slices.BinarySearch(days, g.hi+1)
	return days[i:j]
}

func newProblem(jobs []Job, costs VisitCosts, cal Calendar) (*problem, error) {
	if cal.Loc == nil || cal.From.IsZero() {
		return nil, fmt.Errorf("%w: it needs a first day and a time zone", ErrCalendar)
	}
	p := &problem{loc: cal.Loc}
	var err error
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
		t, err := newTask(j, cal)
		if err != nil {
			return nil, err
		}
		p.jobs = append(p.jobs, t)
	}
	if p.days, err = candidates(p.jobs, cal); err != nil {
		return nil, err
	}
	p.all = make([]int, len(p.days))
	for i := range p.all {
		p.all[i] = i
	}
	for i := range p.jobs {
		if err := p.price(&p.jobs[i]); err != nil {
			return nil, err
		}
	}
	p.group()
	return p, nil
}

// newTask turns a job's dates into days and settles what it may have.
func newTask(j Job, cal Calendar) (task, error) {
	if j.Best.IsZero() || j.Latest.IsZero() {
		return task{}, fmt.Errorf("%w: %s needs a best and a latest day", ErrJob, j.Bank)
	}
	from := dayOf(cal.From, cal.Loc)
	t := task{Job: j, bestDay: dayOf(j.Best, cal.Loc), lo: from, hi: dayOf(j.Latest, cal.Loc)}
	if !j.Earliest.IsZero() {
		t.lo = max(t.lo, dayOf(j.Earliest, cal.Loc))
	}
	if t.lo > from+maxAhead || t.hi > from+maxAhead {
		return task{}, fmt.Errorf("%w: %s lies more than five years ahead", ErrJob, j.Bank)
	}
	if !j.Booked.IsZero() {
		if d := dayOf(j.Booked, cal.Loc); d >= from && d <= from+maxAhead {
			t.booked, t.late = true, d > t.hi
			t.lo, t.hi = d, d
			return t, nil
		}
	}
	first, err := cal.first(t.lo)
	if err != nil {
		return task{}, err
	}
	if first > t.hi {
		t.late, t.hi = true, first
	}
	t.lo = first
	return t, nil
}

// candidates are the working days that some job may have, and the booked days.
func candidates(jobs []task, cal Calendar) ([]day, error) {
	var out []day
	lo, hi := jobs[0].lo, jobs[0].hi
	for _, t := range jobs {
		lo, hi = min(lo, t.lo), max(hi, t.hi)
		if t.booked {
			out = append(out, t.lo)
		}
	}
	for d := lo; d <= hi; d++ {
		if cal.works(d) {
			out = append(out, d)
		}
	}
	slices.Sort(out)
	return slices.Compact(out), nil
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

// capCost is the most that being off its best day can cost one job. It keeps
// sums of hundreds of jobs below never, and is far above any real cost.
const capCost micros = 1 << 52

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
			p.groups = append(p.groups, group{lo: len(p.days)})
		}
		g := &p.groups[k]
		lo, _ := slices.BinarySearch(p.days, t.lo)
		hi, _ := slices.BinarySearch(p.days, t.hi+1)
		g.lo, g.hi = min(g.lo, lo), max(g.hi, hi-1)
		g.jobs, g.lines = append(g.jobs, i), append(g.lines, t.line)
	}
	for i := range p.groups {
		slices.SortStableFunc(p.groups[i].lines, byBest)
	}
}

// maxAmount is the highest cost taken, in currency units.
const maxAmount = 1e9

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
