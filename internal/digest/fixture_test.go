package digest_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/shopspring/decimal"

	"clogwise/configs"
	"clogwise/internal/digest"
	"clogwise/internal/plant"
	"clogwise/internal/safework"
)

// An invented site: AHU-3 with two banks, EF-9 for specialists only.
func hall(zone string) plant.Site {
	return plant.Site{
		ID: "hall", Name: "Long Hall", Zone: zone, Currency: "GBP", Units: "SI", Jurisdiction: "UK", Channel: "C1",
		Supervisors: []string{"Maren", "Odd"}, Crew: []string{"Tove", "Idris", "Pell"},
		Schedule: plant.Schedule{Hours: map[string]float64{"daily": 24}, Holidays: []string{"2026-12-25", "2026-12-28", "2027-01-01"}},
		Tariff:   plant.Tariff{PerKWh: decimal.RequireFromString("0.2415"), Source: "invented bill of 2026"},
		Carbon:   plant.Carbon{KgPerKWh: 0.177, Source: "invented factor", Year: 2025},
	}
}

func registerOf(s plant.Site) *plant.Register {
	c := plant.Contents{
		Sites: []plant.Site{s, {ID: "yard", Name: "Yard", Zone: s.Zone, Supervisors: []string{"Wim"}}},
		AHUs:  map[plant.BankID]plant.AHU{}, Banks: map[plant.BankID]plant.Bank{},
		Items: []plant.Item{{Code: "BAG-592", Class: "ISO ePM1 60%", WidthMM: 592, HeightMM: 592, DepthMM: 600, LeadDays: 10, Stock: 4}},
	}
	fronts := []plant.Front{{WidthMM: 592, HeightMM: 592, DepthMM: 600, Count: 4}}
	type unit struct {
		id, tag string
		has     []plant.Condition
	}
	all := []unit{{"ahu-3", "AHU-3", []plant.Condition{plant.Roof, plant.VFD}}, {"ahu-4", "AHU-4", nil}, {"ef-9", "EF-9", []plant.Condition{plant.Grease}}}
	for i := 5; i <= 64; i++ {
		all = append(all, unit{id: fmt.Sprintf("ahu-%d", i), tag: fmt.Sprintf("AHU-%d", i)})
	}
	for _, a := range all {
		ahu := plant.AHU{ID: a.id, Tag: a.tag, Conditions: a.has}
		for _, cond := range plant.Conditions {
			if !slices.Contains(a.has, cond) {
				ahu.NotPresent = append(ahu.NotPresent, cond)
			}
		}
		for _, site := range []string{s.ID, "yard"} {
			c.AHUs[plant.MakeBankID(site, a.id, "")] = ahu
			for _, stage := range []plant.Stage{plant.Primary, plant.Secondary} {
				c.Banks[plant.MakeBankID(site, a.id, string(stage))] = plant.Bank{ID: string(stage), Stage: stage, Item: "BAG-592", Fronts: fronts}
			}
		}
	}
	return plant.NewRegister(c)
}

func steps(t *testing.T) safework.Catalogue {
	t.Helper()
	c, err := safework.Load(configs.SafeWorkSteps)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// at reads a moment of a zone's own clock: "2026-11-26 09:00".
func at(t *testing.T, zone, s string) time.Time {
	t.Helper()
	loc, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	out, err := time.ParseInLocation("2006-01-02 15:04", s, loc)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

const (
	london  = "Europe/London"
	chicago = "America/Chicago"
)

func job(bank string, start time.Time, crew ...string) digest.Job {
	return digest.Job{Bank: plant.BankID(bank), Seq: 10, Start: start, Crew: crew, By: "Maren"}
}
