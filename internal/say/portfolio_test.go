package say_test

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/demo"
	"clogwise/internal/digest"
	"clogwise/internal/duelist"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// portfolio is the demo in one language, with every bank assessed by fleet priors of
// its stage, as the program does.
type portfolio struct {
	reg      *plant.Register
	inputs   map[plant.BankID]assess.Input
	assessed map[plant.BankID]assess.Assessment
}

func shown(language string, now time.Time) portfolio {
	c := demo.Portfolio()
	for i := range c.Sites {
		c.Sites[i].Language = language
	}
	entries := demo.History(demo.Portfolio(), now, 1)
	for i := range entries {
		entries[i].Seq = int64(i + 1)
	}
	p := portfolio{reg: plant.NewRegister(c)}
	lives, priors := map[plant.Stage][]forecast.FinishedLife{}, map[plant.Stage]forecast.Prior{}
	for _, fleet := range []bool{false, true} {
		for stage, of := range lives {
			priors[stage] = forecast.Learn(forecast.ClassPrior(string(stage)), of)
		}
		p.inputs, p.assessed = map[plant.BankID]assess.Input{}, map[plant.BankID]assess.Assessment{}
		for _, id := range p.reg.Banks("") {
			bank, _ := p.reg.Bank(id)
			in := assess.Input{Register: p.reg, Bank: id, Prior: forecast.ClassPrior(string(bank.Stage)), Now: now}
			if fleet {
				in.Prior = priors[bank.Stage]
			}
			var beside []entry.Entry
			for _, x := range entries {
				switch {
				case x.Place == id, x.Place == id.AHU(), string(x.Place) == id.Site():
					in.Entries = append(in.Entries, x)
				case x.Place.AHU() == id.AHU():
					beside = append(beside, x)
				}
			}
			in.Beside = assess.Beside(p.reg, id, beside)
			p.inputs[id], p.assessed[id] = in, assess.Bank(in)
		}
		for _, id := range p.reg.Banks("") {
			bank, _ := p.reg.Bank(id)
			lives[bank.Stage] = append(lives[bank.Stage], p.assessed[id].Lives...)
		}
	}
	return p
}

func (p portfolio) why(t *testing.T, id plant.BankID, now time.Time) string {
	t.Helper()
	firm, err := assess.Firmness(p.inputs[id])
	if err != nil {
		t.Fatal(err)
	}
	var beside []assess.Assessment
	for _, other := range p.reg.Banks(id.AHU()) {
		beside = append(beside, p.assessed[other])
	}
	neglect, _ := digest.NeglectOf(id, p.reg, beside)
	return say.Why(p.assessed[id], firm, neglect, p.reg, now)
}

// In every bank of the demo and every language the reasoning is at most twelve lines
// and names what was read, what it came to, what it was compared with, the limit, the
// range, and whether that is wide and what would narrow it.
func TestWhyOverTheWholePortfolio(t *testing.T) {
	t.Parallel()
	figure := regexp.MustCompile(`\d+[.,]?\d* (Pa|in wc)`)
	now := time.Date(2026, 11, 25, 14, 30, 0, 0, time.UTC)
	said := map[plant.BankID][]string{}
	for _, language := range []string{"en", "de", "es"} {
		p := shown(language, now)
		for _, id := range p.reg.Banks("") {
			a, text := p.assessed[id], p.why(t, id, now)
			if language == "en" {
				said[id] = strings.Split(text, "\n")
			}
			lines := strings.Split(text, "\n")
			if len(lines) > 12 || strings.Contains(text, "%!") || strings.Contains(text, "  ") {
				t.Errorf("%s, %s: %d lines\n%s", id, language, len(lines), text)
			}
			if language != "en" {
				for i, line := range said[id] {
					if i < len(lines) && lines[i] == line {
						t.Errorf("%s, %s: still English: %q", id, language, line)
					}
				}
			}
			if a.NoGauge || a.Last == nil {
				continue
			}
			if len(lines) < 7 || len(figure.FindAllString(lines[1], -1)) < 2 || len(figure.FindAllString(lines[3], -1)) < 2 {
				t.Errorf("%s, %s: reading, corrected value, clean value or limit is missing\n%s", id, language, text)
			}
			if language != "en" {
				continue
			}
			for _, want := range []string{"at design airflow", "Compared with ", "Limit from ", "the limit is "} {
				if !strings.Contains(text, want) {
					t.Errorf("%s: no %q in\n%s", id, want, text)
				}
			}
			width := a.Dates.P90.Sub(a.Dates.P10)
			if judged := a.Condition == duelist.Loading || a.Condition == duelist.Clean || a.Condition == duelist.DueSoon; judged && !a.CapGoverns &&
				width > 14*24*time.Hour && 3*width > a.Dates.Median.Sub(now) && !strings.Contains(text, "The range is wide") {
				t.Errorf("%s: %s wide, and not said why\n%s", id, width, text)
			}
		}
	}
}
