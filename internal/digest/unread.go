package digest

import (
	"fmt"
	"strings"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/safework"
)

// unread tells the supervisors, once, that the before-start list went out and was
// not marked as read in time. It goes on after the job has begun: then it matters
// most.
func (s scene) unread(p party) (Reminder, bool) {
	if s.now.Before(p.start.Add(-unreadAhead)) || s.now.After(p.start.Add(overdueFor)) {
		return Reminder{}, false
	}
	if s.steps.List(s.ahu(p.ahu), s.site.Jurisdiction, safework.BeforeStart).Stop {
		return Reminder{}, false // there was no list to read
	}
	late := party{ahu: p.ahu, start: p.start}
	var who []string
	var sentAt time.Time
	for _, j := range p.jobs {
		sent, ok := j.sent(safework.BeforeStart)
		if !ok || s.now.Before(sent.At.Add(readingTime)) {
			continue
		}
		if missing, all := j.notRead(safework.BeforeStart); !all {
			late.jobs, sentAt = append(late.jobs, j), sent.At
			who = append(who, missing...)
		}
	}
	if len(late.jobs) == 0 {
		return Reminder{}, false
	}
	r := Reminder{Jobs: late.jobs}
	for _, sup := range s.site.Supervisors {
		r.Posts = append(r.Posts, KeyedPost{
			Key:  fmt.Sprintf("unread:%s:%s:%d:%s", p.ahu, stamp(p.start), p.seq(), sup),
			Post: channel.Post{To: channel.Address{Channel: sup}, Text: s.unreadText(late, distinct(who), sentAt)},
		})
	}
	return r, true
}

func (s scene) unreadText(p party, who []string, sentAt time.Time) string {
	in := s.in()
	head := in.Text("Safe-work steps not read: %s, %s.", s.names(p), s.startOf(p))
	sent := s.moment(sentAt)
	said := in.Text("Nobody has pressed \"steps read\" under the list sent %s.", sent)
	switch len(who) {
	case 0:
	case 1:
		said = in.Text("%s has not pressed \"steps read\" under the list sent %s.", who[0], sent)
	default:
		said = in.Text("%s have not pressed \"steps read\" under the list sent %s.", in.And(who), sent)
	}
	if begun := p.begun(); !begun.IsZero() {
		return head + "\n" + said + "\n" + in.Text("The job was reported begun %s. Please speak to them now.", s.moment(begun))
	}
	return head + "\n" + said + "\n" + in.Text("Please speak to them before any work begins.")
}

// sent finds the list of a moment among those that went out.
func (j Job) sent(when safework.When) (Steps, bool) {
	for _, s := range j.Sent {
		if s.When == string(when) {
			return s, true
		}
	}
	return Steps{}, false
}

// notRead lists who of the crew has not marked a list as read; all is true when
// everybody has, or anybody where no crew is named.
func (j Job) notRead(when safework.When) (missing []string, all bool) {
	read := func(who string) bool {
		for _, r := range j.Read {
			if r.When == string(when) && (who == "" || strings.EqualFold(r.By, who)) {
				return true
			}
		}
		return false
	}
	if len(j.Crew) == 0 {
		return nil, read("")
	}
	for _, who := range j.Crew {
		if !read(who) {
			missing = append(missing, who)
		}
	}
	return missing, len(missing) == 0
}

// Unread lists those of the crew who have not marked some list that went out for
// the job as read.
func (j Job) Unread() []string {
	var out []string
	for _, s := range j.Sent {
		missing, _ := j.notRead(safework.When(s.When))
		out = append(out, missing...)
	}
	return distinct(out)
}

func distinct(words []string) []string { return party{jobs: []Job{{Crew: words}}}.crew() }
