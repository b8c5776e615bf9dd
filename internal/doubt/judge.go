package doubt

import "math"

// run is a stretch of odd readings that the line has not followed.
type run struct {
	kind    kind
	first   int
	n       int
	last    int
	y       float64 // ln(Pa) of its last reading
	least   float64 // lowest ln(Pa) in it
	factor  float64
	finding *Finding
}

// held is a reading a little off.
type held struct {
	i    int
	e, z float64
}

// leap is the line as it was before a jump was accepted.
type leap struct {
	line    track
	first   int
	finding *Finding
}

// judge classifies a reading and does what follows from it and those before.
func (w *walk) judge(i int) {
	for _, f := range w.loose {
		f.Open = false
	}
	w.loose = nil
	if w.begins(i) {
		return
	}
	v := w.classify(i)
	if w.run != nil && w.goesOn(i, v) {
		return
	}
	switch v.kind {
	case fits:
		w.fit(i)
	case aLittleLow, aLittleHigh:
		w.hold(i, v)
	case tooLow:
		w.fall(i, v)
	case tooHigh:
		if w.rs[i].Dusty && v.e < dustyLn {
			w.line.p00 += square(anew)
			w.fit(i)
			return
		}
		w.oddOne(i, v)
	default:
		w.oddOne(i, v)
	}
}

// dustyLn is how high a jump, in ln, an outside event on record explains.
const dustyLn = 0.7

// goesOn adds a reading to the run under way, or ends the run; false when the
// reading is still to be dealt with.
func (w *walk) goesOn(i int, v verdict) bool {
	switch r := w.run; r.kind {
	case tooLow:
		return w.staysLow(i, v)
	case tooHigh:
		return w.staysHigh(i, v)
	case misplaced:
		return w.staysMisplaced(i, v)
	case overTop:
		if v.kind == overTop && math.Abs(math.Log(w.rs[i].Pa)-r.y) < agreeLn {
			w.believe(i)
			return true
		}
	default:
		if v.kind == r.kind && v.factor == r.factor {
			w.extend(i)
			r.finding.Blocks = true // no slip: the source itself is wrong now
			return true
		}
	}
	w.endRun()
	return false
}

// agreeLn is how near two odd readings must be, in ln, to agree.
const agreeLn = 0.15

// extend adds reading i to the run.
func (w *walk) extend(i int) {
	w.doubtful[i] = true
	w.run.n++
	w.run.last = i
	w.run.finding.Evidence["readings"] = float64(w.run.n)
	if pa := w.rs[i].Pa; pa > 0 {
		w.run.y = math.Log(pa)
	}
}

// endRun closes the run: what came after fits again.
func (w *walk) endRun() {
	w.run.finding.Open = false
	w.run = nil
}

// staysLow keeps a fall going until a reading is back where the line was.
func (w *walk) staysLow(i int, v verdict) bool {
	switch {
	case v.kind == tooLow, v.kind == aLittleLow, v.kind == misplaced && v.e < 0:
		w.extend(i)
		w.fallen(w.run)
		return true
	case v.kind.entryFault():
		w.aside(i, v)
		return true
	}
	w.recovered(i)
	return false
}

// recovered closes a fall whose readings came back.
func (w *walk) recovered(i int) {
	f := w.run.finding
	if w.run.n == 1 || f.Code == Dip {
		f.Code = Dip
	}
	w.tellDip(f, w.run, i)
	w.endRun()
	w.forgive()
}

// staysHigh settles a high reading: a second that agrees makes it a jump that
// counts, one that fits the line makes it a spike.
func (w *walk) staysHigh(i int, v verdict) bool {
	switch {
	case v.kind == tooHigh || v.kind == aLittleHigh:
		if y := math.Log(w.rs[i].Pa); y > w.run.y-agreeLn || w.rs[i].Censored {
			w.believe(i)
			return true
		}
		w.extend(i)
		return true
	case v.kind.entryFault():
		w.aside(i, v)
		return true
	case math.Log(w.rs[i].Pa) > w.run.y-stayedLn:
		w.believe(i) // no spike: the rest has caught up with it
		return true
	}
	w.spiked(i)
	return false
}

// stayedLn is how little, in ln, a reading may lie under a high one for it to
// have stayed.
const stayedLn = 0.05

// spiked closes a high run whose readings came back.
func (w *walk) spiked(i int) {
	w.tellSpike(w.run.finding, w.run.first, i)
	w.endRun()
}

// staysMisplaced lets a second reading like it speak against a mix-up of banks.
func (w *walk) staysMisplaced(i int, v verdict) bool {
	y := w.run.y
	if v.kind != misplaced && v.kind != tooLow && v.kind != tooHigh || math.Abs(math.Log(w.rs[i].Pa)-y) > agreeLn {
		w.endRun()
		return false
	}
	if y > w.line.level {
		w.run.finding.Code = Jump
		w.believe(i)
		return true
	}
	w.run.kind, w.run.least = tooLow, y
	w.extend(i)
	w.fallen(w.run)
	return true
}

// believe accepts a run that a second reading confirmed: the line begins anew
// there and the readings count.
func (w *walk) believe(i int) {
	r := w.run
	w.before = &leap{line: w.line, first: r.first, finding: r.finding}
	w.line = w.line.ahead(w.rs[r.last].X / w.life)
	w.line.p00 += square(anew)
	for k := r.last; k <= i; k++ {
		if k == r.last || k == i {
			w.doubtful[k] = false
			w.move(k)
		}
	}
	for k := r.first; k < r.last; k++ {
		w.doubtful[k] = w.doubtful[k] && math.Abs(math.Log(max(w.rs[k].Pa, 1))-w.line.level) > agreeLn
	}
	w.tellJump(r.finding, r.first, i)
	w.run = nil
	r.finding.Open = r.kind == overTop
}

// fit takes a reading that fits, after those that were waiting.
func (w *walk) fit(i int) {
	w.absorb()
	w.take(i)
}

// absorb lets the line have the readings that waited in vain for company.
func (w *walk) absorb() {
	for _, h := range w.held {
		w.take(h.i)
	}
	w.held = nil
}

// take moves the line by a trusted reading.
func (w *walk) take(i int) {
	if w.rs[i].Censored && math.Log(w.rs[i].Pa) < w.line.level {
		return // at or above: nothing new
	}
	w.move(i)
	w.sagging(i)
	if w.before != nil && w.line.x-w.before.line.x > forgetLeap {
		w.before = nil
	}
}

// forgetLeap is the share of a life after which an accepted jump is history.
const forgetLeap = 0.2

func (w *walk) move(i int) {
	r := &w.rs[i]
	y := math.Log(r.Pa)
	w.line.take(r.X/w.life, y, w.variance(r, y))
}

// hold keeps a reading a little off until the next tells what it was.
func (w *walk) hold(i int, v verdict) {
	if len(w.held) > 0 && (w.held[0].e < 0) != (v.e < 0) {
		w.absorb()
		w.judge(i)
		return
	}
	w.held = append(w.held, held{i, v.e, v.z})
	e, z := w.together()
	switch n := len(w.held); {
	case n >= 2 && e < lowTogetherLn && z < -offSigmas:
		w.fall(i, v)
	case n >= 3, n == 2 && e > 0:
		w.line.p00 += e * e // a change of level too small to speak of
		w.absorb()
	}
}

// together is how far the waiting readings are off, on average and as evidence.
func (w *walk) together() (e, z float64) {
	n := float64(len(w.held))
	for _, h := range w.held {
		e += h.e / n
		z += h.z
	}
	return e, z / math.Sqrt(n)
}

// fall begins a run of low readings, with those low ones that waited.
func (w *walk) fall(i int, v verdict) {
	if w.wasSpike(i) {
		return
	}
	first, n := i, 1
	if len(w.held) > 0 && w.held[0].e < 0 {
		first = w.held[0].i
		for _, h := range w.held {
			w.doubtful[h.i] = true
			if h.i != i {
				n++
			}
		}
		w.held = nil
	}
	w.absorb()
	w.doubtful[i] = true
	w.run = &run{kind: tooLow, first: first, last: i, n: n, y: math.Log(w.rs[i].Pa), least: math.Inf(1)}
	w.run.finding = w.add(Fall, first, map[string]float64{"readings": float64(n), "sigmas": -v.z})
	w.fallen(w.run)
}

// wasSpike takes a jump back that was accepted too soon, when a reading is where
// the line was before it.
func (w *walk) wasSpike(i int) bool {
	b := w.before
	if b == nil {
		return false
	}
	now := w.line
	w.line = b.line
	if v := w.beside(&w.rs[i]); v.kind != fits {
		w.line = now
		return false
	}
	for k := b.first; k < i; k++ {
		w.doubtful[k] = true
	}
	w.before, w.held = nil, nil
	w.tellSpike(b.finding, b.first, i)
	b.finding.Open = false
	w.take(i)
	return true
}

// oddOne begins a run of any other kind.
func (w *walk) oddOne(i int, v verdict) {
	w.absorb()
	w.doubtful[i] = true
	w.run = &run{kind: v.kind, first: i, last: i, n: 1, factor: v.factor, y: math.Log(max(w.rs[i].Pa, 1e-3))}
	w.run.finding = w.add(codeOf(v.kind), i, map[string]float64{"readings": 1, "pa": w.rs[i].RawPa})
	w.tell(w.run.finding, i, v)
}

// aside notes a faulty entry in the midst of a run that goes on.
func (w *walk) aside(i int, v verdict) {
	w.doubtful[i] = true
	f := w.add(codeOf(v.kind), i, map[string]float64{"readings": 1, "pa": w.rs[i].RawPa})
	w.tell(f, i, v)
	w.loose = append(w.loose, f)
}

func codeOf(k kind) Code {
	switch k {
	case misplaced:
		return WrongBank
	case misunited:
		return WrongUnit
	case zero:
		return Zero
	case negative:
		return Negative
	case turned:
		return TubesSwapped
	case overTop:
		return OverTop
	}
	return Jump
}

// sagging watches for a line that creeps down: filters do not get cleaner.
func (w *walk) sagging(i int) {
	r := &w.rs[i]
	sd := w.line.scale() * math.Sqrt(w.line.p00)
	if w.line.level > w.high.level || w.line.n < 3 {
		w.high = high{w.line.level, r.At, r.RawPa}
		return
	}
	down := w.high.level - w.line.level
	switch {
	case w.sag == nil && down > max(sagLn, sagSigmas*sd):
		w.sag = w.add(Sag, i, nil)
		w.sag.Blocks = true
		w.tellSag(w.sag, i)
	case w.sag != nil && down < sagLn/2:
		w.sag.Open = false
		w.sag = nil
	}
	w.doubtful[i] = w.sag != nil
}

const (
	sagLn     = 0.16 // 15 % down
	sagSigmas = 4
)
