package digest_test

import (
	"strings"
	"testing"

	"github.com/shopspring/decimal"

	"clogwise/internal/digest"
	"clogwise/internal/units"
)

func pairOf(tag string, now int, perYear ...int64) digest.Pair {
	p := digest.Pair{Tag: tag, Now: now}
	for i, x := range perYear {
		p.Choices = append(p.Choices, digest.PairChoice{K: i + 1, PerYear: units.Money{Amount: decimal.NewFromInt(x), Currency: "GBP"}})
		if x < perYear[p.Best] {
			p.Best = i
		}
	}
	return p
}

// Only pairs whose number is not known to be the cheapest, or nearly so, are told.
func TestWorthwhilePairs(t *testing.T) {
	t.Parallel()
	pairs := []digest.Pair{
		pairOf("A", 0, 1000, 900, 950), // saves 100 of 1000
		pairOf("B", 1, 1000, 900),      // as now
		pairOf("C", 0, 1000, 990),      // 1 %
		pairOf("D", -1, 1000, 500),     // not known what it is now
		pairOf("E", 2, 2000, 1500, 1900),
		pairOf("F", 0, 3000, 900), // only if its fan holds its airflow
	}
	pairs[5].AtMost = true
	var got []string
	for _, p := range digest.Worthwhile(pairs) {
		got = append(got, p.Tag)
	}
	if s := strings.Join(got, ""); s != "EA" {
		t.Errorf("told of %s, want E (saves 400) and A (100)", s)
	}
}

func TestDigestTellsOfPairs(t *testing.T) {
	t.Parallel()
	b, s := small()
	s.Pairs = []digest.Pair{pairOf("AHU-3", 0, 1000, 900, 950)}
	text := digest.Weekly(b, registerOf(b.Site), s)
	if want := "AHU-3: primaries for each secondary, 2 instead of about 1, would save £100.00 a year"; !strings.Contains(text, want) {
		t.Errorf("digest lacks %q:\n%s", want, text)
	}
}
