package realised_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/assess"
	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
	"clogwise/internal/realised"
)

const (
	bank  = plant.BankID("clinic/ahu-1/primary")
	ahead = 30 * 24 * time.Hour
)

var begun = time.Date(2025, 6, 2, 8, 0, 0, 0, time.UTC)

// history is a life of weekly readings that rise steadily, ended by a change-out.
func history(days int, received time.Duration) []entry.Entry {
	clean := 60.0
	out := []entry.Entry{{Seq: 1, Kind: entry.KindSwap, Place: bank, At: begun, Received: begun, Body: entry.Swap{Confirmed: true, CleanPa: &clean}}}
	add := func(day int, b entry.Body) {
		at := begun.AddDate(0, 0, day)
		out = append(out, entry.Entry{Seq: int64(len(out) + 1), Kind: b.Kind(), Place: bank, At: at, Received: at.Add(received), Body: b})
	}
	for day := 7; day < days; day += 7 {
		add(day, entry.Reading{Pa: clean + float64(day)*0.5})
	}
	add(days, entry.Swap{Confirmed: true, CleanPa: &clean})
	return out
}

func input(entries []entry.Entry) assess.Input {
	return assess.Input{
		Register: plant.NewRegister(demo.Portfolio()), Bank: bank, Entries: entries,
		Prior: forecast.ClassPrior(string(plant.Primary)), Now: entries[len(entries)-1].At.AddDate(0, 0, 1),
	}
}

// The forecast is the one that was made then: assessed by hand from the entries
// of the time it is the same to the last digit.
func TestForecastIsThatOfTheTime(t *testing.T) {
	t.Parallel()
	all := history(200, time.Minute)
	o, ok := realised.Of(input(all), ahead)
	if !ok {
		t.Fatal("no outcome")
	}
	if want := begun.AddDate(0, 0, 200); !o.Swapped.Equal(want) || !o.Made.Equal(want.Add(-ahead)) {
		t.Errorf("changed %s, forecast made %s", o.Swapped, o.Made)
	}
	in := input(all)
	in.Now = o.Made
	in.Entries = nil
	for _, x := range all {
		if !x.Received.After(o.Made) {
			in.Entries = append(in.Entries, x)
		}
	}
	if diff := cmp.Diff(assess.Bank(in).Dates, o.Forecast); diff != "" {
		t.Errorf("forecast (-of the time +got):\n%s", diff)
	}
}

func TestNothingToCompare(t *testing.T) {
	t.Parallel()
	for name, entries := range map[string][]entry.Entry{
		"imported afterwards: nothing was known then": history(200, 400*24*time.Hour)[1:],
		"shorter than the time ahead":                 history(20, 0),
		"never changed":                               history(200, 0)[1:25],
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if o, ok := realised.Of(input(entries), ahead); ok {
				t.Errorf("got %+v", o)
			}
		})
	}
}

// Computed by hand: errors of +4, −10 and +1 days, two of them inside.
func TestSum(t *testing.T) {
	t.Parallel()
	day := func(n int) time.Time { return begun.AddDate(0, 0, n) }
	var os []realised.Outcome
	for _, e := range []int{4, -10, 1} {
		os = append(os, realised.Outcome{Forecast: assess.Dates{Median: day(0), P10: day(-5), P90: day(5)}, Swapped: day(e)})
	}
	s := realised.Sum(os)
	if s.Count != 3 || s.MedianAbsDays != 4 || math.Abs(s.MeanDays-(-5.0/3)) > 1e-12 || math.Abs(s.InsideShare-2.0/3) > 1e-12 {
		t.Errorf("got %+v", s)
	}
	if got := realised.Sum(nil); got != (realised.Summary{}) {
		t.Errorf("of none: %+v", got)
	}
}
