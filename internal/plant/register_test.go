package plant_test

import (
	"slices"
	"strings"
	"testing"

	"clogwise/internal/plant"
)

// Banks and AHUs are listed in natural order, and what lies below a place is
// what has its name before a slash, whatever other names look alike.
func TestRegisterListsWhatLiesBelow(t *testing.T) {
	t.Parallel()
	c := plant.Contents{AHUs: map[plant.BankID]plant.AHU{}, Banks: map[plant.BankID]plant.Bank{}}
	for _, site := range []string{"a", "a-1", "a01", "a1", "b"} {
		c.Sites = append(c.Sites, plant.Site{ID: site})
		for _, ahu := range []string{"ahu-10", "ahu-2", "ahu-1", "ahu-02"} {
			id := plant.MakeBankID(site, ahu, "")
			c.AHUs[id] = plant.AHU{ID: ahu}
			c.Banks[plant.MakeBankID(site, ahu, "bags")] = plant.Bank{ID: "bags", Stage: plant.Secondary}
			c.Banks[plant.MakeBankID(site, ahu, "mats")] = plant.Bank{ID: "mats", Stage: plant.Primary}
		}
	}
	reg := plant.NewRegister(c)
	all := reg.Banks("")
	if len(all) != 40 || len(reg.AHUs("")) != 20 {
		t.Fatalf("%d banks, %d AHUs", len(all), len(reg.AHUs("")))
	}
	for _, place := range []plant.BankID{"a", "a1", "a01", "a-1", "b", "a/ahu-1", "a1/ahu-02", "b/ahu-10", "b/ahu-10/mats", "a/ahu", "c", "b/ahu-10/x"} {
		var want []plant.BankID
		for _, id := range all {
			if id == place || strings.HasPrefix(string(id), string(place)+"/") {
				want = append(want, id)
			}
		}
		if got := reg.Banks(place); !slices.Equal(got, want) {
			t.Errorf("below %s: %v, want %v", place, got, want)
		}
	}
	want := []plant.BankID{"b/ahu-1", "b/ahu-02", "b/ahu-2", "b/ahu-10"}
	if got := reg.AHUs("b"); !slices.Equal(got, want) {
		t.Errorf("AHUs of b: %v, want %v", got, want)
	}
	if got := reg.Banks("b/ahu-1"); !slices.Equal(got, []plant.BankID{"b/ahu-1/mats", "b/ahu-1/bags"}) {
		t.Errorf("banks of b/ahu-1: %v, want them in the order of the air", got)
	}
	reg.Banks("b")[0] = "spoilt"
	if got := reg.Banks("b")[0]; got == "spoilt" {
		t.Error("a caller can alter the register")
	}
}
