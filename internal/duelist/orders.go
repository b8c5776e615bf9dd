package duelist

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"

	"clogwise/internal/plant"
)

// A Need is the filters of one item that a bank's next change-out takes.
type Need struct {
	Bank  plant.BankID
	Store string // where they are kept: the site's slug, or empty for a shared store
	Item  string
	Count int
	// Earliest is the day the bank may well be due, the limit's p10, or the day
	// of its visit if that is earlier. Zero = not foreseen: it is left out.
	Earliest time.Time
}

// A Holding is the count of an item in a store.
type Holding struct {
	Store, Item string
	Count       int
}

// A Coming delivery was ordered and has not arrived. Without a date it is
// expected after the item's lead time from now.
type Coming struct {
	Store, Item string
	Count       int
	Arrives     time.Time
}

// A Supply is all that meets the needs.
type Supply struct {
	Stock    []Holding
	OnOrder  []Coming
	LeadDays map[string]int // calendar days from order to delivery, by item; absent = 0
}

// A Line is what to order of one item for one store.
type Line struct {
	Store       string         `json:"store,omitempty"`
	Item        string         `json:"item"`
	Need        int            `json:"need"`
	Stock       int            `json:"stock"`
	OnOrder     int            `json:"on_order"`
	Order       int            `json:"order"`
	LatestOrder time.Time      `json:"latest_order,omitzero"` // noon, site time; zero when nothing is to be ordered
	Overdue     bool           `json:"overdue,omitempty"`     // LatestOrder has passed
	Short       int            `json:"short,omitempty"`       // pieces missing on ShortOn because what is on order comes too late
	ShortOn     time.Time      `json:"short_on,omitzero"`
	Banks       []plant.BankID `json:"banks"` // that need it, earliest first
}

// Orders counts what to order so that every bank that may be due by the horizon
// finds its filters. Per item and store:
//
//	Order = max(0, Need − Stock − OnOrder)
//
// Stock and what is on order serve the earliest banks first, and LatestOrder is
// the day of the first bank they do not serve, less the lead time. Pieces that
// are on order but come after a bank may need them are told as Short on the day
// most are missing: the order stands, somebody has to hurry it. Lines come by
// store, then item; every needed item has one, also when there is enough. Days
// are civil days in loc. Negative counts count as none.
func Orders(needs []Need, s Supply, now, horizon time.Time, loc *time.Location) []Line {
	today, until := dayOf(now, loc), dayOf(horizon, loc)
	byKey := map[[2]string][]Need{}
	for _, n := range needs {
		if n.Count > 0 && !n.Earliest.IsZero() && dayOf(n.Earliest, loc) <= until {
			k := [2]string{n.Store, n.Item}
			byKey[k] = append(byKey[k], n)
		}
	}
	var out []Line
	for k, ns := range byKey {
		slices.SortFunc(ns, func(a, b Need) int {
			return cmp.Or(cmp.Compare(dayOf(a.Earliest, loc), dayOf(b.Earliest, loc)), cmp.Compare(a.Bank, b.Bank), cmp.Compare(a.Count, b.Count))
		})
		out = append(out, orderLine(k[0], k[1], ns, s, today, loc))
	}
	slices.SortFunc(out, func(a, b Line) int { return cmp.Or(cmp.Compare(a.Store, b.Store), cmp.Compare(a.Item, b.Item)) })
	return out
}

// orderLine nets the needs of one item, earliest first, against its supply.
func orderLine(store, item string, needs []Need, s Supply, today day, loc *time.Location) Line {
	l := Line{Store: store, Item: item}
	lead := day(max(s.LeadDays[item], 0))
	for _, h := range s.Stock {
		if h.Store == store && h.Item == item {
			l.Stock += max(h.Count, 0)
		}
	}
	arrivals := map[day]int{}
	for _, c := range s.OnOrder {
		if c.Store == store && c.Item == item {
			l.OnOrder += max(c.Count, 0)
			arrivals[arrival(c, today, lead, loc)] += max(c.Count, 0)
		}
	}
	for _, n := range needs {
		l.Need += n.Count
		if !slices.Contains(l.Banks, n.Bank) {
			l.Banks = append(l.Banks, n.Bank)
		}
		on := dayOf(n.Earliest, loc)
		if l.Need > l.Stock+l.OnOrder && l.Order == 0 {
			latest := on - lead
			l.LatestOrder, l.Overdue = latest.noon(loc), latest < today
		}
		l.Order = max(0, l.Need-l.Stock-l.OnOrder)
		if short := min(l.Need, l.Stock+l.OnOrder) - l.Stock - arrived(arrivals, max(on, today)); short > l.Short {
			l.Short, l.ShortOn = short, on.noon(loc)
		}
	}
	return l
}

// A Fetch is when the filters of a bank can be in its store.
type Fetch struct {
	Day     time.Time // first day, noon in site time, on which all are there
	Missing []Part    // what is not in the store now, by the order of the needs
}

// Fetches says of each bank when its filters can be there: those in store today,
// those on order when they arrive, and what is ordered today after the lead time.
// Needs are served in the order given. Each waits no longer than it must and
// leaves to the others what comes earlier; no more is ordered than all of them
// need together, so that what has been ordered is waited for, however late it
// comes. A need without a count, and Earliest, do not matter.
func Fetches(needs []Need, s Supply, now time.Time, loc *time.Location) map[plant.BankID]Fetch {
	today := dayOf(now, loc)
	on := map[[2]string]map[day]int{} // pieces that nobody has yet, by the day they come
	add := func(store, item string, d day, n int) {
		k := [2]string{store, item}
		if on[k] == nil {
			on[k] = map[day]int{}
		}
		on[k][d] += max(n, 0)
	}
	for _, h := range s.Stock {
		add(h.Store, h.Item, today, h.Count)
	}
	lead := func(item string) day { return day(max(s.LeadDays[item], 0)) }
	for _, c := range s.OnOrder {
		add(c.Store, c.Item, arrival(c, today, lead(c.Item), loc), c.Count)
	}
	total := map[[2]string]int{}
	for _, n := range needs {
		total[[2]string{n.Store, n.Item}] += max(n.Count, 0)
	}
	for k, n := range total {
		add(k[0], k[1], today+lead(k[1]), n-arrived(on[k], maxDay))
	}
	out := map[plant.BankID]Fetch{}
	for _, n := range needs {
		free := on[[2]string{n.Store, n.Item}]
		f, seen := out[n.Bank]
		if !seen {
			f.Day = today.noon(loc)
		}
		if lacks := n.Count - free[today]; lacks > 0 {
			f.Missing = append(f.Missing, Part{Item: n.Item, Count: lacks})
		}
		if d := take(free, n.Count); d > dayOf(f.Day, loc) {
			f.Day = d.noon(loc)
		}
		out[n.Bank] = f
	}
	return out
}

// maxDay is later than any delivery.
const maxDay day = math.MaxInt32

// take takes so many pieces, those that come last first, of all that are there on
// the first day on which they suffice; it returns that day.
func take(free map[day]int, count int) day {
	days := slices.Sorted(maps.Keys(free))
	n, last := 0, 0
	for i, d := range days {
		if n += free[d]; n >= count {
			last = i
			break
		}
	}
	for i := last; i >= 0 && count > 0; i-- {
		k := min(count, free[days[i]])
		free[days[i]] -= k
		count -= k
	}
	if len(days) == 0 {
		return 0
	}
	return days[last]
}

func arrival(c Coming, today, lead day, loc *time.Location) day {
	if c.Arrives.IsZero() {
		return today + lead
	}
	return max(today, dayOf(c.Arrives, loc)) // an overdue delivery is not here yet
}

func arrived(arrivals map[day]int, by day) int {
	n := 0
	for d, count := range arrivals {
		if d <= by {
			n += count
		}
	}
	return n
}
