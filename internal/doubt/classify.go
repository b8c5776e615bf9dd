package doubt

import (
	"math"
	"time"

	"clogwise/internal/units"
)

// kind is what a reading looks like beside the line.
type kind int

const (
	fits kind = iota
	aLittleLow
	aLittleHigh
	tooLow
	tooHigh
	misplaced // fits another bank
	misunited // fits in another unit
	zero
	negative
	turned // negative, and fits with its sign turned
	overTop
)

// entryFault reports whether a kind is of the reading, not of the filters.
func (k kind) entryFault() bool { return k >= misplaced }

// verdict is what is found of one reading.
type verdict struct {
	kind    kind
	e, z    float64 // off the line, ln and sigmas
	factor  float64 // that would make it fit
	sibling *Sibling
	shown   float64 // by the sibling, Pa
}

// Bounds, set by simulation: a reading is off when it is far in sigmas and far in
// pressure; one a little off waits for the next.
const (
	offSigmas     = 3.5
	littleSigmas  = 2.5
	lowLn         = -0.18 // 16 % down
	lowTogetherLn = -.14  // two readings, on average
	highLn        = 0.2   // 22 % up
	littleLn      = 0.08
	fitSigmas     = 2.5
)

// classify judges reading i by the line.
func (w *walk) classify(i int) verdict {
	r := &w.rs[i]
	top := w.in.Gauge.TopPa
	switch {
	case r.RawPa < 0 || r.Pa <= 0:
		return w.belowZero(r)
	case top > 0 && r.RawPa > 1.02*top && !r.Censored:
		if f := w.unitFactor(r); f != 0 {
			return verdict{kind: misunited, factor: f}
		}
		return verdict{kind: overTop}
	}
	v := w.beside(r)
	if r.Censored && v.kind != tooHigh && v.kind != aLittleHigh {
		return verdict{kind: fits}
	}
	if v.kind != tooLow && v.kind != tooHigh || r.Censored {
		return v
	}
	if f := w.unitFactor(r); f != 0 {
		v.kind, v.factor = misunited, f
		return v
	}
	w.odd = append(w.odd, r.At)
	if s, pa := w.sibling(r); s != nil {
		v.kind, v.sibling, v.shown = misplaced, s, pa
	}
	return v
}

// beside compares a positive reading with the line.
func (w *walk) beside(r *Reading) verdict {
	x, y := r.X/w.life, math.Log(r.Pa)
	v := w.variance(r, y)
	below, zb := w.line.below(x, y, v)
	above, za := w.line.above(x, y, v)
	fresh := w.line.n == 0
	switch {
	case below < lowLn && zb < -offSigmas, fresh && w.clean > 0 && r.Pa < leastOfClean*w.clean:
		return verdict{kind: tooLow, e: below, z: zb}
	case above > highLn && za > offSigmas, fresh && w.in.LimitPa > 0 && r.Pa > 2*w.in.LimitPa:
		return verdict{kind: tooHigh, e: above, z: za}
	case below < -littleLn && zb < -littleSigmas:
		return verdict{kind: aLittleLow, e: below, z: zb}
	case above > littleLn && za > littleSigmas:
		return verdict{kind: aLittleHigh, e: above, z: za}
	}
	return verdict{kind: fits, e: above, z: za}
}

// leastOfClean is the share of the clean value below which a running fan says
// bypass, burst or a tube off. Common gauge practice, no source.
const leastOfClean = 0.3

// belowZero judges a reading of zero or less. Within 2 % of full scale, or half a
// step, it is a zero: common gauge practice, no source.
func (w *walk) belowZero(r *Reading) verdict {
	if -r.RawPa <= max(0.02*w.in.Gauge.TopPa, max(r.StepPa/2, 1)) {
		return verdict{kind: zero}
	}
	turnedBack := *r
	turnedBack.RawPa, turnedBack.Pa = -r.RawPa, -r.Pa
	if w.line.n > 0 || w.clean > 0 {
		if v := w.beside(&turnedBack); v.kind == fits || v.kind == aLittleHigh || v.kind == aLittleLow {
			return verdict{kind: turned}
		}
	}
	return verdict{kind: negative}
}

// factors between units people mix up: inch and millimetre of water, hPa, kPa,
// and a decimal point moved by one (which millimetres of water look like).
var factors = [...]float64{
	units.PaPerInH2O, 1 / units.PaPerInH2O, 1000, 1.0 / 1000, 100, 1.0 / 100, units.PaPerMmH2O, 1 / units.PaPerMmH2O, 25.4, 1 / 25.4,
}

// unitFactor is the factor by which a reading would fit the line best; 0 where
// none makes it fit well.
func (w *walk) unitFactor(r *Reading) float64 {
	if w.line.n == 0 && w.clean == 0 {
		return 0
	}
	x, y := r.X/w.life, math.Log(r.Pa)
	v := w.variance(r, y)
	best, least := 0.0, fitSigmas
	for _, f := range factors {
		e, z := w.line.above(x, y+math.Log(f), v)
		if math.Abs(e) < unitLn && math.Abs(z) < least {
			best, least = f, math.Abs(z)
		}
	}
	return best
}

// unitLn is how near, in ln, a reading must come to be a matter of units: half
// way between the factors nearest to each other.
const unitLn = 0.35

// sibling is the other bank of the AHU that the value belongs to: its gauge showed
// as much about then, and from that visit it has no value of its own, or one that
// belongs here. Nil where there is none.
func (w *walk) sibling(r *Reading) (*Sibling, float64) {
	here := math.Exp(w.line.ahead(r.X/w.life).level) * r.RawPa / r.Pa
	for i := range w.in.Siblings {
		s := &w.in.Siblings[i]
		pa := s.around(r.At)
		if pa > 0 && alike(r.RawPa, pa) && !s.hasItsOwn(r.At, here) {
			return s, pa
		}
	}
	return nil, 0
}

// alike reports whether two pressures are within what readings scatter.
func alike(a, b float64) bool { return math.Abs(math.Log(a/b)) < siblingLn }

// hasItsOwn reports whether the sibling has a value from the same visit that is
// not this bank's.
func (s *Sibling) hasItsOwn(t time.Time, here float64) bool {
	for _, v := range s.Values {
		if v.At.Sub(t).Abs() <= sameVisit && !(v.Pa > 0 && alike(v.Pa, here)) {
			return true
		}
	}
	return false
}

const (
	sameVisit   = time.Hour
	siblingLn   = 0.12
	siblingDays = 21
)

// SiblingsWithin is how far from an odd reading, in time, a sibling's values bear
// on what is made of it.
const SiblingsWithin = siblingDays * 24 * time.Hour

// around is what the sibling showed about t: the middle of the four values
// nearest in time, without one of the same visit, which may be mixed up too.
func (s *Sibling) around(t time.Time) float64 {
	var near []Value
	for _, v := range s.Values {
		off := v.At.Sub(t).Abs()
		if v.Pa > 0 && off > sameVisit && off < siblingDays*24*time.Hour {
			near = append(near, v)
		}
	}
	return middle(near, t)
}
