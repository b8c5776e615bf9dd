package digest

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"clogwise/internal/plant"
)

// A party is the jobs that start together on one AHU: one isolation, one crew.
type party struct {
	ahu   plant.BankID
	start time.Time
	jobs  []Job
}

// parties groups the jobs of a site, by start and AHU.
func parties(jobs []Job, site string) []party {
	var out []party
	for _, j := range jobs {
		if j.Bank.Site() != site {
			continue
		}
		i := slices.IndexFunc(out, func(p party) bool { return p.ahu == j.Bank.AHU() && p.start.Equal(j.Start) })
		if i < 0 {
			out = append(out, party{ahu: j.Bank.AHU(), start: j.Start})
			i = len(out) - 1
		}
		out[i].jobs = append(out[i].jobs, j)
	}
	slices.SortFunc(out, func(a, b party) int { return cmp.Or(a.start.Compare(b.start), cmp.Compare(a.ahu, b.ahu)) })
	return out
}

func partyOf(j Job) party { return party{ahu: j.Bank.AHU(), start: j.Start, jobs: []Job{j}} }

// crew is everybody booked, each once.
func (p party) crew() []string {
	var out []string
	for _, j := range p.jobs {
		for _, who := range j.Crew {
			if who != "" && !slices.ContainsFunc(out, func(o string) bool { return strings.EqualFold(o, who) }) {
				out = append(out, who)
			}
		}
	}
	return out
}

// seq tells a booking from one made again for the same start.
func (p party) seq() int64 {
	var newest int64
	for _, j := range p.jobs {
		newest = max(newest, j.Seq)
	}
	return newest
}

// begun is the earliest beginning of the jobs; zero when none has begun.
func (p party) begun() time.Time {
	var first time.Time
	for _, j := range p.jobs {
		if !j.Begun.IsZero() && (first.IsZero() || j.Begun.Before(first)) {
			first = j.Begun
		}
	}
	return first
}

func (s scene) names(p party) string {
	var out []string
	for _, j := range p.jobs {
		out = append(out, s.reg.Name(j.Bank))
	}
	return s.in().And(out)
}

func (s scene) moment(t time.Time) string { return s.in().Moment(t, s.site.Location()) }

// stamp is a start as it stands in keys.
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }
