// Package trend thins what building systems record every few minutes to what a
// forecast needs: one reading a day, of the times at which the fan ran steadily,
// with how many values it stands for and between which they lay. It is pure.
package trend

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/points"
)

// A Sample is one value of a bank's differential pressure with what was known of
// the air at the time.
type Sample struct {
	At      time.Time
	Pa      float64
	Air     points.Air
	Suspect bool // its sender doubted it
}

// What counts as steady running (common practice, no source).
const (
	settle     = 15 * time.Minute // after the fan starts, until the pressure stands
	awayPct    = 7.5              // of fan speed or airflow from the day's median, in percent of it
	stillPct   = 5.0              // below that fan speed the fan is taken to stand
	stillHz    = 3.0
	stillShare = 0.1  // of the day's high pressures, below which the fan is taken to stand where nothing tells of it
	leastUsed  = 6    // values without which a day tells too little
	mostSpread = 0.35 // of the middle half of the values, as a share of their median
)

// Day is one reading made of a day's samples, in any order. ok is false when
// none of them was taken with the fan running steadily. A day that tells little,
// or whose values lie far apart, gives a suspect reading.
func Day(samples []Sample) (at time.Time, r entry.Reading, ok bool) {
	all := slices.Clone(samples)
	slices.SortFunc(all, func(a, b Sample) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Pa, b.Pa)) })
	used := steady(running(all))
	if len(used) == 0 {
		return at, r, false
	}
	w := entry.Window{Count: len(all), Used: len(used), MinPa: all[0].Pa, MaxPa: all[0].Pa}
	for _, s := range all {
		w.MinPa, w.MaxPa = min(w.MinPa, s.Pa), max(w.MaxPa, s.Pa)
	}
	pa := values(used, func(s Sample) *float64 { return &s.Pa })
	w.LowPa, w.HighPa = quantile(pa, 0.25), quantile(pa, 0.75)
	median := quantile(pa, 0.5)
	r = entry.Reading{
		Pa: median, Window: &w, Quality: fmt.Sprintf("median of %d of %d", w.Used, w.Count),
		FlowM3s: middle(used, func(s Sample) *float64 { return s.Air.FlowM3s }),
		FanHz:   middle(used, func(s Sample) *float64 { return s.Air.FanHz }),
		FanPct:  middle(used, func(s Sample) *float64 { return s.Air.FanPct }),
		Suspect: w.Used < leastUsed || w.HighPa-w.LowPa > mostSpread*median,
	}
	return used[(len(used)-1)/2].At, r, true
}

// running leaves out what was read while the fan stood or had just started, and
// what cannot be a pressure across a filter.
func running(all []Sample) []Sample {
	var out []Sample
	var stood time.Time // when the fan was last seen standing
	least := leastRunning(all)
	for _, s := range all {
		if standing(s.Air) || s.Pa < least {
			stood = s.At
			continue
		}
		if s.Suspect || !(s.Pa > 0) || !stood.IsZero() && s.At.Sub(stood) < settle {
			continue
		}
		out = append(out, s)
	}
	return out
}

// leastRunning is the pressure below which a fan is taken to stand on a day of
// which nothing is known but pressures: a small part of the highest tenth. A fan
// turned down to 40 % still gives a quarter of it. 0: the air is known.
func leastRunning(all []Sample) float64 {
	var pa []float64
	for _, s := range all {
		if a := s.Air; a.Off || a.FlowM3s != nil || a.FanHz != nil || a.FanPct != nil {
			return 0
		}
		if !s.Suspect && s.Pa > 0 {
			pa = append(pa, s.Pa)
		}
	}
	if len(pa) == 0 {
		return 0
	}
	slices.Sort(pa)
	return stillShare * quantile(pa, 0.9)
}

func standing(a points.Air) bool {
	return a.Off || a.FanPct != nil && *a.FanPct < stillPct || a.FanHz != nil && *a.FanHz < stillHz || a.FlowM3s != nil && *a.FlowM3s <= 0
}

// steady leaves out what was read at another speed or airflow than most of the
// day. Where neither is known all is taken.
func steady(all []Sample) []Sample {
	for _, of := range []func(Sample) *float64{
		func(s Sample) *float64 { return s.Air.FlowM3s }, func(s Sample) *float64 { return s.Air.FanHz }, func(s Sample) *float64 { return s.Air.FanPct },
	} {
		usual := middle(all, of)
		if usual == nil {
			continue
		}
		return slices.DeleteFunc(slices.Clone(all), func(s Sample) bool {
			v := of(s)
			return v == nil || math.Abs(*v-*usual) > awayPct/100**usual
		})
	}
	return all
}

func values(all []Sample, of func(Sample) *float64) []float64 {
	var out []float64
	for _, s := range all {
		if v := of(s); v != nil {
			out = append(out, *v)
		}
	}
	slices.Sort(out)
	return out
}

func middle(all []Sample, of func(Sample) *float64) *float64 {
	vs := values(all, of)
	if len(vs) == 0 {
		return nil
	}
	m := quantile(vs, 0.5)
	return &m
}

// quantile of sorted values, linear between them (type 7 of Hyndman and Fan,
// The American Statistician 50, 1996).
func quantile(sorted []float64, q float64) float64 {
	h := q * float64(len(sorted)-1)
	i := int(h)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (h-float64(i))*(sorted[i+1]-sorted[i])
}
