package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// missed is the chance that an AHU is left out of a round.
const missed = 0.07

// rounds are the weekly walks of a site's crew, on working mornings.
func (h *history) rounds(s site, cu custom) {
	rng := newRand(h.seed, s.ID+" rounds")
	loc := s.loc
	y, m, d := h.start.In(loc).Date()
	for i := 0; ; i++ {
		begin := time.Date(y, m, d+i, cu.hour, 10+rng.IntN(30), 0, 0, loc)
		if begin.After(h.now) {
			return
		}
		if begin.Before(h.start) || int(begin.Weekday()) != cu.weekday || !s.works(begin) {
			continue
		}
		by := s.somebody(rng)
		at := begin
		for _, ahu := range h.reg.AHUs(s.ID) {
			at = at.Add(time.Duration(6*60+rng.IntN(8*60)) * time.Second)
			h.visit(s, ahu, at, by, rng)
		}
	}
}

// visit reads the gauges of one AHU.
func (h *history) visit(s site, id plant.BankID, at time.Time, by string, rng *rand.Rand) {
	back := h.back(s, at)
	a, _ := h.reg.AHU(id)
	if unitOff.hits(id, back) {
		h.say(rng, at, string(id)+":off", id, by, a.Tag+" fan off, no rehearsals this week", entry.FanOff{Reason: "no rehearsals this week"})
		return
	}
	leftOut := rng.Float64() < missed
	var banks []*bank
	for _, bankID := range h.reg.Banks(id) {
		if b := h.banks[bankID]; b != nil {
			banks = append(banks, b)
			leftOut = leftOut && !(back <= shown && troubled(bankID))
		}
	}
	if leftOut {
		return
	}
	now := airAt(id, a, banks, at, rng)
	for i, b := range banks {
		if b.plant.Gauge.Absent || b.id == trended {
			continue
		}
		if _, ok := b.lifeAt(at); !ok {
			continue
		}
		h.look(b, at.Add(time.Duration(20*i)*time.Second), now, by)
	}
}

// shown is for how many days back what the demo is to show is never left out.
const shown = 38

// troubled reports whether the story needs the readings of a bank.
func troubled(id plant.BankID) bool {
	return slices.ContainsFunc([]trouble{torn, wetUnsaid, wetSaid, bouncing}, func(t trouble) bool { return t.place == id })
}

// look is one glance at one gauge, and what is typed of it.
func (h *history) look(b *bank, at time.Time, a air, by string) {
	back := h.back(b.site, at)
	if locked.hits(b.id, back) {
		h.say(b.rng, at, string(b.id)+":skip", b.id, by, "no reading "+b.name()+", archive locked, no key", entry.Skip{Reason: "archive locked, no key"})
		return
	}
	pa := b.shownPa(at, a)
	suffix := ""
	r := entry.Reading{}
	switch {
	case torn.hits(b.id, back):
		l, _ := b.lifeAt(at)
		pa = l.cleanPa + 0.15*(pa-l.cleanPa) // most of the air takes the tear
	case wetUnsaid.hits(b.id, back):
		pa *= 1.6
	case wetSaid.hits(b.id, back):
		pa *= 1.7
		r.Wet = true
		suffix = " fog, filters wet"
	case bouncing.hits(b.id, back):
		low, high := b.rounded(0.8*pa), b.rounded(1.25*pa)
		line := fmt.Sprintf("%s %s-%s bouncing", b.name(), b.digits(low), b.typed(high))
		h.say(b.rng, at, string(b.id)+":range", b.id, by, line, entry.Range{LowPa: low, HighPa: high})
		return
	}
	if top := b.plant.Gauge.TopPa; top > 0 && pa > top {
		h.say(b.rng, at, string(b.id)+":over", b.id, by, b.name()+" gauge pegged", entry.OverRange{TopPa: top})
		return
	}
	r.Pa, r.StepPa, r.Unit = b.rounded(pa), b.step(), string(b.unit())
	if a.hz > 0 {
		r.FanHz = &a.hz
		suffix += fmt.Sprintf(" %.0f hz", a.hz)
	}
	if a.flowM3s > 0 {
		r.FlowM3s = &a.flowM3s
		suffix += fmt.Sprintf(" %.2f m3/s", a.flowM3s)
	}
	h.say(b.rng, at, string(b.id), b.id, by, b.name()+" "+b.typed(r.Pa)+suffix, r)
}

// shownPa is what the gauge shows at t: the true resistance at the air that is
// moved, give or take a few per cent.
func (b *bank) shownPa(t time.Time, a air) float64 {
	noise := 1 + 0.03*clamp(b.rng.NormFloat64(), 2.5)
	return b.designPa(t) * math.Pow(a.fraction, b.exponent) * noise
}

// unit is the one on the gauge's face.
func (b *bank) unit() units.PressureUnit {
	if b.plant.Gauge.Unit != "" {
		return b.plant.Gauge.Unit
	}
	return units.Pa
}

// step is how finely people read the gauge, Pa.
func (b *bank) step() float64 {
	if b.unit() == units.InH2O {
		return units.InH2O.ToPa(0.01)
	}
	return max(1, b.plant.Gauge.StepPa)
}

func (b *bank) rounded(pa float64) float64 { return math.Round(pa/b.step()) * b.step() }

// typed is a pressure as people of the site would type it.
func (b *bank) typed(pa float64) string {
	if b.unit() == units.InH2O {
		return b.digits(pa) + " in wc"
	}
	return b.digits(pa) + " Pa"
}

func (b *bank) digits(pa float64) string {
	if b.unit() == units.InH2O {
		return fmt.Sprintf("%.2f", units.InH2O.FromPa(pa))
	}
	return fmt.Sprintf("%.0f", pa)
}

// name is AHU and stage in the words of the site.
func (b *bank) name() string {
	words := b.plant.Aliases
	if len(words) == 0 {
		words = customs[b.site.ID].words[b.plant.Stage]
	}
	if len(words) == 0 {
		words = []string{string(b.plant.Stage)}
	}
	return b.ahu.Tag + " " + words[b.rng.IntN(len(words))]
}
