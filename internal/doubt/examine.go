package doubt

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// Examine judges the readings of one life. Doubtful runs along in.Readings and
// says which readings must not move the forecast; findings come by the time of
// their first reading. Odd are the times of readings far enough off for the banks
// beside to be asked about: with other Siblings the answer may be another.
func Examine(in Input) (doubtful []bool, findings []Finding, odd []time.Time) {
	rs, order := byTime(in.Readings)
	w := newWalk(in, rs)
	for i := range w.rs {
		w.step(i)
	}
	w.finish()
	if order == nil {
		return w.doubtful, w.findings(), w.odd
	}
	doubtful = make([]bool, len(order))
	for i, k := range order {
		doubtful[k] = w.doubtful[i]
	}
	return doubtful, w.findings(), w.odd
}

// byTime returns the readings in the order of time, and where each was; nil when
// they were in that order.
func byTime(rs []Reading) (sorted []Reading, order []int) {
	inOrder := true
	for i := 1; i < len(rs) && inOrder; i++ {
		inOrder = compareReadings(&rs[i-1], &rs[i]) <= 0
	}
	if inOrder {
		return rs, nil
	}
	order = make([]int, len(rs))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return compareReadings(&rs[a], &rs[b]) })
	sorted = make([]Reading, len(rs))
	for i, k := range order {
		sorted[i] = rs[k]
	}
	return sorted, order
}

func compareReadings(a, b *Reading) int {
	if c := a.At.Compare(b.At); c != 0 {
		return c
	}
	return cmp.Or(cmp.Compare(a.Seq, b.Seq), cmp.Compare(a.RawPa, b.RawPa), cmp.Compare(a.Pa, b.Pa))
}

// walk is one pass through the readings of a life.
type walk struct {
	in       Input
	rs       []Reading // by time
	doubtful []bool
	odd      []time.Time
	out      []*Finding

	life  float64 // run hours expected of such a bank
	rel   float64 // scatter assumed, share of a reading
	clean float64 // resistance expected of a clean set, Pa at design airflow; 0 = unknown
	fixed []time.Time

	memory
	flat flat
}

// memory is what the readings so far have taught.
type memory struct {
	line   track
	run    *run   // odd readings under way
	held   []held // readings a little off, waiting for the next
	before *leap  // the line before the last jump that was accepted
	high   high
	sag    *Finding
	loose  []*Finding // closed by the next reading that is judged
	begun  bool
	start  *opening   // the first reading, where it is in doubt
	starts []*Finding // about the beginning of the life, that stay open
}

// high is the highest level the line has had, and where.
type high struct {
	level float64
	at    time.Time
	raw   float64
}

func newWalk(in Input, rs []Reading) *walk {
	w := &walk{in: in, rs: rs, doubtful: make([]bool, len(rs))}
	w.fixed = slices.SortedFunc(slices.Values(in.Fixed), time.Time.Compare)
	w.life = in.LifeHours
	if !(w.life > 0) || math.IsInf(w.life, 0) {
		w.life = usualLife
	}
	w.rel = min(max(in.Scatter, leastRel), mostRel)
	w.clean = cmp.Or(max(in.PrevCleanPa, 0), max(in.ItemCleanPa, 0), max(in.CleanPa, 0))
	w.line = w.first()
	w.high.level = math.Inf(-1)
	return w
}

// usualLife is taken where nothing is known, run hours; common practice, no source.
const usualLife = 3500

// first is the line before any reading: the clean value where the change-out is
// known, otherwise anywhere between clean and limit.
func (w *walk) first() track {
	usual := 1.0 // ln of limit over clean
	if w.clean > 0 && w.in.LimitPa > w.clean {
		usual = math.Log(w.in.LimitPa / w.clean)
	}
	t := track{slope: usual, p11: slopeSD * slopeSD}
	if len(w.rs) > 0 && w.in.Start.IsZero() {
		t.x = w.rs[0].X / w.life
	}
	switch {
	case w.clean > 0 && !w.in.Start.IsZero():
		t.level, t.p00 = math.Log(w.clean), square(cleanSD)
	case w.clean > 0:
		t.level, t.p00 = math.Log(w.clean)+usual/2, square(usual/3+cleanSD)
	case w.in.LimitPa > 0:
		t.level, t.p00 = math.Log(w.in.LimitPa/2), 1
	default:
		t.level, t.p00 = math.Log(100), 2
	}
	return t
}

// cleanSD is how far one clean set is from the next, in ln: the same item in the
// same unit, other air, other hands.
const cleanSD = 0.2

// variance of y = ln(Pa) of a reading: its own scatter, the airflow that its
// weight says is not known, and the steps of its gauge. Steps are set against what
// should be read: a value near nothing is no excuse for itself.
func (w *walk) variance(r *Reading, y float64) float64 {
	step := r.StepPa / max(r.RawPa, 1)
	if d := w.line.level - y; d > 0 {
		step *= math.Exp(-d)
	}
	air := airSD(r.Weight)
	return w.rel*w.rel + air*air + step*step/12
}

// airSD is how far, in ln of pressure, an airflow that is not told may be off: a
// sixth where a reading weighs 0.3, as design airflow assumed of one that varies.
func airSD(weight float64) float64 {
	return 0.07 * (1/min(max(weight, leastWeight), 1) - 1)
}

// leastWeight is the worth below which a reading says nothing: it is neither
// doubted nor used.
const leastWeight = 0.15

func square(x float64) float64 { return x * x }

// step takes one reading on.
func (w *walk) step(i int) {
	r := &w.rs[i]
	w.settle(r.At)
	if w.unchanged(i) {
		return
	}
	switch {
	case r.NoAir:
		w.stillAir(i)
	case r.Wet, r.Suspect:
	case r.RawPa > 0 && r.Weight < leastWeight, math.IsNaN(r.Pa), math.IsInf(r.Pa, 0):
	default:
		w.judge(i)
	}
}

// settle ends what a fault put right before t explains: the line begins anew at
// whatever is read next.
func (w *walk) settle(t time.Time) {
	any := false
	for len(w.fixed) > 0 && !w.fixed[0].After(t) {
		w.fixed, any = w.fixed[1:], true
	}
	if !any {
		return
	}
	if w.run != nil {
		w.run.finding.Open = false
		w.run = nil
	}
	for _, f := range w.starts {
		f.Open = false
	}
	w.forgive()
	w.held, w.before, w.start, w.starts = nil, nil, nil, nil
	w.line.p00 += square(anew)
}

// forgive closes what was said of the line's level.
func (w *walk) forgive() {
	if w.sag != nil {
		w.sag.Open = false
		w.sag = nil
	}
	w.high.level = math.Inf(-1)
}

// anew is the sigma, in ln, of a line that may begin again anywhere.
const anew = 0.5

// finish settles what stands after the last reading.
func (w *walk) finish() {
	w.settleLast()
	w.zeroChecks()
}

func (w *walk) settleLast() {
	if len(w.fixed) > 0 { // a fault put right after the last reading
		w.settle(w.fixed[len(w.fixed)-1])
		w.unstick()
	}
}

// findings are the findings by time.
func (w *walk) findings() []Finding {
	out := make([]Finding, 0, len(w.out))
	for _, f := range w.out {
		if !f.Open {
			f.Blocks = false
		}
		out = append(out, *f)
	}
	slices.SortStableFunc(out, func(a, b Finding) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Seq, b.Seq), cmp.Compare(a.Code, b.Code))
	})
	if len(out) == 0 {
		return nil
	}
	return out
}

// add begins a finding at reading i.
func (w *walk) add(code Code, i int, ev map[string]float64) *Finding {
	f := &Finding{Code: code, Index: i, At: w.rs[i].At, Seq: w.rs[i].Seq, Evidence: ev, Open: true}
	w.out = append(w.out, f)
	return f
}
