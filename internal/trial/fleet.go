package trial

import (
	"fmt"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// An invented fleet: two banks to an AHU, 50 AHUs to a site.
const (
	banksOfAHU  = 2
	banksOfSite = 100
)

func bank(i int) plant.BankID {
	stage := plant.Primary
	if i%banksOfAHU == 1 {
		stage = plant.Secondary
	}
	return plant.MakeBankID(fmt.Sprintf("site-%03d", i/banksOfSite), fmt.Sprintf("ahu-%02d", i%banksOfSite/banksOfAHU+1), string(stage))
}

func banks(n int) []string {
	out := make([]string, n)
	for i := range out {
		out[i] = string(bank(i))
	}
	return out
}

func fleet(n int) plant.Contents {
	c := plant.Contents{AHUs: map[plant.BankID]plant.AHU{}, Banks: map[plant.BankID]plant.Bank{}}
	for i := range n {
		id := bank(i)
		site, ahu, stage := id.Split()
		if i%banksOfSite == 0 {
			c.Sites = append(c.Sites, plant.Site{ID: site, Name: site, Zone: "Etc/UTC", Currency: "EUR", Schedule: plant.Schedule{Hours: map[string]float64{"Mon-Sun": 24}}})
		}
		c.AHUs[id.AHU()] = plant.AHU{ID: ahu, Tag: ahu, DesignFlowM3s: 3, FanControl: plant.FlowHeld}
		c.Banks[id] = plant.Bank{
			ID: stage, Stage: plant.Stage(stage), CleanPa: 60, LimitPa: 200, Gauge: plant.Gauge{TopPa: 500, StepPa: 1},
			Fronts: []plant.Front{{WidthMM: 592, HeightMM: 592, DepthMM: 300, Count: 4}},
		}
	}
	return c
}

// changed are the change-outs that the present lives begin with.
func changed(n int, at time.Time) []entry.Entry {
	out := make([]entry.Entry, n)
	for i := range out {
		out[i] = entry.Entry{
			Source: fmt.Sprintf("trial:swap:%d", i), Kind: entry.KindSwap, Place: bank(i), At: at, Received: at, By: "trial", Body: entry.Swap{Confirmed: true},
		}
	}
	return out
}
