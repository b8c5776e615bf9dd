package demo_test

import (
	"testing"
	"time"

	"clogwise/configs"
	"clogwise/internal/demo"
	"clogwise/internal/digest"
	"clogwise/internal/plant"
	"clogwise/internal/safework"
)

// Whenever the demo is opened, no reminder is owed at once: the due list comes
// first.
func TestDemoBeginsWithoutAReminder(t *testing.T) {
	t.Parallel()
	steps, err := safework.Load(configs.SafeWorkSteps)
	if err != nil {
		t.Fatal(err)
	}
	reg := plant.NewRegister(demo.Portfolio())
	for _, now := range []time.Time{
		time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC),
		time.Date(2026, 11, 25, 18, 30, 0, 0, time.UTC),
		time.Date(2026, 11, 27, 16, 0, 0, 0, time.UTC), // a Friday
		time.Date(2026, 11, 28, 12, 0, 0, 0, time.UTC),
		time.Date(2026, 12, 24, 23, 0, 0, 0, time.UTC),
	} {
		entries := demo.History(demo.Portfolio(), now, 1)
		for i := range entries {
			entries[i].Seq = int64(i + 1)
		}
		jobs := digest.OpenJobs(entries)
		if len(jobs) == 0 {
			t.Fatalf("%v: nothing booked", now)
		}
		for _, s := range reg.Sites() {
			for _, r := range digest.Reminders(jobs, reg, s, steps, digest.Shortly, now) {
				t.Errorf("%v: %s is owed for %v", now, r.When, r.Jobs[0].Start)
			}
		}
	}
}
