package backtest_test

import (
	"strconv"
	"strings"
	"testing"

	"clogwise/internal/backtest"
	"clogwise/internal/forecast"
)

func TestReadRuns(t *testing.T) {
	t.Parallel()
	runs, err := backtest.ReadRuns(strings.NewReader("run,seconds,pa,dust_mm3,feed\n1,1,10,5,9\n1,2,12,8,9\n2,1,11,4,9\n"))
	if err != nil {
		t.Fatal(err)
	}
	if len(runs) != 2 || len(runs[0].Pa) != 2 || runs[0].Dust[1] != 8 || runs[1].Seconds[0] != 1 {
		t.Errorf("got %+v", runs)
	}
}

func TestReadRunsNamesTheFault(t *testing.T) {
	t.Parallel()
	tests := []struct{ name, file, want string }{
		{"empty", "", "empty"},
		{"no pa", "run,seconds\n", `no column "pa"`},
		{"no run", "pa,seconds\n", `no column "run"`},
		{"no axis", "run,pa\n", `no column "seconds" or "dust"`},
		{"header only", "run,seconds,pa\n", "no rows"},
		{"not a number", "run,seconds,pa\n1,1,10\n1,2,x\n", `row 3, column "pa": "x" is not a number`},
		{"short row", "run,seconds,pa\n1,1\n", `row 2, column "pa": missing`},
		{"backwards", "run,seconds,pa\n1,2,10\n1,1,11\n", `row 3, column "seconds": 1 is before`},
		{"not finite", "run,seconds,pa\n1,NaN,10\n", `row 2, column "seconds"`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := backtest.ReadRuns(strings.NewReader(tt.file)); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want one with %q", err, tt.want)
			}
		})
	}
}

func TestEvaluateRefusesTooFewRuns(t *testing.T) {
	t.Parallel()
	runs := mixedDuties(1, 2)
	if _, err := backtest.Evaluate(runs, backtest.Options{}, backtest.Methods()); err == nil {
		t.Error("two runs: no error")
	}
	runs = mixedDuties(1, 4)
	if _, err := backtest.Evaluate(runs, backtest.Options{Axis: backtest.ByTime}, backtest.Methods()); err == nil || !strings.Contains(err.Error(), `axis "time"`) {
		t.Errorf("no time column: error %v", err)
	}
	if _, err := backtest.Evaluate(runs, backtest.Options{Axis: "hours"}, backtest.Methods()); err == nil || !strings.Contains(err.Error(), `no axis "hours"; write dust or time`) {
		t.Errorf("an axis that is none: error %v", err)
	}
}

// Without noise and rounding readings are those of the file.
func TestNoNoiseAndNoRounding(t *testing.T) {
	t.Parallel()
	runs := mixedDuties(1, 4)
	given := map[float64]bool{}
	for _, r := range runs {
		for _, pa := range r.Pa {
			given[pa] = true
		}
	}
	seen, other := 0, 0
	spy := backtest.Method{Name: "spy", Learn: func([]forecast.FinishedLife) func(forecast.Life) backtest.Forecast {
		return func(l forecast.Life) backtest.Forecast {
			for _, o := range l.Obs {
				seen++
				if !given[o.Pa] || o.StepPa != 0 {
					other++
				}
			}
			return func(float64) float64 { return 1 }
		}
	}}
	rep, err := backtest.Evaluate(runs, backtest.Options{Noise: -1, StepPa: -1, Seeds: 1}, []backtest.Method{spy})
	if err != nil {
		t.Fatal(err)
	}
	if seen == 0 || other > 0 || rep.Options.Noise != 0 || rep.Options.StepPa != 0 {
		t.Errorf("%d of %d readings are not those of the file; reported noise %g, step %g", other, seen, rep.Options.Noise, rep.Options.StepPa)
	}
}

func TestFileIsDeterministic(t *testing.T) {
	t.Parallel()
	var csv strings.Builder
	csv.WriteString("run,seconds,pa\n")
	for r := range 6 {
		for s := range 60 {
			u := float64(s) / (45 + 2*float64(r))
			if r == 5 {
				u /= 2 // ends before its limit
			}
			csv.WriteString(strings.Join([]string{itoa(r), itoa(s), itoa(int(50 + 350*u*u))}, ",") + "\n")
		}
	}
	var first, second strings.Builder
	opt := backtest.Options{Seeds: 1, Thin: []int{5}, Cuts: []float64{0.5}}
	for _, out := range []*strings.Builder{&first, &second} {
		if err := backtest.File(strings.NewReader(csv.String()), opt, out); err != nil {
			t.Fatal(err)
		}
	}
	if first.String() != second.String() {
		t.Errorf("two runs differ:\n%s\n%s", &first, &second)
	}
	for _, want := range []string{
		"clogwise", "fixed interval", "straight line", "exponential", "MdAPE", "|e|/L", "CRPS", "cover 80", "width 80",
		"5 runs to 400 Pa (1 more do not reach it: learnt from, not forecast), axis time",
	} {
		if !strings.Contains(first.String(), want) {
			t.Errorf("no %q in\n%s", want, &first)
		}
	}
}

func itoa(v int) string { return strconv.Itoa(v) }
