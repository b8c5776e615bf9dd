package forecast

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Limits of doubt, in standard deviations of a reading about its expectation.
// Resistance does not fall of itself, so less is asked of a fall than of a rise.
const (
	lowSuspect  = 2.4 // a low reading is kept back until another agrees
	highSuspect = 3.3 // a high one
	lowCertain  = 3.6 // the mean of two low ones is a finding
	highCertain = 4.4 // of two high ones
	foreign     = 4.2 // another unit or bank is thought of
	alone       = 5.5 // a single reading is a finding when it has come back
	agree       = 3.3 // two suspects agree
)

// Examine goes through the readings in the order of the axis and compares each
// with what the accepted ones before it lead to expect. It returns the
// readings, in the order given, with Doubtful set on those that are to be left
// out of the forecast, and the findings in the order of the axis. A suspect
// reading is doubtful until a second one agrees with it; zero, negative,
// wrong-unit and wrong-bank readings, spikes and dips stay doubtful, and so do
// readings after an unreported swap, which belong to another life.
//
// It takes one pass with constant work for each reading.
func Examine(in ExamineInput) ([]Observation, []Finding) {
	w := newWatch(in)
	for _, i := range w.order {
		w.look(i)
	}
	w.zeroChecks(in.Zeros)
	slices.SortStableFunc(w.findings, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Index, b.Index), cmp.Compare(a.Code, b.Code))
	})
	return w.obs, w.findings
}

// watch is the state of an examination.
type watch struct {
	in       ExamineInput
	obs      []Observation
	order    []int // indices of obs along the axis
	findings []Finding

	clean float64 // best knowledge of the clean resistance, Pa
	life  float64 // usual life, axis units

	recent  []int   // indices of the last accepted readings, oldest first
	rel     float64 // running relative error of a reading
	slope   float64 // Pa per axis unit, running
	pending []int   // suspects waiting for a second
	blamed  bool    // the first suspect was told to be another bank's
	side    float64 // of the suspects: −1 low, +1 high
	before  level   // what held before a jump that may yet turn out to be a spike
	same    int     // readings in a row that show one value
	odd     Code    // zero, negative: told once in a row
	swapped bool    // an unreported swap was seen: the rest is another life
	cleaned bool    // the clean value has been judged
}

// level is a remembered expectation.
type level struct {
	pa, x   float64
	held    []int // readings accepted above it
	present bool
}

const memory = 6 // accepted readings that an expectation looks back on

func newWatch(in ExamineInput) *watch {
	in.Prior, in.Life = mended(in.Prior, in.Life)
	w := &watch{in: in, obs: slices.Clone(in.Life.Obs)}
	for i := range w.obs {
		w.obs[i].Doubtful = false
		w.order = append(w.order, i)
	}
	slices.SortStableFunc(w.order, func(a, b int) int {
		return cmp.Or(cmp.Compare(w.obs[a].X, w.obs[b].X), cmp.Compare(w.obs[a].Pa, w.obs[b].Pa))
	})
	w.rel = math.Min(math.Max(in.Prior.Noise.Rel, 0.03), 0.06)
	w.clean = w.knownClean()
	w.life = math.Max(in.Prior.MedianLife(), 1e-9)
	w.slope = (w.in.Life.LimitPa - w.clean) / w.life / 2
	return w
}

// knownClean is the best knowledge of the clean resistance.
func (w *watch) knownClean() float64 {
	for _, pa := range [...]float64{w.in.Life.CleanPa, w.in.ItemCleanPa, w.in.LastCleanPa} {
		if pa > 0 {
			return pa
		}
	}
	return w.in.Prior.AtLimit(w.in.Life.LimitPa).CleanPa()
}

// expected is what a reading at x should be.
type expected struct{ pa, sd float64 }

func (e expected) low() float64  { return math.Max(0, e.pa-highSuspect*e.sd) }
func (e expected) high() float64 { return e.pa + highSuspect*e.sd }

// expect foresees a reading from the last accepted ones, or from the clean
// value when there are none.
func (w *watch) expect(o Observation) expected {
	limit := w.in.Life.LimitPa
	rel := w.rel / math.Sqrt(math.Max(o.Weight, 0.1))
	step := math.Max(o.StepPa, w.in.Gauge.StepPa) / math.Sqrt(12)
	if len(w.recent) == 0 {
		pa := w.clean + w.slope*o.X
		return expected{pa, math.Hypot(0.35*pa, 0.5*w.slope*o.X+0.02*limit)}
	}
	var at [memory]float64
	gap := math.Inf(1)
	for k, i := range w.recent {
		d := math.Max(o.X-w.obs[i].X, 0)
		at[k] = w.obs[i].Pa + w.slope*d
		gap = math.Min(gap, d)
	}
	n := len(w.recent)
	sorted := at[:n]
	slices.Sort(sorted)
	pa := sorted[n/2]
	if n%2 == 0 {
		pa = (sorted[n/2-1] + sorted[n/2]) / 2
	}
	own := rel * math.Max(pa, 0.05*limit)
	past := w.rel * pa * 1.25 / math.Sqrt(float64(n))
	return expected{pa, math.Sqrt(own*own + past*past + step*step + square(0.7*w.slope*gap) + square(0.003*limit))}
}

// look judges one reading.
func (w *watch) look(i int) {
	o := &w.obs[i]
	if !finite(o.Pa) || !finite(o.X) {
		o.Doubtful = true
		return
	}
	if w.swapped {
		o.Doubtful = true
		return
	}
	e := w.expect(*o)
	if w.elsewhere(i, e) || w.nothing(i, e) {
		return
	}
	w.beyond(i, e)
	w.stuck(i, e)
	if o.Censored && o.Pa < e.high() { // over range, and no news below that
		return
	}
	z := (o.Pa - e.pa) / e.sd
	if z > -lowSuspect && z < highSuspect {
		w.settle(i, e)
		w.accept(i, e)
		return
	}
	if len(w.recent) == 0 {
		w.accept(i, e) // there is nothing yet to doubt it by
		return
	}
	w.doubt(i, e, math.Copysign(1, z))
}

// nothing deals with readings at or below zero.
func (w *watch) nothing(i int, e expected) bool {
	o := &w.obs[i]
	floor := math.Max(math.Max(o.StepPa, w.in.Gauge.StepPa), 0.02*w.in.Life.LimitPa)
	floor = math.Min(floor, 0.25*w.clean)
	if o.Pa > floor {
		w.odd = ""
		return false
	}
	o.Doubtful = true
	code, what, check := Zero, fmt.Sprintf("%.0f Pa where about %.0f Pa was expected", o.Pa, e.pa),
		"Is the fan running, are both tubes on, does the gauge move when a tube is pulled?"
	if o.Pa < -floor {
		code, check = Negative, "Tubes swapped? The high port belongs upstream of the filters."
		if math.Abs(-o.Pa-e.pa) < highSuspect*e.sd {
			what += "; without its sign it fits"
		}
	}
	if w.odd != code {
		w.report(code, i, i, e, 1, what, check)
	}
	w.odd = code
	return true
}

// units are the slips of unit worth trying: what was read times the factor is
// the Pa meant.
func units() []struct {
	name   string
	factor float64
} {
	return []struct {
		name   string
		factor float64
	}{
		{"in wc", 249.08891}, {"mm wc", 9.80665}, {"hPa or mbar", 100}, {"kPa", 1000},
		{"Pa taken for in wc", 1 / 249.08891}, {"Pa taken for mm wc", 1 / 9.80665},
		{"Pa taken for hPa", 0.01}, {"Pa taken for kPa", 0.001},
	}
}

// elsewhere deals with readings that fit another unit or another bank.
func (w *watch) elsewhere(i int, e expected) bool {
	o := &w.obs[i]
	z := math.Abs(o.Pa-e.pa) / e.sd
	if z < foreign || o.Censored || !(o.Pa > 0) {
		return false
	}
	ratio := e.pa / o.Pa
	if w.odd == Zero {
		return false // a run of zeros does not end in another unit
	}
	if ratio > 4 || ratio < 0.25 {
		best, off := -1, 0.5
		list := units()
		for k, u := range list {
			if d := math.Abs(math.Log(ratio / u.factor)); d < off && math.Abs(o.Pa*u.factor-e.pa) < highSuspect*math.Hypot(e.sd, 0.1*e.pa) {
				best, off = k, d
			}
		}
		if best >= 0 {
			o.Doubtful = true
			f := w.report(WrongUnit, i, i, e, 1,
				fmt.Sprintf("%.4g Pa does not fit, %.4g × %.6g = %.0f Pa does", o.Pa, o.Pa, list[best].factor, o.Pa*list[best].factor),
				"Was the reading in another unit ("+list[best].name+")?")
			f.Factor, f.Other = list[best].factor, list[best].name
			return true
		}
	}
	if len(w.pending) > 0 {
		return false // a second one off: the bank itself is thought of first
	}
	for _, s := range w.in.Siblings {
		if s.SDPa > 0 && math.Abs(o.Pa-s.ExpectPa) < 1.5*s.SDPa && z > foreign+math.Abs(o.Pa-s.ExpectPa)/s.SDPa && len(w.recent) > 0 {
			o.Doubtful = true
			f := w.report(WrongBank, i, i, e, 1,
				fmt.Sprintf("%.0f Pa does not fit here (%.0f–%.0f Pa) but fits %s (about %.0f Pa)", o.Pa, e.low(), e.high(), s.Name, s.ExpectPa),
				"Was the reading taken at "+s.Name+"?")
			f.Other = s.Name
			w.side, w.pending, w.blamed = math.Copysign(1, o.Pa-e.pa), append(w.pending, i), true
			return true
		}
	}
	return false
}

// beyond reports readings above the gauge's range or twice the limit.
func (w *watch) beyond(i int, e expected) {
	o := w.obs[i]
	if top := w.in.Gauge.TopPa; top > 0 && o.Pa > 1.2*top && !o.Censored {
		w.report(OverTop, i, i, e, 1, fmt.Sprintf("%.0f Pa is above the gauge's range of %.0f Pa", o.Pa, top),
			"Read the gauge again; is its range entered rightly?")
	}
	if limit := w.in.Life.LimitPa; o.Pa > 2*limit {
		w.report(AboveTwice, i, i, e, 1, fmt.Sprintf("%.0f Pa is more than twice the limit of %.0f Pa", o.Pa, limit),
			"Read again; if it is so, change the filters now.")
	}
}

// stuck counts readings that show one value and reports them when chance would
// not give so many: two neighbours agree by chance about as often as the
// gauge's step is to the spread of readings.
func (w *watch) stuck(i int, e expected) {
	n := len(w.recent)
	if n == 0 || w.obs[w.recent[n-1]].Pa != w.obs[i].Pa || w.obs[i].Censored {
		w.same = 1
		return
	}
	w.same++
	o := w.obs[i]
	step := math.Max(o.StepPa, w.in.Gauge.StepPa)
	spread := math.Max(w.rel*0.7*o.Pa, 1e-9)
	chance := math.Min(0.97, math.Max(step/(2*math.Sqrt(math.Pi)*spread), 0.02))
	if p := math.Pow(chance, float64(w.same-1)); w.same >= 4 && p < 3e-6 && p/chance >= 3e-6 {
		w.report(Stuck, i, w.recent[max(0, n-w.same+1)], e, w.same,
			fmt.Sprintf("%d readings in a row show %.0f Pa", w.same, o.Pa),
			"Tap the gauge, pull a tube: does it move? Are readings copied from the last sheet?")
	}
}

// cleanCheck compares the first reading of a life with the clean value and
// with what was read before the swap.
func (w *watch) cleanCheck(i int, e expected) {
	if w.cleaned {
		return
	}
	w.cleaned = true
	o := w.obs[i]
	if o.X > 0.1*w.life || o.Censored {
		return
	}
	known := math.Max(w.in.ItemCleanPa, 0)
	if w.in.LastCleanPa > 0 {
		known = w.in.LastCleanPa
	}
	if b := w.in.BeforePa; b > 0 && o.Pa > 0.85*b && b > 1.3*w.clean {
		w.report(NoDrop, i, i, expected{w.clean, e.sd}, 1,
			fmt.Sprintf("%.0f Pa after the swap, %.0f Pa before it", o.Pa, b),
			"Were these the filters that were changed? Is the gauge stuck or the right bank named?")
		return
	}
	growth := w.slope * 2 * o.X
	if known > 0 && (o.Pa < 0.7*known || o.Pa > 1.35*known+growth) {
		w.report(CleanFar, i, i, expected{known, 0.1 * known}, 1,
			fmt.Sprintf("clean set reads %.0f Pa, expected about %.0f Pa", o.Pa, known),
			"Right item and count fitted, frames seated, airflow as usual, gauge at zero?")
	}
}

// settle decides over suspects when a reading is back to what was expected.
func (w *watch) settle(i int, e expected) {
	if len(w.pending) > 0 {
		w.recovered(w.pending, e)
		w.pending, w.blamed = nil, false
	}
}

// recovered reports suspects that turned out to be single, if they were far
// enough off.
func (w *watch) recovered(suspects []int, e expected) {
	far, code := 0.0, Spike
	last := suspects[len(suspects)-1]
	for _, i := range suspects {
		x := w.expect(w.obs[i])
		if d := math.Abs(w.obs[i].Pa-x.pa) / x.sd; d > far {
			far = d
		}
	}
	check := "Wet filters (fog, rain, humidifier)? Fan faster than usual?"
	if w.side < 0 {
		code, check = Dip, "A door open, the fan slower, or a tube loose at that reading?"
	}
	if far > alone && !w.blamed {
		w.report(code, last, suspects[0], e, len(suspects),
			fmt.Sprintf("%.0f Pa and then back to the usual %.0f Pa", w.obs[last].Pa, e.pa), check)
	}
}

// doubt keeps a suspect back, and decides when a second one agrees.
func (w *watch) doubt(i int, e expected, side float64) {
	o := &w.obs[i]
	o.Doubtful = true
	if len(w.pending) > 0 && side != w.side {
		w.recovered(w.pending, e)
		w.pending, w.blamed = nil, false
	}
	w.side = side
	w.pending = append(w.pending, i)
	if len(w.pending) < 2 {
		return
	}
	first := w.obs[w.pending[len(w.pending)-2]]
	if math.Abs(o.Pa-first.Pa) > agree*math.Sqrt2*w.rel*math.Max(o.Pa, first.Pa)+2*o.StepPa {
		return
	}
	mean := (o.Pa + first.Pa) / 2
	sd := e.sd * math.Sqrt(0.5+1.5/memory)
	if z := (mean - e.pa) / sd; z > -lowCertain && z < highCertain {
		return
	}
	w.changed(i, e, mean)
}

// changed deals with two suspects that agree: the level is another one.
func (w *watch) changed(i int, e expected, mean float64) {
	first := w.pending[0]
	n := len(w.pending)
	if w.blamed {
		w.blamed = false
		w.findings = slices.DeleteFunc(w.findings, func(f Finding) bool { return f.Code == WrongBank && f.Index == first })
	}
	switch {
	case w.side > 0:
		w.before = level{pa: e.pa, x: w.obs[i].X, held: slices.Clone(w.pending), present: true}
		w.report(Jump, i, first, e, n, fmt.Sprintf("%.0f Pa, expected %.0f–%.0f Pa", mean, e.low(), e.high()),
			"Wet filters, more airflow than usual, something lying on the filters?")
	case w.before.present && math.Abs(mean-w.before.pa) < highSuspect*e.sd:
		w.backFromJump(i, first, e, n)
	case mean < 0.3*w.clean:
		w.report(Bypass, i, first, e, n, fmt.Sprintf("%.0f Pa, far below the clean %.0f Pa", mean, w.clean),
			"A filter missing or burst, an access door open, a tube off?")
	case w.aboutClean(mean, e):
		w.report(UnseenSwap, i, first, e, n, fmt.Sprintf("fell from about %.0f to %.0f Pa; clean is about %.0f Pa", e.pa, mean, w.clean),
			"Were the filters changed? If so, record the swap.")
		w.swapped = true
		w.pending = nil
		return
	default:
		w.report(Torn, i, first, e, n, fmt.Sprintf("fell %.0f %%, from about %.0f to %.0f Pa, without a swap", 100*(1-mean/e.pa), e.pa, mean),
			"Torn or slipped bag, frame not seated, door open, fan slower?")
	}
	held := w.pending
	w.pending = nil
	w.recent = w.recent[:0]
	for _, k := range held {
		w.obs[k].Doubtful = false
		w.recent = append(w.recent, k)
	}
	w.trim()
}

// aboutClean reports whether a fall leads to the clean value from well above.
func (w *watch) aboutClean(mean float64, e expected) bool {
	clean := w.clean
	return math.Abs(mean-clean) < 0.2*clean && e.pa > 1.45*clean
}

// backFromJump turns a jump into a spike: it has come back.
func (w *watch) backFromJump(i, first int, e expected, n int) {
	for _, k := range w.before.held {
		w.obs[k].Doubtful = true
	}
	w.findings = slices.DeleteFunc(w.findings, func(f Finding) bool {
		return f.Code == Jump && f.First == w.before.held[0]
	})
	w.report(Spike, i, w.before.held[0], expected{w.before.pa, e.sd}, n,
		fmt.Sprintf("about %.0f Pa for %d readings and then back to %.0f Pa", w.obs[w.before.held[0]].Pa, len(w.before.held), w.obs[i].Pa),
		"Wet filters (fog, rain, humidifier)? Fan faster than usual?")
	w.before = level{}
}

// accept takes a reading as good and learns from it.
func (w *watch) accept(i int, e expected) {
	w.cleanCheck(i, e)
	o := w.obs[i]
	if o.Censored {
		return
	}
	if w.before.present {
		w.before.held = append(w.before.held, i)
		if len(w.before.held) > memory+2 {
			w.before = level{} // too long for a wet filter
		}
	}
	if n := len(w.recent); n >= 3 {
		err := math.Abs(o.Pa-e.pa) / math.Max(e.pa, 1e-9) * math.Sqrt(math.Min(o.Weight, 1))
		w.rel += (1.25*0.9*err - w.rel) / 25
		w.rel = math.Min(math.Max(w.rel, 0.02), 0.15)
	}
	w.recent = append(w.recent, i)
	w.trim()
	w.learnSlope(i)
}

// trim keeps the last readings only.
func (w *watch) trim() {
	if n := len(w.recent); n > memory {
		w.recent = append(w.recent[:0], w.recent[n-memory:]...)
	}
}

// learnSlope follows the growth seen over the remembered readings.
func (w *watch) learnSlope(i int) {
	n := len(w.recent)
	if n < 4 {
		return
	}
	h := n / 2
	x0, y0 := w.mean(w.recent[:h])
	x1, y1 := w.mean(w.recent[n-h:])
	if x1 <= x0 {
		return
	}
	seen := (y1 - y0) / (x1 - x0)
	// The slope over a few readings is mostly their error: weigh it by how far
	// they lie apart in growth against that error.
	err := w.rel * math.Max(y1, 1e-9) / (x1 - x0)
	usual := (w.in.Life.LimitPa - w.clean) / w.life
	k := 0.5 * usual * usual / (usual*usual + err*err)
	w.slope = math.Max(w.slope+k*(seen-w.slope), 0)
}

func (w *watch) mean(idx []int) (x, y float64) {
	for _, i := range idx {
		x += w.obs[i].X / float64(len(idx))
		y += w.obs[i].Pa / float64(len(idx))
	}
	return x, y
}

// zeroChecks reports gauges that do not return to zero.
func (w *watch) zeroChecks(zeros []ZeroCheck) {
	allowed := math.Max(0.02*w.in.Gauge.TopPa, w.in.Gauge.StepPa)
	allowed = math.Max(allowed, 0.02*w.in.Life.LimitPa)
	zeros = slices.Clone(zeros)
	slices.SortStableFunc(zeros, func(a, b ZeroCheck) int { return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Pa, b.Pa)) })
	was := false
	for _, z := range zeros {
		off := math.Abs(z.Pa) > allowed
		if off && !was {
			w.findings = append(w.findings, Finding{
				Code: ZeroDrift, Index: -1, First: -1, X: z.X, Pa: z.Pa, LowPa: -allowed, HighPa: allowed, Count: 1,
				What:  fmt.Sprintf("the gauge shows %.0f Pa with both ports open", z.Pa),
				Check: "Set the gauge to zero, and read the bank again.",
			})
		}
		was = off
	}
}

// report adds a finding and returns it for more evidence.
func (w *watch) report(code Code, at, first int, e expected, count int, what, check string) *Finding {
	o := w.obs[at]
	w.findings = append(w.findings, Finding{
		Code: code, Index: at, First: first, X: o.X, Pa: o.Pa, ExpectPa: e.pa,
		LowPa: e.low(), HighPa: e.high(), Count: count, What: what, Check: check,
	})
	return &w.findings[len(w.findings)-1]
}
