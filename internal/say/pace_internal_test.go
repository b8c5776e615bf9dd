package say

import (
	"strings"
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/locale"
)

func TestPaceOfASecondaryIsSaidWithItsSize(t *testing.T) {
	for _, c := range []struct {
		pace float64
		want string
	}{
		{1, "do not tell it"}, // exactly 1 is what no reading was heard about
		{1.002, "as fast then as"},
		{1.18, "18 % faster"},
		{0.75, "25 % more slowly"},
	} {
		if got := paceLine(c.pace, locale.Of("en")); !strings.Contains(got, c.want) {
			t.Errorf("pace %v: %q lacks %q", c.pace, got, c.want)
		}
	}
}

func TestIntervalIsCountedFromTheLastChange(t *testing.T) {
	start := time.Date(2026, 9, 1, 8, 0, 0, 0, time.UTC)
	s := Setting{In: locale.Of("en")}
	a := assess.Assessment{LifeStart: &start, LeastCost: start.AddDate(0, 0, 7*19+2)}
	if got := interval(a, s); !strings.Contains(got, "19 weeks") {
		t.Errorf("nineteen weeks and two days: %q", got)
	}
	a.LeastCost = time.Time{}
	if got := interval(a, s); got != "" {
		t.Errorf("no cheapest date: %q", got)
	}
	a = assess.Assessment{LeastCost: start}
	if got := interval(a, s); got != "" {
		t.Errorf("no change-out known: %q", got)
	}
}
