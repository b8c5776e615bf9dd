package digest_test

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/shopspring/decimal"

	"clogwise/internal/assess"
	"clogwise/internal/digest"
	"clogwise/internal/duelist"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

func ptr[T any](v T) *T { return &v }

func money(s string) units.Money {
	return units.Money{Amount: decimal.RequireFromString(s), Currency: "GBP"}
}

// Stock at the hall: the register opens with 4 BAG-592; a bank takes 4.
func TestStockFold(t *testing.T) {
	t.Parallel()
	const bag = plant.BankID("hall/ahu-3/secondary")
	begin := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	due := begin.AddDate(0, 0, 20)
	count := func(n int) entry.Stock { return entry.Stock{Item: "BAG-592", Count: n} }
	order := func(n int) entry.Order { return entry.Order{Item: "BAG-592", Count: n, Due: &due} }
	got := func(n int) entry.Order { return entry.Order{Item: "BAG-592", Count: n, Received: true} }
	for _, tc := range []struct {
		name   string
		say    func(s *said)
		stock  int
		coming []int
	}{
		{"opening stock", func(*said) {}, 4, nil},
		{"counted", func(s *said) { s.add("hall", "Maren", count(9)) }, 9, nil},
		{"counted twice", func(s *said) { s.add("hall", "Maren", count(9)); s.add("hall", "Maren", count(7)) }, 7, nil},
		{"count taken back", func(s *said) {
			s.add("hall", "Maren", count(9))
			s.add("hall", "Maren", entry.Retract{Target: 1})
		}, 4, nil},
		{"a change-out takes a bank's worth", func(s *said) { s.add("hall", "Maren", count(9)); s.add(bag, "Tove", entry.Swap{}) }, 5, nil},
		{"or what was counted", func(s *said) {
			s.add("hall", "Maren", count(9))
			s.add(bag, "Tove", entry.Swap{Count: ptr(2)})
		}, 7, nil},
		{"never below nothing", func(s *said) {
			s.add("hall", "Maren", count(1))
			s.add(bag, "Tove", entry.Swap{})
		}, 0, nil},
		{"a change-out before the count is in the count", func(s *said) {
			s.add(bag, "Tove", entry.Swap{})
			s.add("hall", "Maren", count(9))
		}, 9, nil},
		{"another item fitted", func(s *said) {
			s.add("hall", "Maren", count(9))
			s.add(bag, "Tove", entry.Swap{Item: "PAN-1"})
		}, 9, nil},
		{"ordered", func(s *said) { s.add("hall", "Maren", order(8)) }, 4, []int{8}},
		{"wished for", func(s *said) {
			s.add("hall", "Tove", entry.Order{Item: "BAG-592", Count: 8, Requested: true})
		}, 4, nil},
		{"delivered", func(s *said) { s.add("hall", "Maren", order(8)); s.add("hall", "Maren", got(8)) }, 12, nil},
		{"delivered in part, oldest order first", func(s *said) {
			s.add("hall", "Maren", order(8))
			s.add("hall", "Maren", order(6))
			s.add("hall", "Maren", got(9))
		}, 13, []int{5}},
		{"another site's", func(s *said) { s.add("yard", "Wim", count(99)); s.add("yard", "Wim", order(9)) }, 4, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			site := hall(london)
			s := said{t: begin}
			tc.say(&s)
			rand.New(rand.NewPCG(3, 4)).Shuffle(len(s.out), func(i, j int) { s.out[i], s.out[j] = s.out[j], s.out[i] })
			b := digest.NewBoard(digest.Input{Register: registerOf(site), Site: site, Supplies: s.out, Now: begin.AddDate(0, 0, 7)})
			if want := []duelist.Holding{{Store: "hall", Item: "BAG-592", Count: tc.stock}}; !cmp.Equal(want, b.Stock) {
				t.Errorf("stock %v, want %v", b.Stock, want)
			}
			var coming []int
			for _, c := range b.OnOrder {
				coming = append(coming, c.Count)
				if !c.Arrives.Equal(due) {
					t.Errorf("arrives %s", c.Arrives)
				}
			}
			if !cmp.Equal(tc.coming, coming) {
				t.Errorf("on order %v, want %v", coming, tc.coming)
			}
		})
	}
}

func TestReadingsOwed(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 11, 23, 7, 0, 0, 0, time.UTC)
	days := func(n float64) time.Time { return now.Add(-time.Duration(n * 24 * float64(time.Hour))) }
	for _, tc := range []struct {
		name string
		a    assess.Assessment
		owed bool
	}{
		{"never read", assess.Assessment{ReadEvery: 7}, true},
		{"no gauge", assess.Assessment{ReadEvery: 7, NoGauge: true}, false},
		{"read in time", assess.Assessment{ReadEvery: 7, Last: &assess.Seen{At: days(7.9)}}, false},
		{"a day late", assess.Assessment{ReadEvery: 7, Last: &assess.Seen{At: days(8.1)}}, true},
		{"changed since", assess.Assessment{ReadEvery: 7, Last: &assess.Seen{At: days(30)}, LastSwap: &assess.SwapSeen{At: days(2)}}, false},
		{"changed, not read yet", assess.Assessment{ReadEvery: 7, LastSwap: &assess.SwapSeen{At: days(2)}}, false},
		{"changed long ago, not read yet", assess.Assessment{ReadEvery: 7, LastSwap: &assess.SwapSeen{At: days(20)}}, true},
		{"read twice a day", assess.Assessment{ReadEvery: 0, Last: &assess.Seen{At: days(1)}}, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			site := hall(london)
			tc.a.Bank = "hall/ahu-3/secondary"
			b := digest.NewBoard(digest.Input{Register: registerOf(site), Site: site, Assessments: []assess.Assessment{tc.a}, Now: now})
			if (len(b.Owed) == 1) != tc.owed {
				t.Errorf("owed %v", b.Owed)
			}
		})
	}
}

// Money of another currency is never added, whichever comes first.
func TestMoneyKeepsToTheSitesCurrency(t *testing.T) {
	t.Parallel()
	site := hall(london)
	now := time.Date(2026, 11, 23, 7, 0, 0, 0, time.UTC)
	of := func(bank string, m units.Money) assess.Assessment {
		return assess.Assessment{Bank: plant.BankID(bank), Energy: assess.Energy{MoneyPerDay: m, KWhPerDay: 2}}
	}
	euro := units.Money{Amount: decimal.NewFromInt(5), Currency: "EUR"}
	as := []assess.Assessment{of("hall/ahu-3/primary", euro), of("hall/ahu-3/secondary", money("1.20")), of("hall/ahu-4/primary", money("0.30"))}
	b := digest.NewBoard(digest.Input{Register: registerOf(site), Site: site, Assessments: as, Now: now})
	if b.PerDay.String() != "£1.50" || b.OtherCurrency != 1 || b.KWhDay != 6 {
		t.Errorf("%s a day, %d left out, %g kWh", b.PerDay, b.OtherCurrency, b.KWhDay)
	}
}

// A fan whose control is not known may be one of fixed speed, where dirt costs no
// energy: nothing of it is counted as spent, and the most there can be is told.
func TestUnprovenCostsAreNotCounted(t *testing.T) {
	t.Parallel()
	site := hall(london)
	now := time.Date(2026, 11, 23, 7, 0, 0, 0, time.UTC)
	start := now.AddDate(0, 0, -50)
	of := func(bank string, held plant.FanControl) assess.Assessment {
		return assess.Assessment{Bank: plant.BankID(bank), Name: bank, Now: now, LifeStart: &start, Condition: duelist.Due,
			Energy: assess.Energy{Held: string(held), MoneyPerDay: money("1.20"), KWhPerDay: 5, KgPerDay: 1, WaitWeek: money("9"), KWhLife: 100, MoneyLife: money("24")}}
	}
	sure, not := of("hall/ahu-3/secondary", plant.FlowHeld), of("hall/ahu-4/secondary", plant.FanUnknown)
	board := func(as ...assess.Assessment) digest.Board {
		return digest.NewBoard(digest.Input{Register: registerOf(site), Site: site, Assessments: as, Now: now})
	}
	alone, both := board(sure), board(sure, not)
	if both.PerDay.String() != "£1.20" || both.KWhDay != 5 || both.KgDay != 1 || both.Unproven != 1 || both.AtMost.String() != "£1.20" || alone.Unproven != 0 {
		t.Errorf("%s, %g kWh, %g kg a day; %d banks unproven, at most %s", both.PerDay, both.KWhDay, both.KgDay, both.Unproven, both.AtMost)
	}
	month := digest.MonthBefore(now)
	if a, b := alone.SpentSince(month), both.SpentSince(month); a.KWh != b.KWh || !(a.KWh > 0) || a.Money.String() != b.Money.String() || b.LeftOut != 0 {
		t.Errorf("spent %+v, with the unproven one %+v", a, b)
	}
	text := digest.Weekly(both, registerOf(site), digest.Since{})
	for _, want := range []string{"a week's wait with all costs at most £18.00", "; a week's wait at most £9.00", "; a week's wait £9.00",
		"Dirt now, a day: £1.20, 5.0 kWh", "Not counted: 1 bank behind a fan whose control is not known; at most £1.20 a day."} {
		if !strings.Contains(text, want) {
			t.Errorf("digest lacks %q:\n%s", want, text)
		}
	}
	if text = digest.Weekly(alone, registerOf(site), digest.Since{}); strings.Contains(text, "at most") || strings.Contains(text, "Not counted") {
		t.Errorf("all is proven:\n%s", text)
	}
}

// Expected figures are computed from the formula in the doc comment of SpentSince.
func TestSpentSince(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 11, 23, 7, 0, 0, 0, time.UTC)
	life := func(days, kwhLife, kwhDay float64) assess.Assessment {
		start := now.Add(-time.Duration(days * 24 * float64(time.Hour)))
		return assess.Assessment{Now: now, LifeStart: &start, Energy: assess.Energy{
			KWhLife: kwhLife, KWhPerDay: kwhDay, KgLife: kwhLife / 10, MoneyLife: money("100")}}
	}
	for _, tc := range []struct {
		name string
		a    assess.Assessment
		kwh  float64
		cost string
		out  int
	}{
		// A steady rate of 2 kWh a day over 100 days: a week is 14.
		{"steady", life(100, 200, 2), 14, "£7.00", 0},
		// Growing in proportion to time: K = rT/2, so a week is K(1 − 0.93²) = 200·0.1351.
		{"growing evenly", life(100, 200, 4), 27.02, "£13.51", 0},
		{"changed since", life(3, 5, 2), 5, "£100.00", 0},
		{"beginning of the life not known", assess.Assessment{Now: now, Energy: assess.Energy{KWhLife: 5, MoneyLife: money("1")}}, 0, "£0.00", 1},
		{"no energy", life(100, 0, 0), 0, "£0.00", 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			s := digest.Board{Site: hall(london), Now: now, Assessed: []assess.Assessment{tc.a}}.SpentSince(now.AddDate(0, 0, -7))
			if d := s.KWh - tc.kwh; d > 1e-9 || d < -1e-9 {
				t.Errorf("%g kWh, want %g", s.KWh, tc.kwh)
			}
			if s.Money.String() != tc.cost || s.LeftOut != tc.out {
				t.Errorf("%s and %d left out, want %s and %d", s.Money, s.LeftOut, tc.cost, tc.out)
			}
		})
	}
}

// What a change-out saves is what the old filters would have used, less the new.
func TestSavedSince(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 11, 23, 7, 0, 0, 0, time.UTC)
	before := 200.0
	life := func(days float64, alter func(*assess.Assessment)) assess.Assessment {
		start := now.Add(-time.Duration(days * 24 * float64(time.Hour)))
		a := assess.Assessment{Now: now, LifeStart: &start, CleanPa: 60, LastSwap: &assess.SwapSeen{At: start, BeforePa: &before},
			Energy: assess.Energy{KWhPerPaDay: 0.1, MoneyPerKPaDay: money("20.00"), KWhLife: 14, MoneyLife: money("2.80")}}
		if alter != nil {
			alter(&a)
		}
		return a
	}
	for _, tc := range []struct {
		name       string
		a          assess.Assessment
		kwh        float64
		cost       string
		swaps, out int
	}{
		// 140 Pa over clean for 10 days at 0.1 kWh a pascal and day are 140 kWh; the new ones used 14.
		{"ten days ago", life(10, nil), 126, "£25.20", 1, 0},
		{"before that", life(60, nil), 0, "£0.00", 0, 0},
		{"not read before it", life(10, func(a *assess.Assessment) { a.LastSwap.BeforePa = nil }), 0, "£0.00", 0, 1},
		{"a fan of fixed speed", life(10, func(a *assess.Assessment) { a.Energy = assess.Energy{} }), 0, "£0.00", 0, 0},
		{"no change-out on record", life(10, func(a *assess.Assessment) { a.LastSwap = nil }), 0, "£0.00", 0, 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			b := digest.Board{Site: hall(london), Now: now, Assessed: []assess.Assessment{tc.a}}
			s := b.SavedSince(digest.MonthBefore(now))
			if d := s.KWh - tc.kwh; d > 1e-9 || d < -1e-9 || s.Money.String() != tc.cost || s.Swaps != tc.swaps || s.LeftOut != tc.out {
				t.Errorf("got %g kWh, %s of %d, %d left out", s.KWh, s.Money, s.Swaps, s.LeftOut)
			}
			if kg := s.Kg - tc.kwh*b.Site.Carbon.KgPerKWh; kg > 1e-9 || kg < -1e-9 {
				t.Errorf("%g kg", s.Kg)
			}
		})
	}
}

// What is overdue may be done today, in the evening only if it is booked; for
// the rest a crew is asked from the next working day on.
func TestVisitsBeginWhenACrewCanCome(t *testing.T) {
	t.Parallel()
	site := hall(london)
	evening := at(t, london, "2026-03-04 18:30") // a Wednesday; crews work until 17:00 where nothing else is said
	due := assess.Assessment{Bank: "hall/ahu-3/primary", Condition: duelist.Due, Dates: assess.Dates{
		Median: evening.AddDate(0, 0, -1), P10: evening.AddDate(0, 0, -3), P90: evening.AddDate(0, 0, 2)}}
	overdue := due
	overdue.Condition = duelist.Overdue
	overdue.Energy.MoneyPerDay = money("1.00")
	missed := due
	missed.Booking = &assess.Booking{Start: evening.AddDate(0, 0, -1)}
	booked := due
	booked.Booking = &assess.Booking{Start: evening.Add(time.Hour)}
	for _, c := range []struct {
		name string
		now  time.Time
		a    assess.Assessment
		want string
	}{
		{"due", evening.Add(-10 * time.Hour), due, "Thu 5 Mar"},
		{"due, booked for yesterday", evening.Add(-10 * time.Hour), missed, "Thu 5 Mar"},
		{"overdue", evening.Add(-10 * time.Hour), overdue, "Wed 4 Mar"},
		{"in the evening", evening, due, "Thu 5 Mar"},
		{"booked for the evening", evening, booked, "Wed 4 Mar"},
	} {
		b := digest.NewBoard(digest.Input{Register: registerOf(site), Site: site, Assessments: []assess.Assessment{c.a}, Now: c.now})
		if b.PlanErr != nil || len(b.Plan.Visits) != 1 {
			t.Fatalf("%s: %v %+v", c.name, b.PlanErr, b.Plan)
		}
		if got := b.Plan.Visits[0].Day.In(site.Location()).Format("Mon 2 Jan"); got != c.want {
			t.Errorf("%s: first visit %s, want %s", c.name, got, c.want)
		}
		if j := b.Plan.Visits[0].Jobs[0]; j.Late || j.Booked != (c.name == "booked for the evening") {
			t.Errorf("%s: %+v", c.name, j)
		}
	}
}

// No visit is proposed before its filters can be there: the hall has 4 BAG-592 in
// store and 10 days of lead time.
func TestVisitsWaitForParts(t *testing.T) {
	t.Parallel()
	site := hall(london)
	now := at(t, london, "2026-03-04 07:00") // a Wednesday
	bank := func(ahu string, c duelist.Condition, p10 int) assess.Assessment {
		return assess.Assessment{Bank: plant.BankID("hall/" + ahu + "/secondary"), Condition: c,
			Parts: []duelist.Part{{Item: "BAG-592", Count: 4}}, Energy: assess.Energy{MoneyPerDay: money("1.00")},
			Dates: assess.Dates{Median: now.AddDate(0, 0, p10+3), P10: now.AddDate(0, 0, p10), P90: now.AddDate(0, 0, p10+6)}}
	}
	first, second := bank("ahu-3", duelist.Overdue, -9), bank("ahu-4", duelist.Overdue, -8)
	booked := bank("ahu-4", duelist.DueSoon, 4)
	booked.Booking = &assess.Booking{Start: at(t, london, "2026-03-06 09:00")}
	due := at(t, london, "2026-03-20 12:00")
	for _, c := range []struct {
		name   string
		of     []assess.Assessment
		say    entry.Body
		visits string
		says   []string
		not    string
	}{
		{"enough for one", []assess.Assessment{second, first}, nil, "Wed 4 Mar, Mon 16 Mar", // the 14th is a Saturday
			[]string{"AHU-4 secondary (late) (parts missing: 4 × BAG-592; hurry, can be done from 14 Mar)"}, "AHU-3 secondary (late)"},
		{"on order for the 20th", []assess.Assessment{first, second}, entry.Order{Item: "BAG-592", Count: 4, Due: &due}, "Wed 4 Mar, Fri 20 Mar",
			[]string{"can be done from 20 Mar"}, ""},
		{"counted since", []assess.Assessment{first, second}, entry.Stock{Item: "BAG-592", Count: 8}, "Wed 4 Mar", nil, "parts missing"},
		{"what is booked is served first", []assess.Assessment{first, booked}, nil, "Fri 6 Mar, Mon 16 Mar", []string{"AHU-3 secondary (late) (parts missing"}, ""},
		{"booked without parts", []assess.Assessment{booked}, entry.Stock{Item: "BAG-592", Count: 1}, "Fri 6 Mar",
			[]string{"AHU-4 secondary (booked) (parts missing: 3 × BAG-592; hurry, can be done from 14 Mar)"}, ""},
	} {
		var s said
		if s.t = now; c.say != nil {
			s.add("hall", "Maren", c.say)
		}
		b := digest.NewBoard(digest.Input{Register: registerOf(site), Site: site, Assessments: c.of, Supplies: s.out, Now: now})
		var days []string
		for _, v := range b.Plan.Visits {
			days = append(days, v.Day.In(site.Location()).Format("Mon 2 Jan"))
		}
		if got := strings.Join(days, ", "); b.PlanErr != nil || got != c.visits {
			t.Errorf("%s: visits on %s, want %s (%v)", c.name, got, c.visits, b.PlanErr)
		}
		text := digest.Weekly(b, registerOf(site), digest.Since{})
		for _, want := range c.says {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q not in\n%s", c.name, want, text)
			}
		}
		if c.not != "" && strings.Contains(text, c.not) {
			t.Errorf("%s: says %q:\n%s", c.name, c.not, text)
		}
	}
}

// A booking that has passed is told as that, to each supervisor with its own key.
func TestMissedBooking(t *testing.T) {
	t.Parallel()
	site := hall(london)
	a := assess.Assessment{Bank: "hall/ahu-3/secondary", Name: "AHU-3 secondary", Condition: duelist.Due,
		Booking: &assess.Booking{Seq: 7, Start: at(t, london, "2026-03-03 09:00"), Crew: []string{"Tove", "Idris"}}}
	same := digest.NewBoard(digest.Input{Register: registerOf(site), Site: site, Assessments: []assess.Assessment{a}, Now: at(t, london, "2026-03-03 23:30")})
	if got := digest.Missed(same); len(got) != 0 {
		t.Errorf("on the day itself: %+v", got)
	}
	b := digest.NewBoard(digest.Input{Register: registerOf(site), Site: site, Assessments: []assess.Assessment{a}, Now: at(t, london, "2026-03-04 00:30")})
	got := digest.Missed(b)
	if len(got) != 2 || got[0].To.Channel != "Maren" || got[1].To.Channel != "Odd" || got[0].Key == got[1].Key {
		t.Fatalf("%+v", got)
	}
	for _, want := range []string{"AHU-3 secondary was booked for Tue 3 Mar 09:00 with Tove and Idris and is not reported done.", "type: AHU-3 secondary changed.", "book AHU-3 secondary 5 Mar 09:00", "cancel booking AHU-3 secondary"} {
		if !strings.Contains(got[0].Text, want) {
			t.Errorf("%q not in %q", want, got[0].Text)
		}
	}
	text := digest.Weekly(b, registerOf(site), digest.Since{})
	for _, want := range []string{"; was booked for Tue 3 Mar, not reported done", "Was booked, not reported done:\n- AHU-3 secondary, Tue 3 Mar, Tove, Idris"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q not in\n%s", want, text)
		}
	}
}
