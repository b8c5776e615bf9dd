package bot_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"clogwise/bot"
	"clogwise/internal/channel"
)

// offered finds a button by its action in what was posted last.
func (r *rig) offered(action string) channel.Choice {
	r.t.Helper()
	posts, err := r.store.Posts(r.t.Context(), "", 0)
	must(r.t, err)
	for _, p := range slices.Backward(posts) {
		for _, c := range p.Post.Choices {
			if c.Action == action {
				return c
			}
		}
	}
	r.t.Fatalf("no button does %q", action)
	return channel.Choice{}
}

// Every button works after a restart, once: pressed again, after another restart, it
// records nothing more and says why.
func TestEveryButtonSurvivesARestartAndASecondPress(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name         string
		who          string
		show         func(r *rig)
		action       string
		first, again string
	}{
		{"an answer", tove, func(r *rig) { r.says(tove, "AHU-3 62 Pa") }, "answer", "AHU-3 primary: 62 Pa", "answered already"},
		{"undo", tove, func(r *rig) { r.says(tove, "AHU-3 pre 62 Pa") }, "undo", "Taken back", "was taken back already; nothing was changed"},
		{"confirm a change-out", tove, func(r *rig) {
			r.aged()
			r.says(tove, "AHU-3 bag 147 Pa")
			r.now = r.now.AddDate(0, 0, 1)
			r.says(tove, "AHU-3 bag changed 2 days ago")
		}, "confirm", "confirmed (#", "is confirmed already"},
		{"steps read", tove, func(r *rig) {
			r.says(maren, "book AHU-2 bag 4 Mar 14:00 with Tove and Idris")
			r.now = time.Date(2026, 3, 4, 14, 0, 0, 0, time.UTC)
			r.says(tove, "on site AHU-2, starting")
		}, "steps-read", "Noted: Tove", "Already noted: Tove"},
		{"record a file", tove, func(r *rig) { r.hear(r.drop(tove, "week.csv", readingsFile)) }, "import", "3 rows recorded", "recorded before; nothing new"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			c.show(r)
			button := r.offered(c.action)
			before := r.count()
			r.restart()
			wantText(t, r.pressed(c.who, button), c.first)
			once := r.count()
			if once <= before {
				t.Errorf("nothing was recorded: %d entries, %d before", once, before)
			}
			r.restart()
			if again := r.pressed(c.who, button); !strings.Contains(again, c.again) {
				t.Errorf("pressed again: %q, want %q", again, c.again)
			}
			if n := r.count(); n != once {
				t.Errorf("the second press recorded %d entries", n-once)
			}
		})
	}
}

// The buttons that open a form to book and to put off survive a restart; a form handed
// in twice records once, and a second form finds what the first has settled.
func TestFormButtonsSurviveARestartAndASecondPress(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, label  string
		values       []string
		first, again string
		jobs         int
	}{
		{"book", "Book AHU-2 primary", []string{"day", "2026-03-12", "start", "09:00", "crew", "Tove"}, "change-out booked for Thu 12 Mar 09:00 with Tove", "AHU-2 primary is booked so already, for Thu 12 Mar 09:00; nothing was changed.", 1},
		{"put off", "Put off AHU-2 primary", []string{"day", "2026-03-20", "reason", "theatre list full"}, "put off until 20 Mar", "AHU-2 primary is put off so already, until 20 Mar; nothing was changed.", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			r.says(tove, "AHU-2 pre 140 Pa")
			r.says(tove, "AHU-2 pre 152 Pa")
			due, reply := r.says(maren, "due")
			wantText(t, reply, "AHU-2 primary")
			post, err := r.store.Post(t.Context(), bot.ReplyKey(due))
			must(t, err)
			i := slices.IndexFunc(post.Post.Choices, func(b channel.Choice) bool { return b.Label == c.label })
			if i < 0 {
				t.Fatalf("no button %q: %+v", c.label, post.Post.Choices)
			}
			button := post.Post.Choices[i]
			open := func() (channel.Message, *channel.Form) {
				r.restart()
				m := r.message(maren, "")
				f, err := r.engine.OpenForm(t.Context(), channel.Press{Platform: m.Platform, Team: m.Team, Channel: m.Channel, ID: m.ID, User: maren, UserName: maren,
					Action: button.Action, Value: button.Value, At: r.now})
				must(t, err)
				if f == nil {
					t.Fatal("the button opens nothing")
				}
				return m, f
			}
			m, form := open()
			for range 2 {
				_, reply := r.submit(m, form.ID, c.values...)
				wantText(t, reply, c.first)
			}
			made := r.count()
			m, form = open()
			if !strings.Contains(form.Intro, "already") || form.Fields[0].Value != c.values[1] {
				t.Errorf("the form of an old button: %+v", form)
			}
			faults, reply := r.submit(m, form.ID, c.values...)
			if len(faults) > 0 || reply != c.again || r.count() != made {
				t.Errorf("pressed again: %v %q, %d entries more", faults, reply, r.count()-made)
			}
			_, reply = r.submit(r.message(maren, ""), form.ID, "day", "2026-03-27", c.values[2], c.values[3])
			wantText(t, reply, "27 Mar")
			jobs, err := r.view.OpenJobs(t.Context())
			must(t, err)
			if len(jobs) != c.jobs {
				t.Errorf("%d jobs are planned, want %d", len(jobs), c.jobs)
			}
		})
	}
}
