package digest_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/shopspring/decimal"

	"clogwise/internal/assess"
	"clogwise/internal/digest"
	"clogwise/internal/duelist"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

var update = flag.Bool("update", false, "write the golden digests anew")

// monday is when the invented digests are made.
var monday = time.Date(2026, 11, 23, 7, 0, 0, 0, time.UTC)

func day(d int) time.Time { return monday.AddDate(0, 0, d).Add(5 * time.Hour) }

// small is a site as it is on an ordinary Monday.
func small() (digest.Board, digest.Since) {
	put, booked := day(16), monday.Add(74*time.Hour)
	b := digest.Board{
		Site: hall(london), Now: monday, PerDay: money("12.40"), KWhDay: 51.3, KgDay: 9.1,
		Rows: []duelist.Row{
			{Bank: "hall/ahu-3/secondary", Name: "AHU-3 secondary", Condition: duelist.Overdue, PaNow: 212, LimitPa: 200, Governing: "200 Pa",
				P10: day(-12), Median: day(-9), P90: day(-5), WaitWeek: money("14.70"), Booked: &booked},
			{Bank: "hall/ahu-4/primary", Name: "AHU-4 primary", Condition: duelist.Due, PaNow: 96, LimitPa: 150,
				Governing: "its age cap (12 months)", P10: day(-1), Median: day(-1), P90: day(-1), WaitWeek: money("2.10")},
			{Bank: "hall/ahu-4/secondary", Name: "AHU-4 secondary", Condition: duelist.DueSoon, PaNow: 171, LimitPa: 200, Governing: "200 Pa",
				P10: day(7), Median: day(13), P90: day(29), WaitWeek: money("6.55"), Deferred: &put, DeferReason: "shutdown of the hall on the 9th"},
			{Bank: "hall/ef-9/primary", Name: "EF-9 primary", Condition: duelist.Doubtful},
			{Bank: "hall/ahu-3/primary", Name: "AHU-3 primary", Condition: duelist.Loading},
			{Bank: "hall/ef-9/secondary", Name: "EF-9 secondary", Condition: duelist.Unread},
		},
		Plan: duelist.Plan{Cost: money("410.00"), Separate: money("620.00"), Visits: []duelist.Visit{
			{Day: day(3), Jobs: []duelist.Placed{{Bank: "hall/ahu-3/secondary", Booked: true}, {Bank: "hall/ahu-4/primary", Late: true}}},
			{Day: day(16), Jobs: []duelist.Placed{{Bank: "hall/ahu-4/secondary"}}},
		}},
		Orders: []duelist.Line{
			{Item: "BAG-592", Need: 8, Stock: 4, Order: 4, LatestOrder: day(4)},
			{Item: "PAN-592", Need: 6, Order: 6, LatestOrder: day(-3), Overdue: true},
			{Item: "PAN-287", Need: 2, Stock: 2},
			{Item: "BAG-287", Need: 4, OnOrder: 4, Short: 4, ShortOn: day(3)},
		},
		Doubts: []digest.Doubt{{Bank: "hall/ef-9/primary", Name: "EF-9 primary", Finding: assess.Finding{
			Text: "Fell from 180 to 90 Pa without a change-out.", Check: "Look for a torn bag or an open door."}}},
		Owed: []digest.Owed{{Name: "EF-9 secondary"}, {Name: "AHU-3 primary", Since: day(-15), Why: "ladder missing"}},
	}
	start, changed, before := monday.AddDate(0, 0, -60), day(-5), 150.0
	b.Assessed = []assess.Assessment{
		{Bank: "hall/ahu-3/secondary", Name: "AHU-3 secondary", Now: monday, LifeStart: &start,
			Energy: assess.Energy{KWhLife: 900, KWhPerDay: 30, KgLife: 159.3, MoneyLife: money("217.35")}},
		{Bank: "hall/ahu-3/primary", Name: "AHU-3 primary", Unconfirmed: true, Now: monday, LifeStart: &changed, CleanPa: 55, LastSwap: &assess.SwapSeen{At: changed, Who: "Idris", BeforePa: &before},
			Energy: assess.Energy{KWhPerPaDay: 0.06, MoneyPerKPaDay: money("14.50"), KWhLife: 2, KWhPerDay: 0.4, MoneyLife: money("0.48"), KgLife: 0.4}},
		{Bank: "hall/ahu-4/primary", Name: "AHU-4 primary", Energy: assess.Energy{AirLostPct: 8.4}},
	}
	s := digest.Since{
		From: monday.AddDate(0, 0, -7), To: monday, Readings: 46, Begun: 2, Finished: 1, Corrected: 1,
		Swaps: []digest.Done{{Bank: "hall/ahu-3/primary", At: day(-5), Who: "Idris"}},
		Defects: []digest.Noted{{Place: "hall/ahu-4", Note: "belt squealing", By: "Pell"},
			{Place: "hall/ef-9/primary", Note: "tube put back on", By: "Tove", Fixed: true}},
		TakenBack: 2, Where: []plant.BankID{"hall/ahu-4/secondary"},
	}
	return b, s
}

// sixty is a site of 60 banks in the state such a site is usually in.
func sixty() (digest.Board, digest.Since) {
	b, s := small()
	for i := range 54 {
		r := duelist.Row{Name: fmt.Sprintf("AHU-%d secondary", i+5), Condition: duelist.Loading}
		if i < 14 {
			r = duelist.Row{Name: r.Name, Condition: duelist.DueSoon, PaNow: 150 + float64(i), LimitPa: 200, Governing: "200 Pa",
				P10: day(i + 3), Median: day(i + 10), P90: day(2*i + 24), WaitWeek: money("3.05")}
		}
		b.Rows = append(b.Rows, r)
	}
	for i := range 9 {
		b.Plan.Visits = append(b.Plan.Visits, duelist.Visit{Day: day(18 + 4*i), Jobs: []duelist.Placed{
			{Bank: plant.BankID(fmt.Sprintf("hall/ahu-%d/primary", i+5))}, {Bank: plant.BankID(fmt.Sprintf("hall/ahu-%d/secondary", i+5))}}})
		b.Owed = append(b.Owed, digest.Owed{Name: fmt.Sprintf("AHU-%d primary", i+20), Since: day(-9 - i)})
	}
	return b, s
}

// big is the worst Monday: 60 banks, all of them due, doubtful, owed and to be
// ordered for, in the words of people who like to write.
func big() (digest.Board, digest.Since) {
	b, s := small()
	b.Rows, b.Plan.Visits, b.Orders, b.Doubts, b.Owed, b.Assessed = nil, nil, nil, nil, nil, nil
	long := strings.Repeat("and it has been like this for quite some time ", 20)
	states := []duelist.Condition{duelist.Overdue, duelist.Due, duelist.DueSoon, duelist.DueSoon}
	for i := range 60 {
		name := fmt.Sprintf("AHU-%d secondary", i+5)
		id := plant.BankID(fmt.Sprintf("hall/ahu-%d/secondary", i+5))
		put, booked := day(30), day(20)
		b.Rows = append(b.Rows, duelist.Row{Bank: id, Name: name, Condition: states[i/15], PaNow: 150 + float64(i), LimitPa: 200, Governing: "200 Pa",
			P10: day(i - 20), Median: day(i - 10), P90: day(i + 15), WaitWeek: money("6.55"), Deferred: &put, DeferReason: long, Booked: &booked})
		b.Doubts = append(b.Doubts, digest.Doubt{Name: name, Finding: assess.Finding{Text: "Fell without a change-out,", Check: long}})
		b.Owed = append(b.Owed, digest.Owed{Name: name, Since: day(-i), Why: long})
		b.Orders = append(b.Orders, duelist.Line{Item: fmt.Sprintf("BAG-592-%d", i), Need: 8, Stock: 4, Order: 4, LatestOrder: day(i)})
		b.Plan.Visits = append(b.Plan.Visits, duelist.Visit{Day: day(i), Jobs: []duelist.Placed{
			{Bank: id}, {Bank: id.AHU() + "/primary"}, {Bank: "hall/ahu-4/primary"}, {Bank: "hall/ahu-4/secondary"}, {Bank: "hall/ef-9/primary"}}})
		b.Assessed = append(b.Assessed, assess.Assessment{Name: name, Unconfirmed: true, LastSwap: &assess.SwapSeen{At: day(-i), Who: "Idris"},
			Energy: assess.Energy{AirLostPct: 9}})
		s.Swaps = append(s.Swaps, digest.Done{Bank: id, At: day(-i % 7), Who: "Idris"})
		s.Defects = append(s.Defects, digest.Noted{Place: id, Note: long, By: "Pell"})
		s.Where = append(s.Where, id)
		s.TakenBack++
	}
	return b, s
}

// Air that a doubtful bank loses would go by the forecast that its readings
// contradict.
func TestNoAirIsLostToADoubt(t *testing.T) {
	t.Parallel()
	b, s := small()
	for _, c := range []struct {
		condition duelist.Condition
		told      bool
	}{{duelist.Loading, true}, {duelist.Overdue, true}, {duelist.Doubtful, false}} {
		b.Assessed[2].Condition = c.condition
		if got := strings.Contains(digest.Weekly(b, registerOf(b.Site), s), "Air lost to dirt"); got != c.told {
			t.Errorf("%s: told %v", c.condition, got)
		}
	}
}

func TestWeeklyGolden(t *testing.T) {
	t.Parallel()
	quiet, _ := small()
	quiet.Rows = []duelist.Row{{Name: "AHU-3 primary", Condition: duelist.Clean}}
	quiet.Plan, quiet.Orders, quiet.Doubts, quiet.Owed, quiet.Assessed = duelist.Plan{}, nil, nil, nil, nil
	quiet.PerDay, quiet.KWhDay, quiet.KgDay = units.Money{}, 0, 0
	chicagoBoard, chicagoSince := small()
	chicagoBoard.Site.Zone, chicagoBoard.Site.Units = chicago, units.IP
	chicagoBoard.Site.Tariff.Bands = []plant.TariffBand{{PerKWh: decimal.NewFromInt(1)}}
	chicagoBoard.Rows[0].Governing, chicagoBoard.Rows[2].Governing = "0.80 in wc", "0.80 in wc"
	smallBoard, smallSince := small()
	sixtyBoard, sixtySince := sixty()
	bigBoard, bigSince := big()
	for _, tc := range []struct {
		name  string
		board digest.Board
		since digest.Since
	}{
		{"small", smallBoard, smallSince},
		{"asked-for", smallBoard, digest.Since{}},
		{"inches", chicagoBoard, chicagoSince},
		{"sixty", sixtyBoard, sixtySince},
		{"worst", bigBoard, bigSince},
		{"quiet", quiet, digest.Since{From: monday.AddDate(0, 0, -7), To: monday}},
		{"empty", digest.Board{Site: hall(london), Now: monday}, digest.Since{}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			got := digest.Weekly(tc.board, registerOf(tc.board.Site), tc.since) + "\n"
			file := filepath.Join("testdata", "weekly-"+tc.name+".txt")
			if *update {
				if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("%s differs (go test -update writes it anew):\n%s", file, got)
			}
			if n := utf8.RuneCountInString(got); n > 3000 {
				t.Errorf("%d characters", n)
			}
			if bad := claim.FindString(got); bad != "" {
				t.Errorf("says %q", bad)
			}
		})
	}
}

// Nothing is cut without its count, and the counts are right.
func TestCutsAreCounted(t *testing.T) {
	t.Parallel()
	b, s := big()
	text := digest.Weekly(b, registerOf(b.Site), s)
	for _, section := range []struct{ title, where string }{
		{"To change", "clogwise due"}, {"To order", "type orders"}, {"Readings to check", "clogwise due"}, {"Visits proposed", "type visits"},
	} {
		_, after, ok := strings.Cut(text, "\n"+section.title)
		if !ok {
			t.Errorf("no section %q", section.title)
			continue
		}
		body, _, _ := strings.Cut(after, "\n\n")
		shown := strings.Count(body, "\n- ")
		if want := fmt.Sprintf("… and %d more: %s", 60-shown, section.where); !strings.HasSuffix(body, want) {
			t.Errorf("%s shows %d and does not end with %q:\n%s", section.title, shown, want, body)
		}
	}
}

// A week's wait is added up in the site's currency alone.
func TestWaitIsNotAddedAcrossCurrencies(t *testing.T) {
	t.Parallel()
	b, _ := small()
	b.Rows[0].WaitWeek.Currency = "EUR"
	text := digest.Weekly(b, registerOf(b.Site), digest.Since{})
	if !strings.Contains(text, "a week's wait with all costs £8.65)") { // 2.10 + 6.55
		t.Error(text)
	}
}
