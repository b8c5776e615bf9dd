package duelist_test

import (
	"math"
	"testing"
	"time"

	"clogwise/internal/duelist"
)

var now = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

func ago(days int) time.Time { return now.AddDate(0, 0, -days) }

// half is a sound bank half way to its limit.
func half() duelist.Evidence {
	return duelist.Evidence{
		LifeStart: ago(90), LastRead: ago(3), ReadEvery: 7,
		SeenPa: 130, PaNow: 130, CleanPa: 60, LimitPa: 200, ByNow: 0.01, BySoon: 0.1,
	}
}

func TestClassify(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(*duelist.Evidence)
		want   duelist.Condition
	}{
		"half way":                         {func(*duelist.Evidence) {}, duelist.Loading},
		"just above clean":                 {func(e *duelist.Evidence) { e.PaNow = 73 }, duelist.Clean},
		"a tenth of the way":               {func(e *duelist.Evidence) { e.PaNow = 75 }, duelist.Loading},
		"clean value not known":            {func(e *duelist.Evidence) { e.PaNow, e.CleanPa, e.LimitPa = 60, 0, 0 }, duelist.Loading},
		"likely within a fortnight":        {func(e *duelist.Evidence) { e.BySoon = 0.5 }, duelist.DueSoon},
		"cap within a fortnight":           {func(e *duelist.Evidence) { e.CapAt = now.AddDate(0, 0, 14) }, duelist.DueSoon},
		"cap after a fortnight":            {func(e *duelist.Evidence) { e.CapAt = now.AddDate(0, 0, 15) }, duelist.Loading},
		"likely reached":                   {func(e *duelist.Evidence) { e.ByNow, e.BySoon = 0.5, 0.9 }, duelist.Due},
		"seen at the limit":                {func(e *duelist.Evidence) { e.SeenPa = 200 }, duelist.Overdue},
		"cap passed":                       {func(e *duelist.Evidence) { e.CapAt = now }, duelist.Overdue},
		"doubtful":                         {func(e *duelist.Evidence) { e.Doubtful, e.ByNow = true, 0.9 }, duelist.Doubtful},
		"doubtful reading over the limit":  {func(e *duelist.Evidence) { e.Doubtful, e.SeenPa = true, 300 }, duelist.Doubtful},
		"doubtful but past its cap":        {func(e *duelist.Evidence) { e.Doubtful, e.CapAt = true, ago(1) }, duelist.Overdue},
		"read three weeks ago":             {func(e *duelist.Evidence) { e.LastRead = ago(21) }, duelist.Loading},
		"read longer ago":                  {func(e *duelist.Evidence) { e.LastRead, e.ByNow = ago(22), 0.9 }, duelist.Unread},
		"never read, changed last week":    {func(e *duelist.Evidence) { e.LastRead, e.LifeStart, e.PaNow = time.Time{}, ago(7), 62 }, duelist.Clean},
		"never read, changed long ago":     {func(e *duelist.Evidence) { e.LastRead = time.Time{} }, duelist.Unread},
		"nothing known":                    {func(e *duelist.Evidence) { *e = duelist.Evidence{ByNow: math.NaN(), BySoon: math.NaN()} }, duelist.Unread},
		"seen over the limit, then unread": {func(e *duelist.Evidence) { e.LastRead, e.SeenPa = ago(60), 210 }, duelist.Overdue},
		"no gauge, judged by time": {func(e *duelist.Evidence) {
			*e = duelist.Evidence{NoGauge: true, CapAt: now.AddDate(0, 1, 0), ByNow: math.NaN(), BySoon: math.NaN()}
		}, duelist.Loading},
		"no interval given: a week":       {func(e *duelist.Evidence) { e.ReadEvery, e.LastRead = 0, ago(22) }, duelist.Unread},
		"monthly readings are not a week": {func(e *duelist.Evidence) { e.ReadEvery, e.LastRead = 30, ago(60) }, duelist.Loading},
		"no forecast":                     {func(e *duelist.Evidence) { e.ByNow, e.BySoon = math.NaN(), math.NaN() }, duelist.Loading},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			e := half()
			c.change(&e)
			if got := duelist.Classify(e, duelist.DefaultSettings(), now); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

func TestClassifyFollowsItsSettings(t *testing.T) {
	t.Parallel()
	s := duelist.DefaultSettings()
	s.SoonDays, s.SoonChance, s.CleanShare = 30, 0.1, 0.6
	e := half()
	if got := duelist.Classify(e, s, now); got != duelist.DueSoon {
		t.Errorf("with one chance in ten enough: %q", got)
	}
	if e.BySoon = 0; duelist.Classify(e, s, now) != duelist.Clean {
		t.Errorf("with 60 %% of the way counting as clean: %q", duelist.Classify(e, s, now))
	}
	if got, want := s.SoonBy(now), now.AddDate(0, 0, 30); !got.Equal(want) {
		t.Errorf("soon is %s, want %s", got, want)
	}
}

// More dirt never makes the condition milder.
func TestClassifyIsMonotone(t *testing.T) {
	t.Parallel()
	severity := map[duelist.Condition]int{duelist.Clean: 0, duelist.Loading: 1, duelist.DueSoon: 2, duelist.Due: 3, duelist.Overdue: 4}
	last := 0
	for pa := 60.0; pa <= 220; pa++ {
		e := half()
		e.SeenPa, e.PaNow = pa, pa
		e.ByNow, e.BySoon = chance(pa-195), chance(pa-170)
		got, known := severity[duelist.Classify(e, duelist.DefaultSettings(), now)]
		if !known || got < last {
			t.Fatalf("at %v Pa severity falls from %d to %d", pa, last, got)
		}
		last = got
	}
	if last != severity[duelist.Overdue] {
		t.Errorf("past the limit it ends at %d", last)
	}
}

func chance(x float64) float64 { return 1 / (1 + math.Exp(-x/4)) }
