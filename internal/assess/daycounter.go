package assess

import (
	"time"

	"clogwise/internal/plant"
)

// dayCounter counts run hours from reading to reading. Where several fall on a day
// it asks the calendar once a day: the hours of a day are spread evenly over it.
// What it answers depends on the readings since it was made, and on nothing else.
type dayCounter struct {
	run      plant.Runner
	loc      *time.Location
	from, to time.Time // the day at hand; zero: none
	share    float64   // of its time that the fan runs
}

// hours is the run hours from a to b, not before it.
func (c *dayCounter) hours(a, b time.Time) float64 {
	if !c.to.IsZero() && !a.Before(c.from) && !b.After(c.to) {
		return c.share * b.Sub(a).Hours()
	}
	if b.Sub(a) < 12*time.Hour {
		y, m, d := b.In(c.loc).Date()
		c.from, c.to = time.Date(y, m, d, 0, 0, 0, 0, c.loc), time.Date(y, m, d+1, 0, 0, 0, 0, c.loc)
		c.share = c.run.Hours(c.from, c.to) / c.to.Sub(c.from).Hours()
	}
	return c.run.Hours(a, b)
}
