package forecast_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"clogwise/internal/forecast"
)

// A big fleet's prior is learnt from a sample, the same one in whatever order
// the banks come, and it agrees with the fleet.
func TestSampleOfABigFleet(t *testing.T) {
	t.Parallel()
	rnd := rand.New(rand.NewPCG(3, 1))
	var banks [][]forecast.FinishedLife
	for i := range 2500 {
		duty := []float64{1000, 3000}[i%2]
		var lives []forecast.FinishedLife
		for range 1 + i%3 {
			end := duty * math.Exp(0.1*rnd.NormFloat64())
			lives = append(lives, forecast.FinishedLife{
				Obs:  []forecast.Observation{{X: end / 2, Pa: 130, Weight: 1}},
				EndX: end, ReachedLimit: true, LimitPa: 200, CleanPa: 80, Group: fmt.Sprint("hall/ahu-", i/2, "/", i%2),
			})
		}
		banks = append(banks, lives)
	}
	sample := func() []forecast.FinishedLife {
		var s forecast.Sample
		for _, b := range banks {
			s.Add(b)
		}
		return s.Lives()
	}
	first := sample()
	if n := len(first); n < 600 || n > 602 {
		t.Fatalf("%d lives kept, want 600 and the rest of a bank", n)
	}
	short := 0
	for _, l := range first {
		if l.EndX < 1700 {
			short++
		}
	}
	if share := float64(short) / float64(len(first)); share < 0.45 || share > 0.55 {
		t.Errorf("%.0f %% of the sample are of the short duty, want about half", 100*share)
	}
	rnd.Shuffle(len(banks), func(i, j int) { banks[i], banks[j] = banks[j], banks[i] })
	if !reflect.DeepEqual(sample(), first) {
		t.Error("the order of banks changes the sample")
	}
	by := map[string][]forecast.FinishedLife{}
	var names []string
	for _, b := range banks {
		by[b[0].Group] = b
		names = append(names, b[0].Group)
	}
	var ordered forecast.Sample
	for _, name := range forecast.SampleOrder(names) {
		if ordered.Full() {
			break
		}
		ordered.Add(by[name])
	}
	if !reflect.DeepEqual(ordered.Lives(), first) {
		t.Error("taken in order until full, the sample is another")
	}
	if testing.Short() {
		return
	}
	var all []forecast.FinishedLife
	for _, b := range banks {
		all = append(all, b...)
	}
	class := forecast.ClassPrior("secondary")
	if whole, some := forecast.Learn(class, all), forecast.Learn(class, first); !reflect.DeepEqual(whole, some) {
		t.Error("learning from all lives and from their sample differ")
	} else if q := some.LifeQuantile(0.25); q < 900 || q > 1100 {
		t.Errorf("a quarter of lives end by %.0f h, want about 1000", q)
	}
}
