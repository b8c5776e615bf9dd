package phrase

import (
	"math"

	"clogwise/internal/plant"
)

// air is what a group says of airflow. Nil fields were not said.
type air struct {
	flow, flowAlt *float64 // m³/s; the other reading of "3,100"
	hz, pct       *float64
}

func (a air) known() bool { return a.flow != nil || a.hz != nil || a.pct != nil }

// airOf gathers airflow from marks; the last of each sort counts. Values that no
// fan or duct shows are left out, and the second result says so.
func (p *parser) airOf(ms []*mark) (a air, odd bool) {
	for _, m := range ms {
		if m.kind != mAir {
			continue
		}
		v := m.air.value
		switch {
		case m.air.kind == uHz && v > 0 && v <= 120:
			a.hz = &v
		case m.air.kind == uPct && v > 0 && v <= 150:
			a.pct = &v
		case m.air.kind == uFlow && v > 0 && (v <= 1000 || m.air.alt > 0):
			a.flow, a.flowAlt = &v, nil
			if alt := m.air.alt; alt > 0 {
				a.flowAlt = &alt
			}
		default:
			odd = true
		}
	}
	if odd {
		p.note("air-ignored", sayAirIgnored(p.sc.In))
	}
	return a, odd
}

// flowFor settles "3,100 m³/h" against the design airflow of the AHU: the
// reading nearer to it, or the one with thousands when there is none.
func (p *parser) flowFor(a air, place plant.BankID) *float64 {
	if a.flow == nil || a.flowAlt == nil {
		return a.flow
	}
	design := 0.0
	if u, ok := p.reg.AHU(place); ok {
		design = u.DesignFlowM3s
	}
	if design <= 0 || math.Abs(math.Log(*a.flowAlt/design)) < math.Abs(math.Log(*a.flow/design)) {
		return a.flowAlt
	}
	return a.flow
}

// airFor gives the airflow that holds for a segment: its own, else the group's,
// else what a header line said.
func (p *parser) airFor(g *group, s *segment) air {
	if own, _ := p.airOf(s.marks); own.known() {
		return own
	}
	if g.air.known() {
		return g.air
	}
	if p.air != nil {
		return *p.air
	}
	return air{}
}
