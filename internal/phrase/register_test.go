package phrase_test

import (
	"bytes"
	"strings"
	"sync"
	"time"

	"clogwise/configs"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/registerfile"
	"clogwise/internal/units"
)

// now is a Monday morning; 10:15 in London, 05:15 in New York.
var now = time.Date(2026, time.March, 9, 10, 15, 0, 0, time.UTC)

// testRegister is a small invented portfolio: Northgate (pascal) and Quillford
// Clinic (inches) share a channel and both have an AHU-3 by way of "AHU-3" and
// "AHU-3"; Eastmoor has a channel of its own.
func testRegister() *plant.Register {
	c := plant.Contents{AHUs: map[plant.BankID]plant.AHU{}, Banks: map[plant.BankID]plant.Bank{}}
	c.Sites = []plant.Site{
		{ID: "northgate", Name: "Northgate Works", Aliases: []string{"Northgate", "NG"}, Zone: "Europe/London", Units: units.SI, Jurisdiction: "UK", WorkHours: plant.WorkHours{From: "07:30"}, Crew: []string{"Nadia", "Idris", "Pell"}},
		{ID: "quillford", Name: "Quillford Clinic", Aliases: []string{"clinic"}, Zone: "America/New_York", Units: units.IP, Jurisdiction: "US"},
		{ID: "eastmoor", Name: "Eastmoor Depot", Aliases: []string{"depot"}, Zone: "Europe/Berlin", Units: units.SI, Jurisdiction: "EU"},
	}
	ahu := func(site, tag string, a plant.AHU) plant.BankID {
		a.ID, a.Tag = plant.Slug(tag), tag
		if a.FanControl == "" {
			a.FanControl = plant.FlowHeld
		}
		id := plant.MakeBankID(site, a.ID, "")
		c.AHUs[id] = a
		return id
	}
	bank := func(of plant.BankID, b plant.Bank) {
		if b.ID == "" {
			b.ID = string(b.Stage)
		}
		c.Banks[of+"/"+plant.BankID(b.ID)] = b
	}
	front := func(n int, depth int) []plant.Front {
		return []plant.Front{{WidthMM: 592, HeightMM: 592, DepthMM: depth, Count: n}}
	}
	pair := func(site, tag string, gauge plant.Gauge, pre, bag int) plant.BankID {
		id := ahu(site, tag, plant.AHU{DesignFlowM3s: 3.4})
		bank(id, plant.Bank{Stage: plant.Primary, Item: "PNL-592", Fronts: front(pre, 48), Gauge: gauge, CleanPa: 60, LimitPa: 250})
		bank(id, plant.Bank{Stage: plant.Secondary, Item: "BAG-592", Fronts: front(bag, 600), Gauge: gauge, CleanPa: 95, LimitPa: 300})
		return id
	}
	pa := plant.Gauge{Unit: units.Pa, TopPa: 750, StepPa: 5}
	inches := plant.Gauge{Unit: units.InH2O, TopPa: 2 * units.PaPerInH2O, StepPa: 5}
	none := plant.Gauge{}

	pair("northgate", "AHU-1", none, 20, 20)
	pair("northgate", "AHU-2", pa, 24, 24)
	pair("northgate", "AHU-3", none, 12, 12)
	pair("northgate", "AHU-4", none, 12, 12)
	pair("northgate", "AHU-5", pa, 16, 16)
	pair("northgate", "AHU-6", pa, 12, 12)
	ahu7 := ahu("northgate", "AHU-7", plant.AHU{DesignFlowM3s: 2})
	bank(ahu7, plant.Bank{Stage: plant.Primary, Item: "PNL-592", Fronts: front(8, 48), CleanPa: 60, LimitPa: 200})
	bank(ahu7, plant.Bank{Stage: plant.Secondary, Item: "BAG-592", Fronts: front(8, 600), CleanPa: 95, LimitPa: 250})
	pair("northgate", "AHU-8", plant.Gauge{Unit: units.Pa, TopPa: 500}, 12, 12)
	pair("northgate", "AHU-10", pa, 12, 12)
	ahu12 := ahu("northgate", "AHU-12", plant.AHU{})
	bank(ahu12, plant.Bank{Stage: plant.Primary, Item: "PNL-592", Fronts: front(6, 48), Gauge: pa, CleanPa: 60, LimitPa: 200})
	bank(ahu12, plant.Bank{Stage: plant.Secondary, Item: "BAG-592", Fronts: front(6, 600), Gauge: plant.Gauge{Absent: true}})
	ahu15 := ahu("northgate", "AHU-15", plant.AHU{})
	bank(ahu15, plant.Bank{Stage: plant.Primary, Item: "PNL-592", Fronts: front(6, 48), Gauge: pa, CleanPa: 60, LimitPa: 200})
	bank(ahu15, plant.Bank{Stage: plant.Return, Item: "PNL-592", Fronts: front(4, 48), Gauge: pa, CleanPa: 40, LimitPa: 150, Aliases: []string{"loft screen"}})
	pair("northgate", "AHU-23", pa, 12, 12)
	mau := ahu("northgate", "MAU-2", plant.AHU{Aliases: []string{"kitchen make-up"}, FanControl: plant.SpeedHeld})
	bank(mau, plant.Bank{Stage: plant.Primary, Item: "PNL-592", Fronts: front(6, 48), Gauge: pa, CleanPa: 70, LimitPa: 250})
	bank(mau, plant.Bank{Stage: plant.Secondary, Item: "BAG-592", Fronts: front(6, 600), Gauge: pa, CleanPa: 110, LimitPa: 350})
	sf := ahu("northgate", "SF-1", plant.AHU{})
	bank(sf, plant.Bank{Stage: plant.Secondary, Item: "BAG-592", Fronts: front(9, 600), CleanPa: 95, LimitPa: 350})
	ef9 := ahu("northgate", "EF-9", plant.AHU{Aliases: []string{"iso room exh"}, Conditions: []plant.Condition{plant.HazExhaust}})
	bank(ef9, plant.Bank{Stage: plant.Secondary, Fronts: front(4, 292), CleanPa: 150, LimitPa: 450})
	lab := ahu("northgate", "AHU-11", plant.AHU{Aliases: []string{"laser lab"}})
	bank(lab, plant.Bank{Stage: plant.Primary, Item: "PNL-592", Fronts: front(4, 48), Gauge: pa, CleanPa: 60, LimitPa: 200})
	bank(lab, plant.Bank{Stage: plant.Secondary, Item: "BAG-592", Fronts: front(4, 600), Gauge: pa, CleanPa: 95, LimitPa: 300})
	bank(lab, plant.Bank{Stage: plant.Third, Item: "HEP-610", Fronts: front(4, 292), Gauge: pa, CleanPa: 220, LimitPa: 500, Aliases: []string{"terminals"}})

	pair("quillford", "AHU-3", inches, 12, 12)
	pair("quillford", "AHU-T1", inches, 12, 12)
	rtu := ahu("quillford", "RTU-7", plant.AHU{FanControl: plant.SpeedHeld})
	bank(rtu, plant.Bank{Stage: plant.Primary, Item: "PNL-592", Fronts: front(4, 48), Gauge: inches, CleanPa: 60, LimitPa: 250})
	ef4 := ahu("quillford", "EF-4", plant.AHU{})
	bank(ef4, plant.Bank{Stage: plant.Primary, Item: "PNL-592", Fronts: front(2, 48), Gauge: inches, CleanPa: 30, LimitPa: 200})

	pair("eastmoor", "AHU-9", pa, 12, 12)

	c.Items = []plant.Item{
		{Code: "PNL-592", Name: "Pleated panel 592", WidthMM: 592, HeightMM: 592, DepthMM: 48, FinalPa: 250, Site: "northgate"},
		{Code: "BAG-592", Name: "Bag filter 592", WidthMM: 592, HeightMM: 592, DepthMM: 600, FinalPa: 300, Site: "northgate"},
		{Code: "BAG-593", Name: "Long bag 592", WidthMM: 592, HeightMM: 592, DepthMM: 640, FinalPa: 300, Site: "northgate"},
		{Code: "HEP-610", WidthMM: 610, HeightMM: 610, DepthMM: 292, FinalPa: 500},
	}
	return plant.NewRegister(c)
}

// demoRegister is the register of the demo: Quillford Clinic (clinic), Brindle Fork
// Print Works (works, inches) and Musikhaus Ellernbrück (hall, German names).
var demoRegister = sync.OnceValues(func() (*plant.Register, *phrase.Index) {
	var im registerfile.Import
	im.Add("clinic.yaml", bytes.NewReader(configs.DemoClinic))
	im.Add("hall.yaml", bytes.NewReader(configs.DemoHall))
	im.Add("works.yaml", bytes.NewReader(configs.DemoWorks))
	c, _ := im.Finish(plant.Contents{})
	r := plant.NewRegister(c)
	return r, phrase.NewIndex(r)
})

// demoScope gives the scopes of the demo's plants: "demo" is the clinic's channel,
// "demo-both" one that serves the clinic and the hall.
func demoScope(name string) phrase.Scope {
	r, index := demoRegister()
	last := map[plant.BankID]float64{
		"clinic/ahu-3/primary": 107, "clinic/ahu-3/secondary": 150, "clinic/ahu-1/secondary": 140, "clinic/ahu-t1/third": 238,
		"works/ahu-12/primary": 110, "works/ahu-12/secondary": 200,
	}
	sc := phrase.Scope{
		Register: r, Index: index, Sites: []string{"clinic"}, Now: now, By: "Tove",
		Last: func(id plant.BankID) (float64, time.Time, bool) {
			pa, ok := last[id]
			return pa, now.Add(-7 * 24 * time.Hour), ok
		},
	}
	switch name {
	case "demo-works":
		sc.Sites = []string{"works"}
	case "demo-hall":
		sc.Sites = []string{"hall"}
	case "demo-both":
		sc.Sites = []string{"clinic", "hall"}
	case "demo-thread":
		sc.Here = "clinic/ahu-3/secondary"
	case "demo-jobs":
		sc.Booked = []plant.BankID{"clinic/ahu-2/primary", "clinic/ahu-1/primary", "clinic/ahu-3/secondary"}
	case "demo-both-jobs": // both banks of one AHU are being worked on
		sc.Booked = []plant.BankID{"clinic/ahu-3/primary", "clinic/ahu-3/secondary"}
	case "demo-job":
		sc.Booked = []plant.BankID{"clinic/ahu-3/secondary"}
	}
	return sc
}

var shared = sync.OnceValues(func() (*plant.Register, *phrase.Index) {
	r := testRegister()
	return r, phrase.NewIndex(r)
})

// scopeNamed gives the scopes that the conversation table names.
func scopeNamed(name string) phrase.Scope {
	if strings.HasPrefix(name, "demo") {
		return demoScope(name)
	}
	r, index := shared()
	sc := phrase.Scope{
		Register: r, Index: index, Sites: []string{"northgate"}, Now: now, By: "kim",
		Last: func(id plant.BankID) (float64, time.Time, bool) {
			b, ok := r.Bank(id)
			if !ok || b.Gauge.Absent {
				return 0, time.Time{}, false
			}
			at := now.Add(-7 * 24 * time.Hour)
			switch id {
			case "northgate/ahu-3/primary":
				return 107, at, true
			case "northgate/ahu-3/secondary":
				return 190, at, true
			case "northgate/ahu-6/secondary":
				return 260, at, true
			case "quillford/ahu-3/primary":
				return 110, at, true
			case "quillford/ahu-3/secondary":
				return 195, at, true
			}
			return 0, time.Time{}, false
		},
	}
	switch name {
	case "clinic":
		sc.Sites = []string{"quillford"}
	case "both":
		sc.Sites = []string{"northgate", "quillford"}
	case "home":
		sc.Sites = []string{"northgate", "quillford"}
		sc.HomeSite = "quillford"
	case "thread": // a thread about AHU-3's secondary bank
		sc.Here = "northgate/ahu-3/secondary"
	case "jobs": // three jobs are open
		sc.Booked = []plant.BankID{"northgate/ahu-2/primary", "northgate/ahu-5/primary", "northgate/ahu-6/secondary"}
	case "job": // one job is open
		sc.Booked = []plant.BankID{"northgate/ahu-6/secondary"}
	case "berlin":
		sc.Sites = []string{"eastmoor"}
	case "all":
		sc.Sites = nil
	}
	return sc
}

// lastIs is a Last that knows one value for every bank.
func lastIs(pa float64) func(plant.BankID) (float64, time.Time, bool) {
	return func(plant.BankID) (float64, time.Time, bool) { return pa, now.Add(-24 * time.Hour), true }
}
