package chart_test

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"clogwise/internal/chart"
	"clogwise/internal/units"
)

func draw(t testing.TB, in chart.Input) image.Image {
	t.Helper()
	img, err := chart.Draw(in)
	if err != nil {
		t.Fatal(err)
	}
	return img
}

func TestEveryCaseIsAPictureOfTheStatedSize(t *testing.T) {
	t.Parallel()
	for name, in := range cases() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			raw, err := chart.Bank(in)
			if err != nil {
				t.Fatal(err)
			}
			img, err := png.Decode(bytes.NewReader(raw))
			if err != nil {
				t.Fatal(err)
			}
			if got, want := img.Bounds(), image.Rect(0, 0, chart.Width, chart.Height); got != want {
				t.Errorf("bounds are %v, want %v", got, want)
			}
			if *samples != "" {
				if err := os.WriteFile(filepath.Join(*samples, name+".png"), raw, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		})
	}
}

func TestSameInputSameBytes(t *testing.T) {
	t.Parallel()
	in := cases()["torn-bag"]
	a, errA := chart.Bank(in)
	b, errB := chart.Bank(in)
	if errA != nil || errB != nil || !bytes.Equal(a, b) {
		t.Errorf("two drawings differ, or failed: %v, %v", errA, errB)
	}
}

// plain is a picture with nothing but what a test adds, so that a probed pixel
// can only come from there.
func plain() chart.Input {
	return chart.Input{Loc: time.UTC, Now: day(20), From: day(0), To: day(40), LimitPa: 200, Habit: units.SI}
}

func day(n int) time.Time { return time.Date(2026, 3, 1+n, 0, 0, 0, 0, time.UTC) }

// dark is below a third of full brightness, the grey of readings and of ink.
func dark(c color.Color) bool { return color.GrayModel.Convert(c).(color.Gray).Y < 85 }

func white(c color.Color) bool { return color.GrayModel.Convert(c).(color.Gray).Y > 250 }

// orange is the limit: far more red than blue.
func orange(c color.Color) bool {
	r, _, b, _ := c.RGBA()
	return r > b+0x6000
}

func TestMarksAreWhereTheyShouldBe(t *testing.T) {
	t.Parallel()
	in := plain()
	in.Readings = []chart.Reading{
		{At: day(4), Pa: 120},
		{At: day(8), Pa: 120, Doubtful: true},
		{At: day(12), Pa: 150, OverRange: true},
	}
	in.Forecast = []chart.Band{{At: day(26), Low: 20, Mid: 60, High: 140}, {At: day(36), Low: 20, Mid: 60, High: 140}}
	img := draw(t, in)
	at := func(d int, pa float64, dx, dy int) color.Color {
		x, y := chart.Pixel(in, day(d), pa)
		return img.At(x+dx, y+dy)
	}
	for name, ok := range map[string]bool{
		"a reading is filled":                      dark(at(4, 120, 0, 0)) && dark(at(4, 120, 7, 0)) && white(at(4, 120, 16, 0)),
		"a doubtful one is hollow":                 white(at(8, 120, 0, 0)) && dark(at(8, 120, 9, 0)),
		"over range points up":                     dark(at(12, 150, 0, -6)) && dark(at(12, 150, 8, 8)) && white(at(12, 150, 9, -9)),
		"the limit runs from edge to edge":         orange(at(0, 200, 2, 0)) && orange(at(20, 200, 9, 0)) && orange(at(40, 200, -2, 0)),
		"the limit is a line, not an area":         !orange(at(30, 200, 0, 60)),
		"the band is light between low and high":   !white(at(30, 90, 0, 0)) && !dark(at(30, 90, 0, 0)),
		"the band ends at low and high":            white(at(30, 140, 0, -8)) && white(at(30, 20, 0, 8)),
		"no band before the forecast begins":       white(at(24, 90, 0, 0)),
		"without reach no bar stands on the limit": !dark(at(33, 200, 0, 0)),
	} {
		if !ok {
			t.Errorf("not so: %s", name)
		}
	}
}

// Two labels in one row are told apart: "today" beside "4 Feb" would date the one by
// the other.
func TestLabelsStandApart(t *testing.T) {
	t.Parallel()
	all := cases()
	for ahead := 30; ahead < 100; ahead += 3 { // the date's label meets that of today somewhere
		in := plain()
		in.From, in.To = day(-180), day(20+ahead+30)
		in.Reach = &chart.Reach{P10: day(20 + ahead - 5), Median: day(20 + ahead), P90: day(20 + ahead + 9)}
		all["reach "+in.Reach.Median.Format(time.DateOnly)] = in
	}
	for name, in := range all {
		boxes := chart.Labels(in)
		for i, a := range boxes {
			for _, b := range boxes[:i] {
				apart := max(a.Min.X-b.Max.X, b.Min.X-a.Max.X)
				row := min(a.Max.Y, b.Max.Y) - max(a.Min.Y, b.Min.Y)
				if row > 4 && apart < 16 {
					t.Errorf("%s: labels at %v and %v are %.0f apart", name, a, b, apart)
				}
			}
		}
	}
}

// The label of a doubtful reading points at no other: it hides none beside it.
func TestLabelOfADoubtKeepsOffOtherReadings(t *testing.T) {
	t.Parallel()
	in := plain()
	in.Title, in.Subtitle = "AHU-3 primary: reaches 160 Pa about 29 Jan 2027", "North works"
	in.From, in.To, in.Now, in.LimitPa = day(-224), day(176), day(58), 160
	in.Swaps = []time.Time{day(0)}
	in.Readings = []chart.Reading{
		{At: day(-33), Pa: 110}, {At: day(-26), Pa: 120}, {At: day(-12), Pa: 125}, {At: day(-5), Pa: 140},
		{At: day(-19), Pa: 98}, {At: day(-9), Pa: 98}, {At: day(16), Pa: 108}, {At: day(27), Pa: 108},
		{At: day(30), Pa: 125, Doubtful: true}, {At: day(44), Pa: 85}, {At: day(51), Pa: 90}, {At: day(58), Pa: 100},
	}
	in.Curve = []chart.Point{{At: day(0), Pa: 57}, {At: day(58), Pa: 98}}
	in.Forecast = []chart.Band{{At: day(58), Low: 97, Mid: 98, High: 99}, {At: day(123), Low: 150, Mid: 160, High: 175}}
	img := draw(t, in)
	for _, r := range in.Readings {
		x, y := chart.Pixel(in, r.At, r.Pa)
		for _, d := range [][2]int{{7, 0}, {-7, 0}, {0, 7}, {0, -7}} {
			if c := img.At(x+d[0], y+d[1]); !r.Doubtful && !dark(c) {
				t.Errorf("the reading of %s is hidden %d, %d beside its middle", r.At.Format(time.DateOnly), d[0], d[1])
			}
		}
	}
}

func TestReachIsABarOnTheLimit(t *testing.T) {
	t.Parallel()
	in := plain()
	in.Reach = &chart.Reach{P10: day(24), Median: day(28), P90: day(36)}
	img := draw(t, in)
	at := func(d, dx int) color.Color {
		x, y := chart.Pixel(in, day(d), 200)
		return img.At(x+dx, y)
	}
	for name, ok := range map[string]bool{
		"bar from p10":      dark(at(24, 3)) && orange(at(24, -4)),
		"bar to p90":        dark(at(36, -3)) && orange(at(36, 4)),
		"diamond on median": dark(at(28, 0)),
	} {
		if !ok {
			t.Errorf("not so: %s", name)
		}
	}
}

// A curve must not be joined across a change-out: the filters in between never
// had those resistances.
func TestCurveBreaksAtASwap(t *testing.T) {
	t.Parallel()
	in := plain()
	in.Curve = []chart.Point{{At: day(2), Pa: 160}, {At: day(6), Pa: 180}, {At: day(14), Pa: 60}, {At: day(18), Pa: 80}}
	x, y := chart.Pixel(in, day(10), 120) // halfway along the join
	if c := draw(t, in).At(x, y); white(c) {
		t.Fatal("without a swap the curve should run through here")
	}
	in.Swaps = []time.Time{day(13)}
	if c := draw(t, in).At(x, y); !white(c) {
		t.Errorf("the curve runs on through the swap: %v", c)
	}
}

func TestAReadingBeyondThePictureStandsAtItsTop(t *testing.T) {
	t.Parallel()
	in := plain()
	in.Readings = []chart.Reading{{At: day(4), Pa: 120}, {At: day(10), Pa: 2500, Doubtful: true}}
	_, lone := chart.Pixel(plain(), day(4), 120)
	x, y := chart.Pixel(in, day(4), 120)
	if y != lone || !dark(draw(t, in).At(x, y)) {
		t.Errorf("a wild reading moved the others from row %d to %d", lone, y)
	}
}

func TestRefusesWhatCannotBeDrawn(t *testing.T) {
	t.Parallel()
	for name, spoil := range map[string]func(*chart.Input){
		"no zone":            func(in *chart.Input) { in.Loc = nil },
		"no now":             func(in *chart.Input) { in.Now = time.Time{} },
		"NaN reading":        func(in *chart.Input) { in.Readings = []chart.Reading{{At: day(1), Pa: math.NaN()}} },
		"infinite reading":   func(in *chart.Input) { in.Readings = []chart.Reading{{At: day(1), Pa: math.Inf(1)}} },
		"NaN curve":          func(in *chart.Input) { in.Curve = []chart.Point{{At: day(1), Pa: math.NaN()}} },
		"NaN limit":          func(in *chart.Input) { in.LimitPa = math.NaN() },
		"NaN clean":          func(in *chart.Input) { in.CleanPa = math.NaN() },
		"NaN band":           func(in *chart.Input) { in.Forecast = []chart.Band{{At: day(1), Low: 1, Mid: 2, High: math.NaN()}} },
		"infinite band":      func(in *chart.Input) { in.Forecast = []chart.Band{{At: day(1), Low: 1, Mid: 2, High: math.Inf(1)}} },
		"band upside down":   func(in *chart.Input) { in.Forecast = []chart.Band{{At: day(1), Low: 3, Mid: 2, High: 1}} },
		"band back in time":  func(in *chart.Input) { in.Forecast = []chart.Band{{At: day(2)}, {At: day(1)}} },
		"reach out of order": func(in *chart.Input) { in.Reach = &chart.Reach{P10: day(3), Median: day(2), P90: day(4)} },
		"span back in time":  func(in *chart.Input) { in.From, in.To = day(3), day(2) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			in := plain()
			spoil(&in)
			if got, err := chart.Bank(in); !errors.Is(err, chart.ErrInput) || got != nil {
				t.Errorf("got %d bytes, error %v; want ErrInput", len(got), err)
			}
		})
	}
}

// Neither odd spans nor odd texts may fail: people ask for charts of banks that
// were set up a minute ago.
func TestOddInputIsDrawn(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*chart.Input){
		"from after everything": func(in *chart.Input) { in.From, in.To = day(400), time.Time{} },
		"to before everything":  func(in *chart.Input) { in.From, in.To = time.Time{}, day(-4000) },
		"two centuries":         func(in *chart.Input) { in.From, in.To = day(0), day(73000) },
		"one minute":            func(in *chart.Input) { in.From, in.To = day(0), day(0).Add(time.Minute) },
		"negative reading":      func(in *chart.Input) { in.Readings = []chart.Reading{{At: day(3), Pa: -20, Doubtful: true}} },
		"no title":              func(in *chart.Input) { in.Title = "" },
		"a word without end":    func(in *chart.Input) { in.Title = string(bytes.Repeat([]byte("W"), 500)) },
		"tiny limit":            func(in *chart.Input) { in.LimitPa = 1e-9 },
		"far forecast": func(in *chart.Input) {
			in.From, in.To = time.Time{}, time.Time{}
			in.Reach = &chart.Reach{P10: day(100), Median: day(3000), P90: day(30000)}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			in := plain()
			change(&in)
			draw(t, in)
		})
	}
}

func BenchmarkBank(b *testing.B) {
	in := cases()["dense-year"]
	for b.Loop() {
		if _, err := chart.Bank(in); err != nil {
			b.Fatal(err)
		}
	}
}
