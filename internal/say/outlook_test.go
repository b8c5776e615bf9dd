package say_test

import (
	"strings"
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/duelist"
	"clogwise/internal/say"
)

// Of a doubtful bank the list shows what was read, marked, not what was expected,
// which nobody read; and a likely date that has gone by is said to be past.
func TestDoubtfulSaysWhatWasReadAndWhatIsPast(t *testing.T) {
	t.Parallel()
	reg := registerIn("")
	site, _ := reg.Site("s")
	v := say.At(site, now)
	a := loading()
	a.Condition, a.NowPa = duelist.Doubtful, 193
	a.Last.Pa, a.Last.Doubtful = 90, true
	line := say.DueLine(a.Row(reg), v)
	if !strings.Contains(line, "read 90 Pa, not counted; limit 200 Pa") || strings.Contains(line, "193") {
		t.Errorf("due line %q", line)
	}
	if got := say.Outlook(a, v); !strings.Contains(got, "likely 11 May") || strings.Contains(got, "past") {
		t.Errorf("ahead: %q", got)
	}

	a.Dates, a.LeastCost = assess.Dates{Median: in(-9), P10: in(-20), P90: in(12)}, in(-15)
	for what, got := range map[string]string{
		"due line": say.DueLine(a.Row(reg), v), "outlook": say.Outlook(a, v), "short": say.ShortOutlook(a, v),
	} {
		if !strings.Contains(got, "past") || !strings.Contains(got, "since 21 Feb") || strings.Contains(got, "likely 21 Feb") || strings.Contains(got, "15 Feb") {
			t.Errorf("%s gone by: %q", what, got)
		}
	}

	a.Last.Doubtful = false // the doubt is another's: the reading counts
	if line := say.DueLine(a.Row(reg), v); !strings.Contains(line, "193 Pa of 200 Pa") {
		t.Errorf("sound reading: %q", line)
	}
}

// A cheapest date that has passed is said to be gone by; today's has not.
func TestCheapestDateGoneBy(t *testing.T) {
	t.Parallel()
	reg := registerIn("")
	site, _ := reg.Site("s")
	v := say.At(site, now)
	a := loading()
	a.Energy.ChangeCost = eur("200")
	for days, want := range map[int]string{-3: "27 Feb, gone by.", 0: "2 Mar.", 4: "6 Mar."} {
		a.LeastCost = in(days).Add(-2 * time.Hour)
		for what, got := range map[string]string{"outlook": say.Outlook(a, v), "cost": say.Cost(v.In, []assess.Assessment{a}, nil, reg, now)} {
			if !strings.Contains(got, "heapest date "+want) {
				t.Errorf("%s, %d days ahead: no %q in %q", what, days, want, got)
			}
		}
	}
}
