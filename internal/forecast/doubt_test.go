package forecast_test

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"clogwise/internal/forecast"
)

// story is readings a week (84 run hours) apart.
func story(pa ...float64) []forecast.Observation {
	var obs []forecast.Observation
	for i, v := range pa {
		obs = append(obs, forecast.Observation{X: 84 * float64(i), Pa: v, Weight: 1, StepPa: 2})
	}
	return obs
}

func TestExamineNamesWhatDoesNotFit(t *testing.T) {
	t.Parallel()
	steady := []float64{80, 82, 86, 88, 90, 94, 96, 100, 102, 106}
	then := func(pa ...float64) []forecast.Observation {
		return story(append(append([]float64{}, steady...), pa...)...)
	}
	over := func(o []forecast.Observation, at int) []forecast.Observation {
		o[at].Censored = true
		return o
	}
	tests := []struct {
		name     string
		obs      []forecast.Observation
		change   func(*forecast.ExamineInput)
		want     []forecast.Code
		doubtful []int // indices
	}{
		{name: "nothing wrong", obs: then(108, 110)},
		{name: "torn bag", obs: then(64, 66, 68), want: []forecast.Code{forecast.Torn}},
		{name: "one low reading waits", obs: then(70), doubtful: []int{10}},
		{name: "bypass", obs: then(18, 16), want: []forecast.Code{forecast.Bypass}},
		{name: "dip that came back", obs: then(40, 110), want: []forecast.Code{forecast.Dip}, doubtful: []int{10}},
		{name: "wet spike", obs: then(180, 110), want: []forecast.Code{forecast.Spike}, doubtful: []int{10}},
		{name: "jump that stays", obs: then(160, 162, 164), want: []forecast.Code{forecast.Jump}},
		{name: "two wet readings", obs: then(160, 162, 110, 112), want: []forecast.Code{forecast.Spike}, doubtful: []int{10, 11}},
		{name: "zero", obs: then(0, 0, 110), want: []forecast.Code{forecast.Zero}, doubtful: []int{10, 11}},
		{name: "tubes swapped", obs: then(-110, -112), want: []forecast.Code{forecast.Negative}, doubtful: []int{10, 11}},
		{name: "inches taken for Pa", obs: then(0.44, 110), want: []forecast.Code{forecast.WrongUnit}, doubtful: []int{10}},
		{name: "hPa taken for Pa", obs: then(1.1, 110), want: []forecast.Code{forecast.WrongUnit}, doubtful: []int{10}},
		{name: "another bank's reading", obs: then(190, 110), want: []forecast.Code{forecast.WrongBank}, doubtful: []int{10},
			change: func(in *forecast.ExamineInput) {
				in.Siblings = []forecast.Sibling{{Name: "AHU-3 primary", ExpectPa: 60, SDPa: 4}, {Name: "AHU-4 secondary", ExpectPa: 188, SDPa: 8}}
			}},
		{name: "over range agrees", obs: over(then(108), 10)},
		{name: "above the gauge", obs: then(320, 110), want: []forecast.Code{forecast.OverTop, forecast.Spike}, doubtful: []int{10},
			change: func(in *forecast.ExamineInput) { in.Gauge.TopPa = 250 }},
		{name: "above twice the limit", obs: then(420, 110), want: []forecast.Code{forecast.AboveTwice, forecast.Spike}, doubtful: []int{10}},
		{name: "swap without a drop", obs: story(180, 182), want: []forecast.Code{forecast.NoDrop},
			change: func(in *forecast.ExamineInput) { in.BeforePa = 190 }},
		{name: "clean far from last", obs: story(130, 132), want: []forecast.Code{forecast.CleanFar},
			change: func(in *forecast.ExamineInput) { in.LastCleanPa = 78 }},
		{name: "zero drift", obs: then(108), want: []forecast.Code{forecast.ZeroDrift},
			change: func(in *forecast.ExamineInput) {
				in.Zeros = []forecast.ZeroCheck{{X: 100, Pa: 0}, {X: 300, Pa: 12}, {X: 400, Pa: 14}}
			}},
		{name: "stuck", obs: then(106, 106, 106, 106, 106, 106, 106, 106, 106), want: []forecast.Code{forecast.Stuck}},
		{name: "not numbers", obs: append(then(108), forecast.Observation{X: 900, Pa: math.NaN(), Weight: 1}), doubtful: []int{11}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			in := forecast.ExamineInput{
				Prior: forecast.ClassPrior("secondary"), ItemCleanPa: 80,
				Life: forecast.Life{Obs: tt.obs, LimitPa: 200}, Gauge: forecast.GaugeFacts{StepPa: 2},
			}
			if tt.change != nil {
				tt.change(&in)
			}
			obs, findings := forecast.Examine(in)
			var codes []forecast.Code
			for _, f := range findings {
				codes = append(codes, f.Code)
				if f.What == "" || f.Check == "" || f.Count < 1 {
					t.Errorf("finding without evidence: %+v", f)
				}
			}
			if !reflect.DeepEqual(codes, tt.want) {
				t.Errorf("findings %v, want %v\n%+v", codes, tt.want, findings)
			}
			var doubtful []int
			for i, o := range obs {
				if o.Doubtful {
					doubtful = append(doubtful, i)
				}
			}
			if !reflect.DeepEqual(doubtful, tt.doubtful) {
				t.Errorf("doubtful %v, want %v", doubtful, tt.doubtful)
			}
		})
	}
}

func TestUnreportedSwap(t *testing.T) {
	t.Parallel()
	obs := story(80, 86, 92, 100, 108, 118, 128, 140, 152, 166, 82, 80, 84, 86)
	got, findings := forecast.Examine(forecast.ExamineInput{
		Prior: forecast.ClassPrior("secondary"), ItemCleanPa: 80, Life: forecast.Life{Obs: obs, LimitPa: 200},
	})
	if len(findings) != 1 || findings[0].Code != forecast.UnseenSwap || findings[0].First != 10 || findings[0].Index != 11 {
		t.Fatalf("findings %+v, want one unreported swap from the readings 10 and 11", findings)
	}
	for i, o := range got {
		if want := i >= 10; o.Doubtful != want {
			t.Errorf("reading %d doubtful: %v, want %v: it belongs to another life", i, o.Doubtful, want)
		}
	}
}

func TestExamineDoesNotDependOnOrder(t *testing.T) {
	t.Parallel()
	obs := story(80, 82, 86, 88, 90, 94, 60, 62, 0, 66, 150, 70)
	in := forecast.ExamineInput{Prior: forecast.ClassPrior("secondary"), ItemCleanPa: 80, Life: forecast.Life{Obs: obs, LimitPa: 200}}
	_, want := forecast.Examine(in)
	rnd := rand.New(rand.NewPCG(3, 3))
	for range 5 {
		rnd.Shuffle(len(obs), func(i, j int) { obs[i], obs[j] = obs[j], obs[i] })
		_, got := forecast.Examine(in)
		if len(got) != len(want) {
			t.Fatalf("%d findings, want %d", len(got), len(want))
		}
		for i := range got {
			got[i].Index, got[i].First = want[i].Index, want[i].First // places in the shuffled list
			if !reflect.DeepEqual(got[i], want[i]) {
				t.Errorf("finding %+v, want %+v", got[i], want[i])
			}
		}
	}
}

func TestExamineLeavesItsInputAlone(t *testing.T) {
	t.Parallel()
	obs := story(80, 82, 0, 84)
	forecast.Examine(forecast.ExamineInput{Prior: forecast.ClassPrior("secondary"), Life: forecast.Life{Obs: obs, LimitPa: 200}})
	for i, o := range obs {
		if o.Doubtful {
			t.Errorf("reading %d of the input was marked", i)
		}
	}
}
