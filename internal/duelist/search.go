package duelist

import "slices"

// search finds a good plan for many jobs.
//
// Two facts carry it. Once the visit days are given, AHUs do not touch each
// other, and the least cost of each is found exactly by a walk along those days.
// And once it is settled which jobs of an AHU are done together, the best visit
// days of the whole site are found exactly by a walk along all candidate days.
// So: start from the visit days for whole AHUs and from those for single jobs,
// and from there alternate the two walks and move, drop, add and merge days
// while that is cheaper. The cheaper end wins, the first of equals: the
// answer is always the same.
func (p *problem) search() []int { return p.descend().assign() }

// descend is the cheaper end of the descents from both starts.
func (p *problem) descend() *choice {
	var best *choice
	for _, bundles := range [][]line{p.wholeUnits(), p.singles()} {
		c := p.newChoice(bundles)
		c.improve()
		if best == nil || c.total < best.total {
			best = c
		}
	}
	return best
}

// A choice is a set of visit days with what it costs.
type choice struct {
	p     *problem
	days  []int // candidate indices, ascending
	total micros
	own   []micros // of total, each AHU's
	walk  walker

	trial    []int // room for a changed set
	affected []int // AHUs that it bears on, with what it costs each
	fresh    []micros
}

// newChoice takes the best visit days for the bundles.
func (p *problem) newChoice(bundles []line) *choice {
	c := &choice{p: p, total: never}
	c.try(c.daysFor(bundles))
	return c
}

func (c *choice) daysFor(bundles []line) []int {
	slices.SortStableFunc(bundles, byBest)
	c.walk.walk(bundles, c.p.all, c.p.visit)
	return c.walk.stops(c.p.all)
}

// try takes the days over if they are cheaper.
func (c *choice) try(days []int) bool {
	sum := c.p.visit * micros(len(days))
	own := make([]micros, len(c.p.groups))
	for i := range c.p.groups {
		g := &c.p.groups[i]
		if plus(sum, g.floor) >= c.total {
			return false
		}
		own[i] = c.walk.walk(g.lines, g.near(days), c.p.isolation)
		sum = plus(sum, own[i])
	}
	if sum >= c.total {
		return false
	}
	c.days, c.total, c.own = slices.Clone(days), sum, own
	return true
}

// swap puts others in the place of the days from i to j (exclusive) if that is
// cheaper. Only AHUs that can want a day in that stretch are priced anew.
func (c *choice) swap(i, j int, others ...int) bool {
	c.trial = append(append(append(c.trial[:0], c.days[:i]...), others...), c.days[j:]...)
	if c.own == nil { // no days yet
		return c.try(c.trial)
	}
	sum := c.total + c.p.visit*micros(len(c.trial)-len(c.days))
	c.affected, c.fresh = c.affected[:0], c.fresh[:0]
	for k := range c.p.groups {
		g := &c.p.groups[k]
		if i > 0 && c.days[i-1] >= g.lines[len(g.lines)-1].best || j < len(c.days) && c.days[j] <= g.lines[0].best {
			continue // it has all it can want on one side
		}
		c.affected = append(c.affected, k)
		sum -= c.own[k]
	}
	for _, k := range c.affected {
		g := &c.p.groups[k]
		own := c.walk.walk(g.lines, g.near(c.trial), c.p.isolation)
		if sum = plus(sum, own); sum >= c.total {
			return false
		}
		c.fresh = append(c.fresh, own)
	}
	if sum >= c.total {
		return false
	}
	for n, k := range c.affected {
		c.own[k] = c.fresh[n]
	}
	c.days, c.total = slices.Clone(c.trial), sum
	return true
}

// improve moves to a neighbouring choice as long as one is cheaper.
func (c *choice) improve() {
	for c.realign() || c.shift() || c.drop() || c.add() || c.merge() {
	}
}

// realign keeps who is done together and finds the best days for that.
func (c *choice) realign() bool { return c.try(c.daysFor(c.bundles())) }

// bundles are the jobs of each AHU that are done together, as one line each.
func (c *choice) bundles() []line {
	var out []line
	for i := range c.p.groups {
		g := &c.p.groups[i]
		together := map[int][]line{}
		stops := g.stops(c)
		for _, l := range g.lines {
			d := l.nearest(stops)
			together[d] = append(together[d], l)
		}
		for _, d := range stops {
			if ls := together[d]; len(ls) > 0 {
				l, _ := sum(ls)
				out = append(out, l)
			}
		}
	}
	return out
}

// assign gives every job its day.
func (c *choice) assign() []int {
	out := make([]int, len(c.p.jobs))
	for i := range c.p.groups {
		g := &c.p.groups[i]
		stops := g.stops(c)
		for _, j := range g.jobs {
			out[j] = c.p.jobs[j].nearest(stops)
		}
	}
	return out
}

// stops are the days of the choice on which the AHU is visited.
func (g *group) stops(c *choice) []int {
	days := g.near(c.days)
	c.walk.walk(g.lines, days, c.p.isolation)
	return c.walk.stops(days)
}

// between are the candidates free for days i to j (exclusive): from lo up to hi
// (exclusive).
func (c *choice) between(i, j int) (lo, hi int) {
	hi = len(c.p.days)
	if i > 0 {
		lo = c.days[i-1] + 1
	}
	if j < len(c.days) {
		hi = c.days[j]
	}
	return lo, hi
}

// shift moves visits between their neighbours.
func (c *choice) shift() bool {
	moved := false
	for i := range c.days {
		lo, hi := c.between(i, i+1)
		for d := lo; d < hi; d++ {
			moved = c.swap(i, i+1, d) || moved
		}
	}
	return moved
}

// drop leaves one visit out.
func (c *choice) drop() bool {
	for i := range c.days {
		if c.swap(i, i+1) {
			return true
		}
	}
	return false
}

// add puts one visit in.
func (c *choice) add() bool {
	for i := range len(c.days) + 1 {
		lo, hi := c.between(i, i)
		for d := lo; d < hi; d++ {
			if c.swap(i, i, d) {
				return true
			}
		}
	}
	return false
}

// merge makes one visit of two neighbours.
func (c *choice) merge() bool {
	for i := range len(c.days) - 1 {
		for d := c.days[i] + 1; d < c.days[i+1]; d++ {
			if c.swap(i, i+2, d) {
				return true
			}
		}
	}
	return false
}

// singles are all jobs, each on its own.
func (p *problem) singles() []line {
	out := make([]line, len(p.jobs))
	for i, t := range p.jobs {
		out[i] = t.line
	}
	return out
}

// wholeUnits are the AHUs, each done in one go where some day suits all its jobs.
func (p *problem) wholeUnits() []line {
	var out []line
	for _, g := range p.groups {
		if l, ok := sum(g.lines); ok {
			out = append(out, l)
			continue
		}
		out = append(out, g.lines...)
	}
	return out
}
