// Package digest decides what the weekly post and the reminders say, and whether
// to send them. It is pure.
package digest

import (
	"cmp"
	"slices"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/duelist"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Board is how a site stands at one time: what the due list, the digest and the
// answers to questions are taken from.
type Board struct {
	Site    plant.Site
	Now     time.Time
	Rows    []duelist.Row // ranked
	Plan    duelist.Plan  // visits proposed
	PlanErr error         // why there is no plan
	// Fetch says, of banks in the plan, when their filters can be in the store.
	Fetch   map[plant.BankID]duelist.Fetch
	Orders  []duelist.Line
	Owed    []Owed
	Doubts  []Doubt
	Stock   []duelist.Holding
	OnOrder []duelist.Coming
	Wishes  []Wish      // asked for and not ordered since
	PerDay  units.Money // what dirt costs a day; fans whose control is not known are left out
	KWhDay  float64
	KgDay   float64
	// OtherCurrency counts banks whose money is left out of PerDay because they
	// were assessed in a currency the site no longer has.
	OtherCurrency int
	// Unproven counts banks behind fans whose control is not known, and AtMost is the
	// most that their dirt can cost a day.
	Unproven int
	AtMost   units.Money
	Assessed []assess.Assessment
	Behind   int // banks that are not worked out yet and so in no list
}

// Owed is a reading that is late.
type Owed struct {
	Bank  plant.BankID `json:"bank"`
	Name  string       `json:"name"`
	Since time.Time    `json:"since"` // last reading or change-out; zero: none
	Why   string       `json:"why,omitempty"`
}

// Wish is a number of an item that somebody asked to be ordered.
type Wish struct {
	Seq   int64
	Item  string
	Count int
	By    string
	At    time.Time
}

// Doubt is an open finding with its bank.
type Doubt struct {
	Bank plant.BankID
	Name string
	assess.Finding
}

// Input is what a board is made from.
type Input struct {
	Register    *plant.Register
	Site        plant.Site
	Assessments []assess.Assessment // of the site's banks, as of Now
	Supplies    []entry.Entry       // stock counts, orders and change-outs of the site, with their amendments
	Now         time.Time
}

// horizon is how far ahead visits and orders look.
const horizon = 12 * 7 * 24 * time.Hour

// NewBoard puts a site's board together.
func NewBoard(in Input) Board {
	b := Board{Site: in.Site, Now: in.Now, Assessed: in.Assessments}
	for _, a := range in.Assessments {
		b.Rows = append(b.Rows, a.Row(in.Register))
		for _, f := range a.Findings {
			if f.Open {
				b.Doubts = append(b.Doubts, Doubt{a.Bank, a.Name, f})
			}
		}
		if o, owed := owes(a, in.Now); owed {
			b.Owed = append(b.Owed, o)
		}
		b.addEnergy(a.Energy)
	}
	b.Rows = duelist.Rank(b.Rows, in.Now)
	b.supplies(in)
	b.plan(in)
	b.orders(in)
	return b
}

// addEnergy adds to what the dirt costs a day.
func (b *Board) addEnergy(e assess.Energy) {
	if e.AtMost() {
		if e.KWhPerDay > 0 {
			b.Unproven++
			b.addMoney(&b.AtMost, e.MoneyPerDay)
		}
		return
	}
	b.addMoney(&b.PerDay, e.MoneyPerDay)
	b.KWhDay += e.KWhPerDay
	b.KgDay += e.KgPerDay
}

// addMoney adds an amount. The site's own currency rules: another is counted, never
// added.
func (b *Board) addMoney(to *units.Money, m units.Money) {
	if m.Amount.IsZero() {
		return
	}
	if sum, err := (units.Money{Currency: b.Site.Currency, Amount: to.Amount}).Add(m); err == nil {
		*to = sum
	} else {
		b.OtherCurrency++
	}
}

// owes reports whether a bank's reading is late by more than a day.
func owes(a assess.Assessment, now time.Time) (Owed, bool) {
	if a.NoGauge {
		return Owed{}, false
	}
	o := Owed{Bank: a.Bank, Name: a.Name}
	if a.Skipped != nil {
		o.Why = a.Skipped.Reason
	}
	if a.Last != nil {
		o.Since = a.Last.At
	}
	if a.LastSwap != nil && a.LastSwap.At.After(o.Since) {
		o.Since = a.LastSwap.At
	}
	if o.Since.IsZero() {
		return o, true
	}
	every := max(a.ReadEvery, 1)
	return o, now.Sub(o.Since) > time.Duration(every+1)*24*time.Hour
}

// supplies folds counts, deliveries and change-outs into what the store holds.
// A count is the truth at its time; before the first one the register's opening
// stock counts.
func (b *Board) supplies(in Input) {
	counts := map[string]int{}
	for _, it := range in.Register.Items() {
		if it.Site == "" || it.Site == in.Site.ID {
			counts[it.Code] = it.Stock
		}
	}
	counted := map[string]bool{}
	for _, x := range entry.Standing(in.Supplies) {
		if x.Place.Site() != in.Site.ID {
			continue
		}
		switch s := x.Body.(type) {
		case entry.Stock:
			counts[s.Item], counted[s.Item] = s.Count, true
		case entry.Order:
			if s.Requested {
				b.Wishes = append(b.Wishes, Wish{x.Seq, s.Item, s.Count, x.By, x.At})
				continue
			}
			b.Wishes = slices.DeleteFunc(b.Wishes, func(w Wish) bool { return w.Item == s.Item }) // granted
			if s.Received {
				counts[s.Item] += s.Count
				b.OnOrder = arrived(b.OnOrder, s)
				continue
			}
			c := duelist.Coming{Store: in.Site.ID, Item: s.Item, Count: s.Count}
			if s.Due != nil {
				c.Arrives = *s.Due
			}
			b.OnOrder = append(b.OnOrder, c)
		case entry.Swap:
			for item, n := range itemsOf(in.Register, x.Place, s) {
				if counted[item] {
					counts[item] = max(0, counts[item]-n)
				}
			}
		}
	}
	for _, it := range in.Register.Items() {
		if n, ok := counts[it.Code]; ok {
			b.Stock = append(b.Stock, duelist.Holding{Store: in.Site.ID, Item: it.Code, Count: n})
		}
	}
}

// arrived takes delivered pieces off the oldest orders of their item.
func arrived(on []duelist.Coming, s entry.Order) []duelist.Coming {
	left := s.Count
	for i := range on {
		if on[i].Item == s.Item && left > 0 {
			n := min(left, on[i].Count)
			on[i].Count -= n
			left -= n
		}
	}
	return slices.DeleteFunc(on, func(c duelist.Coming) bool { return c.Count == 0 })
}

// itemsOf is what one change-out took from the store.
func itemsOf(reg *plant.Register, bank plant.BankID, s entry.Swap) map[string]int {
	out := map[string]int{}
	pl, ok := reg.Bank(bank)
	if !ok {
		return out
	}
	parts := assess.Parts(pl)
	if len(parts) <= 1 {
		item, count := s.Item, 0
		if len(parts) == 1 {
			item, count = cmp.Or(s.Item, parts[0].Item), parts[0].Count
		}
		if s.Count != nil {
			count = *s.Count
		}
		if item != "" {
			out[item] = count
		}
		return out
	}
	for _, p := range parts {
		out[p.Item] += p.Count
	}
	return out
}

// plan bundles the change-outs of the horizon into visits. A crew can be asked to
// come from the next working day on, today where the bank is overdue; and none
// comes before the filters can be there. A booking whose day has passed counts as
// none.
func (b *Board) plan(in Input) {
	var jobs []duelist.Job
	until, loc := in.Now.Add(horizon), in.Site.Location()
	next := NextWorkingDay(in.Site, in.Now)
	for _, a := range in.Assessments {
		j, ok := a.Job(in.Now)
		if duelist.Missed(j.Booked, in.Now, loc) {
			j.Booked = time.Time{}
		}
		if !ok || !j.Best.Before(until) && !(j.Booked.After(in.Now) && j.Booked.Before(until)) {
			continue
		}
		if a.Condition != duelist.Overdue {
			j.Earliest = next
		}
		if byEndOf(j.Latest, next, loc) {
			j.Latest = next // nobody can be asked to come sooner
		}
		jobs = append(jobs, j)
	}
	b.fetch(in, jobs)
	for i, j := range jobs {
		if f, ok := b.Fetch[j.Bank]; ok && f.Day.After(j.Earliest) && len(f.Missing) > 0 {
			jobs[i].Earliest = f.Day
		}
	}
	money := func(amount units.Money) units.Money { amount.Currency = in.Site.Currency; return amount }
	work, err := plant.ParseDays(workDays(in.Site))
	if err != nil {
		b.PlanErr = err
		return
	}
	b.Plan, b.PlanErr = duelist.Visits(jobs, duelist.VisitCosts{
		Visit:     money(units.Money{Amount: in.Site.VisitCost}),
		Isolation: money(units.Money{Amount: in.Site.IsolationCost}),
	}, duelist.Calendar{From: firstVisit(in.Site, jobs, in.Now), Loc: loc, Work: work, Closed: in.Site.Schedule.Holidays})
}

// fetch finds when the filters of each job can be there. What is booked is served
// first, then what has to be done first.
func (b *Board) fetch(in Input, jobs []duelist.Job) {
	order := slices.SortedFunc(slices.Values(jobs), func(x, y duelist.Job) int {
		if x.Booked.IsZero() != y.Booked.IsZero() {
			if x.Booked.IsZero() {
				return 1
			}
			return -1
		}
		return cmp.Or(x.Booked.Compare(y.Booked), x.Latest.Compare(y.Latest), x.Best.Compare(y.Best), cmp.Compare(x.Bank, y.Bank))
	})
	parts := map[plant.BankID][]duelist.Part{}
	for _, a := range in.Assessments {
		parts[a.Bank] = a.Parts
	}
	var needs []duelist.Need
	for _, j := range order {
		for _, p := range parts[j.Bank] {
			needs = append(needs, duelist.Need{Bank: j.Bank, Store: in.Site.ID, Item: p.Item, Count: p.Count})
		}
	}
	b.Fetch = duelist.Fetches(needs, b.supply(in), in.Now, in.Site.Location())
}

func (b *Board) supply(in Input) duelist.Supply {
	lead := map[string]int{}
	for _, it := range in.Register.Items() {
		lead[it.Code] = it.LeadDays
	}
	return duelist.Supply{Stock: b.Stock, OnOrder: b.OnOrder, LeadDays: lead}
}

// Lacking are the filters that a change-out of the plan waits for although it is
// urgent, or that it lacks on the day booked for it, and the day they can be there.
func (b Board) Lacking(j duelist.Placed, day time.Time) (duelist.Fetch, bool) {
	f, ok := b.Fetch[j.Bank]
	if !ok || len(f.Missing) == 0 {
		return duelist.Fetch{}, false
	}
	loc := b.Site.Location()
	return f, j.Late && !byEndOf(f.Day, b.Now, loc) || j.Booked && !byEndOf(f.Day, day, loc)
}

// firstVisit is the first day on which a crew can still come: today until its
// working hours are over, or for what is booked later today.
func firstVisit(site plant.Site, jobs []duelist.Job, now time.Time) time.Time {
	loc := site.Location()
	y, m, d := now.In(loc).Date()
	over, err := plant.ParseClock(site.WorkHours.To)
	if err != nil {
		over = 17 * 60
	}
	tomorrow := time.Date(y, m, d+1, 0, 0, 0, 0, loc)
	later := func(j duelist.Job) bool { return j.Booked.After(now) && j.Booked.Before(tomorrow) }
	if now.Before(time.Date(y, m, d, 0, over, 0, 0, loc)) || slices.ContainsFunc(jobs, later) {
		return now
	}
	return tomorrow
}

func (b *Board) orders(in Input) {
	visitOf := map[plant.BankID]time.Time{}
	for _, v := range b.Plan.Visits {
		for _, j := range v.Jobs {
			visitOf[j.Bank] = v.Day
		}
	}
	var needs []duelist.Need
	for _, a := range in.Assessments {
		when := a.Dates.P10
		if v, ok := visitOf[a.Bank]; ok && (when.IsZero() || v.Before(when)) {
			when = v
		}
		for _, p := range a.Parts {
			needs = append(needs, duelist.Need{Bank: a.Bank, Store: in.Site.ID, Item: p.Item, Count: p.Count, Earliest: when})
		}
	}
	b.Orders = duelist.Orders(needs, b.supply(in), in.Now, in.Now.Add(horizon), in.Site.Location())
}
