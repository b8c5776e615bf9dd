package doubt_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/doubt"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// weeks are readings a week apart at 100 run hours a week, the first of them a
// week after the change-out. NaN leaves a week out.
func weeks(pa ...float64) []doubt.Reading {
	var out []doubt.Reading
	for i, x := range pa {
		if math.IsNaN(x) {
			continue
		}
		out = append(out, doubt.Reading{
			At: monday.AddDate(0, 0, 7*(i+1)), Seq: int64(i + 1), X: float64(100 * (i + 1)), RawPa: x, Pa: x, Weight: 0.9, StepPa: 5,
		})
	}
	return out
}

// life is a bag bank: clean 65 Pa, limit 200 Pa, dial to 500 Pa.
func life(rs []doubt.Reading) doubt.Input {
	return doubt.Input{
		Readings: rs, LifeHours: 3500, Scatter: 0.04, CleanPa: 65, ItemCleanPa: 65, PrevCleanPa: 65, LimitPa: 200,
		Start: monday, Gauge: plant.Gauge{TopPa: 500, StepPa: 5, AccuracyPc: 2}, Habit: units.SI,
	}
}

// steady is a quiet bank, 4 % a week; figures of our own.
var steady = []float64{70, 70, 75, 80, 80, 85, 90, 90, 95, 100}

func after(more ...float64) []float64 { return append(slices.Clone(steady), more...) }

func TestExamine(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	type want struct {
		code     doubt.Code
		open     bool
		blocks   bool
		doubtful []int
	}
	for _, c := range []struct {
		name string
		pa   []float64
		edit func(*doubt.Input)
		want []want
	}{
		{"quiet", steady, nil, nil},
		{"quiet through a gap", after(nan, nan, nan, 115, 120), nil, nil},
		{"one low reading blocks at once", after(70), nil, []want{{doubt.SwapUnreported, true, true, []int{10}}}},
		{"torn", after(80, 80, 85, 85), nil, []want{{doubt.Fall, true, true, []int{10, 11, 12, 13}}}},
		{"torn, deep", after(20, 20), nil, []want{{doubt.Fall, true, true, []int{10, 11}}}},
		{"torn, then put right", after(75, 75, 105, 110), func(in *doubt.Input) {
			in.Fixed = []time.Time{in.Readings[11].At.Add(time.Hour)}
		}, []want{{doubt.Fall, false, false, []int{10, 11}}}},
		{"put right at another level", after(75, 75, 90, 95), func(in *doubt.Input) {
			in.Fixed = []time.Time{in.Readings[11].At.Add(time.Hour)}
		}, []want{{doubt.Fall, false, false, []int{10, 11}}}},
		{"put right after the last reading", after(75, 75), func(in *doubt.Input) {
			in.Fixed = []time.Time{in.Readings[11].At.Add(time.Hour)}
		}, []want{{doubt.Fall, false, false, []int{10, 11}}}},
		{"dip that recovers", after(75, 105, 110), nil, []want{{doubt.Dip, false, false, []int{10}}}},
		{"change-out nobody reported", after(65, 70, 70, 75), nil, []want{{doubt.SwapUnreported, true, true, []int{10, 11, 12, 13}}}},
		{"wet spike", after(160, 105, 110), nil, []want{{doubt.Spike, false, false, []int{10}}}},
		{"wet spike that dries slowly", after(170, 140, 105, 110), nil, []want{{doubt.Spike, false, false, []int{10, 11}}}},
		{"wet spike over two rounds", after(165, 165, 105, 110), nil, []want{{doubt.Spike, false, false, []int{10, 11}}}},
		{"wet and said so", after(160, 105), func(in *doubt.Input) { in.Readings[10].Wet = true }, nil},
		{"high, one reading", after(160), nil, []want{{doubt.Jump, true, false, []int{10}}}},
		{"high past the limit blocks", after(210), nil, []want{{doubt.Jump, true, true, []int{10}}}},
		{"jump that stays counts", after(160, 165, 165), nil, []want{{doubt.Jump, false, false, nil}}},
		{"high, and the rest catches up", after(130, nan, nan, 130, 135), nil, []want{{doubt.Jump, false, false, nil}}},
		{"jump in smoke on record", after(150), func(in *doubt.Input) { in.Readings[10].Dusty = true }, nil},
		{"above twice the limit", after(420), nil, []want{{doubt.AboveTwice, true, true, []int{10}}}},
		{"above twice the limit, confirmed", after(420, 430), nil, []want{{doubt.AboveTwice, false, false, nil}}},
		{"over the gauge's top", after(600), nil, []want{{doubt.OverTop, true, false, []int{10}}}},
		{"needle on its stop where it must be", after(nan, 110), func(in *doubt.Input) {
			in.Gauge.TopPa = 100
			in.Readings[10].RawPa, in.Readings[10].Pa, in.Readings[10].Censored = 100, 100, true
		}, nil},
		{"zero", after(0), nil, []want{{doubt.Zero, true, true, []int{10}}}},
		{"zero, then well", after(0, 105), nil, []want{{doubt.Zero, false, false, []int{10}}}},
		{"needle a hair under zero", after(-4), nil, []want{{doubt.Zero, true, true, []int{10}}}},
		{"tubes swapped", after(-105, -105), nil, []want{{doubt.TubesSwapped, true, true, []int{10, 11}}}},
		{"negative beyond sense", after(-300), nil, []want{{doubt.Negative, true, true, []int{10}}}},
		{"inches taken as Pa", after(0.42), nil, []want{{doubt.WrongUnit, true, false, []int{10}}}},
		{"inches taken as Pa from now on", after(0.42, 0.43), nil, []want{{doubt.WrongUnit, true, true, []int{10, 11}}}},
		{"Pa taken as inches", after(105 * units.PaPerInH2O), nil, []want{{doubt.WrongUnit, true, false, []int{10}}}},
		{"the point slipped", after(10.5, 105), nil, []want{{doubt.WrongUnit, false, false, []int{10}}}},
		{"given for the wrong bank", after(50), beside(50, false), []want{{doubt.WrongBank, true, true, []int{10}}}},
		{"no mix-up: the other bank was read too", after(50), beside(50, true), []want{{doubt.Fall, true, true, []int{10}}}},
		{"two readings are no mix-up", after(50, 50), beside(50, false), []want{{doubt.Fall, true, true, []int{10, 11}}}},
		{"stuck", after(105.3, 105.3, 105.3, 105.3, 105.3, 105.3), finely, []want{{doubt.Stuck, true, true, []int{11, 12, 13, 14, 15}}}},
		{"stuck, then moving", after(105.3, 105.3, 105.3, 105.3, 105.3, 105.3, 128.4), finely, []want{{doubt.Stuck, false, false, []int{11, 12, 13, 14, 15}}}},
		{"alike by the steps of the dial", append(slices.Clone(steady[:4]), 80, 80, 80, 80), func(in *doubt.Input) {
			for i := range in.Readings { // an hour of running a week: nothing loads
				in.Readings[i].X = float64(i + 1)
			}
		}, nil},
		{"crept down", after(98, 96, 93, 90, 88, 86, 84, 82, 80, 78, 76, 74), finely, []want{{doubt.Sag, true, true, nil}}},
		{"no drop at the change-out", []float64{180, 185}, func(in *doubt.Input) {
			in.Readings[0].Clean, in.BeforeSwapPa = true, 185
		}, []want{{doubt.SwapNoDrop, true, true, nil}}},
		{"no drop, but the next has it", []float64{180, 70, 70}, func(in *doubt.Input) {
			in.Readings[0].Clean, in.BeforeSwapPa = true, 185
		}, []want{{doubt.SwapNoDrop, false, false, []int{0}}}},
		{"clean unlike the last set", []float64{95, 95, 100}, func(in *doubt.Input) { in.Readings[0].Clean = true },
			[]want{{doubt.CleanOff, false, false, nil}}},
		{"clean far too low, and it stays", []float64{40, 40, 45}, func(in *doubt.Input) { in.Readings[0].Clean = true },
			[]want{{doubt.CleanOff, true, false, nil}}},
		{"clean misread", []float64{100, 70, 70}, func(in *doubt.Input) { in.Readings[0].Clean = true },
			[]want{{doubt.CleanOff, false, false, []int{0}}}},
		{"zero off", steady, func(in *doubt.Input) {
			in.Zeros = []doubt.ZeroCheck{{At: in.Readings[3].At, Seq: 90, OffsetPa: 25}}
		}, []want{{doubt.ZeroOff, true, false, nil}}},
		{"zero off, then set", steady, func(in *doubt.Input) {
			in.Zeros = []doubt.ZeroCheck{{At: in.Readings[3].At, OffsetPa: 25}, {At: in.Readings[5].At}}
		}, []want{{doubt.ZeroOff, false, false, nil}}},
		{"zero within what the dial promises", steady, func(in *doubt.Input) {
			in.Zeros = []doubt.ZeroCheck{{At: in.Readings[3].At, OffsetPa: 8}}
		}, nil},
		{"a reading with the fan off", after(30, 105), func(in *doubt.Input) { in.Readings[10].NoAir = true },
			[]want{{doubt.ZeroOff, true, false, nil}}},
		{"too little air to say anything", after(20), func(in *doubt.Input) { in.Readings[10].Weight = 0.05 }, nil},
		{"no change-out on record", []float64{120, 125, 125, 130}, func(in *doubt.Input) { in.Start = time.Time{} }, nil},
		{"first reading of all in another unit", []float64{0.5}, func(in *doubt.Input) { in.Start = time.Time{} },
			[]want{{doubt.WrongUnit, true, false, []int{0}}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			in := life(weeks(c.pa...))
			if c.edit != nil {
				c.edit(&in)
			}
			doubtful, found, _ := doubt.Examine(in)
			var got []want
			for _, f := range found {
				got = append(got, want{code: f.Code, open: f.Open, blocks: f.Blocks})
			}
			var marked []int
			for i, d := range doubtful {
				if d {
					marked = append(marked, i)
				}
			}
			var all []int
			plain := slices.Clone(c.want)
			for i, w := range plain {
				all = append(all, w.doubtful...)
				plain[i].doubtful = nil
			}
			for _, f := range found {
				told := f.Code == doubt.Zero || strings.ContainsAny(f.Text, "0123456789") // a word stands for nought
				if !told || f.Check == "" || len(f.Evidence) == 0 {
					t.Errorf("%s without figures or what to check: %q %q %v", f.Code, f.Text, f.Check, f.Evidence)
				}
				for name, v := range f.Evidence {
					if math.IsNaN(v) || math.IsInf(v, 0) {
						t.Errorf("%s: %s is %v", f.Code, name, v)
					}
				}
			}
			if diff := cmp.Diff(plain, got, cmp.AllowUnexported(want{})); diff != "" {
				t.Errorf("findings, want - got +:\n%s%+v", diff, found)
			}
			if len(c.want) == 1 && c.want[0].code == doubt.Sag {
				return // which of the last readings, the sigmas decide
			}
			if !slices.Equal(marked, all) {
				t.Errorf("doubtful %v, want %v", marked, all)
			}
		})
	}
}

// beside gives the AHU another bank that shows pa at every visit, and at the
// last one only where so.
func beside(pa float64, last bool) func(*doubt.Input) {
	return func(in *doubt.Input) {
		s := doubt.Sibling{Name: "AHU-1 primary"}
		for i, r := range in.Readings {
			if i < 10 || last {
				s.Values = append(s.Values, doubt.Value{At: r.At.Add(time.Minute), Pa: pa})
			}
		}
		in.Siblings = []doubt.Sibling{s}
	}
}

// finely makes it a sensor that shows tenths.
func finely(in *doubt.Input) {
	in.Gauge.StepPa = 0.1
	for i := range in.Readings {
		in.Readings[i].StepPa = 0.1
	}
}

func TestTextsGiveFiguresInBothSystems(t *testing.T) {
	t.Parallel()
	in := life(weeks(after(80, 80)...))
	_, fs, _ := doubt.Examine(in)
	if len(fs) != 1 || !strings.Contains(fs[0].Text, "80 Pa (0.32 in wc)") || !strings.Contains(fs[0].Text, "18 May") {
		t.Errorf("%+v", fs)
	}
	in.Habit = units.IP
	_, fs, _ = doubt.Examine(in)
	if len(fs) != 1 || !strings.Contains(fs[0].Text, "0.32 in wc (80 Pa)") {
		t.Errorf("%+v", fs)
	}
	if e := fs[0].Evidence; math.Abs(e["fall_share"]-(1-80/e["expected_pa"])) > 1e-9 || e["readings"] != 2 || e["sigmas"] < 3 {
		t.Errorf("%v", e)
	}
}

// Texts speak of what the gauge shows: a reading at other airflow is compared at
// that airflow.
func TestTextsSpeakOfTheGauge(t *testing.T) {
	t.Parallel()
	in := life(weeks(after(70)...))
	in.Readings[10].RawPa = 35 // half of it, at less air
	_, fs, _ := doubt.Examine(in)
	if len(fs) != 1 || fs[0].Evidence["pa"] != 35 || math.Abs(fs[0].Evidence["expected_pa"]-50) > 5 {
		t.Errorf("%+v", fs)
	}
}

func TestOrderDoesNotMatter(t *testing.T) {
	t.Parallel()
	for seed := range uint64(20) {
		f := faults()[seed%uint64(len(faults()))]
		in, _ := newSet(seed).life(weekly, &f, 0.4)
		marks, fs, _ := doubt.Examine(in)
		of := map[int64]bool{}
		for i, r := range in.Readings {
			of[r.Seq] = marks[i]
		}
		rand.New(rand.NewPCG(seed, 1)).Shuffle(len(in.Readings), func(i, j int) {
			in.Readings[i], in.Readings[j] = in.Readings[j], in.Readings[i]
		})
		marks2, fs2, _ := doubt.Examine(in)
		if diff := cmp.Diff(fs, fs2); diff != "" {
			t.Errorf("seed %d: %s", seed, diff)
		}
		for i, r := range in.Readings {
			if marks2[i] != of[r.Seq] {
				t.Errorf("seed %d: reading %d is %v, was %v", seed, r.Seq, marks2[i], of[r.Seq])
			}
		}
	}
}

// Nothing that a ledger can hold breaks it.
func FuzzExamine(f *testing.F) {
	f.Add([]byte{1, 2, 3}, 65.0, 200.0, true)
	f.Add([]byte{0, 255, 0, 255, 7, 7, 7, 7, 7, 7}, 0.0, 0.0, false)
	f.Add([]byte{9, 9, 9, 9, 9, 90, 9, 9}, math.NaN(), -1.0, true)
	f.Fuzz(func(t *testing.T, raw []byte, clean, limit float64, known bool) {
		in := doubt.Input{LifeHours: limit * 10, Scatter: 0.04, CleanPa: clean, PrevCleanPa: clean, BeforeSwapPa: limit, LimitPa: limit}
		if known {
			in.Start = monday
		}
		for i, b := range raw {
			pa := (float64(b) - 20) * 3
			switch b {
			case 254:
				pa = math.NaN()
			case 255:
				pa = math.Inf(1)
			}
			in.Readings = append(in.Readings, doubt.Reading{
				At: monday.Add(time.Duration(i*int(b)) * time.Hour), Seq: int64(i), X: float64(i) * 20, RawPa: pa, Pa: pa * 1.1,
				Weight: float64(b%11) / 10, StepPa: float64(b % 7), Censored: b%13 == 1, Clean: i == 0, NoAir: b%17 == 1, Wet: b%19 == 1,
			})
			if b%23 == 1 {
				in.Fixed = append(in.Fixed, monday.Add(time.Duration(i)*50*time.Hour))
			}
		}
		marks, fs, _ := doubt.Examine(in)
		if len(marks) != len(in.Readings) {
			t.Fatalf("%d marks of %d readings", len(marks), len(in.Readings))
		}
		for _, x := range fs {
			if x.Text == "" || x.Check == "" || x.Blocks && !x.Open || x.Index >= len(raw) {
				t.Errorf("%+v", x)
			}
		}
	})
}

// A life of n daily readings is examined in time that grows no faster than n.
func BenchmarkExamine(b *testing.B) {
	for _, n := range []int{10, 100, 1000, 10000} {
		s := newSet(3)
		s.days, s.event = float64(n), -1
		in, _ := s.life(daily, nil, 0)
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				doubt.Examine(in)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(in.Readings)), "ns/reading")
		})
	}
}
