package digest

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
	"clogwise/internal/safework"
)

// Occasion is when reminders are looked for.
type Occasion string

// Occasions.
const (
	DayBefore Occasion = "day-before-round" // on working days, usually at 15:00
	Shortly   Occasion = "shortly"          // all the time
)

// Times around a booked start.
const (
	listAhead   = time.Hour        // the before-start list goes out so long before
	unreadAhead = 15 * time.Minute // and is expected to be read by then
	readingTime = 5 * time.Minute  // but nobody is told on sooner than this after it went out
	overdueFor  = 4 * time.Hour    // after a start that nothing came of, reminders end
)

// KeyedPost is a post with its once-only key. A post without To goes to the
// site's channel. When and StepIDs say which list it holds, for the ledger; both
// are empty where it holds none.
type KeyedPost struct {
	Key string
	channel.Post
	When    safework.When
	StepIDs []string
}

// A Reminder is what is owed for jobs that start together on one AHU. When is
// empty where no list went out: a word to the supervisors alone.
type Reminder struct {
	When    safework.When
	Jobs    []Job
	Posts   []KeyedPost
	StepIDs []string
}

// Sent is what the ledger records of a reminder: which steps went out for which
// banks, never more than that.
func (r Reminder) Sent(now time.Time) []entry.Entry {
	return SentEntries(r.Jobs, r.When, r.StepIDs, now)
}

// SentEntries records that a list went out for jobs.
func SentEntries(jobs []Job, when safework.When, stepIDs []string, now time.Time) []entry.Entry {
	if when == "" {
		return nil
	}
	var out []entry.Entry
	for _, j := range jobs {
		body := entry.StepsSent{When: string(when), Start: j.Start, To: j.Crew, Steps: stepIDs}
		out = append(out, entry.Entry{
			Source: fmt.Sprintf("steps:%s:%d:%s:%s", j.Bank, j.Seq, j.Start.UTC().Format(time.RFC3339Nano), when),
			Kind:   body.Kind(), Place: j.Bank, At: now, Received: now, By: "clogwise", Body: body,
		})
	}
	return out
}

// scene is what reminders are made from.
type scene struct {
	reg   *plant.Register
	site  plant.Site
	steps safework.Catalogue
	now   time.Time
}

// in is the language of the site.
func (s scene) in() locale.Locale { return locale.Of(s.site.Language) }

// Reminders lists what is owed now at a site for the open jobs among jobs. A
// list is owed to jobs that have not begun and were not sent it for their start:
//
//   - in the day-before round, the day-before list for every start up to the end
//     of the next working day;
//   - shortly, the same for what was booked or moved after that round, and the
//     before-start list from an hour before the start.
//
// Shortly it also tells the supervisors, from a quarter of an hour before the
// start, of a before-start list that somebody of the crew has not marked as read
// (anybody, where no crew is named). Plant for specialists only gets its stop
// line instead of lists, and the supervisors get it too.
func Reminders(jobs []Job, reg *plant.Register, site plant.Site, steps safework.Catalogue, o Occasion, now time.Time) []Reminder {
	s := scene{reg, site, steps, now}
	var out []Reminder
	for _, p := range parties(jobs, site.ID) {
		for _, when := range s.due(p, o) {
			if r, owed := s.list(p, when, o); owed {
				out = append(out, r)
			}
		}
		if r, owed := s.unread(p); owed && o == Shortly {
			out = append(out, r)
		}
	}
	return out
}

// due lists the moments whose list is to be out by now.
func (s scene) due(p party, o Occasion) []safework.When {
	if s.now.After(p.start.Add(overdueFor)) {
		return nil
	}
	var out []safework.When
	switch o {
	case DayBefore:
		if p.start.After(s.now) && byEndOf(p.start, NextWorkingDay(s.site, s.now), s.site.Location()) {
			out = append(out, safework.DayBefore)
		}
	case Shortly:
		if !s.now.Before(roundFor(s.site, p.start)) {
			out = append(out, safework.DayBefore)
		}
		if !s.now.Before(p.start.Add(-listAhead)) {
			out = append(out, safework.BeforeStart)
		}
	}
	return out
}

// list is the reminder of one moment, for those jobs that have not had it.
func (s scene) list(p party, when safework.When, o Occasion) (Reminder, bool) {
	p.jobs = slices.DeleteFunc(slices.Clone(p.jobs), func(j Job) bool {
		_, sent := j.sent(when)
		return sent || !j.Begun.IsZero()
	})
	if len(p.jobs) == 0 {
		return Reminder{}, false
	}
	l := s.steps.List(s.ahu(p.ahu), s.site.Jurisdiction, when)
	r := Reminder{When: when, Jobs: p.jobs, StepIDs: l.IDs()}
	switch {
	case l.Stop && when == safework.DayBefore && o == Shortly:
		r.Posts = s.stop(p, l, booked) // said at booking time already, unless the plant was not known to be such
	case l.Stop:
		r.Posts = s.stop(p, l, string(when))
	default:
		r.Posts = []KeyedPost{s.crewPost(p, l, fmt.Sprintf(":%d", p.seq()))}
	}
	return r, true
}

// ahu finds an AHU. Of one that has left the register nothing is known, so
// everything is asked.
func (s scene) ahu(id plant.BankID) plant.AHU {
	if a, ok := s.reg.AHU(id); ok {
		return a
	}
	return plant.AHU{Tag: string(id)}
}

// crewPost is a list for the crew, with its button. It begins with which list it is,
// for that is what a phone shows of it.
func (s scene) crewPost(p party, l safework.List, keyEnd string) KeyedPost {
	in := s.in()
	text := in.Text("Steps %s.", l.When.Words(in)) + " " + s.announce(p) + "\n" + l.Text(in) + "\n" + in.Text("When you have read this, press or type: `steps read`")
	return KeyedPost{
		Key: fmt.Sprintf("steps:%s:%s:%s%s", p.ahu, stamp(p.start), l.When, keyEnd),
		Post: channel.Post{Text: text, Choices: []channel.Choice{{
			Label: in.Text("Steps read"), Action: "steps-read", Value: StepsValue(l.When, p.start, p.ahu), Keys: []string{"steps read", "read"},
		}}},
		When: l.When, StepIDs: l.IDs(),
	}
}

// announce names the crew, the banks and the start.
func (s scene) announce(p party) string {
	crew := p.crew()
	if len(crew) == 0 {
		return s.in().Text("No crew is named yet, so for whoever does it: %s, %s.", s.names(p), s.startOf(p))
	}
	return strings.Join(crew, ", ") + ": " + s.names(p) + ", " + s.startOf(p) + "."
}

func (s scene) startOf(p party) string {
	if begun := p.begun(); !begun.IsZero() && begun.Equal(p.start) {
		return s.in().Text("begun %s", s.moment(begun))
	}
	return s.in().Text("booked for %s", s.moment(p.start))
}

// StepsValue packs the value of a "steps read" button.
func StepsValue(when safework.When, start time.Time, ahu plant.BankID) string {
	return string(when) + "|" + start.UTC().Format(time.RFC3339Nano) + "|" + string(ahu)
}

// ParseStepsValue unpacks StepsValue.
func ParseStepsValue(v string) (safework.When, time.Time, plant.BankID, error) {
	p := strings.Split(v, "|")
	if len(p) != 3 || p[0] == "" || p[2] == "" {
		return "", time.Time{}, "", fmt.Errorf("%q is no steps button", v)
	}
	t, err := time.Parse(time.RFC3339Nano, p[1])
	if err != nil {
		return "", time.Time{}, "", fmt.Errorf("%q is no steps button: %w", v, err)
	}
	return safework.When(p[0]), t, plant.BankID(p[2]), nil
}
