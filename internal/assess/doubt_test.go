package assess_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/assess"
	"clogwise/internal/demo"
	"clogwise/internal/doubt"
	"clogwise/internal/duelist"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
)

// numbered gives entries their places in the ledger.
func numbered(entries []entry.Entry) []entry.Entry {
	for i := range entries {
		entries[i].Seq = int64(i + 1)
	}
	return entries
}

// split finds the entries that bear on a bank, and those of the banks beside it.
func split(entries []entry.Entry, id plant.BankID) (own, beside []entry.Entry) {
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

// shown assesses every bank of the demo as the program does: fleet priors by
// stage, learnt from what the banks' lives gave.
func shown(now time.Time, seed uint64) map[plant.BankID]assess.Assessment {
	c := demo.Portfolio()
	reg := plant.NewRegister(c)
	entries := numbered(demo.History(c, now, seed))
	all := func(priors map[plant.Stage]forecast.Prior) map[plant.BankID]assess.Assessment {
		out := map[plant.BankID]assess.Assessment{}
		for _, b := range reg.Banks("") {
			bank, _ := reg.Bank(b)
			prior, ok := priors[bank.Stage]
			if !ok {
				prior = forecast.ClassPrior(string(bank.Stage))
			}
			own, beside := split(entries, b)
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

// moments at which the demo is looked at: an ordinary day, a Sunday at night, the
// hour after the clocks changed, New Year.
var moments = []time.Time{
	time.Date(2026, 11, 25, 14, 30, 0, 0, time.UTC),
	time.Date(2026, 7, 5, 3, 0, 0, 0, time.UTC),
	time.Date(2026, 3, 29, 1, 0, 0, 0, time.UTC),
	time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC),
}

// Banks whose readings the demo says do not fit (package demo), and what is to be
// made of them.
var promised = map[plant.BankID]struct {
	code      doubt.Code
	open      bool
	condition duelist.Condition
}{
	"hall/ahu-2/secondary":   {doubt.Fall, true, duelist.Doubtful},
	"hall/ahu-3/primary":     {doubt.Spike, false, duelist.Loading},
	"works/ahu-11/secondary": {doubt.Stuck, false, duelist.Loading},
}

func TestDemoShowsTheDoubtsItPromises(t *testing.T) {
	t.Parallel()
	for i, now := range moments {
		seed := uint64(i + 1)
		t.Run(fmt.Sprintf("%s seed %d", now.Format(time.DateOnly), seed), func(t *testing.T) {
			t.Parallel()
			for id, a := range shown(now, seed) {
				want, odd := promised[id]
				if !odd {
					for _, f := range a.Findings {
						t.Errorf("%s is quiet: %s %s", id, f.Code, f.Text)
					}
					continue
				}
				if len(a.Findings) != 1 {
					t.Errorf("%s: %+v, want one finding", id, a.Findings)
					continue
				}
				f := a.Findings[0]
				if f.Code != string(want.code) || f.Open != want.open || f.Blocks != want.open || a.Condition != want.condition {
					t.Errorf("%s is %s: %+v", id, a.Condition, f)
				}
				if f.Seq == 0 || f.Text == "" || f.Check == "" || f.Evidence["readings"] < 1 {
					t.Errorf("%s: %+v", id, f)
				}
			}
		})
	}
}

// What the torn filter shows must not put its date off: the forecast stands on
// the readings before.
func TestTornFilterDoesNotExtendTheLife(t *testing.T) {
	t.Parallel()
	now := moments[0]
	reg, own := bankOf("hall/ahu-2/secondary", now, 1)
	in := assess.Input{Register: reg, Bank: "hall/ahu-2/secondary", Entries: own, Prior: forecast.ClassPrior("secondary"), Now: now}
	torn := assess.Bank(in)
	in.Entries = nil
	for _, x := range own {
		if _, reading := x.Body.(entry.Reading); !reading || x.At.Before(torn.Findings[0].At) {
			in.Entries = append(in.Entries, x)
		}
	}
	whole := assess.Bank(in)
	if torn.NowPa != whole.NowPa || !torn.Dates.Median.Equal(whole.Dates.Median) || torn.Readings != whole.Readings {
		t.Errorf("with the torn readings %.1f Pa, %v; without %.1f Pa, %v", torn.NowPa, torn.Dates.Median, whole.NowPa, whole.Dates.Median)
	}
	if !torn.Last.Doubtful {
		t.Error("the last reading is not marked doubtful")
	}
}

// A change-out, or word that the fault is put right, settles it.
func TestTornFilterIsSettled(t *testing.T) {
	t.Parallel()
	now := moments[0]
	const id = plant.BankID("hall/ahu-2/secondary")
	reg, own := bankOf(id, now, 1)
	for name, body := range map[string]entry.Body{
		"changed": entry.Swap{Confirmed: true},
		"fixed":   entry.Defect{Note: "bag refitted", Fixed: true},
	} {
		x := entry.Entry{Seq: 1 << 40, Source: "test", Kind: body.Kind(), Place: id, At: now.Add(-time.Minute), Received: now, Body: body}
		a := assess.Bank(assess.Input{Register: reg, Bank: id, Entries: append(slices.Clone(own), x), Prior: forecast.ClassPrior("secondary"), Now: now})
		for _, f := range a.Findings {
			if f.Open {
				t.Errorf("%s: still open: %s", name, f.Text)
			}
		}
		if a.Condition == duelist.Doubtful {
			t.Errorf("%s: still doubtful", name)
		}
	}
}

// Taking up from the last assessment gives the findings of a whole new one.
func TestDoubtsAreTheSameWhenCarriedOn(t *testing.T) {
	t.Parallel()
	now := moments[0]
	for id := range promised {
		reg, own := bankOf(id, now, 1)
		in := assess.Input{Register: reg, Bank: id, Entries: own, Prior: forecast.ClassPrior("secondary"), Now: now}
		whole := assess.Bank(in)
		in.Entries = slices.DeleteFunc(slices.Clone(own), func(x entry.Entry) bool { return x.Seq < whole.LifeSeq })
		in.Carried = &whole
		next, ok := assess.Next(in)
		if diff := cmp.Diff(whole.Findings, next.Findings); !ok || diff != "" {
			t.Errorf("%s: %t %s", id, ok, diff)
		}
	}
}

// bankOf is the demo's register, and the entries that bear on one bank.
func bankOf(id plant.BankID, now time.Time, seed uint64) (*plant.Register, []entry.Entry) {
	c := demo.Portfolio()
	own, _ := split(numbered(demo.History(c, now, seed)), id)
	return plant.NewRegister(c), own
}
