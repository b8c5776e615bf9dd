package forecast_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"clogwise/internal/forecast"
)

// seasonal draws lives of banks at a site whose dust swings over the year,
// highest in March, from the first hour of a January on.
func seasonal(seed uint64, banks, lives int, swing, scatter float64) []forecast.SeasonLife {
	rnd := rand.New(rand.NewPCG(seed, 8))
	var out []forecast.SeasonLife
	for b := range banks {
		dose := 1500 * math.Exp(0.4*rnd.NormFloat64())
		hour := 8760 * rnd.Float64()
		for range lives {
			l := forecast.SeasonLife{Group: fmt.Sprint("bank ", b)}
			want := dose * math.Exp(scatter*rnd.NormFloat64())
			for met := 0.0; met < want; hour += 12 {
				m := int(math.Mod(hour, 8760) / 730)
				l.Hours[m] += 12
				met += 12 * (1 + swing*math.Sin(2*math.Pi*(float64(m)+0.5)/12))
			}
			out = append(out, l)
		}
	}
	return out
}

func TestSeasonIsLearnt(t *testing.T) {
	t.Parallel()
	s := forecast.LearnSeason(seasonal(1, 20, 6, 0.5, 0.1))
	mean := 0.0
	for m, f := range s {
		mean += f / 12
		truth := 1 + 0.5*math.Sin(2*math.Pi*(float64(m)+0.5)/12)
		if math.Abs(f-truth) > 0.2 {
			t.Errorf("%s: factor %.2f, true %.2f", time.Month(m+1), f, truth)
		}
	}
	if math.Abs(mean-1) > 1e-12 {
		t.Errorf("mean factor %v, want 1", mean)
	}
}

func TestSeasonStaysFlatWithoutEvidence(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		lives []forecast.SeasonLife
		off   float64
	}{
		{"no lives", nil, 0},
		{"one life a bank", seasonal(2, 8, 1, 0.5, 0.1), 0},
		{"half a year", []forecast.SeasonLife{
			{Group: "a", Hours: [12]float64{700, 700}}, {Group: "a", Hours: [12]float64{0, 0, 700, 700}},
			{Group: "a", Hours: [12]float64{0, 0, 0, 0, 700, 700}}}, 0},
		{"no season", seasonal(3, 20, 6, 0, 0.1), 0.12},
		{"few lives are drawn to 1", seasonal(4, 1, 4, 0.5, 0.1), 0.45},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			for m, f := range forecast.LearnSeason(tt.lives) {
				if math.Abs(f-1) > tt.off {
					t.Errorf("%s: factor %.3f, want 1 ± %v", time.Month(m+1), f, tt.off)
				}
			}
		})
	}
}

func TestSeasonOrderLeavesNoTrace(t *testing.T) {
	t.Parallel()
	lives := seasonal(5, 4, 5, 0.4, 0.1)
	want := forecast.LearnSeason(lives)
	slices.Reverse(lives)
	if got := forecast.LearnSeason(lives); got != want {
		t.Errorf("reversed: %v, want %v", got, want)
	}
}

func TestSeasonDoseAndBack(t *testing.T) {
	t.Parallel()
	s := forecast.FlatSeason()
	s[time.March-1], s[time.April-1] = 2, 0.5
	coming := []forecast.MonthHours{{Month: time.March, Hours: 100}, {Month: time.April, Hours: 200}, {Month: time.May, Hours: 50}}
	if got := s.Dose(coming[:2]); got != 300 { // 2·100 + ½·200: the same as without a season
		t.Errorf("dose %v, want 300", got)
	}
	if got := s.Dose(coming[:1]); got != 200 {
		t.Errorf("dose of March %v, want 200", got)
	}
	if got := s.Dose(coming[1:]); got != 150 { // ½·200 + 50
		t.Errorf("dose of April and May %v, want 150", got)
	}
	for dose, want := range map[float64]float64{50: 25, 200: 100, 250: 200, 325: 325, 400: 400} {
		if got := s.HoursFor(dose, coming); math.Abs(got-want) > 1e-9 {
			t.Errorf("hours for dose %v: %v, want %v", dose, got, want)
		}
	}
}
