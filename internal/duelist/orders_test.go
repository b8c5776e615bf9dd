package duelist_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/duelist"
	"clogwise/internal/plant"
)

func in(days int) time.Time { return now.AddDate(0, 0, days) }

// noon is the form in which Orders gives days.
func noon(days int) time.Time { return time.Date(2026, 3, 2+days, 12, 0, 0, 0, time.UTC) }

func need(bank string, count, days int) duelist.Need {
	return duelist.Need{Bank: plant.BankID(bank), Store: "north", Item: "BAG-592", Count: count, Earliest: in(days)}
}

func ids(s ...plant.BankID) []plant.BankID { return s }

// Each figure follows from Orders' doc comment; now is 2 March 2026, the horizon
// 90 days ahead, the lead time 10 days.
func TestOrders(t *testing.T) {
	t.Parallel()
	line := duelist.Line{Store: "north", Item: "BAG-592"}
	with := func(change func(*duelist.Line)) []duelist.Line { l := line; change(&l); return []duelist.Line{l} }
	for name, c := range map[string]struct {
		needs  []duelist.Need
		stock  int
		coming []duelist.Coming
		want   []duelist.Line
	}{
		"none in stock": {
			[]duelist.Need{need("a", 12, 30)}, 0, nil,
			with(func(l *duelist.Line) { l.Need, l.Order, l.LatestOrder, l.Banks = 12, 12, noon(20), ids("a") }),
		},
		"stock serves the earliest bank": {
			[]duelist.Need{need("b", 12, 60), need("a", 12, 30)}, 12, nil,
			with(func(l *duelist.Line) {
				l.Need, l.Stock, l.Order, l.LatestOrder, l.Banks = 24, 12, 12, noon(50), ids("a", "b")
			}),
		},
		"stock for a part of a bank does not serve it": {
			[]duelist.Need{need("a", 12, 30)}, 11, nil,
			with(func(l *duelist.Line) {
				l.Need, l.Stock, l.Order, l.LatestOrder, l.Banks = 12, 11, 1, noon(20), ids("a")
			}),
		},
		"enough": {
			[]duelist.Need{need("a", 12, 30)}, 20, nil,
			with(func(l *duelist.Line) { l.Need, l.Stock, l.Banks = 12, 20, ids("a") }),
		},
		"too late to order in time": {
			[]duelist.Need{need("a", 4, 9)}, 0, nil,
			with(func(l *duelist.Line) {
				l.Need, l.Order, l.LatestOrder, l.Overdue, l.Banks = 4, 4, noon(-1), true, ids("a")
			}),
		},
		"today is the last day": {
			[]duelist.Need{need("a", 4, 10)}, 0, nil,
			with(func(l *duelist.Line) { l.Need, l.Order, l.LatestOrder, l.Banks = 4, 4, noon(0), ids("a") }),
		},
		"on order in time": {
			[]duelist.Need{need("a", 12, 30)}, 4, []duelist.Coming{{Store: "north", Item: "BAG-592", Count: 8, Arrives: in(30)}},
			with(func(l *duelist.Line) { l.Need, l.Stock, l.OnOrder, l.Banks = 12, 4, 8, ids("a") }),
		},
		"on order but late": {
			[]duelist.Need{need("a", 12, 30), need("b", 6, 31)}, 4, []duelist.Coming{{Store: "north", Item: "BAG-592", Count: 14, Arrives: in(31)}},
			with(func(l *duelist.Line) {
				l.Need, l.Stock, l.OnOrder, l.Short, l.ShortOn, l.Banks = 18, 4, 14, 8, noon(30), ids("a", "b")
			}),
		},
		"on order without a date comes after the lead time": {
			[]duelist.Need{need("a", 3, 9), need("b", 3, 10)}, 0, []duelist.Coming{{Store: "north", Item: "BAG-592", Count: 6}},
			with(func(l *duelist.Line) {
				l.Need, l.OnOrder, l.Short, l.ShortOn, l.Banks = 6, 6, 3, noon(9), ids("a", "b")
			}),
		},
		"an overdue delivery is not here yet but may come today": {
			[]duelist.Need{need("a", 3, 1)}, 0, []duelist.Coming{{Store: "north", Item: "BAG-592", Count: 3, Arrives: in(-5)}},
			with(func(l *duelist.Line) { l.Need, l.OnOrder, l.Banks = 3, 3, ids("a") }),
		},
		"other stores and items do not help": {
			[]duelist.Need{need("a", 3, 40)}, 0, []duelist.Coming{{Store: "south", Item: "BAG-592", Count: 9}, {Store: "north", Item: "PANEL", Count: 9}},
			with(func(l *duelist.Line) { l.Need, l.Order, l.LatestOrder, l.Banks = 3, 3, noon(30), ids("a") }),
		},
		"beyond the horizon, unforeseen or nothing": {
			[]duelist.Need{need("a", 3, 91), {Bank: "b", Store: "north", Item: "BAG-592", Count: 3}, need("c", 0, 5)}, 0, nil, nil,
		},
		"a bank that needs twice is named once": {
			[]duelist.Need{need("a", 3, 40), need("a", 3, 80)}, 0, nil,
			with(func(l *duelist.Line) { l.Need, l.Order, l.LatestOrder, l.Banks = 6, 6, noon(30), ids("a") }),
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			supply := duelist.Supply{OnOrder: c.coming, LeadDays: map[string]int{"BAG-592": 10}}
			if c.stock > 0 {
				supply.Stock = []duelist.Holding{{Store: "north", Item: "BAG-592", Count: c.stock}, {Store: "south", Item: "BAG-592", Count: 100}}
			}
			if diff := cmp.Diff(c.want, duelist.Orders(c.needs, supply, now, in(90), time.UTC)); diff != "" {
				t.Errorf("lines (-want +got):\n%s", diff)
			}
		})
	}
}

// simulated needs of five items in two stores with stock and deliveries.
func simulated(seed uint64) ([]duelist.Need, duelist.Supply) {
	r := rand.New(rand.NewPCG(seed, 3))
	items, stores := []string{"A", "B", "C", "D", "E"}, []string{"north", "south"}
	s := duelist.Supply{LeadDays: map[string]int{"A": 3, "B": 14, "C": 30}}
	var needs []duelist.Need
	for i := range 40 {
		needs = append(needs, duelist.Need{Bank: plant.BankID(rune('a' + i%26)), Store: stores[r.IntN(2)], Item: items[r.IntN(5)], Count: r.IntN(13), Earliest: in(r.IntN(100) - 5)})
	}
	for range 8 {
		s.Stock = append(s.Stock, duelist.Holding{Store: stores[r.IntN(2)], Item: items[r.IntN(5)], Count: r.IntN(30) - 2})
		s.OnOrder = append(s.OnOrder, duelist.Coming{Store: stores[r.IntN(2)], Item: items[r.IntN(5)], Count: r.IntN(30) - 2, Arrives: in(r.IntN(60) - 10)})
	}
	return needs, s
}

func TestOrdersHoldInGeneral(t *testing.T) {
	t.Parallel()
	for seed := range uint64(50) {
		needs, s := simulated(seed)
		want := duelist.Orders(needs, s, now, in(90), time.UTC)
		for _, l := range want {
			if l.Order != max(0, l.Need-l.Stock-l.OnOrder) || l.LatestOrder.IsZero() != (l.Order == 0) || l.Overdue && l.Order == 0 || l.Short > l.OnOrder {
				t.Errorf("seed %d: %+v", seed, l)
			}
		}
		r := rand.New(rand.NewPCG(seed, 4))
		r.Shuffle(len(needs), func(i, k int) { needs[i], needs[k] = needs[k], needs[i] })
		r.Shuffle(len(s.Stock), func(i, k int) { s.Stock[i], s.Stock[k] = s.Stock[k], s.Stock[i] })
		r.Shuffle(len(s.OnOrder), func(i, k int) { s.OnOrder[i], s.OnOrder[k] = s.OnOrder[k], s.OnOrder[i] })
		if diff := cmp.Diff(want, duelist.Orders(needs, s, now, in(90), time.UTC)); diff != "" {
			t.Errorf("seed %d: order of input matters (-want +got):\n%s", seed, diff)
		}
	}
}

// Up to ten banks every quantity and every day of ordering is tried: the fewest pieces,
// ordered as late as they may be, that leave no bank without its filters. What is on
// order already counts as there (it is to be hurried); how many pieces that leaves
// missing on the worst day is counted day by day.
func TestOrdersAreTheFewestAndTheLatest(t *testing.T) {
	t.Parallel()
	const lead = 9
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 11))
		var needs []duelist.Need
		for i := range 1 + r.IntN(10) {
			needs = append(needs, need(string(rune('a'+i)), 1+r.IntN(6), r.IntN(60)))
		}
		stock := r.IntN(20)
		s := duelist.Supply{Stock: []duelist.Holding{{Store: "north", Item: "BAG-592", Count: stock}}, LeadDays: map[string]int{"BAG-592": lead}}
		coming := map[int]int{} // pieces by day
		for range r.IntN(3) {
			n, day := 1+r.IntN(8), r.IntN(60)
			coming[day] += n
			s.OnOrder = append(s.OnOrder, duelist.Coming{Store: "north", Item: "BAG-592", Count: n, Arrives: in(day)})
		}
		there := stock // hurried
		for _, n := range coming {
			there += n
		}
		served := func(order, on int) bool {
			for day := range 61 {
				wanted, held := 0, there
				for _, n := range needs {
					if !n.Earliest.After(in(day)) {
						wanted += n.Count
					}
				}
				if on+lead <= day {
					held += order
				}
				if wanted > held {
					return false
				}
			}
			return true
		}
		order := 0
		for !served(order, -1000) {
			order++
		}
		latest := 60
		for order > 0 && !served(order, latest) {
			latest--
		}
		short := 0
		for day := range 61 {
			wanted, held := 0, stock
			for _, n := range needs {
				if !n.Earliest.After(in(day)) {
					wanted += n.Count
				}
			}
			for on, n := range coming {
				if on <= day {
					held += n
				}
			}
			short = max(short, min(wanted, there)-held)
		}
		got := duelist.Orders(needs, s, now, in(90), time.UTC)[0]
		if got.Order != order || order > 0 && !got.LatestOrder.Equal(noon(latest)) || got.Short != short || got.Overdue != (order > 0 && latest < 0) {
			t.Errorf("seed %d: %+v, want %d ordered by day %d and %d short (every plan tried)", seed, got, order, latest, short)
		}
	}
}
