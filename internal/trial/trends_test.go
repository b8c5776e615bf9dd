package trial_test

import (
	"testing"
	"time"

	"clogwise/internal/config"
	"clogwise/internal/trial"
)

// Every value of every bank is in the ledger once, and each day becomes one
// reading made of all its values, whatever the speed comes to.
func TestTrends(t *testing.T) {
	t.Parallel()
	const banks, days = 40, 2
	told := 0
	rep, err := trial.RunTrends(t.Context(), trial.Trends{
		Dir: t.TempDir(), Banks: banks, Days: days, History: 3, Speed: 200_000, Batch: 7, Parallel: 3,
		Worker: config.Worker{Parallel: 2, ClaimAfter: 30 * time.Second, MaxTries: 5, SweepEvery: time.Minute},
		Tell:   func(trial.TrendDay) { told++ },
	})
	if err != nil {
		t.Fatal(err)
	}
	const values = banks * days * 96
	if rep.Values != values || rep.Recorded != values || rep.Kept != values || rep.Readings != banks*days {
		t.Errorf("sent %d, recorded %d, kept %d, want %d; %d readings, want %d", rep.Values, rep.Recorded, rep.Kept, values, rep.Readings, banks*days)
	}
	if rep.Missing != 0 || rep.Uneven != 0 || rep.Lagging != 0 || rep.Refused != 0 || !rep.Sound() {
		t.Errorf("%+v", rep)
	}
	if told != days || len(rep.Days) != days {
		t.Fatalf("%d days told of, %d reported", told, len(rep.Days))
	}
	// register 1 site, 20 AHUs, 40 banks; a change-out, a point and three readings each
	const before = 61 + banks*5
	if d := rep.Days[days-1]; d.Entries != before+values+banks*days || d.Ledger <= 0 || d.PerValue <= 0 {
		t.Errorf("%+v, want %d entries", d, before+values+banks*days)
	}
}

// A trial that makes no sense is refused before anything is built.
func TestTrendsRefused(t *testing.T) {
	t.Parallel()
	good := trial.Trends{Dir: t.TempDir(), Banks: 1, Days: 1, Speed: 1, Batch: 1, Parallel: 1}
	for name, spoil := range map[string]func(*trial.Trends){
		"banks": func(o *trial.Trends) { o.Banks = 0 }, "days": func(o *trial.Trends) { o.Days = 401 },
		"speed": func(o *trial.Trends) { o.Speed = 0.5 }, "batch": func(o *trial.Trends) { o.Batch = 10_001 },
		"parallel": func(o *trial.Trends) { o.Parallel = 0 }, "history": func(o *trial.Trends) { o.History = -1 },
	} {
		o := good
		spoil(&o)
		if _, err := trial.RunTrends(t.Context(), o); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}
