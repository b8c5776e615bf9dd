package duelist

import (
	"math/bits"
	"slices"
)

// exact finds a cheapest plan by dynamic programming over sets of jobs: the
// best first visit is some set holding the first job left, and the rest is a
// smaller question. It looks at every set on every day, so it rests on no
// property of the costs. O(days·2ⁿ + 3ⁿ). The answer is the day of each job, by
// index.
func (p *problem) exact() []int {
	n := len(p.jobs)
	cheapest, onDay := p.sets()
	all := 1<<n - 1
	total := make([]micros, all+1)
	first := make([]int, all+1)
	for left := 1; left <= all; left++ {
		total[left] = never
		lowest := left & -left
		for rest := left &^ lowest; ; rest = (rest - 1) & (left &^ lowest) {
			visit := left &^ rest
			if c := plus(cheapest[visit], total[rest]); c < total[left] {
				total[left], first[left] = c, visit
			}
			if rest == 0 {
				break
			}
		}
	}
	out := make([]int, n)
	for left := all; left > 0; left &^= first[left] {
		for s := first[left]; s > 0; s &= s - 1 {
			out[bits.TrailingZeros(uint(s))] = onDay[first[left]]
		}
	}
	return out
}

// sets prices one visit for every set of jobs on that set's cheapest day.
func (p *problem) sets() (cheapest []micros, onDay []int) {
	size := 1 << len(p.jobs)
	cheapest, onDay = slices.Repeat([]micros{never}, size), make([]int, size)
	sum := make([]micros, size)
	for d := range p.days {
		for s := 1; s < size; s++ {
			sum[s] = plus(sum[s&(s-1)], p.jobs[bits.TrailingZeros(uint(s))].cost[d])
			if sum[s] < cheapest[s] {
				cheapest[s], onDay[s] = sum[s], d
			}
		}
	}
	for s := 1; s < size; s++ {
		cheapest[s] = plus(cheapest[s], p.visit+p.isolation*micros(p.units(s)))
	}
	return cheapest, onDay
}

// units counts the AHUs of a set of jobs.
func (p *problem) units(set int) int {
	n := 0
	for _, g := range p.groups {
		if slices.ContainsFunc(g.jobs, func(j int) bool { return set>>j&1 == 1 }) {
			n++
		}
	}
	return n
}
