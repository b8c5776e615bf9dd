package duelist_test

import (
	"math"

	"clogwise/internal/duelist"
	"clogwise/internal/plant"
)

// A relaxed problem has the rule "every job exactly once" priced instead of
// enforced: leaving a job out costs v. For any prices, the least cost is then a
// lower bound of every plan's cost, and it splits by day (Lagrangian relaxation;
// Fisher, Management Science 27 (1981) 1). Subgradient steps raise it.
type relaxed struct {
	visit, isolation float64
	groups           [][]int
	cost             [][]float64 // by job and day; +Inf = cannot
}

func relax(jobs []duelist.Job, costs duelist.VisitCosts, cal duelist.Calendar) relaxed {
	r := relaxed{visit: amount(costs.Visit), isolation: amount(costs.Isolation)}
	days := workdays(jobs, cal)
	byAHU := map[plant.BankID]int{}
	for i, j := range jobs {
		k, ok := byAHU[j.Bank.AHU()]
		if !ok {
			k = len(r.groups)
			byAHU[j.Bank.AHU()] = k
			r.groups = append(r.groups, nil)
		}
		r.groups[k] = append(r.groups[k], i)
		row, may := make([]float64, len(days)), allowed(j, days, cal)
		for d := range days {
			row[d] = math.Inf(1)
			if may[d] {
				row[d] = float64(pence(j, days[d], cal.Loc)) / 100
			}
		}
		r.cost = append(r.cost, row)
	}
	return r
}

// value is the bound at prices v, and how often each job would be done.
func (r relaxed) value(v []float64) (float64, []float64) {
	total, done := 0.0, make([]float64, len(v))
	for _, x := range v {
		total += x
	}
	var chosen []int
	for d := range r.cost[0] {
		gain := -r.visit
		chosen = chosen[:0]
		for _, g := range r.groups {
			unit, n := -r.isolation, len(chosen)
			for _, j := range g {
				if s := v[j] - r.cost[j][d]; s > 0 {
					unit += s
					chosen = append(chosen, j)
				}
			}
			if unit <= 0 {
				chosen = chosen[:n]
				continue
			}
			gain += unit
		}
		if gain > 0 {
			total -= gain
			for _, j := range chosen {
				done[j]++
			}
		}
	}
	return total, done
}

// bound raises the lower bound towards a known plan's cost.
func (r relaxed) bound(known float64, steps int) float64 {
	v := make([]float64, len(r.cost))
	for j := range v {
		v[j] = known / float64(len(v))
	}
	best, theta, stale := math.Inf(-1), 1.0, 0
	for range steps {
		b, done := r.value(v)
		if b > best {
			best, stale = b, 0
		} else if stale++; stale == 8 {
			theta, stale = theta/2, 0
		}
		norm := 0.0
		for _, n := range done {
			norm += (1 - n) * (1 - n)
		}
		if norm == 0 {
			break
		}
		for j, n := range done {
			v[j] += theta * (known - b) / norm * (1 - n)
		}
	}
	return best
}
