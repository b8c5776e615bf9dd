package assess_test

import (
	"fmt"
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
)

// shown assesses every bank of the demo as the program does: fleet priors by
// stage, learnt from what the banks' lives gave.
func shown(now time.Time, seed uint64) map[plant.BankID]assess.Assessment {
	c := demo.Portfolio()
	reg := plant.NewRegister(c)
	entries := demo.History(c, now, seed)
	for i := range entries {
		entries[i].Seq = int64(i + 1)
	}
	of := func(id plant.BankID) (own, beside []entry.Entry) {
		for _, x := range entries {
			switch {
			case x.Place == id, x.Place == id.AHU(), string(x.Place) == id.Site():
				own = append(own, x)
			case x.Place.AHU() == id.AHU():
				beside = append(beside, x)
			}
		}
		return own, beside
	}
	all := func(priors map[plant.Stage]forecast.Prior) map[plant.BankID]assess.Assessment {
		out := map[plant.BankID]assess.Assessment{}
		for _, b := range reg.Banks("") {
			bank, _ := reg.Bank(b)
			prior, ok := priors[bank.Stage]
			if !ok {
				prior = forecast.ClassPrior(string(bank.Stage))
			}
			own, beside := of(b)
			out[b] = assess.Bank(assess.Input{Register: reg, Bank: b, Entries: own, Beside: assess.Beside(reg, b, beside), Prior: prior, Now: now})
		}
		return out
	}
	priors := map[plant.Stage]forecast.Prior{}
	lives := map[plant.Stage][]forecast.FinishedLife{}
	for id, a := range all(nil) {
		bank, _ := reg.Bank(id)
		lives[bank.Stage] = append(lives[bank.Stage], a.Lives...)
	}
	for stage, ls := range lives {
		priors[stage] = forecast.Learn(forecast.ClassPrior(string(stage)), ls)
	}
	return all(priors)
}

func TestPrint(t *testing.T) {
	for m, now := range []time.Time{
		time.Date(2026, 11, 25, 14, 30, 0, 0, time.UTC), time.Date(2026, 7, 5, 3, 0, 0, 0, time.UTC), time.Date(2026, 3, 29, 1, 0, 0, 0, time.UTC),
		time.Date(2026, 10, 25, 1, 0, 1, 0, time.UTC), time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2028, 2, 29, 12, 0, 0, 0, time.UTC)} {
		for seed := range uint64(4) {
			for id, a := range shown(now, seed+1) {
				for _, f := range a.Findings {
					fmt.Printf("%d/%d %-24s %-10s %-14s open=%v %s | %s %v\n", m, seed+1, id, a.Condition, f.Code, f.Open, f.Text, f.Check, f.Evidence)
				}
			}
		}
	}
}
