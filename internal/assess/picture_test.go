package assess_test

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
)

// cappedBank is oneBank with a cap on age.
func cappedBank(months float64, gauge bool) *plant.Register {
	c := oneBank("").Contents()
	b := c.Banks[axisBank]
	b.MaxMonths, b.Gauge.Absent = months, !gauge
	c.Banks[axisBank] = b
	return plant.NewRegister(c)
}

// dated is a date with its range behind it.
var dated = regexp.MustCompile(` about \d+ [A-Z][a-z]+( \d{4})? \(.+–.+\)$`)

// The picture's message names what governs, and the year where it is not this one.
func TestPictureTitle(t *testing.T) {
	t.Parallel()
	slow := func(rise float64) *history {
		h := (&history{}).at(0, entry.Swap{Sure: true})
		for d := 7; d <= 70; d += 7 {
			h.at(d, entry.Reading{Pa: 60 + rise*float64(d)/70})
		}
		return h
	}
	cases := []struct {
		name string
		reg  *plant.Register
		h    *history
		day  int
		want []string
		not  string
	}{
		{"this year", cappedBank(0, true), slow(72), 71, []string{"reaches 200 Pa about", " Jun"}, "2026"},
		{"another year", cappedBank(0, true), slow(2).at(140, entry.Reading{Pa: 63}).at(210, entry.Reading{Pa: 64}), 211, []string{"reaches 200 Pa about", "202"}, "age cap"},
		{"the cap comes first", cappedBank(6, true), slow(10), 71, []string{"its age cap (6 months) comes first, 1 Sep"}, "reaches"},
		{"past the cap", cappedBank(2, true), slow(10), 71, []string{"past its age cap (2 months) since 1 May"}, "200 Pa"},
		{"no gauge", cappedBank(12, false), slow(0), 71, []string{"its age cap (12 months) is 1 Mar 2027"}, "200 Pa"},
		{"change-out in doubt", cappedBank(0, true), slow(72).at(71, entry.Swap{}).at(72, entry.Reading{Pa: 134}), 73, []string{"change-out of 11 May in doubt"}, "reaches"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			in := assess.Input{Register: c.reg, Bank: axisBank, Entries: c.h.entries, Prior: forecast.ClassPrior("secondary"), Now: began.AddDate(0, 0, c.day).Add(12 * time.Hour)}
			p, ok := assess.Picture(in)
			if !ok {
				t.Fatal("no picture")
			}
			if strings.Contains(p.Title, "reaches") && !dated.MatchString(p.Title) {
				t.Errorf("title %q: a date without its range", p.Title)
			}
			for _, w := range c.want {
				if !strings.Contains(p.Title, w) {
					t.Errorf("title %q lacks %q", p.Title, w)
				}
			}
			if c.not != "" && strings.Contains(p.Title, c.not) {
				t.Errorf("title %q has %q", p.Title, c.not)
			}
			if capped := strings.Contains(p.Title, "age cap"); capped && p.Reach != nil {
				t.Error("a mark on the limit line, though the cap comes first")
			}
		})
	}
}

// The picture speaks the language of the site: title, labels, months, decimals.
func TestPictureSpeaksTheLanguageOfTheSite(t *testing.T) {
	t.Parallel()
	for tag, want := range map[string][3]string{
		"de": {"die Altersgrenze (6 Monate) kommt zuerst, 1. Sep", "Enddruckdifferenz", "Mär"},
		"es": {"antes llega su límite de edad (6 meses), el 1 sep", "límite", "mar"},
	} {
		c := cappedBank(6, true).Contents()
		for i := range c.Sites {
			c.Sites[i].Language = tag
		}
		h := (&history{}).at(0, entry.Swap{Sure: true}).at(35, entry.Reading{Pa: 65}).at(70, entry.Reading{Pa: 70})
		in := assess.Input{Register: plant.NewRegister(c), Bank: axisBank, Entries: h.entries, Prior: forecast.ClassPrior("secondary"), Now: began.AddDate(0, 0, 71)}
		p, ok := assess.Picture(in)
		if !ok {
			t.Fatal("no picture")
		}
		if !strings.Contains(p.Title, want[0]) || p.Words.Limit != want[1] || p.Words.Months[2] != want[2] || p.Words.Decimal != "," {
			t.Errorf("%s: title %q, words %+v", tag, p.Title, p.Words)
		}
	}
}
