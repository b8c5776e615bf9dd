package backtest

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"sort"

	"clogwise/internal/forecast"
)

// Options says how runs are cut, thinned and spoilt. The zero value of a field
// stands for the default given beside it.
type Options struct {
	LimitPa float64   // 400
	Axis    Axis      // dust when the file has it, else time
	Cuts    []float64 // shares of the life: 0.30, 0.50, 0.70, 0.85
	Thin    []int     // readings up to the cut: 5, 10, 20
	History int       // readings of each life learnt from: 20
	Jitter  float64   // of the readings' spacing: 0.30
	Noise   float64   // relative SD of a reading: 0.05; negative: none
	StepPa  float64   // rounding: 5; negative: none
	Seeds   int       // repetitions: 5
	First   uint64    // first seed: 1
}

func (o Options) filled(runs []Run) Options {
	set := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	set(&o.LimitPa, 400)
	set(&o.Jitter, 0.30)
	set(&o.Noise, 0.05)
	set(&o.StepPa, 5)
	o.Noise, o.StepPa = math.Max(o.Noise, 0), math.Max(o.StepPa, 0)
	if o.Axis == "" {
		o.Axis = ByTime
		if len(runs) > 0 && len(runs[0].Dust) > 0 {
			o.Axis = ByDust
		}
	}
	if len(o.Cuts) == 0 {
		o.Cuts = []float64{0.30, 0.50, 0.70, 0.85}
	}
	if len(o.Thin) == 0 {
		o.Thin = []int{5, 10, 20}
	}
	if o.History == 0 {
		o.History = 20
	}
	if o.Seeds == 0 {
		o.Seeds = 5
	}
	if o.First == 0 {
		o.First = 1
	}
	return o
}

// Evaluate leaves out one run at a time, lets every method learn from the
// others, and scores its forecasts of the one left out. It is deterministic
// for given options. Runs that never reach the limit are learnt from but not
// forecast.
func Evaluate(runs []Run, opt Options, methods []Method) (Report, error) {
	opt = opt.filled(runs)
	if opt.Axis != ByDust && opt.Axis != ByTime {
		return Report{}, fmt.Errorf("no axis %q; write %s or %s", opt.Axis, ByDust, ByTime)
	}
	usable := 0
	for _, r := range runs {
		if len(r.Along(opt.Axis)) != len(r.Pa) {
			return Report{}, fmt.Errorf("run %s has no column for the axis %q", r.ID, opt.Axis)
		}
		if _, ok := r.end(opt.Axis, opt.LimitPa); ok {
			usable++
		}
	}
	if usable < 3 {
		return Report{}, fmt.Errorf("%d runs reach %v Pa; at least 3 are needed", usable, opt.LimitPa)
	}
	scores := make([]scorer, len(methods))
	for seed := opt.First; seed < opt.First+uint64(opt.Seeds); seed++ {
		history := make([]forecast.FinishedLife, len(runs))
		for i, r := range runs {
			history[i] = opt.finished(r, seed)
		}
		for i, r := range runs {
			if !history[i].ReachedLimit {
				continue
			}
			others := slices.Delete(slices.Clone(history), i, i+1)
			for j, m := range methods {
				forecaster := m.Learn(others)
				for _, c := range opt.cases(r, seed) {
					scores[j].add(forecaster(c.life), c.end, c.life.NowX)
				}
			}
		}
	}
	rep := Report{Options: opt, Runs: usable, Short: len(runs) - usable}
	for j, m := range methods {
		rep.Rows = append(rep.Rows, scores[j].row(m.Name))
	}
	return rep, nil
}

// finished turns a run into a finished life of opt.History readings.
func (o Options) finished(r Run, seed uint64) forecast.FinishedLife {
	end, ok := r.end(o.Axis, o.LimitPa)
	if !ok {
		end = r.Along(o.Axis)[len(r.Pa)-1]
	}
	return forecast.FinishedLife{
		Obs:  o.readings(r, end, o.History, rng(seed, r.ID, "history")),
		EndX: end, ReachedLimit: ok, LimitPa: o.LimitPa,
	}
}

// aCase is one forecast to be made.
type aCase struct {
	life forecast.Life
	end  float64
}

func (o Options) cases(r Run, seed uint64) []aCase {
	end, _ := r.end(o.Axis, o.LimitPa)
	var out []aCase
	for _, cut := range o.Cuts {
		for _, n := range o.Thin {
			obs := o.readings(r, cut*end, n, rng(seed, r.ID, fmt.Sprintf("%v/%d", cut, n)))
			out = append(out, aCase{forecast.Life{Obs: obs, LimitPa: o.LimitPa, NowX: cut * end}, end})
		}
	}
	return out
}

// readings takes n gauge readings up to axis value upTo.
func (o Options) readings(r Run, upTo float64, n int, rnd *rand.Rand) []forecast.Observation {
	axis := r.Along(o.Axis)
	out := make([]forecast.Observation, n)
	gap := upTo / float64(n)
	for i := range out {
		x := gap * (float64(i+1) + o.Jitter*(2*rnd.Float64()-1))
		at := sort.SearchFloat64s(axis, math.Min(x, upTo))
		at = min(at, len(axis)-1)
		if axis[at] > upTo && at > 0 {
			at--
		}
		pa := r.Pa[at] * (1 + o.Noise*rnd.NormFloat64())
		if o.StepPa > 0 {
			pa = math.Round(pa/o.StepPa) * o.StepPa
		}
		out[i] = forecast.Observation{X: axis[at], Pa: pa, Weight: 1, StepPa: o.StepPa}
	}
	return out
}

// rng is a generator for one purpose, so that adding a cut or a method does
// not change the readings of the others.
func rng(seed uint64, parts ...string) *rand.Rand {
	h := fnv.New64a()
	for _, p := range parts {
		h.Write([]byte(p))
		h.Write([]byte{0})
	}
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}
