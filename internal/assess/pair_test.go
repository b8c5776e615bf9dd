package assess_test

import (
	"math"
	"testing"
	"time"

	"github.com/shopspring/decimal"

	"clogwise/internal/assess"
	"clogwise/internal/energy"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
)

// pairOf is a register of a primary and a secondary round the clock, loading
// straight to their limits in 60 and 240 days, and the inputs of both.
func pairOf(control plant.FanControl, visit string, alter ...func(*plant.Site)) (primary, secondary assess.Input) {
	dec := decimal.RequireFromString
	site := plant.Site{ID: "s", Zone: "UTC", Currency: "EUR", Tariff: plant.Tariff{PerKWh: dec("0.25")}, VisitCost: dec(visit)}
	for _, f := range alter {
		f(&site)
	}
	item := func(code, price string) plant.Item {
		return plant.Item{Code: code, Class: "ISO ePM10 50%", WidthMM: 592, HeightMM: 592, Price: dec(price), Currency: "EUR"}
	}
	front := []plant.Front{{WidthMM: 592, HeightMM: 592, Count: 4}}
	reg := plant.NewRegister(plant.Contents{
		Sites: []plant.Site{site},
		AHUs:  map[plant.BankID]plant.AHU{"s/a": {ID: "a", Tag: "A", DesignFlowM3s: 3, FanControl: control}},
		Banks: map[plant.BankID]plant.Bank{
			"s/a/primary":   {ID: "primary", Stage: plant.Primary, Item: "P", Fronts: front, CleanPa: 50, LimitPa: 150},
			"s/a/secondary": {ID: "secondary", Stage: plant.Secondary, Item: "S", Fronts: front, CleanPa: 80, LimitPa: 250},
		},
		Items: []plant.Item{item("P", "12"), item("S", "55")},
	})
	read := func(bank plant.BankID, days, clean, limit float64) assess.Input {
		in := assess.Input{Register: reg, Bank: bank, Now: began.AddDate(0, 0, 400)}
		b, _ := reg.Bank(bank)
		in.Prior = forecast.ClassDefault{MedianLife: 24 * days, Spread: 0.3, CleanPa: clean, LimitPa: limit}.Prior()
		put := func(day float64, body entry.Body) {
			in.Entries = append(in.Entries, entry.Entry{Seq: int64(len(in.Entries) + 1), Kind: body.Kind(), Place: bank,
				At: began.Add(time.Duration(day * 24 * float64(time.Hour))), Body: body})
		}
		for start := 0.0; start < 400; start += days {
			put(start, entry.Swap{CleanPa: &b.CleanPa, Confirmed: true})
			for d := days / 12; d < days && start+d < 400; d += days / 12 {
				put(start+d, entry.Reading{Pa: clean + (limit-clean)*d/days})
			}
		}
		return in
	}
	return read("s/a/primary", 60, 50, 150), read("s/a/secondary", 240, 80, 250)
}

// Straight lines have a closed form: with K primaries to a secondary, changed
// every h hours, g(h) = (C₁ + (C₂ − visit)/K)/h + c k (r₁ + K r₂) h/2.
func TestPairsOfStraightLives(t *testing.T) {
	t.Parallel()
	got, err := assess.Pairs(pairOf(plant.FlowHeld, "100"))
	if err != nil || len(got) < 4 {
		t.Fatalf("%+v, %v", got, err)
	}
	const (
		perPaHour     = 3 / 0.5 / 1000 * 0.25 // 3 m³/s at an efficiency of 0.5
		first, second = 4*12 + 100, 4*55 + 100
		rise1, rise2  = 100.0 / (60 * 24), 170.0 / (240 * 24)
	)
	for _, p := range got {
		k := float64(p.K)
		cost, slope := first+(second-100)/k, perPaHour*(rise1+k*rise2)
		h := math.Min(math.Sqrt(2*cost/slope), math.Min(60*24, 240*24/k)) // no later than either limit
		want := cost/h + slope*h/2
		if math.Abs(p.PerHour/want-1) > 0.05 || math.Abs(p.PrimaryHours/h-1) > 0.10 {
			t.Errorf("%d primaries: %.4g an hour at %.0f h, want %.4g at %.0f (computed)", p.K, p.PerHour, p.PrimaryHours, want, h)
		}
	}
	best, _ := energy.BestPair(got)
	if best.K < 2 || best.K > 4 {
		t.Errorf("%d primaries for a secondary, want about √(220·%.4f/(148·%.4f)) = 1.9 or what the limits allow", best.K, rise1, rise2)
	}
}

func TestPairsNeedAFanThatPays(t *testing.T) {
	t.Parallel()
	if got, err := assess.Pairs(pairOf(plant.SpeedHeld, "100")); err != nil || len(got) != 0 {
		t.Errorf("a fan of fixed speed: %+v, %v", got, err)
	}
	shared, _ := assess.Pairs(pairOf(plant.FlowHeld, "100"))
	alone, _ := assess.Pairs(pairOf(plant.FlowHeld, "0"))
	if len(alone) == 0 || !(alone[0].PerHour < shared[0].PerHour) {
		t.Error("visits that cost nothing must make it cheaper")
	}
}

// Interest that the register sets favours paying for filters later, as in the
// discounted least cost itself, wherever an interval is weighed.
func TestInterestPutsChangeOutsOff(t *testing.T) {
	t.Parallel()
	at := func(interest float64) (cheapest time.Time, pair float64, compared float64) {
		dear := func(s *plant.Site) { s.Interest, s.LabourRate = interest, decimal.NewFromInt(60) }
		first, second := pairOf(plant.FlowHeld, "0", dear)
		pairs, err := assess.Pairs(first, second)
		if err != nil || len(pairs) == 0 {
			t.Fatal(pairs, err)
		}
		options, err := assess.Compare(second, nil)
		if err != nil {
			t.Fatal(err)
		}
		return assess.Bank(second).LeastCost, pairs[0].PrimaryHours, options[0].Hours
	}
	plain, pair, compared := at(0)
	later, pairLater, comparedLater := at(0.4)
	if !later.After(plain) || !(comparedLater > compared) || pairLater < 0.999*pair { // the limit may hold both
		t.Errorf("cheapest %s, pairs %.0f h, compared %.0f h; with interest %s, %.0f h, %.0f h", plain, pair, compared, later, pairLater, comparedLater)
	}
}
