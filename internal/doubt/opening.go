package doubt

import "math"

// opening is the first reading of a life, in doubt until a second speaks for or
// against it.
type opening struct {
	i       int
	y       float64 // ln(Pa)
	finding *Finding
}

// How far, in ln, a clean value may be from the last set's and from the item's
// data: common gauge practice calls a third off worth a look; no source.
const (
	cleanPrevLn = 0.26
	cleanItemLn = 0.36
	cleanUnitLn = 1.5  // beyond this it is a matter of units or a slip
	noDropLn    = 0.15 // as high as before
	worthADrop  = 1.3  // before over clean that makes a drop certain
	earlyShare  = 0.1  // of a life, in which a reading still speaks of the change-out
)

// begins looks at the first two readings after a known change-out; true when the
// reading has been dealt with.
func (w *walk) begins(i int) bool {
	if w.start != nil {
		return w.seconded(i)
	}
	r := &w.rs[i]
	if w.begun || w.in.Start.IsZero() || !(r.Pa > 0) || r.Censored {
		w.begun = true
		return false
	}
	w.begun = true
	y := math.Log(r.Pa)
	switch {
	case w.noDrop(r, y):
		w.start = &opening{i, y, w.add(SwapNoDrop, i, nil)}
		w.start.finding.Blocks = true
		w.tellNoDrop(w.start.finding, i)
	case r.Clean && w.cleanOff(r, y):
		w.start = &opening{i, y, w.add(CleanOff, i, nil)}
		w.tellCleanOff(w.start.finding, i)
	default:
		return false
	}
	w.doubtful[i] = true
	w.starts = append(w.starts, w.start.finding)
	return true
}

// noDrop reports whether the first reading is as high as the last before the
// change-out, where clean filters must show less.
func (w *walk) noDrop(r *Reading, y float64) bool {
	before := w.in.BeforeSwapPa
	if w.in.Sure {
		return false
	}
	early := r.Clean || r.X < earlyShare*w.life
	return early && before > 0 && w.clean > 0 && before > worthADrop*w.clean && y > math.Log(before)-noDropLn
}

// cleanOff reports whether a clean value is unlike the last set's, or, with none
// known, unlike the item's data.
func (w *walk) cleanOff(r *Reading, y float64) bool {
	most := cleanItemLn
	if w.in.PrevCleanPa > 0 {
		most = cleanPrevLn
	} else if !(w.in.ItemCleanPa > 0) {
		return false
	}
	off := math.Abs(y - math.Log(w.clean))
	return off > max(most, 3*math.Sqrt(w.variance(r, y))) && off < cleanUnitLn
}

// seconded settles the first reading by the second: whichever of it and the
// expected clean value the second is nearer to.
func (w *walk) seconded(i int) bool {
	s, r := w.start, &w.rs[i]
	if !(r.Pa > 0) || r.Censored {
		return false
	}
	w.start = nil
	y := math.Log(r.Pa)
	grown := max(r.X-w.rs[s.i].X, 0) / w.life * 2 * usualRate
	toFirst, toClean := off(y-s.y, grown), off(y-math.Log(w.clean), grown)
	if toFirst > agreeLn || toFirst > toClean {
		s.finding.Open = false // the first was the odd one
		return false
	}
	w.doubtful[s.i] = false
	w.line.level, w.line.p00 = s.y, square(agreeLn)
	w.take(s.i)
	w.take(i)
	if s.finding.Code == CleanOff && s.y > math.Log(w.clean) {
		s.finding.Open = false // a dearer start, that is all
	}
	return true
}

// off is how far a difference is from what growth may explain.
func off(d, grown float64) float64 {
	switch {
	case d < 0:
		return -d
	case d > grown:
		return d - grown
	}
	return 0
}
