package bot_test

import (
	"testing"
	"time"
)

// What was not planned cannot be cancelled, and the reply does not claim it.
func TestCancellingWhatIsNotPlannedSaysSo(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		before []string
		say    string
		want   string
	}{
		{"no booking", nil, "cancel AHU-1 bag", "No change-out of AHU-1 secondary is booked; nothing was changed."},
		{"cancelled twice", []string{"book AHU-1 bag 6 Mar 09:00 with Tove", "cancel AHU-1 bag"}, "cancel AHU-1 bag", "No change-out of AHU-1 secondary is booked"},
		{"taken back twice", []string{"defer AHU-1 bag to 20 Mar: no filters", "undefer AHU-1 bag"}, "undefer AHU-1 bag", "AHU-1 secondary is not put off"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			for _, s := range c.before {
				if _, reply := r.says(maren, s); reply == "" {
					t.Fatal("no reply to", s)
				}
			}
			was := r.count()
			_, reply := r.says(maren, c.say)
			wantText(t, reply, c.want)
			if r.count() != was {
				t.Errorf("recorded: %q", r.standing())
			}
		})
	}
}

func TestAMovedBookingKeepsItsTimeAndCrew(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(maren, "book AHU-1 bag 6 Mar 14:30 with Tove and Idris")
	_, reply := r.says(maren, "move AHU-1 bag to 10 Mar")
	wantText(t, reply, "Tue 10 Mar 14:30 with Tove, Idris")
	jobs, err := r.view.OpenJobs(t.Context())
	must(t, err)
	if len(jobs) != 1 || !jobs[0].Start.Equal(time.Date(2026, 3, 10, 14, 30, 0, 0, time.UTC)) {
		t.Errorf("%+v", jobs)
	}
}
