package digest

import (
	"cmp"
	"slices"

	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Pair is a primary with the secondary behind it: how many sets of the primary to
// use up for each set of the secondary, the cheapest interval of each number.
type Pair struct {
	AHU     plant.BankID
	Tag     string
	Choices []PairChoice // by K, from one on; neither bank beyond its limit
	Best    int          // index of the cheapest
	AtMost  bool         // fan control not known: nothing of it holds where its speed is fixed
	Now     int          // index of the number that it comes to as the banks load now; -1: not known
}

// PairChoice is one number of primaries for each secondary.
type PairChoice struct {
	K              int
	PrimaryWeeks   float64 // between changes of the primary
	SecondaryWeeks float64
	Pace           float64     // how many times as fast as in its present life the secondary loads then; exactly 1: not told by its readings
	PerYear        units.Money // filters, labour and dirt of both
}

// Saves is what the cheapest choice saves a year over the one as now; false where
// that is not known, or the same.
func (p Pair) Saves() (units.Money, bool) {
	if p.Now < 0 || p.Now == p.Best {
		return units.Money{}, false
	}
	saved, err := p.Choices[p.Now].PerYear.Add(p.Choices[p.Best].PerYear.Times(-1))
	return saved, err == nil && saved.Amount.IsPositive()
}

// worthTelling is the share of a pair's yearly cost that a digest tells of.
const worthTelling = 0.05

// Worthwhile are the pairs whose cheapest number saves enough to be told of, for
// certain, the greatest saving first.
func Worthwhile(pairs []Pair) []Pair {
	share := func(p Pair) float64 {
		saved, ok := p.Saves()
		if !ok || p.AtMost {
			return 0
		}
		return saved.Amount.InexactFloat64() / p.Choices[p.Now].PerYear.Amount.InexactFloat64()
	}
	out := slices.DeleteFunc(slices.Clone(pairs), func(p Pair) bool { return !(share(p) >= worthTelling) })
	slices.SortStableFunc(out, func(a, b Pair) int {
		x, _ := a.Saves()
		y, _ := b.Saves()
		return cmp.Or(y.Amount.Cmp(x.Amount), cmp.Compare(a.AHU, b.AHU))
	})
	return out
}
