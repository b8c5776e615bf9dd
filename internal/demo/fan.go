package demo

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"clogwise/internal/plant"
)

// air is what an AHU moves when somebody stands before it.
type air struct {
	fraction float64 // of design airflow
	hz       float64 // typed fan frequency; 0 = not typed
	flowM3s  float64 // typed airflow; 0 = not typed
}

// hzTyped are AHUs whose fan speed people read off the drive and type.
var hzTyped = []plant.BankID{"clinic/ahu-1", "clinic/ahu-3", "works/ahu-11", "works/ahu-12"}

// airAt draws the air of an AHU at t.
func airAt(id plant.BankID, a plant.AHU, banks []*bank, t time.Time, rng *rand.Rand) air {
	switch {
	case slices.Contains(hzTyped, id):
		// Dampers stand still and the drive is set by hand, so airflow follows speed.
		part := [...]float64{0.9, 0.94, 1, 1}[rng.IntN(4)]
		hz := math.Round(part * a.DesignHz)
		return air{fraction: hz / a.DesignHz, hz: hz}
	case len(a.FlowProfile) > 0:
		f := draw(a.FlowProfile, rng) * (1 + 0.03*clamp(rng.NormFloat64(), 2))
		flow := math.Round(f*a.DesignFlowM3s*100) / 100
		return air{fraction: flow / a.DesignFlowM3s, flowM3s: flow}
	case a.FanControl == plant.SpeedHeld:
		return air{fraction: speedHeld(a, banks, t)}
	}
	return air{fraction: 1}
}

// draw picks a fraction of a profile by its share of running time.
func draw(p []plant.FlowShare, rng *rand.Rand) float64 {
	x := rng.Float64()
	for _, s := range p {
		if x -= s.Share; x < 0 {
			return s.Fraction
		}
	}
	return p[len(p)-1].Fraction
}

// speedHeld is the fraction of design airflow at which a fan of fixed speed
// meets its system with the filters of t: dirt takes airflow, not power.
func speedHeld(a plant.AHU, banks []*bank, t time.Time) float64 {
	ducts := a.DesignSystemPa // what is not filters, at design airflow
	for _, b := range banks {
		if l, ok := b.lifeAt(t); ok {
			ducts -= l.cleanPa
		}
	}
	lo, hi := 0.3, 1.3
	for range 40 {
		f := (lo + hi) / 2
		need := ducts * f * f
		for _, b := range banks {
			need += b.designPa(t) * math.Pow(f, b.exponent)
		}
		if need < fanPa(a, f) {
			lo = f
		} else {
			hi = f
		}
	}
	return lo
}

// fanPa is the fan's pressure at a fraction of design airflow; without a curve
// in the register, one that falls gently through the design point.
func fanPa(a plant.AHU, f float64) float64 {
	c := a.FanCurve
	if len(c) < 2 {
		return a.DesignSystemPa * (1.5 - 0.5*f*f)
	}
	q := f * a.DesignFlowM3s
	i := 1
	for i < len(c)-1 && c[i].FlowM3s < q {
		i++
	}
	p, n := c[i-1], c[i]
	return p.Pa + (n.Pa-p.Pa)*(q-p.FlowM3s)/(n.FlowM3s-p.FlowM3s)
}
