package forecast

import (
	"math"
	"testing"
)

// However many readings a life has, a fit filters no more than so many points on so many
// nodes: what is linear in the readings is their merging alone.
func TestTheWorkOfAFitIsBounded(t *testing.T) {
	t.Parallel()
	prior := ClassPrior("secondary")
	for _, n := range []int{10, 100, 1000, 100_000} {
		var obs []Observation
		for i := range n {
			x := 2400 * float64(i+1) / float64(n)
			pa := 80 + 40*x/1000 + 4*math.Sin(float64(7*i))
			if x > 1200 {
				pa += 40 // a leap is looked for
			}
			obs = append(obs, Observation{X: x, Pa: pa, Weight: 1, StepPa: 1})
		}
		pts := gather(obs, prior.LimitPa)
		if len(pts) > mostPoints+1 {
			t.Errorf("%d readings: %d points, want %d at most", n, len(pts), mostPoints+1)
		}
		nodes := locate(&prior, pts, step{}, leastNodes, fineBend)
		if len(nodes) > mostNodes {
			t.Errorf("%d readings: %d nodes, want %d at most", n, len(nodes), mostNodes)
		}
	}
}
