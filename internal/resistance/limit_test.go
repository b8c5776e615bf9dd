package resistance_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"clogwise/internal/plant"
	"clogwise/internal/resistance"
)

func TestLimitFor(t *testing.T) {
	t.Parallel()
	const (
		en2019 = "EN 13053:2019, from memory; + 50 and + 100 Pa also in CCT 105:2023, table C16.5"
		en2006 = "EN 13053:2006+A1:2011, table 9, from memory"
		fine   = "ISO ePM1 60%"
	)
	us := plant.Site{Jurisdiction: "US"}
	rule := func(r plant.LimitRule) plant.Site { return plant.Site{LimitRule: r} }
	for _, c := range []struct {
		name  string
		site  plant.Site
		bank  plant.Bank
		item  plant.Item
		clean float64
		want  float64
		rule  string
		from  string
	}{
		{"fine, 40 Pa", plant.Site{}, plant.Bank{}, plant.Item{Class: fine}, 40, 120, "EN 13053:2019", en2019},
		{"fine, 60 Pa", plant.Site{}, plant.Bank{}, plant.Item{Class: fine}, 60, 160, "EN 13053:2019", en2019},
		{"coarse, 20 Pa", plant.Site{}, plant.Bank{}, plant.Item{Class: "G4"}, 20, 60, "EN 13053:2019", en2019},
		{"coarse, 40 Pa", plant.Site{}, plant.Bank{}, plant.Item{Class: "ISO coarse 60%"}, 40, 90, "EN 13053:2019", en2019},
		{"MERV 8 counts as coarse", plant.Site{}, plant.Bank{}, plant.Item{Class: "MERV 8"}, 40, 90, "EN 13053:2019", en2019},
		{"class from what the rooms require", plant.Site{}, plant.Bank{MinClass: "F7"}, plant.Item{}, 60, 160, "EN 13053:2019", en2019},
		{"class by stage, primary", plant.Site{}, plant.Bank{Stage: plant.Primary}, plant.Item{}, 60, 110, "EN 13053:2019", en2019},
		{"class by stage, secondary", plant.Site{}, plant.Bank{Stage: plant.Secondary}, plant.Item{}, 60, 160, "EN 13053:2019", en2019},
		{"table, G4", rule(plant.RuleEN13053y2006), plant.Bank{}, plant.Item{Class: "G4"}, 0, 150, "EN 13053:2006+A1", en2006},
		{"table, M5", rule(plant.RuleEN13053y2006), plant.Bank{}, plant.Item{Class: "M5"}, 0, 200, "EN 13053:2006+A1", en2006},
		{"table, F7", rule(plant.RuleEN13053y2006), plant.Bank{}, plant.Item{Class: "F7"}, 0, 200, "EN 13053:2006+A1", en2006},
		{"table, F8", rule(plant.RuleEN13053y2006), plant.Bank{}, plant.Item{Class: "F8"}, 0, 300, "EN 13053:2006+A1", en2006},
		{"table, ISO ePM1 65 % by guidance", rule(plant.RuleEN13053y2006), plant.Bank{}, plant.Item{Class: "ISO ePM1 65%"}, 0, 300, "EN 13053:2006+A1", en2006},
		{"table, ISO ePM1 60 % by guidance", rule(plant.RuleEN13053y2006), plant.Bank{}, plant.Item{Class: fine}, 0, 200, "EN 13053:2006+A1", en2006},
		{"table, no class, secondary", rule(plant.RuleEN13053y2006), plant.Bank{Stage: plant.Secondary}, plant.Item{}, 0, 200, "EN 13053:2006+A1", en2006},
		{"table, no class", rule(plant.RuleEN13053y2006), plant.Bank{Stage: plant.Primary}, plant.Item{}, 0, 150, "EN 13053:2006+A1", en2006},
		{"US habit", us, plant.Bank{}, plant.Item{Class: "MERV 8"}, 62.27, 124.54, "twice clean", "0.25 to 0.50 in wc for MERV 8 at 500 fpm, a published example"},
		{"twice initial", rule(plant.RuleTwiceClean), plant.Bank{}, plant.Item{}, 70, 140, "twice clean", "BOMA BEST field guide: about twice initial with variable-speed fans"},
		{"+ 50", rule(plant.RulePlus50), plant.Bank{}, plant.Item{}, 60, 110, "clean + 50 Pa", "CCT 105:2023, table C16.5: coarse"},
		{"+ 50, no clause of 3 ×", rule(plant.RulePlus50), plant.Bank{}, plant.Item{}, 20, 70, "clean + 50 Pa", "CCT 105:2023, table C16.5: coarse"},
		{"+ 100", rule(plant.RulePlus100), plant.Bank{}, plant.Item{}, 60, 160, "clean + 100 Pa", "CCT 105:2023, table C16.5: ePM"},
		{"+ 100, no clause of 3 ×", rule(plant.RulePlus100), plant.Bank{}, plant.Item{}, 40, 140, "clean + 100 Pa", "CCT 105:2023, table C16.5: ePM"},
		{"manufacturer's, item", us, plant.Bank{}, plant.Item{FinalPa: 450}, 60, 450, "manufacturer", "design"},
		{"manufacturer's, bank", us, plant.Bank{LimitPa: 250}, plant.Item{}, 0, 250, "manufacturer", "design"},
		{"never above the item's", plant.Site{}, plant.Bank{LimitPa: 500}, plant.Item{FinalPa: 450}, 60, 450, "manufacturer", "never above the manufacturer's"},
		{"bank below the item's", plant.Site{}, plant.Bank{LimitPa: 200}, plant.Item{FinalPa: 450}, 60, 200, "manufacturer", "the lower one governs"},
		{"bank's own rule below the manufacturer's", plant.Site{}, plant.Bank{Rule: plant.RulePlus100}, plant.Item{FinalPa: 450}, 60, 160, "clean + 100 Pa", "the lower one governs"},
		{"bank's own rule above the manufacturer's", plant.Site{}, plant.Bank{Rule: plant.RulePlus100}, plant.Item{FinalPa: 150}, 60, 150, "manufacturer", "never above the manufacturer's"},
		{"bank's own rule without a clean value", plant.Site{}, plant.Bank{Rule: plant.RulePlus100}, plant.Item{FinalPa: 450}, 0, 450, "manufacturer", "what is known governs"},
		{"bank's rule before the site's", rule(plant.RulePlus100), plant.Bank{Rule: plant.RulePlus50}, plant.Item{}, 60, 110, "clean + 50 Pa", "the closer one governs"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := resistance.LimitFor(c.site, c.bank, c.item, c.clean)
			if err != nil {
				t.Fatal(err)
			}
			within(t, "limit", got.Pa, c.want, 1e-9, c.from)
			if got.Rule != c.rule || got.Source == "" {
				t.Errorf("rule %q, source %q, want rule %q", got.Rule, got.Source, c.rule)
			}
		})
	}
	for name, c := range map[string]struct {
		site  plant.Site
		clean float64
	}{
		"nothing known": {plant.Site{}, 0}, "clean not a number": {plant.Site{}, math.NaN()}, "unknown rule": {rule("whim"), 60},
	} {
		if l, err := resistance.LimitFor(c.site, plant.Bank{}, plant.Item{}, c.clean); !errors.Is(err, resistance.ErrNoLimit) {
			t.Errorf("%s: %+v, %v, want ErrNoLimit", name, l, err)
		}
	}
}

func TestLimitProperties(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(17, 18))
	rules := []plant.LimitRule{"", plant.RuleEN13053y2019, plant.RuleEN13053y2006, plant.RuleTwiceClean, plant.RulePlus50, plant.RulePlus100}
	for range 500 {
		bank := plant.Bank{Rule: rules[rng.IntN(len(rules))], Stage: plant.Secondary}
		item := plant.Item{FinalPa: 100 + 400*rng.Float64()}
		clean := 10 + 150*rng.Float64()
		with, err := resistance.LimitFor(plant.Site{}, bank, item, clean)
		if err != nil || with.Pa > item.FinalPa {
			t.Fatalf("%v: %g Pa above the manufacturer's %g, %v", bank.Rule, with.Pa, item.FinalPa, err)
		}
		low, err := resistance.LimitFor(plant.Site{}, bank, plant.Item{}, clean)
		high, errHigh := resistance.LimitFor(plant.Site{}, bank, plant.Item{}, clean*1.1)
		if err != nil || errHigh != nil || high.Pa < low.Pa {
			t.Fatalf("%v: limit falls from %g to %g Pa as the clean value grows", bank.Rule, low.Pa, high.Pa)
		}
	}
}

func TestCaps(t *testing.T) {
	t.Parallel()
	const vdi = "VDI 6022 Part 1"
	opened := time.Date(2026, 1, 31, 8, 0, 0, 0, time.UTC)
	day := plant.Schedule{Hours: map[string]float64{"daily": 12}}.Runner(time.UTC)
	for _, c := range []struct {
		name   string
		bank   plant.Bank
		rule   plant.AgeRule
		due    time.Time
		source string
	}{
		{"none by default", plant.Bank{Stage: plant.Primary}, "", time.Time{}, "off unless chosen"},
		{"first stage", plant.Bank{Stage: plant.Primary}, plant.AgeVDI6022, opened.AddDate(1, 0, 0), vdi},
		{"later stage", plant.Bank{Stage: plant.Secondary}, plant.AgeVDI6022, opened.AddDate(2, 0, 0), vdi},
		{"prefilter", plant.Bank{Stage: plant.Primary}, plant.AgeCCT105, opened.AddDate(1, 0, 0), "CCT 105:2023, article C16"},
		{"main filter", plant.Bank{Stage: plant.Secondary}, plant.AgeCCT105, opened.AddDate(2, 0, 0), "CCT 105:2023, article C16"},
		{"later stage, hours", plant.Bank{Stage: plant.Secondary}, plant.AgeEN13779, day.After(opened, 4000), "EN 13779:2007 annex, from memory"},
		{"hours before a year", plant.Bank{Stage: plant.Primary}, plant.AgeEN13779, day.After(opened, 2000), "EN 13779:2007 annex, from memory"},
		{"the bank's own", plant.Bank{Stage: plant.Primary, MaxMonths: 6}, plant.AgeVDI6022, opened.AddDate(0, 6, 0), "the register"},
		{"a month from the end of January", plant.Bank{MaxMonths: 1}, "", time.Date(2026, 2, 28, 8, 0, 0, 0, time.UTC), "the calendar"},
		{"half a month", plant.Bank{MaxMonths: 0.5}, "", opened.Add(time.Duration(0.5 * 30.4375 * 24 * float64(time.Hour))), "365.25/12 days"},
		{"the bank's hours", plant.Bank{MaxHours: 120}, "", opened.AddDate(0, 0, 10), "12 hours a day"},
		{"whichever comes first", plant.Bank{MaxMonths: 1, MaxHours: 120}, "", opened.AddDate(0, 0, 10), "the earlier one"},
	} {
		t.Run(c.name, func(t *testing.T) {
			caps := resistance.CapsFor(plant.Site{AgeRule: c.rule}, c.bank)
			due := caps.Due(opened, day)
			if diff := due.Sub(c.due); diff < -time.Second || diff > time.Second {
				t.Errorf("due %v, want %v (%s)", due, c.due, c.source)
			}
			if due.IsZero() != (caps.Rule == "") {
				t.Errorf("rule %q for %v", caps.Rule, due)
			}
		})
	}
}
