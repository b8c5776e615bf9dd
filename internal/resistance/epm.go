package resistance

import "math"

// channelEdges are the optical particle diameters, µm, between which fractional
// efficiencies are measured (the size ranges of ISO 16890-2 and ASHRAE 52.2).
var channelEdges = [...]float64{0.3, 0.4, 0.55, 0.7, 1, 1.3, 1.6, 2.2, 3, 4, 5.5, 7, 10}

// Fractional holds the efficiency of a filter, 0..1, in each of the twelve size
// ranges from 0.3 to 10 µm.
type Fractional [len(channelEdges) - 1]float64

// A Distribution is a standard size distribution of outdoor dust by volume: the
// sum of a fine and a coarse logarithmic normal mode.
type Distribution struct {
	FineD, FineSigma     float64 // median diameter µm and geometric standard deviation
	CoarseD, CoarseSigma float64
	FineShare            float64
}

// Urban and Rural are the distributions of ISO 16890-1 (parameters from memory):
// urban dust for ePM1 and ePM2.5, rural dust for ePM10.
func Urban() Distribution { return Distribution{0.3, 2.2, 10, 3.1, 0.45} }

// Rural is the distribution for ePM10.
func Rural() Distribution { return Distribution{0.25, 2.2, 11, 4, 0.18} }

// At is the volume density over ln d at diameter d µm.
func (s Distribution) At(d float64) float64 {
	return s.FineShare*lognormal(d, s.FineD, s.FineSigma) + (1-s.FineShare)*lognormal(d, s.CoarseD, s.CoarseSigma)
}

func lognormal(d, median, sigma float64) float64 {
	l := math.Log(sigma)
	z := math.Log(d/median) / l
	return math.Exp(-z*z/2) / (l * math.Sqrt(2*math.Pi))
}

// EPM returns the efficiency of a filter on dust up to size µm (ISO 16890-1):
// the mean of its fractional efficiencies weighted by the distribution at the
// geometric mean of each size range. The range that holds the size is cut there,
// so ePM2.5 counts particles up to 2.5 µm; pass 3 for the sum over whole ranges.
func (e Fractional) EPM(size float64, s Distribution) float64 {
	var got, all float64
	for i, eff := range e {
		lo, hi := channelEdges[i], min(channelEdges[i+1], size)
		if hi <= lo {
			break
		}
		w := s.At(math.Sqrt(lo*hi)) * math.Log(hi/lo)
		got += eff * w
		all += w
	}
	if all == 0 {
		return math.NaN()
	}
	return got / all
}

// EPM holds the figures of ISO 16890-1 as shares 0..1.
type EPM struct {
	PM1, PM25, PM10 float64 // mean of the untreated and the discharged filter
	PM1Min, PM25Min float64 // of the discharged filter
}

// EPMOf returns the figures from the fractional efficiencies of the filter
// untreated and after its electrostatic charge was taken away.
func EPMOf(untreated, discharged Fractional) EPM {
	var mean Fractional
	for i := range mean {
		mean[i] = (untreated[i] + discharged[i]) / 2
	}
	return EPM{
		PM1: mean.EPM(1, Urban()), PM25: mean.EPM(2.5, Urban()), PM10: mean.EPM(10, Rural()),
		PM1Min: discharged.EPM(1, Urban()), PM25Min: discharged.EPM(2.5, Urban()),
	}
}

// Classes lists the groups a filter may be labelled with, the finest first: ePM1
// and ePM2.5 from 50 % of the figure of the discharged filter, ePM10 from 50 %.
// With none of them the filter is coarse, whose figure is an arrestance measured
// by weight and not known here (ISO 16890-1:2016).
func (e EPM) Classes() []Class {
	var out []Class
	if e.PM1Min >= 0.5 {
		out = append(out, newISO(EPM1, RoundDown5(100*e.PM1)))
	}
	if e.PM25Min >= 0.5 {
		out = append(out, newISO(EPM25, RoundDown5(100*e.PM25)))
	}
	if e.PM10 >= 0.5 {
		out = append(out, newISO(EPM10, RoundDown5(100*e.PM10)))
	}
	if len(out) == 0 {
		out = append(out, newISO(Coarse, 0))
	}
	return out
}

// mervMinima are the lowest average efficiencies, %, of MERV 5 to 16 in the size
// ranges E1 0.3–1, E2 1–3 and E3 3–10 µm (ASHRAE 52.2-2017, as reprinted; E3 of
// MERV 13 is 90 from memory, one reprint has 95).
var mervMinima = [...]struct{ e1, e2, e3 float64 }{
	{0, 0, 20}, {0, 0, 35}, {0, 0, 50}, {0, 20, 70}, {0, 35, 75}, {0, 50, 80},
	{20, 65, 85}, {35, 80, 90}, {50, 85, 90}, {75, 90, 95}, {85, 90, 95}, {95, 95, 95},
}

// MERV returns the minimum efficiency reporting value, 1 to 16, from the three
// composite minima in per cent, and for MERV 1 to 4 the arrestance in per cent.
func MERV(e1, e2, e3, arrestance float64) int {
	for i := len(mervMinima) - 1; i >= 0; i-- {
		if m := mervMinima[i]; e1 >= m.e1 && e2 >= m.e2 && e3 >= m.e3 {
			return i + 5
		}
	}
	switch {
	case arrestance >= 75:
		return 4
	case arrestance >= 70:
		return 3
	case arrestance >= 65:
		return 2
	}
	return 1
}
