package bot_test

import (
	"strings"
	"testing"
)

// kinds counts the standing entries of a kind at a place.
func (r *rig) kinds(prefix string) int {
	r.t.Helper()
	n := 0
	for _, s := range r.standing() {
		if strings.HasPrefix(s, prefix) {
			n++
		}
	}
	return n
}

// The end of work opens a life only where somebody said that filters were changed.
func TestEndOfWorkAsksWhichFiltersWereChanged(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name          string
		before        []string
		say, question string
		answer        string
		swaps         []string
		open          string // part of the answer to "due" of what stays booked; empty: not looked at
	}{
		{"repair, booked for Friday", []string{"M: book AHU-2 bag 6 Mar 09:00 with Tove", "ahu2 fan off for repair"}, "AHU-2 back on",
			"No job was begun there", "none", nil, "2026-03-06"},
		{"repair, nothing booked", []string{"AHU-1 fan off for repair"}, "AHU-1 back on", "No job was begun there", "none", nil, ""},
		{"no job, one changed", nil, "AHU-1 back on", "No job was begun there", "primary", []string{"swap clinic/ahu-1/primary count=? clean=? confirmed=false"}, ""},
		{"unbooked, none", []string{"on site AHU-1, about to start"}, "finished AHU-1", "Which filters were changed", "none", nil, ""},
		{"unbooked, one", []string{"on site AHU-1, about to start"}, "finished AHU-1", "Which filters were changed", "bag",
			[]string{"swap clinic/ahu-1/secondary count=? clean=? confirmed=false"}, ""},
		{"unbooked, both, bare word", []string{"on site AHU-1, about to start"}, "finished", "Which filters were changed", "both",
			[]string{"swap clinic/ahu-1/primary count=? clean=? confirmed=false", "swap clinic/ahu-1/secondary count=? clean=? confirmed=false"}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			for _, s := range c.before {
				if after, ok := strings.CutPrefix(s, "M: "); ok {
					r.says(maren, after)
					continue
				}
				r.says(tove, s)
			}
			was := r.count()
			_, reply := r.says(tove, c.say)
			wantText(t, reply, c.question, "Nothing saved yet")
			if r.count() != was {
				t.Errorf("recorded before it was clear: %q", r.standing())
			}
			if _, reply = r.says(tove, c.answer); reply == "" {
				t.Error("no answer")
			}
			var swaps []string
			for _, s := range r.standing() {
				if strings.HasPrefix(s, "swap") {
					swaps = append(swaps, s)
				}
			}
			if strings.Join(swaps, "\n") != strings.Join(c.swaps, "\n") {
				t.Errorf("change-outs %q, want %q", swaps, c.swaps)
			}
			jobs, err := r.view.OpenJobs(t.Context())
			must(t, err)
			if c.open == "" && len(jobs) != 0 || c.open != "" && (len(jobs) != 1 || jobs[0].Start.Format("2006-01-02") != c.open) {
				t.Errorf("open jobs: %+v", jobs)
			}
		})
	}
}

// What was said already is not asked for again.
func TestEndOfWorkSaidInFullIsNotAskedAbout(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(tove, "on site AHU-1, about to start")
	_, reply := r.says(tove, "AHU-1 back on, no filters changed")
	if strings.Contains(reply, "Which filters") || r.kinds("swap") != 0 || r.kinds("job-done") != 2 {
		t.Errorf("reply %q, standing %q", reply, r.standing())
	}
}
