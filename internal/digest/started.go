package digest

import (
	"fmt"
	"time"

	"clogwise/internal/plant"
	"clogwise/internal/safework"
)

// JobStarted is what is posted when a job begins on one or several banks of an
// AHU, headed by all of them: the before-start list unless
// it went out already, then what to mind during and after. Each is a post of its own,
// though they go out together: it is opened and marked as read at its own moment, and
// so the receipts tell who read what when. Nothing goes out again for a further bank
// of an AHU that is under work. On plant for specialists only it is the stop line, to
// the channel and to every supervisor.
func JobStarted(jobs []Job, reg *plant.Register, site plant.Site, steps safework.Catalogue, now time.Time) []KeyedPost {
	job := jobs[0]
	if job.Seq == 0 && job.Begun.IsZero() {
		job.Begun = job.Start // nobody booked it
	}
	s, p := scene{reg, site, steps, now}, partyOf(job)
	p.jobs = append(p.jobs, jobs[1:]...)
	ahu := s.ahu(p.ahu)
	if l := steps.List(ahu, site.Jurisdiction, safework.BeforeStart); l.Stop {
		return s.stop(p, l, started)
	}
	var out []KeyedPost
	for _, when := range []safework.When{safework.BeforeStart, safework.During, safework.After} {
		if _, sent := job.sent(when); sent {
			continue
		}
		end := "" // once for all the banks of the AHU
		if when == safework.BeforeStart && job.Seq > 0 {
			end = fmt.Sprintf(":%d", job.Seq)
		}
		out = append(out, s.crewPost(p, steps.List(ahu, site.Jurisdiction, when), end))
	}
	return out
}
