package assess_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// behindAgeing is a pair in which the secondary loads e^(βu) times as fast behind a
// primary that has used up the share u of its life to the limit as behind a fresh
// one, read every week.
func behindAgeing(beta, noise, stepPa float64, seed uint64) (primary, secondary assess.Input) {
	primary, secondary = pairOf(plant.FlowHeld, "100")
	rnd := rand.New(rand.NewPCG(seed, 2))
	secondary.Entries = nil
	put := func(day float64, body entry.Body) {
		secondary.Entries = append(secondary.Entries, entry.Entry{Seq: int64(len(secondary.Entries) + 1), Kind: body.Kind(), Place: secondary.Bank,
			At: began.Add(time.Duration(day * 24 * float64(time.Hour))), Body: body})
	}
	clean, dose, whole := 80.0, 0.0, 240.0
	if beta != 0 {
		whole *= math.Expm1(beta) / beta
	}
	for day := 0.0; day < 400; day++ {
		if day == 0 || day == 240 {
			dose = 0
			put(day, entry.Swap{CleanPa: &clean, Confirmed: true})
		}
		dose += math.Exp(beta*(math.Mod(day, 60)+0.5)/60) / whole
		if math.Mod(day, 7) == 3 {
			put(day+1, entry.Reading{Pa: stepPa * math.Round((80+170*dose)*(1+noise*rnd.NormFloat64())/stepPa)})
		}
	}
	return primary, secondary
}

// effectAt is what a pair's readings say of primaries that are changed K times for
// each secondary, and the share of their life that those are left in.
func effectAt(t *testing.T, k int, beta, noise, stepPa float64, seed uint64) (effect, u float64) {
	t.Helper()
	got, err := assess.Pairs(behindAgeing(beta, noise, stepPa, seed))
	if err != nil || len(got) < k {
		t.Fatalf("%+v, %v", got, err)
	}
	return got[k-1].Effect, got[k-1].PrimaryHours / (60 * 24)
}

// Behind primaries left in for a share u of their life the mean pace is (e^(βu)−1)/(βu),
// by which it is over that of whole lives: computed from the stated pace.
func TestSecondaryBehindAgeingPrimary(t *testing.T) {
	t.Parallel()
	mean := func(beta, u float64) float64 { return math.Expm1(beta*u) / (beta * u) }
	for _, beta := range []float64{-0.6, 0.5, 1} {
		got, u := effectAt(t, 5, beta, 0.001, 0.1, 1)
		// 400 days end in the middle of a primary's life, so that the present one of
		// the secondary has seen a little less of old primaries than of fresh ones.
		want := mean(beta, u) / ((2*mean(beta, 1) + 2.0/3*mean(beta, 2.0/3)) / (2 + 2.0/3))
		if math.Abs(got-want) > 0.02 {
			t.Errorf("β %g, exact gauge: effect %.3f at %.2f of a primary's life, want %.3f", beta, got, u, want)
		}
	}
}

// With an ordinary gauge the readings say less, so less is claimed: in the right
// direction, never more than there is but for the noise, and nothing where nothing is.
func TestEffectOfThePrimaryIsClaimedWithCaution(t *testing.T) {
	t.Parallel()
	const seeds = 8
	var at [4]float64
	for i, beta := range []float64{-0.6, 0, 0.6, 1.2} {
		for seed := range uint64(seeds) {
			effect, _ := effectAt(t, 5, beta, 0.03, 5, seed)
			at[i] += effect / seeds
		}
		if i > 0 && !(at[i] < at[i-1]-0.005) {
			t.Errorf("β %g: effect %.3f, with less of it %.3f", beta, at[i], at[i-1])
		}
	}
	if math.Abs(at[1]-1) > 0.015 {
		t.Errorf("no effect, yet %.3f is claimed", at[1])
	}
	if at[3] < 0.80 { // (e^0.84−1)/0.84 over (e^1.2−1)/1.2 = 0.81
		t.Errorf("more is claimed than there is: %.3f", at[3])
	}
}

// What the primary lets through bears on the advice: where an old one lets more
// through, changing it more often costs less than it would without.
func TestPrimaryThatLetsDustThroughIsWorthChangingSooner(t *testing.T) {
	t.Parallel()
	with, err := assess.Pairs(behindAgeing(1, 0.001, 0.1, 1))
	without, errToo := assess.Pairs(behindAgeing(0, 0.001, 0.1, 1))
	if err != nil || errToo != nil {
		t.Fatal(err, errToo)
	}
	for i := range with {
		if i >= 3 && !(with[i].PerHour/with[1].PerHour < without[i].PerHour/without[1].PerHour) {
			t.Errorf("%d primaries cost %.3f of what two do, without the effect %.3f", with[i].K,
				with[i].PerHour/with[1].PerHour, without[i].PerHour/without[1].PerHour)
		}
	}
}
