package safework_test

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"clogwise/configs"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
	"clogwise/internal/safework"
)

var (
	moments       = []safework.When{safework.DayBefore, safework.BeforeStart, safework.During, safework.After}
	jurisdictions = []string{"US", "UK", "EU", "other"}
	specialist    = []plant.Condition{plant.HazExhaust, plant.Atex, plant.Grease}
)

func catalogue(t *testing.T) safework.Catalogue {
	t.Helper()
	c, err := safework.Load(configs.SafeWorkSteps)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// answered is an AHU with these conditions and none of the others.
func answered(has ...plant.Condition) plant.AHU {
	a := plant.AHU{Tag: "AHU-3", Conditions: has}
	for _, c := range plant.Conditions {
		if !slices.Contains(has, c) {
			a.NotPresent = append(a.NotPresent, c)
		}
	}
	return a
}

// The steps that each condition adds, read off the data file by hand.
func TestEachConditionAddsItsSteps(t *testing.T) {
	t.Parallel()
	c := catalogue(t)
	adds := map[plant.Condition][]string{
		plant.Asbestos: {"D06", "U08"}, plant.Healthcare: {"D04", "A06"}, plant.Confined: {"D07", "B14"},
		plant.Roof: {"D08", "B04"}, plant.Ladder: {"B03"}, plant.UVC: {"B10", "U08"}, plant.VFD: {"B08"},
		plant.ElecHeat: {"B09"}, plant.GasHeat: {"B09"}, plant.Belt: {"B13"}, plant.PressDoor: {"B16"},
		plant.Wet: {"U03"}, plant.Droppings: {"U03"},
	}
	plain := allIDs(c, answered())
	for _, cond := range plant.Conditions {
		if slices.Contains(specialist, cond) {
			continue
		}
		var extra []string
		for _, id := range allIDs(c, answered(cond)) {
			if !slices.Contains(plain, id) {
				extra = append(extra, id)
			}
		}
		if !slices.Equal(extra, adds[cond]) {
			t.Errorf("%s adds %v, want %v", cond, extra, adds[cond])
		}
	}
}

func allIDs(c safework.Catalogue, a plant.AHU) []string {
	var out []string
	for _, w := range moments {
		out = append(out, c.List(a, "UK", w).IDs()...)
	}
	return out
}

// What every plant gets, whatever its conditions.
func TestPlainPlantGetsTheCommonSteps(t *testing.T) {
	t.Parallel()
	want := strings.Fields("D01 D02 D03 D10 D11 B01 B02 B05 B06 B07 B11 B12 B15 U01 U02 U04 U05 U06 U07 A01 A02 A03 A04 A05 A07")
	if got := allIDs(catalogue(t), answered()); !slices.Equal(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
}

// Plant for specialists only: a stop line and not one crew step, with whatever
// else is true of the plant: all 2^16 combinations, the moments in turn.
func TestSpecialistPlantGetsNoStepInAnyCombination(t *testing.T) {
	t.Parallel()
	c := catalogue(t)
	stops := map[plant.Condition]string{plant.HazExhaust: "D05", plant.Atex: "D09", plant.Grease: "D09"}
	for set := range 1 << len(plant.Conditions) {
		var has []plant.Condition
		for i, cond := range plant.Conditions {
			if set>>i&1 == 1 {
				has = append(has, cond)
			}
		}
		var want []string
		for _, cond := range specialist {
			if slices.Contains(has, cond) && !slices.Contains(want, stops[cond]) {
				want = append(want, stops[cond])
			}
		}
		a := plant.AHU{Tag: "AHU-3", Conditions: has}
		w := moments[set/8%len(moments)]
		l := c.List(a, "EU", w)
		if l.Stop != (len(want) > 0) {
			t.Fatalf("%v, %s: stop is %v", has, w, l.Stop)
		}
		if l.Stop && !slices.Equal(l.IDs(), want) {
			t.Fatalf("%v, %s: %v, want only %v", has, w, l.IDs(), want)
		}
	}
}

func TestStopTextHasNoStepNumbersAndCallsTheSupervisor(t *testing.T) {
	t.Parallel()
	c := catalogue(t)
	for _, cond := range specialist {
		for _, w := range moments {
			text := c.List(answered(cond, plant.Roof), "US", w).Text(locale.Locale{})
			if strings.Contains(text, "1. ") || !strings.Contains(text, "STOP") || !strings.Contains(text, "Call the supervisor.") ||
				!strings.Contains(text, "no crew list") {
				t.Errorf("%s, %s:\n%s", cond, w, text)
			}
		}
	}
}

// A condition that nobody has answered is asked about at every moment, by words
// of its own; one that was answered either way is not.
func TestUnansweredConditionsAreAsked(t *testing.T) {
	t.Parallel()
	c := catalogue(t)
	words := map[plant.Condition]string{
		plant.HazExhaust: "hazardous exhaust", plant.Atex: "explosive-atmosphere zone or", plant.Grease: "grease-laden air",
		plant.Asbestos: "asbestos in rope", plant.Healthcare: "patient area", plant.Confined: "confined or awkward", plant.Roof: "work on a roof",
		plant.Ladder: "a ladder to climb", plant.UVC: "UV lamp inside", plant.VFD: "variable-speed", plant.ElecHeat: "electric heater",
		plant.GasHeat: "gas burner", plant.Belt: "belt drive", plant.PressDoor: "door under pressure", plant.Wet: "wet or mouldy filter",
		plant.Droppings: "bird or rodent droppings",
	}
	for _, w := range moments {
		open := c.List(plant.AHU{Tag: "AHU-3"}, "UK", w).Text(locale.Locale{})
		for _, cond := range plant.Conditions {
			if words[cond] == "" || !strings.Contains(open, words[cond]) {
				t.Errorf("%s: %s is not asked about:\n%s", w, cond, open)
			}
		}
		if i, j := strings.Index(open, "First ask"), strings.Index(open, "1. "); i < 0 || i > j {
			t.Errorf("%s: what would stop the job is not asked first:\n%s", w, open)
		}
		if settled := c.List(answered(plant.Roof), "UK", w).Text(locale.Locale{}); strings.Contains(settled, "?") {
			t.Errorf("%s: asks what was answered:\n%s", w, settled)
		}
	}
}

var claim = regexp.MustCompile(`(?i)\bisolated\b|safe to start|is safe|safe to (work|open|enter)`)

// Every list carries every caution and claims nothing about the plant.
func TestEveryListCautionsAndClaimsNothing(t *testing.T) {
	t.Parallel()
	c := catalogue(t)
	ahus := []plant.AHU{{Tag: "AHU-3"}, answered(), {Tag: "AHU-4", Conditions: plant.Conditions[:]}, {Tag: "AHU-5", Conditions: plant.Conditions[3:]}}
	for _, cond := range plant.Conditions {
		ahus = append(ahus, answered(cond))
	}
	for _, a := range ahus {
		for _, j := range jurisdictions {
			for _, w := range moments {
				text := c.List(a, j, w).Text(locale.Locale{})
				for _, caution := range safework.Cautions(locale.Locale{}) {
					if !strings.Contains(text, "! "+caution) {
						t.Errorf("%v %s %s lacks %q", a.Conditions, j, w, caution)
					}
				}
				if bad := claim.FindString(text); bad != "" {
					t.Errorf("%v %s %s says %q", a.Conditions, j, w, bad)
				}
			}
		}
	}
}

func TestEveryStepIsShortAndSourcedEverywhere(t *testing.T) {
	t.Parallel()
	c := catalogue(t)
	seen := map[string]bool{}
	for _, a := range []plant.AHU{{Tag: "AHU-3", Conditions: plant.Conditions[3:]}, answered(plant.HazExhaust, plant.Atex)} {
		for _, w := range moments {
			for _, s := range c.List(a, "UK", w).Steps {
				seen[s.ID] = true
				if n := len([]rune(s.Text)); n >= 120 {
					t.Errorf("%s has %d characters", s.ID, n)
				}
				for _, j := range jurisdictions {
					if c.Source(s, j) == "" {
						t.Errorf("%s has no source for %s", s.ID, j)
					}
				}
			}
		}
	}
	if len(seen) != 42 {
		t.Errorf("%d steps looked at, the file has 42", len(seen))
	}
}

// Sources by jurisdiction, as the regulations are published.
func TestSourcesFollowTheJurisdiction(t *testing.T) {
	t.Parallel()
	c := catalogue(t)
	for _, tc := range []struct{ step, jurisdiction, want string }{
		{"D01", "US", "29 CFR 1910.147 (c)(4), (c)(7)"},
		{"D01", "UK", "PUWER r8-9; HTM 03-01 Pt B roles"},
		{"D01", "EU", "29 CFR 1910.147 (c)(4), (c)(7) (US); PUWER r8-9 (UK); HTM 03-01 Pt B roles (UK)"},
		{"D06", "other", "SafeWork SA alert 2018"},
		{"D09", "EU", "1999/92/EC"},
		{"A02", "US", "29 CFR 1910.147 (e)(2)(i), (e)(3)"},
		{"A02", "UK", "29 CFR 1910.147 (e)(2)(i), (e)(3) (US)"},
		{"B06", "UK", "PUWER r19; EN 60204-1 cl. 5"},
		{"B06", "EU", "EN 60204-1 cl. 5"},
		{"B11", "UK", "PUWER r11; ISO 14118"},
		{"A03", "US", "29 CFR 1910.147 (e)(2)(ii); common practice"},
		{"D11", "US", "40 CFR 262.11"},
	} {
		t.Run(tc.step+" "+tc.jurisdiction, func(t *testing.T) {
			t.Parallel()
			for _, a := range []plant.AHU{answered(plant.Asbestos), answered(plant.Atex)} {
				for _, w := range moments {
					for _, s := range c.List(a, tc.jurisdiction, w).Steps {
						if s.ID == tc.step {
							if got := c.Source(s, tc.jurisdiction); got != tc.want {
								t.Errorf("got  %s\nwant %s", got, tc.want)
							}
							return
						}
					}
				}
			}
			t.Fatal("step not found")
		})
	}
}

func TestListNamesTheDocumentsBehindIt(t *testing.T) {
	t.Parallel()
	c := catalogue(t)
	for _, tc := range []struct{ jurisdiction, want string }{
		{"US", "Sources, US: 29 CFR 1910.147, NFPA 72, NFPA 90A, 29 CFR 1910.134, common practice, ISO 16890; other steps after EU rules."},
		{"UK", "Sources, UK: PUWER, WM3, COSHH, common practice, ISO 16890; other steps after US, EU rules."},
		{"atlantis", "Sources, general: common practice, ISO 16890; other steps after US, UK, EU rules."},
	} {
		text := c.List(answered(), tc.jurisdiction, safework.After).Text(locale.Locale{})
		if got := text[strings.LastIndex(text, "\n")+1:]; got != tc.want {
			t.Errorf("%s:\ngot  %s\nwant %s", tc.jurisdiction, got, tc.want)
		}
	}
}

// A program without its data does not hand out an empty list as if all were said.
func TestZeroCatalogueSaysSo(t *testing.T) {
	t.Parallel()
	text := safework.Catalogue{}.List(answered(), "UK", safework.BeforeStart).Text(locale.Locale{})
	if !strings.Contains(text, "No steps are on file. Do not start") {
		t.Error(text)
	}
	if l := (safework.Catalogue{}).List(answered(plant.Grease), "UK", safework.BeforeStart); !l.Stop {
		t.Error("grease-laden plant is not stopped without data")
	}
}

func TestLoadRefusesFaults(t *testing.T) {
	t.Parallel()
	good := string(configs.SafeWorkSteps)
	d01 := `{"id": "D01", "when": "day-before", "tags": ["all"], "kind": "do", "text": "Check permit`
	swap := func(old, new string) string {
		if !strings.Contains(good, old) {
			panic("the data file no longer has " + old)
		}
		return strings.Replace(good, old, new, 1)
	}
	for _, tc := range []struct{ name, raw, want string }{
		{"nothing", ``, "EOF"},
		{"no JSON", `steps`, "invalid character"},
		{"another shape", `[]`, "cannot unmarshal"},
		{"cut off", good[:len(good)/2], "EOF"},
		{"more after the end", good + `{}`, "after the end"},
		{"unknown field", swap(`"kind": "do"`, `"kinds": "do"`), "unknown field"},
		{"empty lists", `{"documents":[],"steps":[]}`, "no step for all plant"},
		{"document without title", swap(`"title": "Ladders (OSHA)"`, `"title": ""`), "title missing"},
		{"document for nowhere", swap(`"for": ["other"]`, `"for": []`), "for nowhere"},
		{"document for no jurisdiction", swap(`"for": ["other"]`, `"for": ["MARS"]`), `"MARS" is no jurisdiction`},
		{"document twice", swap(`"id": "COSHH"`, `"id": "PUWER"`), "PUWER stands twice"},
		{"step without id", swap(`"id": "D01"`, `"id": ""`), "no id"},
		{"step twice", swap(`"id": "D02"`, `"id": "D01"`), "D01 stands twice"},
		{"no such moment", swap(`"when": "day-before"`, `"when": "someday"`), "no moment"},
		{"no such kind", swap(`"kind": "do"`, `"kind": "maybe"`), "neither do, ask nor stop"},
		{"no tags", swap(`"tags": ["all"]`, `"tags": []`), "no tags"},
		{"unknown tag", swap(`"tags": ["ladder"]`, `"tags": ["laddr"]`), "no condition of plant"},
		{"tag twice", swap(`"tags": ["ladder"]`, `"tags": ["ladder", "ladder"]`), "stands twice"},
		{"for all and some", swap(`"tags": ["ladder"]`, `"tags": ["all", "ladder"]`), "all plant and for some"},
		{"specialist and other plant", swap(`"tags": ["hazexhaust"]`, `"tags": ["hazexhaust", "roof"]`), "specialist-only"},
		{"step for specialist plant", swap(`"tags": ["hazexhaust"], "kind": "stop"`, `"tags": ["hazexhaust"], "kind": "do"`), "gets a stop line"},
		{"no text", swap(d01, `{"id": "D01", "when": "day-before", "tags": ["all"], "kind": "do", "sources": ["PUWER"], "text": ""}, `+strings.Replace(d01, "D01", "D99", 1)), "text of 0"},
		{"long text", swap(d01, d01+strings.Repeat(" again", 20)), "characters, not 1 to 119"},
		{"text of two lines", swap(d01, d01+`\nand`), "one plain line"},
		{"text with a space before", swap(d01, strings.Replace(d01, "Check", " Check", 1)), "one plain line"},
		{"text that claims", swap(d01, strings.Replace(d01, "Check", "Now isolated; check", 1)), `says "isolated"`},
		{"text that calls it safe", swap(d01, strings.Replace(d01, "Check", "Safe to start; check", 1)), `says "safe to"`},
		{"no source", swap(`"sources": ["BioStoffV", "NIOSH 2005-109", "common practice"]`, `"sources": []`), "no source"},
		{"source of no document", swap(`"BioStoffV", "NIOSH`, `"hearsay", "NIOSH`), `"hearsay" begins with no document`},
		{"source that only looks like one", swap(`"BioStoffV", "NIOSH`, `"PUWERX r9", "NIOSH`), "begins with no document"},
		{"a moment without steps", strings.ReplaceAll(good, `"when": "after", "tags": ["all"]`, `"when": "after", "tags": ["roof"]`), "no step for all plant when you finish"},
		{"a condition without steps", strings.ReplaceAll(good, `"tags": ["vfd"]`, `"tags": ["roof"]`), "no step for vfd"},
		{"no stop line", swap(`"tags": ["hazexhaust"]`, `"tags": ["atex"]`), "no step for hazexhaust"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			c, err := safework.Load([]byte(tc.raw))
			if err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Fatalf("error %v, want one with %q", err, tc.want)
			}
			if l := c.List(answered(), "UK", safework.DayBefore); len(l.Steps) != 0 {
				t.Error("a faulty file left steps behind")
			}
		})
	}
}

func ExampleList_Text() {
	c, err := safework.Load(configs.SafeWorkSteps)
	if err != nil {
		panic(err)
	}
	grease := plant.AHU{Tag: "EF-9", Conditions: []plant.Condition{plant.Grease}}
	fmt.Println(c.List(grease, "UK", safework.BeforeStart).Text(locale.Locale{}))
	// Output:
	// EF-9: no crew list is given for this plant.
	// STOP. Explosive-atmosphere or grease-laden plant: only under its owner's own permit and method.
	// Do not open it. Call the supervisor.
	// ! A reminder only: no permit, no procedure, no training.
	// ! Local law, the site's permit system and its written isolation procedure come first.
	// ! Only authorised and competent people, licensed where that is required, isolate, enter or prove dead.
	// ! If the plant differs from what you expected, stop and call the supervisor.
	// Sources, UK: DSEAR 2002.
}
