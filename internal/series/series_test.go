package series_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"clogwise/internal/series"
)

// straight is a life that grows evenly from 60 to 145 Pa in 4380 h, the ramp of
// common practice (no source): it meets 200 Pa after 7214 h.
func straight(column string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s,pa\n", column)
	for h := 0.0; h <= 4380; h += 365 {
		x := fmt.Sprint(h)
		if column == "time" {
			x = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(2 * h * float64(time.Hour))).Format(time.RFC3339)
		}
		fmt.Fprintf(&b, "%s,%.0f\n", x, 60+85*h/4380)
	}
	return b.String()
}

func TestStraightLife(t *testing.T) {
	f, err := series.Of(strings.NewReader(straight("hours")), series.Options{LimitPa: 200, CleanPa: 60})
	if err != nil {
		t.Fatal(err)
	}
	left := (200-60)/(85/4380.0) - 4380 // 2834 h by the straight line
	if f.P025Hours > left || f.P10Hours > f.MedianHours || f.MedianHours > f.P90Hours || f.P975Hours < f.P90Hours {
		t.Errorf("quantiles out of order or past the straight line's %.0f h: %+v", left, f)
	}
	if f.MedianHours < 0.4*left || f.MedianHours > 1.3*left {
		t.Errorf("median %.0f h, far from the straight line's %.0f h", f.MedianHours, left)
	}
	if math.Abs(f.PaNow-145) > 6 || f.Prior != "class" || len(f.Findings) != 0 {
		t.Errorf("got %+v", f)
	}
}

// A fan that runs twelve hours a day needs twice the days for the same hours.
func TestTimesFollowHoursPerDay(t *testing.T) {
	byHours, err := series.Of(strings.NewReader(straight("hours")), series.Options{LimitPa: 200})
	if err != nil {
		t.Fatal(err)
	}
	byTime, err := series.Of(strings.NewReader(straight("time")), series.Options{LimitPa: 200, HoursPerDay: 12})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(byHours.MedianHours-byTime.MedianHours) > 0.02*byHours.MedianHours {
		t.Errorf("median %.0f h by hours, %.0f h by times", byHours.MedianHours, byTime.MedianHours)
	}
}

func TestFaultsNameRowAndColumn(t *testing.T) {
	for _, tc := range []struct{ name, table, says string }{
		{"empty", "", "header"},
		{"no pa", "hours,x\n1,2\n", "want pa"},
		{"both axes", "hours,time,pa\n1,2026-01-01,3\n", "one of hours, time"},
		{"no rows", "hours,pa\n", "no rows"},
		{"not a number", "hours,pa\n1,100\n2,x\n", "row 3, pa"},
		{"NaN", "hours,pa\n1,NaN\n", "row 2, pa"},
		{"negative hours", "hours,pa\n-1,100\n", "row 2, hours"},
		{"bad time", "time,pa\nyesterday,100\n", "row 2, time"},
		{"empty cell", "hours,pa\n1,\n", "row 2, pa"},
		{"beyond belief", "hours,pa\n1,9000\n", "row 2, pa"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := series.Of(strings.NewReader(tc.table), series.Options{})
			if err == nil || !strings.Contains(err.Error(), tc.says) {
				t.Errorf("got %v, want it to say %q", err, tc.says)
			}
		})
	}
	for _, o := range []series.Options{{Stage: "fourth"}, {LimitPa: -1}, {HoursPerDay: 25}, {CleanPa: 200, LimitPa: 150}} {
		if _, err := series.Of(strings.NewReader("hours,pa\n1,100\n"), o); err == nil {
			t.Errorf("%+v was taken", o)
		}
	}
}

func FuzzOf(f *testing.F) {
	f.Add("hours,pa\n1,100\n2,110\n")
	f.Add("time,pa,fan_pct\n2026-01-01,100,90\n")
	f.Fuzz(func(t *testing.T, table string) {
		out, err := series.Of(strings.NewReader(table), series.Options{})
		if err == nil && (math.IsNaN(out.MedianHours) || out.MedianHours < 0) {
			t.Errorf("median %g h", out.MedianHours)
		}
	})
}

// A reading at hours 0 was taken of the clean set, whatever is usual for its class.
func TestFirstRowAtNothingIsTheCleanReading(t *testing.T) {
	t.Parallel()
	for _, clean := range []float64{45, 110} {
		in := fmt.Sprintf("hours,pa\n0,%g\n500,%g\n1000,%g\n1500,%g\n", clean, clean+20, clean+40, clean+60)
		f, err := series.Of(strings.NewReader(in), series.Options{LimitPa: 250})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(f.CleanPa-clean) > 1 {
			t.Errorf("read %g Pa at nothing, but clean is taken as %.0f Pa", clean, f.CleanPa)
		}
	}
}
