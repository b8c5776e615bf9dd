package assess_test

import (
	"slices"
	"strings"
	"testing"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
)

// history is a bank's entries in the making, a day to a step.
type history struct {
	entries []entry.Entry
}

func (h *history) at(day int, body entry.Body) *history {
	h.entries = append(h.entries, entry.Entry{Seq: int64(len(h.entries) + 1), Kind: body.Kind(), Place: axisBank, At: began.AddDate(0, 0, day), Body: body})
	return h
}

// loaded is a life of ten weeks whose readings rise from 60 to 132 Pa.
func loaded() *history {
	h := (&history{}).at(0, entry.Swap{Sure: true})
	for d := 7; d <= 70; d += 7 {
		h.at(d, entry.Reading{Pa: 60 + 72*float64(d)/70})
	}
	return h
}

func (h *history) assess(day int) assess.Assessment {
	return assess.Bank(assess.Input{Register: oneBank(""), Bank: axisBank, Entries: slices.Clone(h.entries),
		Prior: forecast.ClassPrior("secondary"), Now: began.AddDate(0, 0, day)})
}

// "Bags changed yesterday", and the readings after it are as high as before:
// nothing doubtful moves the forecast, and nothing that was reported is lost.
func TestChangeOutInDoubtLeavesTheForecast(t *testing.T) {
	t.Parallel()
	without := loaded().at(72, entry.Reading{Pa: 134}).assess(73)
	h := loaded().at(71, entry.Swap{}).at(72, entry.Reading{Pa: 134})
	a := h.assess(73)
	if !a.Dates.Median.Equal(without.Dates.Median) || !a.Dates.P10.Equal(without.Dates.P10) || a.NowPa != without.NowPa {
		t.Errorf("in doubt: %v, %.0f Pa; without the change-out %v, %.0f Pa", a.Dates.Median, a.NowPa, without.Dates.Median, without.NowPa)
	}
	if a.Condition != "doubtful" || a.DoubtedSwap == nil || a.DoubtedSwap.Seq != 12 || !a.LifeStart.Equal(began) {
		t.Errorf("%s, doubted %+v, life from %v", a.Condition, a.DoubtedSwap, a.LifeStart)
	}
	if len(a.Findings) != 1 || !strings.Contains(a.Findings[0].Check, "confirm 12") || !strings.Contains(a.Findings[0].Check, "undo 12") {
		t.Errorf("findings %+v do not say what to type", a.Findings)
	}
	if a.LifeSeq != 0 {
		t.Error("to be carried on, though the life before may be needed")
	}
}

func TestChangeOutInDoubtIsSettled(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name  string
		then  func(*history)
		start int // day of the present life's start
	}{
		{"still high", func(h *history) { h.at(79, entry.Reading{Pa: 137}) }, 0},
		{"confirmed", func(h *history) { h.at(73, entry.Amend{Target: 12, Body: entry.Swap{Sure: true}}) }, 71},
		{"withdrawn", func(h *history) { h.at(73, entry.Retract{Target: 12}) }, 0},
		{"fell after all", func(h *history) { h.at(79, entry.Reading{Pa: 62}).at(86, entry.Reading{Pa: 65}) }, 71},
		{"a tube was off", func(h *history) {
			h.at(74, entry.Defect{Note: "tube refitted", Fixed: true}).at(75, entry.Reading{Pa: 61})
		}, 71},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			h := loaded().at(71, entry.Swap{}).at(72, entry.Reading{Pa: 134})
			c.then(h)
			a := h.assess(87)
			if want := began.AddDate(0, 0, c.start); !a.LifeStart.Equal(want) {
				t.Errorf("life from %v, want %v", a.LifeStart, want)
			}
			if doubted := a.DoubtedSwap != nil; doubted != (c.name == "still high") {
				t.Errorf("in doubt: %t", doubted)
			}
		})
	}
}

// A change-out that nobody confirmed parts no lives afterwards either: else
// priors would learn from a life that began dirty.
func TestChangeOutInDoubtPartsNoFinishedLives(t *testing.T) {
	t.Parallel()
	h := loaded().at(71, entry.Swap{}).at(72, entry.Reading{Pa: 134}).at(80, entry.Reading{Pa: 140}).at(90, entry.Swap{}).at(92, entry.Reading{Pa: 60})
	a := h.assess(93)
	if len(a.Lives) != 1 || len(a.Lives[0].Obs) != 12 {
		t.Errorf("finished lives %+v, want the one with all twelve readings", a.Lives)
	}
	if past := assess.PastOf(assess.Input{Register: oneBank(""), Bank: axisBank, Entries: h.entries, Now: began.AddDate(0, 0, 93)}); len(past.Lives) != 1 {
		t.Errorf("past %+v", past)
	}
}

// Carried on, a change-out that comes into doubt needs the life before it.
func TestCarriedChangeOutThatComesIntoDoubt(t *testing.T) {
	t.Parallel()
	h := loaded().at(71, entry.Swap{})
	before := h.assess(71)
	if before.LifeSeq == 0 {
		t.Fatal("nothing to carry")
	}
	h.at(72, entry.Reading{Pa: 134})
	in := assess.Input{Register: oneBank(""), Bank: axisBank, Entries: h.entries[before.LifeSeq-1:], Prior: forecast.ClassPrior("secondary"),
		Now: began.AddDate(0, 0, 73), Carried: &before}
	if _, ok := assess.Next(in); ok {
		t.Error("assessed without the life before")
	}
	in.Entries[len(in.Entries)-1].Body = entry.Reading{Pa: 62}
	if _, ok := assess.Next(in); !ok {
		t.Error("a change-out in no doubt is not carried on")
	}
}

// What is doubted, and what to type about it, are in the language of the site, and so
// is what is typed.
func TestDoubtInTheLanguageOfTheSite(t *testing.T) {
	t.Parallel()
	english := loaded().at(71, entry.Swap{}).at(72, entry.Reading{Pa: 134})
	for tag, want := range map[string][2]string{
		"de": {"Gewechselt am ", "Wenn gewechselt, eingeben: bestätigen 12. Wenn nicht: rückgängig 12."},
		"es": {"Cambiado el ", "Si se cambiaron, escribe: confirmar 12. Si no: deshacer 12."},
	} {
		contents := oneBank("").Contents()
		contents.Sites[0].Language = tag
		a := assess.Bank(assess.Input{Register: plant.NewRegister(contents), Bank: axisBank, Entries: slices.Clone(english.entries),
			Prior: forecast.ClassPrior("secondary"), Now: began.AddDate(0, 0, 73)})
		if len(a.Findings) != 1 || !strings.HasPrefix(a.Findings[0].Text, want[0]) || a.Findings[0].Check != want[1] {
			t.Errorf("%s: %+v", tag, a.Findings)
		}
	}
}
