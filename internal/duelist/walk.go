package duelist

import (
	"cmp"
	"slices"
)

// A line is a cost along the candidate days that falls to its best day and rises
// after it. Of any set of visit days it therefore takes the last one up to its
// best day or the first one after.
type line struct {
	cost []micros // by candidate day
	best int      // index of the cheapest candidate
}

// at is the cost on a candidate day; -1 is no day at all.
func (l *line) at(d int) micros {
	if d < 0 {
		return never
	}
	return l.cost[d]
}

// nearest is the day, of those given, that the line takes; -1 when it can have none.
func (l *line) nearest(days []int) int {
	k, found := slices.BinarySearch(days, l.best)
	if found {
		return l.best
	}
	before, after := -1, -1
	if k > 0 {
		before = days[k-1]
	}
	if k < len(days) {
		after = days[k]
	}
	if l.at(before) <= l.at(after) {
		return before
	}
	return after
}

// sum is the line of several lines done on one day; ok is false when no day
// suits all.
func sum(ls []line) (line, bool) {
	out := line{cost: slices.Clone(ls[0].cost)}
	for i := range out.cost {
		for _, l := range ls[1:] {
			out.cost[i] = plus(out.cost[i], l.cost[i])
		}
		if out.cost[i] < out.cost[out.best] {
			out.best = i
		}
	}
	return out, out.cost[out.best] < never
}

func byBest(a, b line) int { return cmp.Compare(a.best, b.best) }

// A walker finds the stops that serve lines at the least cost. It keeps its room
// between walks.
type walker struct {
	upTo  []micros // least cost with a stop on this day, of the lines best by then
	index []int    // number of lines best by then
	from  []int    // stop before it, -1 = none
	last  int      // last stop, by index into the days; -1 = the walk failed
}

// walk returns the least cost of serving the lines (ascending by best day) with
// stops on some of the days, each stop at its price.
//
// The cost of a set of stops splits at the stops: between two neighbours s and t
// stand exactly the lines whose best day lies in (s, t], and each takes the
// cheaper of the two. So the least is a shortest path along the days.
func (w *walker) walk(lines []line, days []int, stop micros) micros {
	if len(lines) == 1 {
		return w.single(&lines[0], days, stop)
	}
	upTo, index, stopBefore := w.upTo[:0], w.index[:0], w.from[:0]
	least, last, n := never, -1, 0
	for k, t := range days {
		for n < len(lines) && lines[n].best <= t {
			n++
		}
		best, from := gap(lines[:n], -1, t, never), -1
		for i := k - 1; i >= 0; i-- {
			between := gap(lines[index[i]:n], days[i], t, best)
			if between >= best {
				break // and more so for every earlier stop
			}
			if c := plus(upTo[i], between); c < best {
				best, from = c, i
			}
		}
		best = plus(best, stop)
		upTo, index, stopBefore = append(upTo, best), append(index, n), append(stopBefore, from)
		if c := plus(best, gap(lines[n:], t, -1, never)); c < least {
			least, last = c, k
		}
	}
	w.upTo, w.index, w.from, w.last = upTo, index, stopBefore, last
	return least
}

// single is the walk of one line: it takes one stop.
func (w *walker) single(l *line, days []int, stop micros) micros {
	at := l.nearest(days)
	w.last, w.from = slices.Index(days, at), w.from[:0]
	for range days {
		w.from = append(w.from, -1)
	}
	return plus(l.at(at), stop)
}

// stops are the days of the last walk's path, ascending.
func (w *walker) stops(days []int) []int {
	var out []int
	for k := w.last; k >= 0; k = w.from[k] {
		out = append(out, days[k])
	}
	slices.Reverse(out)
	return out
}

// gap is the cost of the lines when each takes day s or t, whichever is cheaper.
// It stops counting at enough.
func gap(lines []line, s, t int, enough micros) micros {
	c := micros(0)
	for i := range lines {
		if c >= enough {
			return enough
		}
		c = plus(c, min(lines[i].at(s), lines[i].at(t)))
	}
	return min(c, enough)
}
