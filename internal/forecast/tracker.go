package forecast

import (
	"slices"
	"sort"
)

// Tracker keeps a life between readings, for callers that hold it in memory.
// After any sequence of Add the Posterior is bit for bit that of Fit on the
// same set of readings: the order in which they were added leaves no trace.
//
// Add costs a search and an insertion in the life's readings; Posterior costs
// one pass over the life's readings and then the same work for any number of
// them. Neither looks at other lives. A Tracker is not safe for concurrent use.
type Tracker struct {
	prior Prior
	life  Life
}

// NewTracker starts a life with the readings it has.
func NewTracker(prior Prior, life Life) *Tracker {
	prior, life = mended(prior, life)
	life.Obs = slices.Clone(life.Obs)
	sort.SliceStable(life.Obs, func(i, j int) bool { return life.Obs[i].X < life.Obs[j].X })
	return &Tracker{prior: prior, life: life}
}

// Add takes one more reading, at any place of the life.
func (t *Tracker) Add(o Observation) {
	at := sort.Search(len(t.life.Obs), func(i int) bool { return t.life.Obs[i].X > o.X })
	t.life.Obs = slices.Insert(t.life.Obs, at, o)
}

// SetNow moves the place in the life that Remaining and NowPa refer to.
func (t *Tracker) SetNow(x float64) { t.life.NowX = x }

// Posterior returns the forecast with the readings so far.
func (t *Tracker) Posterior() Posterior {
	return fitPoints(t.prior, t.life, gather(t.life.Obs, t.prior.LimitPa))
}
