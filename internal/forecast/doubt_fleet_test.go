package forecast_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"clogwise/internal/forecast"
	"clogwise/internal/forecast/simulate"
)

// answers are the findings that name a defect rightly.
func answers(d simulate.Defect) []forecast.Code {
	switch d {
	case simulate.TornBag:
		return []forecast.Code{forecast.Torn, forecast.Bypass, forecast.UnseenSwap}
	case simulate.WetSpike:
		return []forecast.Code{forecast.Spike, forecast.Jump}
	case simulate.StuckGauge:
		return []forecast.Code{forecast.Stuck}
	case simulate.ZeroDrift:
		return []forecast.Code{forecast.ZeroDrift}
	case simulate.SwappedTubes:
		return []forecast.Code{forecast.Negative}
	case simulate.UnseenSwap:
		return []forecast.Code{forecast.UnseenSwap, forecast.Torn}
	case simulate.WrongBank:
		return []forecast.Code{forecast.WrongBank}
	default:
		return []forecast.Code{forecast.WrongUnit}
	}
}

// detection is what became of the cases of one defect.
type detection struct{ cases, found, inTwo int }

func detect(f simulate.Fleet, d simulate.Defect, n int, seed uint64) detection {
	rnd := rand.New(rand.NewPCG(seed, 2))
	var out detection
	for range n {
		c := f.Case(rnd, d)
		_, findings := forecast.Examine(c.Input)
		out.cases++
		at := slices.IndexFunc(findings, func(g forecast.Finding) bool {
			return slices.Contains(answers(d), g.Code) && (g.Index >= c.Onset || g.Index < 0)
		})
		if at < 0 {
			continue
		}
		out.found++
		if findings[at].Index <= c.Onset+1 {
			out.inTwo++
		}
	}
	return out
}

// falseAlarms counts the findings in healthy lives, by year of reading.
func falseAlarms(f simulate.Fleet, n int, yearX float64, seed uint64) (perYear float64, kinds map[forecast.Code]int) {
	rnd := rand.New(rand.NewPCG(seed, 3))
	kinds = map[forecast.Code]int{}
	years, count := 0.0, 0
	for range n {
		c := f.Case(rnd, simulate.None)
		_, findings := forecast.Examine(c.Input)
		years += c.EndX / yearX
		count += len(findings)
		for _, g := range findings {
			kinds[g.Code]++
		}
	}
	return float64(count) / years, kinds
}

// fleets are weekly and daily read banks whose lives are about half a year of
// 12 hours a day.
func fleets() map[string]simulate.Fleet {
	prior := forecast.ClassPrior("secondary").Rescaled(2200.0 / 3500)
	return map[string]simulate.Fleet{
		"weekly": {Prior: prior, MeanX: 2200, EveryX: 84},
		"daily":  {Prior: prior, MeanX: 2200, EveryX: 12},
	}
}

func TestDoubtOnASimulatedFleet(t *testing.T) {
	t.Parallel()
	const yearX, cases = 4380, 400
	for _, pace := range []string{"weekly", "daily"} {
		t.Run(pace, func(t *testing.T) {
			t.Parallel()
			f := fleets()[pace]
			perYear, kinds := falseAlarms(f, cases, yearX, 11)
			t.Logf("%s readings: %.3f false findings per bank-year %v", pace, perYear, kinds)
			if perYear >= 0.2 {
				t.Errorf("%.3f false findings per bank-year, want under 0.2", perYear)
			}
			// Least shares found, and found within two readings: the target
			// for torn bags, a little under what was measured for the others.
			want := map[simulate.Defect][2]float64{
				simulate.TornBag:      {0.9, 0.9},
				simulate.WetSpike:     {0.8, 0},
				simulate.StuckGauge:   {0.5, 0},
				simulate.ZeroDrift:    {0.8, 0},
				simulate.SwappedTubes: {0.98, 0.98},
				simulate.UnseenSwap:   {0.65, 0.65}, // early swaps lower nothing to speak of
				simulate.WrongBank:    {0.7, 0.7},   // some siblings read the same
				simulate.WrongUnit:    {0.98, 0.98},
			}
			for _, d := range simulate.Defects() {
				got := detect(f, d, cases, 12)
				found, inTwo := float64(got.found)/float64(got.cases), float64(got.inTwo)/float64(got.cases)
				t.Logf("%-16s found %5.1f %%, within two readings %5.1f %%", d, 100*found, 100*inTwo)
				if found < want[d][0] || inTwo < want[d][1] {
					t.Errorf("%s: found %.3f, within two readings %.3f, want %v", d, found, inTwo, want[d])
				}
			}
		})
	}
}
