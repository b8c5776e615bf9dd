package digest_test

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/digest"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// said makes entries one after the other, an hour apart.
type said struct {
	t   time.Time
	out []entry.Entry
}

func (s *said) add(place plant.BankID, by string, body entry.Body) int64 {
	s.t = s.t.Add(time.Hour)
	s.out = append(s.out, entry.Entry{
		Seq: int64(len(s.out) + 1), Kind: body.Kind(), Place: place, At: s.t, Received: s.t, By: by, Body: body,
	})
	return int64(len(s.out))
}

func TestOpenJobs(t *testing.T) {
	t.Parallel()
	const bag, pre = plant.BankID("hall/ahu-3/secondary"), plant.BankID("hall/ahu-3/primary")
	begin := time.Date(2026, 11, 23, 8, 0, 0, 0, time.UTC) // the first entry is at 09:00
	start, later := begin.AddDate(0, 0, 1), begin.AddDate(0, 0, 3)
	booking := entry.Booking{Start: start, Crew: []string{"Tove"}}
	hour := func(n int) time.Time { return begin.Add(time.Duration(n) * time.Hour) }
	open := func(seq int64, start time.Time) digest.Job {
		return digest.Job{Bank: bag, Seq: seq, Start: start, Crew: []string{"Tove"}, By: "Maren", Since: hour(int(seq))}
	}
	for _, tc := range []struct {
		name string
		say  func(s *said)
		want []digest.Job
	}{
		{"nothing", func(*said) {}, nil},
		{"booked", func(s *said) { s.add(bag, "Maren", booking) }, []digest.Job{open(1, start)}},
		{"booked anew", func(s *said) {
			s.add(bag, "Maren", booking)
			s.add(bag, "clogwise", entry.StepsSent{When: "day-before", Start: start})
			s.add(bag, "Maren", entry.Booking{Start: later, Crew: []string{"Tove"}})
		}, []digest.Job{open(3, later)}},
		{"cancelled", func(s *said) {
			s.add(bag, "Maren", booking)
			s.add(bag, "Maren", entry.Booking{Cancelled: true})
		}, nil},
		{"cancelled and booked again: lists are owed anew", func(s *said) {
			s.add(bag, "Maren", booking)
			s.add(bag, "clogwise", entry.StepsSent{When: "day-before", Start: start})
			s.add(bag, "Maren", entry.Booking{Cancelled: true})
			s.add(bag, "Maren", booking)
		}, []digest.Job{open(4, start)}},
		{"cancellation taken back", func(s *said) {
			s.add(bag, "Maren", booking)
			s.add(bag, "Maren", entry.Retract{Target: s.add(bag, "Maren", entry.Booking{Cancelled: true})})
		}, []digest.Job{open(1, start)}},
		{"taken back", func(s *said) { s.add(bag, "Maren", entry.Retract{Target: s.add(bag, "Maren", booking)}) }, nil},
		{"moved by an edit: the lists for the old start do not count", func(s *said) {
			s.add(bag, "Maren", booking)
			s.add(bag, "clogwise", entry.StepsSent{When: "day-before", Start: start})
			s.add(bag, "Maren", entry.Amend{Target: 1, Body: entry.Booking{Start: later, Crew: []string{"Tove"}}})
		}, []digest.Job{open(1, later)}},
		{"sent and read", func(s *said) {
			s.add(bag, "Maren", booking)
			s.add(bag, "clogwise", entry.StepsSent{When: "day-before", Start: start})
			s.add(bag, "Tove", entry.StepsRead{When: "day-before", Start: start})
			s.add(bag, "Tove", entry.StepsRead{When: "day-before", Start: later}) // of another start
		}, []digest.Job{func() digest.Job {
			j := open(1, start)
			j.Sent = []digest.Steps{{When: "day-before", By: "clogwise", At: hour(2)}}
			j.Read = []digest.Steps{{When: "day-before", By: "Tove", At: hour(3)}}
			return j
		}()}},
		{"begun", func(s *said) {
			s.add(bag, "Maren", booking)
			s.add(bag, "Tove", entry.JobStart{})
			s.add(bag, "Tove", entry.JobStart{}) // said twice
		}, []digest.Job{func() digest.Job { j := open(1, start); j.Begun = hour(2); return j }()}},
		{"begun, changed, not yet done", func(s *said) {
			s.add(bag, "Maren", booking)
			s.add(bag, "Tove", entry.JobStart{})
			s.add(bag, "Tove", entry.Swap{})
		}, []digest.Job{func() digest.Job { j := open(1, start); j.Begun = hour(2); return j }()}},
		{"done", func(s *said) {
			s.add(bag, "Maren", booking)
			s.add(bag, "Tove", entry.JobStart{})
			s.add(bag, "Tove", entry.JobDone{})
		}, nil},
		{"done taken back", func(s *said) {
			s.add(bag, "Maren", booking)
			s.add(bag, "Tove", entry.Retract{Target: s.add(bag, "Tove", entry.JobDone{})})
		}, []digest.Job{open(1, start)}},
		{"begun without a booking", func(s *said) { s.add(bag, "Tove", entry.JobStart{}) },
			[]digest.Job{{Bank: bag, Seq: 1, Start: hour(1), By: "Tove", Begun: hour(1), Since: hour(1)}}},
		{"a change-out fulfils the booking of that day", func(s *said) {
			s.add(bag, "Maren", booking)
			s.t = start
			s.add(bag, "Tove", entry.Swap{})
		}, nil},
		{"an earlier change-out does not", func(s *said) {
			s.add(bag, "Maren", entry.Booking{Start: later, Crew: []string{"Tove"}})
			s.add(bag, "Tove", entry.Swap{})
		}, []digest.Job{open(1, later)}},
		{"another bank's change-out does not", func(s *said) {
			s.add(bag, "Maren", booking)
			s.t = start
			s.add(pre, "Tove", entry.Swap{})
		}, []digest.Job{open(1, start)}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			s := said{t: begin}
			tc.say(&s)
			want := append([]digest.Job{}, tc.want...)
			if diff := cmp.Diff(want, digest.OpenJobs(s.out)); diff != "" {
				t.Errorf("want -, got +:\n%s", diff)
			}
			shuffled := slices.Clone(s.out)
			rng := rand.New(rand.NewPCG(1, 2))
			for range 20 {
				rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
				if diff := cmp.Diff(want, digest.OpenJobs(append(shuffled, shuffled...))); diff != "" {
					t.Fatalf("in another order, each twice:\n%s", diff)
				}
			}
		})
	}
}

// From booking to reminder: a moved booking is reminded of for its new start only,
// a cancelled one not at all.
func TestMovedAndCancelledBookings(t *testing.T) {
	t.Parallel()
	const bag = plant.BankID("hall/ahu-3/secondary")
	site := hall(london)
	now := at(t, london, "2026-11-25 15:00")
	tomorrow, thursday := now.Add(18*time.Hour), now.AddDate(0, 0, 8)
	for _, tc := range []struct {
		name string
		say  func(s *said)
		want int
	}{
		{"booked for tomorrow", func(s *said) { s.add(bag, "Maren", entry.Booking{Start: tomorrow}) }, 1},
		{"moved away", func(s *said) {
			s.add(bag, "Maren", entry.Booking{Start: tomorrow})
			s.add(bag, "Maren", entry.Booking{Start: thursday})
		}, 0},
		{"moved here by an edit", func(s *said) {
			s.add(bag, "Maren", entry.Booking{Start: thursday})
			s.add(bag, "Maren", entry.Amend{Target: 1, Body: entry.Booking{Start: tomorrow}})
		}, 1},
		{"cancelled", func(s *said) {
			s.add(bag, "Maren", entry.Booking{Start: tomorrow})
			s.add(bag, "Maren", entry.Booking{Cancelled: true})
		}, 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			s := said{t: now.AddDate(0, 0, -2)}
			tc.say(&s)
			rs := digest.Reminders(digest.OpenJobs(s.out), registerOf(site), site, steps(t), digest.DayBefore, now)
			if len(rs) != tc.want {
				t.Errorf("%v", whens(rs))
			}
		})
	}
}

// What is recorded of a list for a moved booking has a source of its own, or the
// ledger would take it for a resend and the list would be owed for ever.
func TestRecordsOfAMovedBookingAreTheirOwn(t *testing.T) {
	t.Parallel()
	start := at(t, london, "2026-11-26 09:00")
	a, b := job("hall/ahu-3/secondary", start), job("hall/ahu-3/secondary", start.Add(time.Hour))
	one := digest.SentEntries([]digest.Job{a}, "day-before", nil, start)[0].Source
	two := digest.SentEntries([]digest.Job{b}, "day-before", nil, start)[0].Source
	if one == two {
		t.Error(one)
	}
}
