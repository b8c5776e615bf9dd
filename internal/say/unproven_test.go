package say_test

import (
	"strings"
	"testing"

	"github.com/shopspring/decimal"

	"clogwise/internal/assess"
	"clogwise/internal/digest"
	"clogwise/internal/duelist"
	"clogwise/internal/energy"
	"clogwise/internal/plant"
	"clogwise/internal/say"
	"clogwise/internal/units"
)

func eur(s string) units.Money {
	return units.Money{Amount: decimal.RequireFromString(s), Currency: "EUR"}
}

// Behind a fan whose control is not known no cost is told as if it were sure.
func TestFanOfUnknownControlIsClaimedWithCaution(t *testing.T) {
	t.Parallel()
	reg := registerIn(units.SI)
	site, _ := reg.Site("s")
	v := say.At(site, now)
	a := loading()
	a.Energy = assess.Energy{Held: string(plant.FanUnknown), KWhPerDay: 4, MoneyPerDay: eur("1.20"), MoneyLife: eur("60"), WaitWeek: eur("9"), ChangeCost: eur("200"), Note: energy.AtMost.Note()}
	pair := digest.Pair{Tag: "AHU-1", Now: -1, AtMost: true, Choices: []digest.PairChoice{{K: 1, PerYear: eur("900"), Pace: 1}}}
	fitted := energy.Option{Item: plant.Item{Code: "OLD"}, Note: energy.AtMost.Note()}
	other := energy.Option{Item: plant.Item{Code: "NEW"}, Fits: true, Better: true, Note: energy.AtMost.Note()}
	other.Class.OK, other.Fitted.OK = true, true
	dearer := other
	dearer.PaybackYears = 0.4
	doubted := a
	doubted.Condition = duelist.Doubtful
	for what, c := range map[string]struct{ got, want string }{
		"outlook":           {say.Outlook(a, v), "Cheapest date 1 May if the fan holds its airflow."},
		"why":               {say.Why(a, nil, digest.Neglect{}, reg, now), "If the fan holds its airflow, dirt costs €1.20 a day"},
		"cost":              {say.Cost(v.In, []assess.Assessment{a}, nil, reg, now), "Waiting a week more costs €9.00. A change-out costs €200.00; cheapest date 1 May.\n  Changed on"},
		"cost, with note":   {say.Cost(v.In, []assess.Assessment{a}, nil, reg, now), "Fan control not known: at most this, nothing if its speed is fixed."},
		"cost of a doubt":   {say.Cost(v.In, []assess.Assessment{doubted}, nil, reg, now), "Its readings are in doubt"},
		"due list":          {say.DueLine(a.Row(reg), v), "; a week's wait costs at most €9.00"},
		"pair":              {say.Pairs(v.In, []digest.Pair{pair}), "Fan control is not known: all this holds only if the fan holds its airflow."},
		"pairs":             {say.Pairs(v.In, []digest.Pair{pair, pair}), "€900.00 a year, if its fan holds its airflow."},
		"comparison":        {say.Compare("s/a/secondary", []energy.Option{fitted, other}, reg), "Cheaper, if the fan holds its airflow.\n"},
		"comparison, years": {say.Compare("s/a/secondary", []energy.Option{fitted, dearer}, reg), "pays back in 21 weeks then."},
	} {
		if !strings.Contains(c.got, c.want) {
			t.Errorf("%s: no %q in\n%s", what, c.want, c.got)
		}
	}
}

// Where the limit comes before the optimum, what was weighed is waiting for the
// limit whenever it comes, not keeping to today's date for it.
func TestWaitingForTheLimitIsNoDate(t *testing.T) {
	t.Parallel()
	rows := []energy.Sensitivity{{What: "dust", Change: "+20 %", Hours: 840, AtLimit: true}, {What: "dust", Change: "-20 %", Hours: 1260, AtLimit: true}}
	a := loading() // its cheapest date comes before the limit
	if got, want := say.IfWrong(a, rows, say.At(plant.Site{}, now).In), "dust 10 or 15. Keeping to the date costs at most 1 % more then."; !strings.HasSuffix(got, want) {
		t.Errorf("ahead of the limit: %q", got)
	}
	a.LeastCost = a.Dates.Median
	if got, want := say.IfWrong(a, rows, say.At(plant.Site{}, now).In), "dust 10 or 15. Waiting for the limit costs at most 1 % more then."; !strings.HasSuffix(got, want) {
		t.Errorf("at the limit: %q", got)
	}
}

// What does not fit gets no figures, and what age alone ends no dust of its own.
func TestComparisonClaimsNoMoreThanIsKnown(t *testing.T) {
	t.Parallel()
	reg := registerIn(units.SI)
	fitted := energy.Option{Item: plant.Item{Code: "OLD", Class: "F7"}, Fits: true, AtLimit: true, AtCap: true, Hours: 1725, Total: eur("500"), Basis: energy.ByAgeAlone}
	narrow := energy.Option{Item: plant.Item{Code: "NARROW", Class: "F7"}, Better: true, Hours: 8760, Total: eur("300.50"), Basis: energy.ByAgeAlone}
	text := say.Compare("s/a/secondary", []energy.Option{fitted, narrow}, reg)
	for _, want := range []string{"A year in AHU-1 secondary:\n", "every 1725 run hours (at the cap on its age); fitted now.",
		"\nNARROW (F7): it does not fit this bank's fronts, so it is not reckoned.\n", "Basis: no gauge: each is changed at the cap on age"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	for _, wrong := range []string{"300.50", "8760", "own dust", "(at its limit)"} {
		if strings.Contains(text, wrong) {
			t.Errorf("%q in\n%s", wrong, text)
		}
	}
	if strings.Contains(text, "energy") {
		t.Errorf("no energy is claimed, yet\n%s", text)
	}
	fitted.KWh = 2400
	fitted.Basis, fitted.AtLimit, fitted.AtCap, fitted.Open, fitted.Hours = "own readings", false, false, true, 87600
	if text = say.Compare("s/a/secondary", []energy.Option{fitted}, reg); !strings.Contains(text, "; no change within ten years; fitted now.") || strings.Contains(text, "87600") {
		t.Errorf("left open:\n%s", text)
	}
}

// A payback is told in years, in weeks where it is shorter than one.
func TestPaybackInWeeksOrYears(t *testing.T) {
	t.Parallel()
	for years, want := range map[float64]string{0: "Cheaper.", 0.001: "pays back in 1 week.", 0.4: "pays back in 21 weeks.", 1.25: "pays back in 1.2 years.", 3: "pays back in 3.0 years."} {
		o := energy.Option{Item: plant.Item{Code: "NEW"}, Fits: true, Better: true, PaybackYears: years}
		o.Class.OK, o.Fitted.OK = true, true
		if text := say.Compare("s/a/secondary", []energy.Option{{}, o}, registerIn(units.SI)); !strings.Contains(text, want) {
			t.Errorf("%g years: no %q in\n%s", years, want, text)
		}
	}
}

// Of a fan of fixed speed it is told what the rooms lose and how its power changes, be it
// little.
func TestFixedSpeedTellsAirAndPower(t *testing.T) {
	t.Parallel()
	for watts, want := range map[float64]string{
		-15: "6 % less air than with clean filters; the fan takes 15 W less.", 22: "the fan takes 22 W more.", -2: "the fan takes about the same power.", 0: "about the same power.",
	} {
		a := loading()
		a.Energy = assess.Energy{Held: string(plant.SpeedHeld), AirLostPct: 6, FanChangeW: watts}
		if text := say.CostLine(a, say.At(plant.Site{}, now).In); !strings.Contains(text, want) {
			t.Errorf("%g W: %q lacks %q", watts, text, want)
		}
	}
}
