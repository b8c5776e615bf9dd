package demo

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"clogwise/internal/plant"
)

// bank is one bank of the simulation.
type bank struct {
	id       plant.BankID
	plant    plant.Bank
	ahu      plant.AHU
	site     site
	exponent float64 // of resistance over airflow
	limitPa  float64
	growth   growth
	axis     axis
	lives    []life // oldest first
	rng      *rand.Rand
}

// newRand is a source of chance of its own for each use, so that more readings
// of one bank do not change another's.
func newRand(seed uint64, use string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(use)) // never fails
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// clean is resistance and exponent of a bank's clean filters at design airflow,
// from its item's points: each filter passes its share of the air by area.
func clean(reg *plant.Register, b plant.Bank, a plant.AHU) (pa, exponent float64) {
	it, _ := reg.Item(b.Item)
	if len(it.Points) < 2 || b.Count() == 0 {
		return 60, 1.3
	}
	area := 0.0
	for _, f := range b.Fronts {
		area += float64(f.WidthMM * f.HeightMM * f.Count)
	}
	flow := a.DesignFlowM3s * float64(it.WidthMM*it.HeightMM) / area
	first, last := it.Points[0], it.Points[len(it.Points)-1]
	exponent = math.Log(last.Pa/first.Pa) / math.Log(last.FlowM3s/first.FlowM3s)
	return first.Pa * math.Pow(flow/first.FlowM3s, exponent), exponent
}

// live lays the bank's lives back from now until they cover the time from start.
func (b *bank) live(s story, cleanPa float64, start, now time.Time) {
	last := b.workday(now.AddDate(0, 0, -s.age), now)
	x := b.axis.at(last)
	length := (b.axis.at(now) - x) / b.growth.inverse(s.rise)
	b.lives = []life{b.set(last, length, cleanPa)}
	for i := 0; last.After(start); i++ {
		end := 0.88 + 0.2*b.rng.Float64()
		if i == 1 && s.late > 0 {
			end = s.late
		}
		want := length * math.Exp(0.1*b.rng.NormFloat64()) * b.growth.inverse(end)
		if want > x {
			return
		}
		from := b.workday(b.axis.when(x-want), last)
		x0 := b.axis.at(from)
		b.lives = append(b.lives, b.set(from, (x-x0)/b.growth.inverse(end), cleanPa))
		last, x = from, x0
	}
	slices.Reverse(b.lives)
}

func (b *bank) set(from time.Time, length, cleanPa float64) life {
	return life{from, b.axis.at(from), length, cleanPa * (1 + 0.03*clamp(b.rng.NormFloat64(), 2))}
}

func clamp(z, most float64) float64 { return max(-most, min(most, z)) }

// workday is a time on or soon after the day of t when people change filters,
// never after the latest.
func (b *bank) workday(t, latest time.Time) time.Time {
	y, m, d := t.In(b.site.loc).Date()
	at := time.Date(y, m, d, 10, b.rng.IntN(180), 0, 0, b.site.loc)
	for !b.site.works(at) {
		at = at.AddDate(0, 0, 1)
	}
	for at.After(latest) || !b.site.works(at) {
		at = at.AddDate(0, 0, -1)
	}
	return at
}

// site is a site with its zone at hand.
type site struct {
	plant.Site
	loc *time.Location
}

func (h *history) site(id string) (site, bool) {
	s, ok := h.reg.Site(id)
	return site{s, h.reg.Location(id)}, ok
}

// works reports whether people of the site are at work on the day of t.
func (s site) works(t time.Time) bool {
	local := t.In(s.loc)
	if d := local.Weekday(); d == time.Saturday || d == time.Sunday {
		return false
	}
	return !slices.Contains(s.Schedule.Holidays, local.Format(time.DateOnly))
}

// somebody is one of the site's crew.
func (s site) somebody(rng *rand.Rand) string {
	if len(s.Crew) == 0 {
		return "crew"
	}
	return s.Crew[rng.IntN(len(s.Crew))]
}

// lifeAt is the life running at t; false before the first known change-out.
func (b *bank) lifeAt(t time.Time) (life, bool) {
	for _, l := range slices.Backward(b.lives) {
		if !t.Before(l.from) {
			return l, true
		}
	}
	return life{}, false
}

// rise is how far the bank is from clean to limit at t.
func (b *bank) rise(t time.Time) float64 {
	l, ok := b.lifeAt(t)
	if !ok {
		return 0
	}
	return b.growth.at((b.axis.at(t) - l.x0) / l.length)
}

// designPa is the true resistance at t and design airflow.
func (b *bank) designPa(t time.Time) float64 {
	l, ok := b.lifeAt(t)
	if !ok {
		return 0
	}
	return l.cleanPa + (b.limitPa-l.cleanPa)*b.rise(t)
}
