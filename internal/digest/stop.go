package digest

import (
	"fmt"
	"strings"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/plant"
	"clogwise/internal/safework"
)

// Moments of the stop line that are no moments of a list.
const (
	booked  = "booked"
	started = "started"
)

// Booked is what a booking brings with it at once: on plant for specialists only
// the stop line, to the channel and to every supervisor; else nothing.
func Booked(job Job, reg *plant.Register, site plant.Site, steps safework.Catalogue, now time.Time) []KeyedPost {
	s, p := scene{reg, site, steps, now}, partyOf(job)
	l := steps.List(s.ahu(p.ahu), site.Jurisdiction, safework.DayBefore)
	if !l.Stop {
		return nil
	}
	return s.stop(p, l, booked)
}

// stop is the hard stop: no list, the stop line to the channel, the supervisors
// told one by one. Each goes out once per start and moment.
func (s scene) stop(p party, l safework.List, moment string) []KeyedPost {
	key := fmt.Sprintf("stop:%s:%s:%s", p.ahu, stamp(p.start), moment)
	out := []KeyedPost{{Key: key, Post: channel.Post{Text: s.announce(p) + "\n" + l.Text(s.in())}, When: l.When, StepIDs: l.IDs()}}
	for _, sup := range s.site.Supervisors {
		out = append(out, KeyedPost{
			Key:  key + ":" + sup,
			Post: channel.Post{To: channel.Address{Channel: sup}, Text: s.stopText(p, l, moment)},
		})
	}
	return out
}

func (s scene) stopText(p party, l safework.List, moment string) string {
	in := s.in()
	head := in.Text("Specialists only: %s, %s", s.names(p), s.startOf(p))
	if moment == started {
		head = in.Text("Specialists only, and work was reported begun: %s", s.names(p))
	}
	if crew := p.crew(); len(crew) > 0 {
		head += in.Text(", crew %s", strings.Join(crew, ", "))
	}
	lines := []string{head + "."}
	for _, step := range l.Steps {
		lines = append(lines, in.Say(step.Text))
	}
	ask := in.Text("The crew got no steps. Please stop the job or hand it to those who may do it.")
	if moment == started {
		ask = in.Text("The crew got no steps. Please call them now.")
	}
	lines = append(lines, ask)
	for _, c := range safework.Cautions(in) {
		lines = append(lines, "! "+c)
	}
	return strings.Join(lines, "\n")
}
