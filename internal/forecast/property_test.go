package forecast_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"clogwise/internal/forecast"
	"clogwise/internal/forecast/simulate"
)

var quantiles = []float64{0.025, 0.1, 0.25, 0.5, 0.75, 0.9, 0.975}

// figures are what a forecast says, for comparing two of them.
func figures(p forecast.Posterior) []float64 {
	var out []float64
	for _, q := range quantiles {
		out = append(out, p.Quantile(q), p.ResistancePa(1500, q))
	}
	return append(out, p.MeanPa(1000), p.MeanPa(4000), p.ProbBy(3000), p.CleanPa(), p.NowPa(), p.MeanLife())
}

// lived is a drawn life with n readings up to the share cut of it.
func lived(seed uint64, n int, cut float64) forecast.Life {
	rnd := rand.New(rand.NewPCG(seed, 5))
	l := simulate.Life{Curve: simulate.Draw(rnd, 70, 200), Dust: simulate.Even, DoseX: 3000 * math.Exp(0.3*rnd.NormFloat64())}
	now := cut * l.EndX()
	obs := simulate.Gauge{Noise: 0.04, StepPa: 5}.Readings(rnd, l, now/float64(n), now)
	return forecast.Life{Obs: obs, LimitPa: 200, NowX: now}
}

func history(seed uint64, n int) []forecast.FinishedLife {
	rnd := rand.New(rand.NewPCG(seed, 6))
	var out []forecast.FinishedLife
	for i := range n {
		l := simulate.Life{Curve: simulate.Draw(rnd, 70, 200), Dust: simulate.Even, DoseX: 3000 * math.Exp(0.2*rnd.NormFloat64())}
		out = append(out, simulate.Gauge{Noise: 0.04, StepPa: 5}.Finished(rnd, l, 15, string(rune('a'+i/3))))
	}
	return out
}

func TestOrderLeavesNoTrace(t *testing.T) {
	t.Parallel()
	for _, n := range []int{3, 30, 300} {
		life := lived(uint64(n), n, 0.7)
		prior := forecast.ClassPrior("secondary")
		want := figures(forecast.Fit(prior, life))
		rnd := rand.New(rand.NewPCG(9, 9))
		for range 5 {
			rnd.Shuffle(len(life.Obs), func(i, j int) { life.Obs[i], life.Obs[j] = life.Obs[j], life.Obs[i] })
			if got := figures(forecast.Fit(prior, life)); !slices.Equal(got, want) {
				t.Fatalf("%d readings shuffled: %v, before %v", n, got, want)
			}
			tracker := forecast.NewTracker(prior, forecast.Life{LimitPa: 200})
			for _, o := range life.Obs {
				tracker.Add(o)
			}
			tracker.SetNow(life.NowX)
			if got := figures(tracker.Posterior()); !slices.Equal(got, want) {
				t.Fatalf("%d readings one by one: %v, at once %v", n, got, want)
			}
		}
	}
}

func TestOrderOfLivesLeavesNoTrace(t *testing.T) {
	t.Parallel()
	lives := history(1, 12)
	want := forecast.Learn(forecast.ClassPrior("secondary"), lives)
	slices.Reverse(lives)
	if got := forecast.Learn(forecast.ClassPrior("secondary"), lives); !reflect.DeepEqual(got, want) {
		t.Errorf("reversed lives: %+v, want %+v", got, want)
	}
}

// Lives that end at the same place, as those of one counter do, have an order all the same.
func TestOrderOfLivesOfOneLengthLeavesNoTrace(t *testing.T) {
	t.Parallel()
	lives := history(1, 12)
	for i := range lives {
		lives[i].Group, lives[i].EndX = "", 3000
	}
	want := forecast.Learn(forecast.ClassPrior("secondary"), lives)
	slices.Reverse(lives)
	if got := forecast.Learn(forecast.ClassPrior("secondary"), lives); !reflect.DeepEqual(got, want) {
		t.Errorf("reversed lives: %+v, want %+v", got, want)
	}
}

func TestAHigherLimitIsReachedLater(t *testing.T) {
	t.Parallel()
	fleet := forecast.Learn(forecast.ClassPrior("secondary"), history(2, 20))
	for _, prior := range []forecast.Prior{forecast.ClassPrior("secondary"), fleet} {
		for _, seed := range []uint64{1, 2, 3} {
			for _, cut := range []float64{0.1, 0.4, 0.7} {
				life := lived(seed, 10, cut)
				last := make([]float64, len(quantiles))
				for limit := 160.0; limit <= 300; limit += 20 {
					life.LimitPa = limit
					post := forecast.Fit(prior, life)
					for i, q := range quantiles {
						x := post.Quantile(q)
						if x < last[i] {
							t.Errorf("%s prior, seed %d, cut %v: limit %v Pa, quantile %v at %.1f, before %.1f",
								prior.Level(), seed, cut, limit, q, x, last[i])
						}
						last[i] = x
					}
				}
			}
		}
	}
}

func TestMoreDustShortensTheLife(t *testing.T) {
	t.Parallel()
	prior := forecast.ClassPrior("secondary")
	for _, seed := range []uint64{1, 2, 3} {
		last := math.Inf(1)
		for _, rate := range []float64{0.6, 0.8, 1, 1.25, 1.6} { // the same curve met sooner
			life := lived(seed, 12, 0.6)
			for i := range life.Obs {
				life.Obs[i].X /= rate
			}
			mid := forecast.Fit(prior, life).Quantile(0.5)
			if mid >= last {
				t.Errorf("seed %d, dust ×%v: median life %.0f, with less dust %.0f", seed, rate, mid, last)
			}
			last = mid
		}
	}
}

func TestUnitsOfTheAxisDoNotMatter(t *testing.T) {
	t.Parallel()
	prior := forecast.Learn(forecast.ClassPrior("secondary"), history(3, 10))
	for _, n := range []int{12, 100} { // so many readings that they are merged, too
		life := lived(4, n, 0.6)
		hours := forecast.Fit(prior, life)
		minutes := life
		minutes.NowX *= 60
		minutes.Obs = slices.Clone(life.Obs)
		for i := range minutes.Obs {
			minutes.Obs[i].X *= 60
		}
		post := forecast.Fit(prior.Rescaled(60), minutes)
		for _, q := range quantiles {
			if a, b := hours.Quantile(q), post.Quantile(q)/60; math.Abs(a/b-1) > 1e-9 {
				t.Errorf("%d readings, quantile %v: %v h, reckoned in minutes %v h", n, q, a, b)
			}
		}
	}
}

func TestUnitsOfPressureDoNotMatter(t *testing.T) {
	t.Parallel()
	const inches = 1 / 249.08891 // NIST SP 811: conventional inch of water
	prior := forecast.ClassPrior("secondary")
	life := lived(5, 12, 0.6)
	want := forecast.Fit(prior, life)
	inWC := life
	inWC.LimitPa *= inches
	inWC.Obs = slices.Clone(life.Obs)
	for i := range inWC.Obs {
		inWC.Obs[i].Pa *= inches
		inWC.Obs[i].StepPa *= inches
	}
	prior.LimitPa *= inches
	got := forecast.Fit(prior, inWC)
	for _, q := range quantiles {
		if a, b := want.Quantile(q), got.Quantile(q); math.Abs(a/b-1) > 1e-9 {
			t.Errorf("quantile %v: %v from Pa, %v from inches", q, a, b)
		}
	}
}

func TestDoubtfulAndWeightlessReadingsChangeNothing(t *testing.T) {
	t.Parallel()
	prior := forecast.ClassPrior("secondary")
	life := lived(6, 12, 0.6)
	want := figures(forecast.Fit(prior, life))
	life.Obs = append(slices.Clone(life.Obs),
		forecast.Observation{X: 900, Pa: 400, Weight: 1, Doubtful: true},
		forecast.Observation{X: 900, Pa: 400, Weight: 0},
		forecast.Observation{X: 900, Pa: math.NaN(), Weight: 1})
	if got := figures(forecast.Fit(prior, life)); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestOneWildReadingMovesLittle(t *testing.T) {
	t.Parallel()
	prior := forecast.ClassPrior("secondary")
	life := lived(7, 20, 0.6)
	before := forecast.Fit(prior, life)
	wild := life
	wild.Obs = append(slices.Clone(life.Obs), forecast.Observation{X: life.NowX, Pa: 390, Weight: 1, StepPa: 5})
	after := forecast.Fit(prior, wild)
	if a, b := before.Quantile(0.5), after.Quantile(0.5); math.Abs(a/b-1) > 0.12 {
		t.Errorf("median life %.0f before a wild reading, %.0f after it", a, b)
	}
}

func TestOverRangeReadingsSayAtLeast(t *testing.T) {
	t.Parallel()
	prior := forecast.ClassPrior("secondary")
	life := forecast.Life{Obs: cake(2000, 10), LimitPa: 200, NowX: 2400}
	before := forecast.Fit(prior, life)
	with := func(censored bool) float64 {
		l := life
		l.Obs = append(slices.Clone(life.Obs), forecast.Observation{X: 2400, Pa: 190, Weight: 1, Censored: censored})
		return forecast.Fit(prior, l).Quantile(0.5)
	}
	if at, over := with(false), with(true); !(over < at && at < before.Quantile(0.5)) {
		t.Errorf("median life %.0f before, %.0f with 190 Pa, %.0f with 190 Pa or more: want them falling", before.Quantile(0.5), at, over)
	}
}

func TestACoarseGaugeWidensTheRange(t *testing.T) {
	t.Parallel()
	prior := forecast.Learn(forecast.ClassPrior("secondary"), history(4, 12))
	width := func(step float64) float64 {
		life := lived(9, 12, 0.6)
		for i := range life.Obs {
			life.Obs[i].StepPa = step
		}
		p := forecast.Fit(prior, life)
		return p.Quantile(0.9) / p.Quantile(0.1)
	}
	if fine, coarse := width(1), width(50); coarse <= fine {
		t.Errorf("range a factor %.3f at 50 Pa steps, %.3f at 1 Pa", coarse, fine)
	}
}

func TestLightReadingsWeighLess(t *testing.T) {
	t.Parallel()
	prior := forecast.ClassPrior("secondary")
	width := func(weight float64) float64 {
		life := lived(10, 6, 0.8)
		for i := range life.Obs {
			life.Obs[i].Weight = weight
		}
		p := forecast.Fit(prior, life)
		return math.Log(p.Quantile(0.9) / p.Quantile(0.1))
	}
	if full, light := width(1), width(0.05); light <= full {
		t.Errorf("ln range %.3f with light readings, %.3f with full ones", light, full)
	}
}

func TestPriorSurvivesJSON(t *testing.T) {
	t.Parallel()
	prior := forecast.Learn(forecast.ClassPrior("secondary"), history(5, 9)).ForBank(history(6, 2))
	text, err := json.Marshal(prior)
	if err != nil {
		t.Fatal(err)
	}
	var back forecast.Prior
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(back, prior) {
		t.Errorf("got %+v, want %+v", back, prior)
	}
	if err := back.Check(); err != nil {
		t.Error(err)
	}
}

func TestTheBankMovesThePriorTowardsItself(t *testing.T) {
	t.Parallel()
	fleet := forecast.Learn(forecast.ClassPrior("secondary"), history(7, 30))
	own := history(8, 3)
	for i := range own { // a bank that lives half as long
		own[i].EndX /= 2
		for k := range own[i].Obs {
			own[i].Obs[k].X /= 2
		}
	}
	bank := fleet.ForBank(own)
	if bank.Level() != forecast.LevelBank {
		t.Errorf("level %s, want bank", bank.Level())
	}
	if a, b := fleet.MedianLife(), bank.MedianLife(); !(b < 0.8*a) {
		t.Errorf("median life of the bank %.0f, of the fleet %.0f; its own lives are half as long", b, a)
	}
	same := []forecast.FinishedLife{own[0], own[0], own[0]}
	one, three := fleet.ForBank(same[:1]).MedianLife(), fleet.ForBank(same).MedianLife()
	if a, b := fleet.MedianLife(), own[0].EndX; !(one < a && three < one && b < three) {
		t.Errorf("fleet %.0f, own life %.0f met once %.0f, three times %.0f: want them in between, in this order", a, b, one, three)
	}
}

func TestLimitChangesBetweenLives(t *testing.T) {
	t.Parallel()
	rnd := rand.New(rand.NewPCG(31, 6))
	var at150 []forecast.FinishedLife
	for range 30 {
		l := simulate.Life{Curve: simulate.Curve{CleanPa: 70, LimitPa: 200, Straight: 0.5, Power: 2}, Dust: simulate.Even,
			DoseX: 3000 * math.Exp(0.1*rnd.NormFloat64())}
		short := l
		u := math.Sqrt(0.25+2*80.0/130) - 0.5 // ½u+½u² = 80/130: where the curve passes 150 Pa
		short.Curve.LimitPa = 150
		short.Curve.Straight = 0.5 * u * 130 / 80
		short.DoseX = l.DoseX * u
		at150 = append(at150, simulate.Gauge{Noise: 0.03, StepPa: 2}.Finished(rnd, short, 15, ""))
	}
	prior := forecast.Learn(forecast.ClassPrior("secondary"), at150)
	if got, want := prior.AtLimit(200).MedianLife(), 3000.0; math.Abs(got/want-1) > 0.12 {
		t.Errorf("median life to 200 Pa %.0f, learnt at 150 Pa; want about %.0f", got, want)
	}
}

// Carried to another limit, a prior keeps what it says in Pa: the error of a
// reading, the clean set, and the curve where both limits know it.
func TestAnotherLimitKeepsWhatIsSaidInPa(t *testing.T) {
	t.Parallel()
	prior := forecast.Learn(forecast.ClassPrior("secondary"), history(3, 10))
	for _, limit := range []float64{150, 170, 190, 260} {
		other := prior.AtLimit(limit)
		if a, b := prior.Noise.Abs*prior.LimitPa, other.Noise.Abs*limit; math.Abs(a/b-1) > 1e-9 {
			t.Errorf("to %g Pa: reading error %g Pa, was %g", limit, b, a)
		}
		if a, b := prior.CleanPa(), other.CleanPa(); math.Abs(a-b) > 0.1 {
			t.Errorf("to %g Pa: clean %g Pa, was %g", limit, b, a)
		}
		u := other.MedianLife() / prior.MedianLife()
		if (u > 1) != (limit > prior.LimitPa) {
			t.Errorf("to %g Pa in %g of the life to %g Pa", limit, u, prior.LimitPa)
		}
		for what, v := range map[string][2]float64{"misfit": {prior.Noise.Misfit, other.Noise.Misfit}, "its reach": {prior.Noise.Reach, other.Noise.Reach}} {
			if math.Abs(v[0]/(v[1]*u)-1) > 1e-6 { // shares of a life, in axis units
				t.Errorf("to %g Pa: %s %g of a life of %g, was %g", limit, what, v[1], u, v[0])
			}
		}
	}
}

// A bank of twice the fleet's limit, whose own life ended far below it, as an
// absolute filter does that is changed by age: what is said of its next life must
// stay a curve of filters, not the eighth power of it.
func TestHighLimitFarFromWhatTheFleetKnows(t *testing.T) {
	t.Parallel()
	fleet := forecast.Learn(forecast.ClassPrior("secondary"), history(7, 10))
	var own forecast.FinishedLife
	own.EndX, own.LimitPa, own.CleanPa = 8400, 2.25*fleet.LimitPa, 110
	for i := range 20 {
		x := 4200 + 210*float64(i)
		own.Obs = append(own.Obs, forecast.Observation{X: x, Pa: 140 + 50*(x-4200)/4200, StepPa: 10, Weight: 1})
	}
	bank := fleet.ForBank([]forecast.FinishedLife{own})
	post := forecast.Fit(bank, forecast.Life{LimitPa: own.LimitPa, NowX: 0.1,
		Obs: []forecast.Observation{{X: 0.08, Pa: 110, StepPa: 10, Weight: 1}}})
	if got := post.MeanPa(0.1); math.Abs(got-110) > 15 {
		t.Errorf("begins at %.0f Pa, read 110", got)
	}
	end, last := post.Quantile(0.5), 0.0
	for i := range 21 {
		pa := post.MeanPa(end * float64(i) / 20)
		if pa < last-5 || pa > 1.3*own.LimitPa {
			t.Errorf("%.0f Pa after %d/20 of its life, %.0f before; the limit is %.0f", pa, i, last, own.LimitPa)
		}
		last = pa
	}
}
