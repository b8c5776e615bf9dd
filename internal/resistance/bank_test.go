package resistance_test

import (
	"errors"
	"testing"

	"clogwise/internal/plant"
	"clogwise/internal/resistance"
)

var (
	full = plant.Item{Code: "BAG-592", Class: "ISO ePM1 60%", WidthMM: 592, HeightMM: 592, Points: points(0.472, 45, 0.944, 110), FinalPa: 450}
	half = plant.Item{Code: "BAG-287", Class: "ISO ePM1 60%", WidthMM: 287, HeightMM: 592, Points: points(0.236, 45, 0.472, 110)}
	one  = plant.Item{Code: "ONE", WidthMM: 592, HeightMM: 592, Points: points(0.944, 110)}
)

func find(code string) (plant.Item, bool) {
	for _, it := range []plant.Item{full, half, one} {
		if it.Code == code {
			return it, true
		}
	}
	return plant.Item{}, false
}

func TestBankLaw(t *testing.T) {
	t.Parallel()
	front := func(w, h, n int, item string) plant.Front {
		return plant.Front{WidthMM: w, HeightMM: h, Count: n, Item: item}
	}
	for _, c := range []struct {
		name  string
		bank  plant.Bank
		flow  float64
		want  float64
		rel   float64
		basis string
	}{
		{"one filter", plant.Bank{Item: "BAG-592"}, 0.944, 110, 1e-9, "the item's own point"},
		{"four filters", plant.Bank{Item: "BAG-592", Fronts: []plant.Front{front(592, 592, 4, "")}}, 4 * 0.944, 110, 1e-9, "each takes a quarter"},
		{"two rows of one item", plant.Bank{Item: "BAG-592", Fronts: []plant.Front{front(592, 592, 2, ""), front(592, 592, 2, "")}}, 4 * 0.472, 45, 1e-9, "each takes a quarter"},
		{"a half front by its area", plant.Bank{Item: "BAG-592", Fronts: []plant.Front{front(592, 592, 1, ""), front(287, 592, 1, "")}}, 0.944 * (1 + 287.0/592), 110, 1e-9, "airflow by face area"},
		// Face areas of 592, 490 and 287 mm fronts: 3400, 2814.2 and 1648.3 m³/h, computed.
		{"490 mm front by its area", plant.Bank{Item: "BAG-592", Fronts: []plant.Front{front(490, 592, 1, "")}}, 2814.2 / 3400 * 0.944, 110, 1e-4, "computed from the areas"},
		{"287 mm front by its area", plant.Bank{Item: "BAG-592", Fronts: []plant.Front{front(287, 592, 1, "")}}, 1648.3 / 3400 * 0.944, 110, 1e-4, "computed from the areas"},
		{"mixed items", plant.Bank{Item: "BAG-592", Fronts: []plant.Front{front(592, 592, 2, ""), front(287, 592, 2, "BAG-287")}}, 2*0.944 + 2*0.472, 110, 1e-3, "airflows add at one resistance"},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, err := resistance.BankLaw(c.bank, find)
			within(t, "Pa", must(t, l, err).Pa(c.flow), c.want, c.rel, c.basis)
		})
	}
	for name, b := range map[string]plant.Bank{
		"unknown item": {Item: "NONE"}, "no item": {}, "one point": {Item: "ONE"},
	} {
		if _, err := resistance.BankLaw(b, find); !errors.Is(err, resistance.ErrLaw) {
			t.Errorf("%s: %v, want ErrLaw", name, err)
		}
	}
}

func TestLawFor(t *testing.T) {
	t.Parallel()
	good := &resistance.Exponent{N: 1.4, SE: 0.03, Used: 20}
	vague := &resistance.Exponent{N: 1.4, SE: 0.3, Used: 20}
	for _, c := range []struct {
		name string
		bank plant.Bank
		life *resistance.Exponent
		want resistance.LawBasis
	}{
		{"item points rule", plant.Bank{Item: "BAG-592"}, good, resistance.LawItem},
		{"else the life", plant.Bank{Item: "ONE"}, good, resistance.LawLife},
		{"else the default", plant.Bank{Item: "ONE"}, vague, resistance.LawDefault},
		{"nothing known", plant.Bank{}, nil, resistance.LawDefault},
	} {
		if got := resistance.LawFor(c.bank, find, c.life, resistance.DefaultLaw()); got.Basis != c.want {
			t.Errorf("%s: %q, want %q", c.name, got.Basis, c.want)
		}
	}
}

func TestCleanFor(t *testing.T) {
	t.Parallel()
	ahu := plant.AHU{DesignFlowM3s: 2 * 0.944}
	fronts := []plant.Front{{WidthMM: 592, HeightMM: 592, Count: 2}}
	for _, c := range []struct {
		name string
		ahu  plant.AHU
		bank plant.Bank
		want float64 // 0 = not known
	}{
		{"register rules", ahu, plant.Bank{CleanPa: 70, Item: "BAG-592", Fronts: fronts}, 70},
		{"item at its airflow", ahu, plant.Bank{Item: "BAG-592", Fronts: fronts}, 110},
		{"item at part airflow", ahu, plant.Bank{Item: "BAG-592", Fronts: fronts, FlowShare: 0.5}, 45},
		{"one point", ahu, plant.Bank{Item: "ONE", Fronts: fronts}, 110},
		{"design airflow missing", plant.AHU{}, plant.Bank{Item: "BAG-592", Fronts: fronts}, 0},
		{"unknown item", ahu, plant.Bank{Item: "NONE"}, 0},
	} {
		got, ok := resistance.CleanFor(c.ahu, c.bank, find, resistance.DefaultLaw())
		if ok != (c.want > 0) {
			t.Errorf("%s: known %v", c.name, ok)
			continue
		}
		if ok {
			within(t, c.name, got.Pa, c.want, 1e-9, "the item's points")
			if got.Source == "" {
				t.Errorf("%s: no source", c.name)
			}
		}
	}
}
