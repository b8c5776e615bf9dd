package duelist

import (
	"math/rand/v2"
	"slices"
)

// Searched plans by the search for many jobs, however few there are.
func Searched(jobs []Job, costs VisitCosts, cal Calendar) (Plan, error) {
	p, err := newProblem(jobs, costs, cal)
	if err != nil {
		return Plan{}, err
	}
	return p.plan(p.search()), nil
}

// BestKnown is the cheapest plan found by throwing some visits of the best one
// out, others in, and descending again, a number of rounds.
func BestKnown(jobs []Job, costs VisitCosts, cal Calendar, rounds int) (Plan, error) {
	p, err := newProblem(jobs, costs, cal)
	if err != nil {
		return Plan{}, err
	}
	best := p.descend()
	r := rand.New(rand.NewPCG(1, 2))
	for range rounds {
		c := &choice{p: p, total: never}
		if c.try(shaken(best.days, len(p.days), r)) {
			c.improve()
			if c.total < best.total {
				best = c
			}
		}
	}
	return p.plan(best.assign()), nil
}

func shaken(days []int, n int, r *rand.Rand) []int {
	out := slices.Clone(days)
	for range min(1+r.IntN(3), len(out)-1) {
		i := r.IntN(len(out))
		out = slices.Delete(out, i, i+1)
	}
	for range 1 + r.IntN(4) {
		out = append(out, r.IntN(n))
	}
	slices.Sort(out)
	return slices.Compact(out)
}
