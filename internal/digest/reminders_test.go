package digest_test

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"clogwise/internal/digest"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
	"clogwise/internal/safework"
)

// whens tells reminders by the moment of their list; "unread" for a word to the
// supervisors.
func whens(rs []digest.Reminder) []string {
	out := []string{}
	for _, r := range rs {
		if r.When == "" {
			out = append(out, "unread")
			continue
		}
		out = append(out, string(r.When))
	}
	return out
}

// When lists are owed. Starts and moments are on the site's own clock; every
// expectation follows from the rules in the doc comment of Reminders.
func TestWhenListsAreOwed(t *testing.T) {
	t.Parallel()
	cat := steps(t)
	const round, shortly = digest.DayBefore, digest.Shortly
	for _, tc := range []struct {
		name, zone, start, now string
		occasion               digest.Occasion
		want                   []string
	}{
		{"round, start tomorrow", london, "2026-11-26 09:00", "2026-11-25 15:00", round, []string{"day-before"}},
		{"round, start late tomorrow", london, "2026-11-26 23:59", "2026-11-25 15:00", round, []string{"day-before"}},
		{"round, start the day after", london, "2026-11-27 00:00", "2026-11-25 15:00", round, nil},
		{"round on Friday, start Monday", london, "2026-11-30 09:00", "2026-11-27 15:00", round, []string{"day-before"}},
		{"round on Friday, start Saturday", london, "2026-11-28 09:00", "2026-11-27 15:00", round, []string{"day-before"}},
		{"round on Friday, start Tuesday", london, "2026-12-01 09:00", "2026-11-27 15:00", round, nil},
		{"round before the holidays", london, "2026-12-29 09:00", "2026-12-24 15:00", round, []string{"day-before"}},
		{"round before the holidays, two days off", london, "2026-12-30 09:00", "2026-12-24 15:00", round, nil},
		{"round, start gone by", london, "2026-11-25 14:00", "2026-11-25 15:00", round, nil},
		{"round over the clocks going on", london, "2026-03-30 08:00", "2026-03-27 15:00", round, []string{"day-before"}},
		{"round over the clocks going back", london, "2026-10-26 23:30", "2026-10-23 15:00", round, []string{"day-before"}},
		{"round over the clocks going back, too far", london, "2026-10-27 00:30", "2026-10-23 15:00", round, nil},
		{"round in Chicago, clocks going on", chicago, "2026-03-09 23:30", "2026-03-06 15:00", round, []string{"day-before"}},
		{"round in Chicago, clocks going back, too far", chicago, "2026-11-03 00:30", "2026-10-30 15:00", round, nil},

		{"shortly, long before the round", london, "2026-11-26 09:00", "2026-11-25 14:59", shortly, nil},
		{"booked after the round", london, "2026-11-26 09:00", "2026-11-25 15:00", shortly, []string{"day-before"}},
		{"booked on Saturday for Monday", london, "2026-11-30 09:00", "2026-11-28 11:00", shortly, []string{"day-before"}},
		{"booked on Saturday for Tuesday", london, "2026-12-01 09:00", "2026-11-28 11:00", shortly, nil},
		{"booked on a holiday", london, "2026-12-29 09:00", "2026-12-25 11:00", shortly, []string{"day-before"}},
		{"an hour and a minute before", london, "2026-11-26 09:00", "2026-11-26 07:59", shortly, []string{"day-before"}},
		{"an hour before", london, "2026-11-26 09:00", "2026-11-26 08:00", shortly, []string{"day-before", "before-start"}},
		{"at the start", london, "2026-11-26 09:00", "2026-11-26 09:00", shortly, []string{"day-before", "before-start"}},
		{"four hours after", london, "2026-11-26 09:00", "2026-11-26 13:00", shortly, []string{"day-before", "before-start"}},
		{"later than that", london, "2026-11-26 09:00", "2026-11-26 13:01", shortly, nil},
		// 02:30 exists once after the clocks went on at 01:00: an hour before it is 00:30.
		{"an hour before, clocks going on", london, "2026-03-29 02:30", "2026-03-29 00:30", shortly, []string{"day-before", "before-start"}},
		{"before that, clocks going on", london, "2026-03-29 02:30", "2026-03-29 00:29", shortly, []string{"day-before"}},
		{"Chicago, clocks going on", chicago, "2026-03-08 03:30", "2026-03-08 01:29", shortly, []string{"day-before"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			site := hall(tc.zone)
			jobs := []digest.Job{job("hall/ahu-3/secondary", at(t, tc.zone, tc.start), "Tove")}
			got := whens(digest.Reminders(jobs, registerOf(site), site, cat, tc.occasion, at(t, tc.zone, tc.now)))
			if !slices.Equal(got, append([]string{}, tc.want...)) {
				t.Errorf("got %v, want %v", got, tc.want)
			}
		})
	}
}

// A site may have its reminders at another time; a plan that names no single
// time of day counts as 15:00.
func TestTheRoundFollowsTheSitesPlan(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		plan, now string
		owed      bool
	}{
		{"30 11 * * MON-FRI", "2026-11-25 11:29", false},
		{"30 11 * * MON-FRI", "2026-11-25 11:30", true},
		{"0 */2 * * *", "2026-11-25 14:59", false},
		{"0 */2 * * *", "2026-11-25 15:00", true},
		{"", "2026-11-25 14:59", false},
	} {
		site := hall(london)
		site.ReminderAt = tc.plan
		jobs := []digest.Job{job("hall/ahu-3/secondary", at(t, london, "2026-11-26 09:00"))}
		rs := digest.Reminders(jobs, registerOf(site), site, steps(t), digest.Shortly, at(t, london, tc.now))
		if (len(rs) > 0) != tc.owed {
			t.Errorf("plan %q at %s: owed %v", tc.plan, tc.now, whens(rs))
		}
	}
}

func TestWhatIsNotOwed(t *testing.T) {
	t.Parallel()
	start, now := at(t, london, "2026-11-26 09:00"), at(t, london, "2026-11-26 08:30")
	sentBoth := []digest.Steps{{When: "day-before", At: now}, {When: "before-start", At: now}}
	for _, tc := range []struct {
		name string
		job  digest.Job
		want []string
	}{
		{"sent already", digest.Job{Bank: "hall/ahu-3/secondary", Start: start, Sent: sentBoth}, nil},
		{"one sent", digest.Job{Bank: "hall/ahu-3/secondary", Start: start, Sent: sentBoth[:1]}, []string{"before-start"}},
		{"begun", digest.Job{Bank: "hall/ahu-3/secondary", Start: start, Begun: now}, nil},
		{"another site's", digest.Job{Bank: "yard/ahu-3/secondary", Start: start}, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			site := hall(london)
			got := whens(digest.Reminders([]digest.Job{tc.job}, registerOf(site), site, steps(t), digest.Shortly, now))
			if !slices.Equal(got, append([]string{}, tc.want...)) {
				t.Errorf("got %v, want %v", got, tc.want)
			}
		})
	}
}

// Banks of one AHU that start together are one list; other starts and AHUs have
// their own.
func TestListsAreByAHUAndStart(t *testing.T) {
	t.Parallel()
	site, now := hall(london), at(t, london, "2026-11-25 15:00")
	nine, ten := at(t, london, "2026-11-26 09:00"), at(t, london, "2026-11-26 10:00")
	jobs := []digest.Job{
		job("hall/ahu-3/secondary", nine, "Tove"), job("hall/ahu-4/primary", nine, "Pell"),
		job("hall/ahu-3/primary", nine.UTC(), "tove", "Idris"), job("hall/ahu-4/secondary", ten),
	}
	rs := digest.Reminders(jobs, registerOf(site), site, steps(t), digest.DayBefore, now)
	if len(rs) != 3 {
		t.Fatalf("%d reminders, want 3", len(rs))
	}
	first := rs[0].Posts[0]
	if head, _, _ := strings.Cut(first.Text, "\n"); head != "Steps ahead of the job. Tove, Idris: AHU-3 secondary and AHU-3 primary, booked for Thu 26 Nov 09:00." {
		t.Errorf("first line: %s", head)
	}
	if last := rs[2].Posts[0].Text; !strings.HasPrefix(last, "Steps ahead of the job. No crew is named yet, so for whoever does it: AHU-4 secondary, booked for Thu 26 Nov 10:00.") {
		t.Errorf("without a crew: %s", last)
	}
}

func TestCrewPost(t *testing.T) {
	t.Parallel()
	site, start := hall(london), at(t, london, "2026-07-02 09:00") // summer time: 08:00 UTC
	jobs := []digest.Job{job("hall/ahu-3/secondary", start, "Tove")}
	rs := digest.Reminders(jobs, registerOf(site), site, steps(t), digest.DayBefore, at(t, london, "2026-07-01 15:00"))
	if len(rs) != 1 || len(rs[0].Posts) != 1 {
		t.Fatalf("%+v", rs)
	}
	p := rs[0].Posts[0]
	if p.Key != "steps:hall/ahu-3:2026-07-02T08:00:00Z:day-before:10" {
		t.Errorf("key %s", p.Key)
	}
	if p.To.Channel != "" {
		t.Errorf("goes to %q, not to the site's channel", p.To.Channel)
	}
	c := p.Choices[0]
	if c.Label != "Steps read" || c.Action != "steps-read" || !slices.Equal(c.Keys, []string{"steps read", "read"}) {
		t.Errorf("button %+v", c)
	}
	when, at, ahu, err := digest.ParseStepsValue(c.Value)
	if err != nil || when != safework.DayBefore || !at.Equal(start) || ahu != "hall/ahu-3" {
		t.Errorf("button value %q: %v %v %v %v", c.Value, when, at, ahu, err)
	}
	if !slices.Contains(rs[0].StepIDs, "D08") { // AHU-3 is on a roof
		t.Errorf("steps %v", rs[0].StepIDs)
	}
	entries := rs[0].Sent(at)
	if len(entries) != 1 || entries[0].Place != "hall/ahu-3/secondary" || entries[0].Kind != "steps-sent" {
		t.Errorf("recorded %+v", entries)
	}
}

// An AHU that has left the register is asked about altogether.
func TestUnknownPlantIsAskedAbout(t *testing.T) {
	t.Parallel()
	site := hall(london)
	jobs := []digest.Job{job("hall/gone-1/secondary", at(t, london, "2026-11-26 09:00"))}
	rs := digest.Reminders(jobs, registerOf(site), site, steps(t), digest.DayBefore, at(t, london, "2026-11-25 15:00"))
	if len(rs) != 1 || !strings.Contains(rs[0].Posts[0].Text, "First ask, since nobody has answered: is there isolation") {
		t.Fatalf("%+v", rs)
	}
}

func TestUnreadListGoesToTheSupervisors(t *testing.T) {
	t.Parallel()
	start := at(t, london, "2026-11-26 09:00")
	sent := []digest.Steps{{When: "day-before", At: start.Add(-18 * time.Hour)}, {When: "before-start", At: start.Add(-time.Hour)}}
	read := func(who ...string) []digest.Steps {
		var out []digest.Steps
		for _, w := range who {
			out = append(out, digest.Steps{When: "before-start", By: w, At: start.Add(-30 * time.Minute)})
		}
		return out
	}
	for _, tc := range []struct {
		name  string
		crew  []string
		read  []digest.Steps
		after time.Duration // of the start
		begun bool
		says  string // empty: nothing owed
	}{
		{"a quarter of an hour before", []string{"Tove"}, nil, -15 * time.Minute, false, "Tove has not pressed"},
		{"sooner", []string{"Tove"}, nil, -15*time.Minute - time.Second, false, ""},
		{"read by all", []string{"Tove", "Idris"}, read("tove", "Idris"), 0, false, ""},
		{"read by some", []string{"Tove", "Idris", "Pell"}, read("Idris"), 0, false, "Tove and Pell have not pressed"},
		{"read by a stranger", []string{"Tove"}, read("Pell"), 0, false, "Tove has not pressed"},
		{"only the list of the day before read", []string{"Tove"}, []digest.Steps{{When: "day-before", By: "Tove"}}, 0, false, "Tove has not pressed"},
		{"no crew, read by nobody", nil, nil, 0, false, "Nobody has pressed"},
		{"no crew, read by anybody", nil, read("Pell"), 0, false, ""},
		{"begun unread", []string{"Tove"}, nil, 10 * time.Minute, true, "reported begun Thu 26 Nov 09:00. Please speak to them now."},
		{"four hours after", []string{"Tove"}, nil, 4 * time.Hour, false, "before any work begins"},
		{"later than that", []string{"Tove"}, nil, 4*time.Hour + time.Second, false, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			site := hall(london)
			j := digest.Job{Bank: "hall/ahu-3/secondary", Seq: 7, Start: start, Crew: tc.crew, Sent: sent, Read: tc.read}
			if tc.begun {
				j.Begun = start
			}
			rs := digest.Reminders([]digest.Job{j}, registerOf(site), site, steps(t), digest.Shortly, start.Add(tc.after))
			if tc.says == "" {
				if len(rs) != 0 {
					t.Fatalf("owed %v", whens(rs))
				}
				return
			}
			if len(rs) != 1 || rs[0].When != "" || len(rs[0].StepIDs) != 0 || len(rs[0].Sent(start)) != 0 {
				t.Fatalf("%+v", rs)
			}
			var keys []string
			for i, p := range rs[0].Posts {
				keys = append(keys, p.Key)
				if p.To.Channel != site.Supervisors[i] || !strings.Contains(p.Text, tc.says) {
					t.Errorf("to %s: %s", p.To.Channel, p.Text)
				}
			}
			want := []string{"unread:hall/ahu-3:2026-11-26T09:00:00Z:7:Maren", "unread:hall/ahu-3:2026-11-26T09:00:00Z:7:Odd"}
			if !slices.Equal(keys, want) {
				t.Errorf("keys %v", keys)
			}
		})
	}
}

// Who gets a list late gets a while to read it.
func TestNobodyIsToldOnAtOnce(t *testing.T) {
	t.Parallel()
	site, start := hall(london), at(t, london, "2026-11-26 09:00")
	j := digest.Job{Bank: "hall/ahu-3/secondary", Start: start, Crew: []string{"Tove"},
		Sent: []digest.Steps{{When: "day-before"}, {When: "before-start", At: start.Add(-3 * time.Minute)}}}
	for after, want := range map[time.Duration]int{time.Minute: 0, 2 * time.Minute: 1} {
		if rs := digest.Reminders([]digest.Job{j}, registerOf(site), site, steps(t), digest.Shortly, start.Add(after)); len(rs) != want {
			t.Errorf("%s after the start: %v", after, whens(rs))
		}
	}
}

// Looked at four times a minute, every post comes with the same key, so that it
// goes out once; and once the ledger has the list, no more is owed.
func TestKeysAreStable(t *testing.T) {
	t.Parallel()
	site, start := hall(london), at(t, london, "2026-11-26 09:00")
	jobs := []digest.Job{job("hall/ahu-3/secondary", start, "Tove", "Idris"), job("hall/ef-9/primary", start, "Pell")}
	cat, reg := steps(t), registerOf(site)
	sent := map[string]string{}
	for now := at(t, london, "2026-11-25 14:00"); now.Before(start.Add(5 * time.Hour)); now = now.Add(15 * time.Second) {
		for _, o := range []digest.Occasion{digest.DayBefore, digest.Shortly} {
			if o == digest.DayBefore && (now.Hour() != 15 || now.Minute() != 0 || now.Day() != 25) {
				continue
			}
			for _, r := range digest.Reminders(jobs, reg, site, cat, o, now) {
				for _, p := range r.Posts {
					if text, dup := sent[p.Key]; dup && text != p.Text {
						t.Fatalf("%s says two things:\n%s\n\n%s", p.Key, text, p.Text)
					}
					sent[p.Key] = p.Text
				}
				for i := range jobs {
					if r.When != "" && jobs[i].Bank == r.Jobs[0].Bank {
						jobs[i].Sent = append(jobs[i].Sent, digest.Steps{When: string(r.When), At: now})
					}
				}
			}
		}
	}
	var keys []string
	for k := range sent {
		keys = append(keys, strings.ReplaceAll(k, "2026-11-26T09:00:00Z", "T"))
	}
	slices.Sort(keys)
	want := []string{
		"steps:hall/ahu-3:T:before-start:10", "steps:hall/ahu-3:T:day-before:10",
		"stop:hall/ef-9:T:before-start", "stop:hall/ef-9:T:before-start:Maren", "stop:hall/ef-9:T:before-start:Odd",
		"stop:hall/ef-9:T:day-before", "stop:hall/ef-9:T:day-before:Maren", "stop:hall/ef-9:T:day-before:Odd",
		"unread:hall/ahu-3:T:10:Maren", "unread:hall/ahu-3:T:10:Odd",
	}
	if !slices.Equal(keys, want) {
		t.Errorf("keys\n%s\nwant\n%s", strings.Join(keys, "\n"), strings.Join(want, "\n"))
	}
}

// A booking that replaces one for the same start is reminded of anew.
func TestBookingAgainRemindsAgain(t *testing.T) {
	t.Parallel()
	site, start := hall(london), at(t, london, "2026-11-26 09:00")
	first, again := job("hall/ahu-3/secondary", start, "Tove"), job("hall/ahu-3/secondary", start, "Pell")
	again.Seq = 20
	key := func(j digest.Job) string {
		return digest.Reminders([]digest.Job{j}, registerOf(site), site, steps(t), digest.DayBefore, start.Add(-18*time.Hour))[0].Posts[0].Key
	}
	if key(first) == key(again) {
		t.Error("the new crew's list has the key of the old one and would not go out")
	}
}

// Specialist plant: stop line to the channel and each supervisor, at every turn,
// without a step and without a button.
func TestHardStop(t *testing.T) {
	t.Parallel()
	site, start := hall(london), at(t, london, "2026-11-26 09:00")
	reg, cat := registerOf(site), steps(t)
	j := job("hall/ef-9/primary", start, "Pell")
	shortly := func(now time.Time) []digest.KeyedPost {
		var out []digest.KeyedPost
		for _, r := range digest.Reminders([]digest.Job{j}, reg, site, cat, digest.Shortly, now) {
			out = append(out, r.Posts...)
		}
		return out
	}
	for _, tc := range []struct {
		name   string
		posts  []digest.KeyedPost
		moment string
	}{
		{"booked", digest.Booked(j, reg, site, cat, start.Add(-48*time.Hour)), "booked"},
		{"booked late: as at booking time, so once", shortly(start.Add(-3 * time.Hour)), "booked"},
		{"day before", digest.Reminders([]digest.Job{j}, reg, site, cat, digest.DayBefore, start.Add(-18*time.Hour))[0].Posts, "day-before"},
		{"begun", digest.JobStarted([]digest.Job{j}, reg, site, cat, start), "started"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			if len(tc.posts) != 3 {
				t.Fatalf("%d posts, want the channel's and two supervisors'", len(tc.posts))
			}
			for i, to := range []string{"", "Maren", "Odd"} {
				p := tc.posts[i]
				key := strings.TrimSuffix("stop:hall/ef-9:2026-11-26T09:00:00Z:"+tc.moment+":"+to, ":")
				if p.To.Channel != to || p.Key != key || len(p.Choices) != 0 {
					t.Errorf("to %q key %s choices %d, want to %q key %s", p.To.Channel, p.Key, len(p.Choices), to, key)
				}
				if !strings.Contains(p.Text, "STOP. Explosive-atmosphere or grease-laden plant") || strings.Contains(p.Text, "1. ") {
					t.Error(p.Text)
				}
			}
		})
	}
	if got := digest.Booked(job("hall/ahu-3/primary", start), reg, site, cat, start); len(got) != 0 {
		t.Errorf("an ordinary booking brought %d posts", len(got))
	}
}

func TestJobStarted(t *testing.T) {
	t.Parallel()
	site, start := hall(london), at(t, london, "2026-11-26 09:00")
	moments := func(ps []digest.KeyedPost) []string {
		var out []string
		for _, p := range ps {
			when, _, _, err := digest.ParseStepsValue(p.Choices[0].Value)
			if err != nil || when != p.When {
				t.Errorf("%s: %v", p.Key, err)
			}
			out = append(out, string(when))
		}
		return out
	}
	j := job("hall/ahu-3/secondary", start, "Tove")
	all := digest.JobStarted([]digest.Job{j}, registerOf(site), site, steps(t), start)
	if got := moments(all); !slices.Equal(got, []string{"before-start", "during", "after"}) {
		t.Errorf("got %v", got)
	}
	reminded := digest.Reminders([]digest.Job{j}, registerOf(site), site, steps(t), digest.Shortly, start)[1].Posts[0]
	if all[0].Key != reminded.Key {
		t.Errorf("the before-start list has key %s here and %s as a reminder: it could go out twice", all[0].Key, reminded.Key)
	}
	j.Sent = []digest.Steps{{When: "before-start"}}
	if got := moments(digest.JobStarted([]digest.Job{j}, registerOf(site), site, steps(t), start)); !slices.Equal(got, []string{"during", "after"}) {
		t.Errorf("after the reminder: %v", got)
	}
	walkIn := digest.Job{Bank: "hall/ahu-3/secondary", Start: start.Add(17 * time.Millisecond), By: "Idris"}
	posts := digest.JobStarted([]digest.Job{walkIn}, registerOf(site), site, steps(t), start)
	if !strings.Contains(posts[0].Text, "AHU-3 secondary, begun Thu 26 Nov 09:00.") {
		t.Error(posts[0].Text)
	}
	other := walkIn
	other.Bank = "hall/ahu-3/primary"
	for _, p := range digest.JobStarted([]digest.Job{walkIn, other}, registerOf(site), site, steps(t), start) {
		if !strings.Contains(p.Text, "AHU-3 secondary and AHU-3 primary, begun") {
			t.Errorf("headed for one bank of two: %s", p.Text)
		}
	}
	if _, at, _, err := digest.ParseStepsValue(posts[0].Choices[0].Value); err != nil || !at.Equal(walkIn.Start) {
		t.Errorf("the button has lost the start: %v, %v", at, err)
	}
}

func TestParseStepsValueRefuses(t *testing.T) {
	t.Parallel()
	for _, v := range []string{"", "x", "during|yesterday|hall/ahu-3", "|2026-11-26T09:00:00Z|hall/ahu-3", "during|2026-11-26T09:00:00Z|", "a|b|c|d"} {
		if _, _, _, err := digest.ParseStepsValue(v); err == nil {
			t.Errorf("%q was taken", v)
		}
	}
}

var claim = regexp.MustCompile(`(?i)\bisolated\b|safe to start|is safe|safe to (work|open|enter)`)

// Nothing that reminders say, about any plant at any moment, claims anything
// about the plant; and whatever holds steps or a stop line carries every caution.
func TestRemindersClaimNothing(t *testing.T) {
	t.Parallel()
	site, cat := hall(london), steps(t)
	start := at(t, london, "2026-11-26 09:00")
	var posts []digest.KeyedPost
	for _, ahu := range []string{"ahu-3", "ahu-4", "ef-9", "gone-1"} {
		j := job("hall/"+ahu+"/primary", start, "Tove")
		reg := registerOf(site)
		posts = append(posts, digest.JobStarted([]digest.Job{j}, reg, site, cat, start)...)
		posts = append(posts, digest.Booked(j, reg, site, cat, start)...)
		told := j
		told.Sent = []digest.Steps{{When: "before-start", At: start.Add(-time.Hour)}}
		for _, x := range []digest.Job{j, told} {
			for _, o := range []digest.Occasion{digest.DayBefore, digest.Shortly} {
				for _, now := range []time.Time{start.Add(-18 * time.Hour), start.Add(-time.Hour), start} {
					for _, r := range digest.Reminders([]digest.Job{x}, reg, site, cat, o, now) {
						posts = append(posts, r.Posts...)
					}
				}
			}
		}
	}
	if len(posts) < 30 {
		t.Fatalf("only %d posts to look at", len(posts))
	}
	for _, p := range posts {
		if bad := claim.FindString(p.Text); bad != "" {
			t.Errorf("%s says %q", p.Key, bad)
		}
		if strings.HasPrefix(p.Key, "unread:") {
			continue
		}
		for _, c := range safework.Cautions(locale.Locale{}) {
			if !strings.Contains(p.Text, c) {
				t.Errorf("%s lacks %q", p.Key, c)
			}
		}
	}
}

func ExampleStepsValue() {
	start := time.Date(2026, 11, 26, 9, 0, 0, 0, time.UTC)
	fmt.Println(digest.StepsValue(safework.During, start, plant.BankID("hall/ahu-3")))
	// Output: during|2026-11-26T09:00:00Z|hall/ahu-3
}
