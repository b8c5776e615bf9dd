package doubt_test

import (
	"math"
	"math/rand/v2"
	"time"

	"clogwise/internal/doubt"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// The fleet below is invented: loading by a power law of dust met, lives from
// six weeks to two years about the 3500 run hours that are taken for all, readings by
// people on weekly rounds or by a building system once a day.

// pace is how a bank is read.
type pace struct {
	name   string
	every  float64 // days
	missed float64 // share of readings that nobody takes
	stepPa float64
	airSD  float64 // of airflow that is not told with the reading, share, at most
	weight float64 // of such readings
}

var (
	weekly = pace{"weekly", 7, 0.07, 5, 0.02, 0.9}
	daily  = pace{"daily", 1, 0.02, 1, 0.02, 0.9}
	blind  = pace{"weekly, airflow varies and is not told", 7, 0.07, 5, 0.15, 0.3}
)

// set is one filter life with its gauge.
type set struct {
	rng        *rand.Rand
	start      time.Time
	cleanPa    float64
	limitPa    float64
	days       float64 // to the limit at average dust
	straight   float64 // share of the rise that is cake
	power      float64 // of the rest
	noise      float64 // of readings, share
	airSD      float64 // share of the pace's
	hoursDay   float64
	season     float64 // phase of the year's dust
	seasonal   float64 // depth of the year's dust
	event      float64 // day on which smoke comes, for five days; negative: never
	knownClean float64 // from the change-out before
}

func newSet(seed uint64) *set {
	rng := rand.New(rand.NewPCG(seed, 0xd0b7))
	s := &set{rng: rng, start: time.Date(2025, 1, 6, 8, 0, 0, 0, time.UTC)}
	s.cleanPa = 50 * math.Exp(0.7*rng.Float64())
	s.limitPa = s.cleanPa + 90 + 60*rng.Float64()
	s.days = math.Min(math.Max(180*math.Exp(0.55*rng.NormFloat64()), 45), 720)
	s.straight, s.power = rng.Float64(), 1.5+1.5*rng.Float64()
	s.noise = 0.02 + 0.03*rng.Float64()
	s.airSD = rng.Float64()
	s.hoursDay = 12 + 12*rng.Float64()
	s.season, s.seasonal = 2*math.Pi*rng.Float64(), 0.4*rng.Float64()
	s.event = -1
	if rng.Float64() < 0.5 {
		s.event = s.days * rng.Float64()
	}
	s.knownClean = s.cleanPa * (1 + 0.05*rng.NormFloat64())
	return s
}

// dust is the share of the life's dust met by a day: the integral of a year's
// wave, and two and a half times as much while smoke lasts.
func (s *set) dust(day float64) float64 {
	year := 2 * math.Pi / 365
	met := day + s.seasonal/year*(math.Cos(s.season)-math.Cos(s.season+year*day))
	if s.event >= 0 {
		met += 1.5 * math.Min(math.Max(day-s.event, 0), 5)
	}
	return met / s.days
}

// truePa is the resistance at design airflow.
func (s *set) truePa(day float64) float64 {
	u := s.dust(day)
	return s.cleanPa + (s.limitPa-s.cleanPa)*(s.straight*u+(1-s.straight)*math.Pow(u, s.power))
}

// fault changes what the gauge shows from its first reading on.
type fault struct {
	name    string
	codes   []doubt.Code
	lasting bool
	// show returns what is read: truePa the resistance, read what an honest
	// reading would have been, since how many days the fault lasts.
	show func(s *set, first, read, since float64) float64
}

// life reads a set until its end, with a fault from the given share of its life;
// at is the index of its first reading, -1 without fault.
func (s *set) life(p pace, f *fault, from float64) (in doubt.Input, at int) {
	at = -1
	in = doubt.Input{
		LifeHours: 3500, Scatter: 0.04, CleanPa: s.knownClean, PrevCleanPa: s.knownClean, LimitPa: s.limitPa,
		Start: s.start, Gauge: plant.Gauge{TopPa: 500, StepPa: p.stepPa, AccuracyPc: 2}, Habit: units.SI,
	}
	var began, first float64
	other := doubt.Sibling{Name: "AHU-1 primary"}
	for day := 0.02; ; day += p.every {
		pa := s.truePa(day)
		if s.dust(day) > 1.05 {
			break
		}
		if day > 1 && s.rng.Float64() < p.missed {
			continue
		}
		air := math.Pow(1+p.airSD*s.airSD*s.rng.NormFloat64(), 1.3)
		read := pa * air * (1 + s.noise*clamp(s.rng.NormFloat64(), 3))
		read0 := read
		r := doubt.Reading{
			At: s.start.Add(time.Duration(day * 24 * float64(time.Hour))), Seq: int64(len(in.Readings) + 1), X: day * s.hoursDay,
			Weight: p.weight, StepPa: p.stepPa, Clean: day < 1,
		}
		if f != nil && s.dust(day) >= from {
			if at < 0 {
				at, began, first = len(in.Readings), day, math.Round(read/p.stepPa)*p.stepPa
			}
			if f.lasting || at == len(in.Readings) {
				read = f.show(s, first, read, day-began)
			}
		}
		step := p.stepPa
		if math.Abs(read) < 10 {
			step = 0.01 // a value in another unit has its own steps
		}
		r.RawPa = math.Round(read/step) * step
		r.Pa = r.RawPa
		in.Readings = append(in.Readings, r)
		if f == nil || f.name != wrongBank || at != len(in.Readings)-1 { // else it went to the wrong bank
			other.Values = append(other.Values, doubt.Value{At: r.At.Add(time.Minute), Pa: math.Round(otherPa(read0)/step) * step})
		}
	}
	in.Siblings = []doubt.Sibling{other}
	return in, at
}

const (
	wrongBank  = "wrong bank"
	unreported = "unreported change-out"
)

// otherPa is what the AHU's other bank shows.
func otherPa(pa float64) float64 { return 0.5 * pa }

func clamp(z, most float64) float64 { return math.Max(-most, math.Min(most, z)) }

// faults that are injected. Torn filters let most air through the tear.
func faults() []fault {
	tear := func(share float64) func(*set, float64, float64, float64) float64 {
		return func(_ *set, _, read, _ float64) float64 { return read * (1 - share) }
	}
	return []fault{
		{name: "torn, −25 %", codes: []doubt.Code{doubt.Fall, doubt.SwapUnreported}, lasting: true, show: tear(0.25)},
		{name: "torn, −40 %", codes: []doubt.Code{doubt.Fall, doubt.SwapUnreported}, lasting: true, show: tear(0.4)},
		{name: "wet spike, +50 %", codes: []doubt.Code{doubt.Jump, doubt.Spike, doubt.AboveTwice}, show: func(_ *set, _, read, _ float64) float64 { return 1.5 * read }},
		{name: "stuck gauge", codes: []doubt.Code{doubt.Stuck}, lasting: true, show: func(_ *set, first, _, _ float64) float64 { return first }},
		{name: "zero drift, −5 Pa a week", codes: []doubt.Code{doubt.Sag, doubt.Fall, doubt.SwapUnreported}, lasting: true, show: func(_ *set, _, read, since float64) float64 { return read - 5*since/7 }},
		{name: "zero off by −40 Pa", codes: []doubt.Code{doubt.Fall, doubt.SwapUnreported}, lasting: true, show: func(_ *set, _, read, _ float64) float64 { return read - 40 }},
		{name: "swapped tubes", codes: []doubt.Code{doubt.TubesSwapped}, lasting: true, show: func(_ *set, _, read, _ float64) float64 { return -read }},
		{name: unreported, codes: []doubt.Code{doubt.SwapUnreported, doubt.Fall}, lasting: true, show: func(s *set, _, _, since float64) float64 {
			return s.truePa(since) * (1 + s.noise*clamp(s.rng.NormFloat64(), 3))
		}},
		{name: wrongBank, codes: []doubt.Code{doubt.WrongBank}, show: func(s *set, _, read, _ float64) float64 { return otherPa(read) }},
		{name: "inches taken as Pa", codes: []doubt.Code{doubt.WrongUnit}, show: func(_ *set, _, read, _ float64) float64 { return read / units.PaPerInH2O }},
		{name: "point slipped, ×10", codes: []doubt.Code{doubt.WrongUnit}, show: func(_ *set, _, read, _ float64) float64 { return read * 10 }},
		{name: "kPa taken as Pa", codes: []doubt.Code{doubt.WrongUnit}, show: func(_ *set, _, read, _ float64) float64 { return read / 1000 }},
	}
}

// prefix is the life as it stood after n readings.
func prefix(in doubt.Input, n int) doubt.Input {
	in.Readings = in.Readings[:n]
	return in
}
