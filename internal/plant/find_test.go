package plant_test

import (
	"testing"

	"clogwise/internal/plant"
)

func TestFindByWhatPeopleWrite(t *testing.T) {
	t.Parallel()
	reg := plant.NewRegister(sound())
	for _, name := range []string{"mill", "MILL LANE", "mill-lane"} {
		if s, ok := reg.FindSite(name); !ok || s.ID != "mill" {
			t.Errorf("site %q: %v %v", name, s.ID, ok)
		}
	}
	if _, ok := reg.FindSite(""); ok {
		t.Error("an empty name found a site")
	}
	for _, name := range []string{"AHU-1", "ahu 01", "ahu1", "Office"} {
		if ids := reg.FindAHUs("", name); len(ids) != 1 || ids[0] != "mill/ahu-1" {
			t.Errorf("AHU %q: %v", name, ids)
		}
	}
	if ids := reg.FindAHUs("moon", "AHU-1"); len(ids) != 0 {
		t.Errorf("AHU at an unknown site: %v", ids)
	}
	for name, want := range map[string]plant.BankID{"pleats": "mill/ahu-1/primary", "Secondary": "mill/ahu-1/secondary"} {
		if id, ok := reg.FindBank("mill/ahu-1", name); !ok || id != want {
			t.Errorf("bank %q: %v %v", name, id, ok)
		}
	}
	if id, ok := reg.FindBank("mill/ahu-1", ""); ok {
		t.Errorf("an empty name chose %v of two banks", id)
	}
	if reg.Location("mill").String() != "Europe/London" || reg.Location("moon").String() != "UTC" {
		t.Error("zones of sites")
	}
}

func TestEmptyNameFindsTheOnlyBank(t *testing.T) {
	t.Parallel()
	c := sound()
	delete(c.Banks, "mill/ahu-1/secondary")
	if id, ok := plant.NewRegister(c).FindBank("mill/ahu-1", ""); !ok || id != "mill/ahu-1/primary" {
		t.Errorf("got %v %v", id, ok)
	}
}
