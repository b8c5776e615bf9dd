package assess

import (
	"cmp"
	"encoding/json"
	"math"
	"slices"
	"time"

	"clogwise/internal/doubt"
	"clogwise/internal/duelist"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
)

// WiderKinds are the kinds of entries of an AHU or a site that bear on its banks.
var WiderKinds = []entry.Kind{entry.KindEvent, entry.KindFanOff, entry.KindDefer, entry.KindRetract, entry.KindAmend, entry.KindSkip, entry.KindRunDay}

// Input is what one bank is assessed from.
type Input struct {
	Register *plant.Register
	Bank     plant.BankID
	Entries  []entry.Entry  // the bank's own, and those of its AHU and site of WiderKinds; any order
	Prior    forecast.Prior // of the bank's stage over the fleet
	Now      time.Time
	Beside   []doubt.Sibling  // readings of the AHU's other banks, where at hand: they name the cause of a mix-up
	Season   *forecast.Season // dust of each month at the site; nil: every month alike
	Carried  *Assessment      // where Entries begin at its LifeSeq: what came before
	Past     *Past            // what PastOf said of the same entries, where it has been asked
}

// CanCarry reports whether an assessment can be brought up to date with the
// fresh entries alone and those of its present life: none of them alters what
// came before it.
func CanCarry(prev Assessment, fresh []entry.Entry) bool {
	for _, x := range fresh {
		switch x.Kind {
		case entry.KindAmend, entry.KindRetract, entry.KindSwap, entry.KindRegister, entry.KindDefect:
			return false
		}
		if prev.LifeStart == nil || x.At.Before(*prev.LifeStart) {
			return false
		}
	}
	return true
}

// Bank assesses one bank from its whole history. A bank that is not in the
// register gives a zero Assessment with its id; callers look it up first.
func Bank(in Input) Assessment {
	in.Carried = nil
	a, _ := Next(in)
	return a
}

// Next assesses one bank on from what is carried. Where the present life's
// change-out has come into doubt the life before it is needed: ok is false then,
// and only Bank can tell.
func Next(in Input) (a Assessment, ok bool) {
	w, known := settle(in)
	if !known {
		return Assessment{Bank: in.Bank, Now: in.Now}, true
	}
	if in.Carried != nil && len(w.doubted) > 0 {
		return Assessment{}, false
	}
	w.fit()
	w.energy()
	w.judge()
	// What lies ahead of the clock was left out. A clock that was behind is put
	// right some time: the next assessment must see it, so it starts anew.
	if slices.ContainsFunc(in.Entries, func(x entry.Entry) bool { return x.At.After(in.Now) }) {
		w.out.LifeSeq = 0
	}
	return w.out, true
}

// settle finds the bank's lives. Change-outs after which readings did not fall
// begin none, unless somebody has confirmed them: nothing doubtful moves the
// forecast. It starts anew without them until none is in doubt.
func settle(in Input) (w *work, known bool) {
	if p := in.Past; p != nil && in.Carried == nil {
		if w, known = newWork(in); known {
			w.doubted = p.doubted
			w.split()
			w.runAhead()
			w.limits(forecast.ClassPrior(string(w.bank.Stage)))
			w.out.Lives, w.out.LifeMonths = p.Lives, p.Months
		}
		return w, known
	}
	var doubted []doubtedSwap
	for {
		w, known = newWork(in)
		if !known {
			return nil, false
		}
		w.doubted = doubted
		w.split()
		w.runAhead()
		found := w.past()
		doubted = append(doubted, found...)
		if len(found) == 0 || in.Carried != nil {
			w.doubted = doubted
			return w, true
		}
	}
}

// past settles what the finished lives were, and returns the change-outs that are
// in doubt. Nothing that is learnt later bears on it, neither from the fleet nor
// from the present life: it is worked out when a life ends and then carried on,
// and must come out the same when all is read again.
func (w *work) past() []doubtedSwap {
	usual := forecast.ClassPrior(string(w.bank.Stage))
	w.limits(usual)
	if c := w.in.Carried; c != nil {
		w.out.Lives, w.out.LifeMonths = c.Lives, c.LifeMonths
		return w.doubtOpening(usual)
	}
	if found := w.doubtPast(usual); len(found) > 0 {
		return found
	}
	w.out.Lives = w.finished()
	return w.doubtOpening(usual)
}

// fit works an assessment up to its forecast.
func (w *work) fit() {
	w.learnLaw()
	w.present()
	w.limits(w.in.Prior)
	w.learn()
	w.doubt()
	w.forecast()
	w.dates()
}

// work is one assessment under way.
type work struct {
	in     Input
	site   plant.Site
	ahu    plant.AHU
	bank   plant.Bank
	item   plant.Item
	law    resistance.Law
	fix    resistance.Corrector
	unsaid *resistance.Corrected // of a reading without airflow, by fix
	run    plant.Runner
	loc    *time.Location
	stand  []entry.Entry // standing, by time
	lives  []life
	cur    life // the present one

	doubted []doubtedSwap // left out of lives

	caps    resistance.Caps
	capAt   time.Time
	prior   forecast.Prior
	post    forecast.Posterior
	hasPost bool
	nowX    float64
	along   axis // of the present life
	out     Assessment
}

// life is one filter life with its readings.
type life struct {
	start time.Time // change-out; zero: not known
	end   time.Time // next change-out; zero: goes on
	swap  *entry.Entry
	seen  []seen
}

// seen is a reading, corrected.
type seen struct {
	*entry.Entry
	gap      float64 // run hours since the reading before it in the same life; 0 for the first
	pa       float64 // as read
	fixed    resistance.Corrected
	over     bool // at the gauge's top: the true value is at or above
	wet      bool
	suspect  bool
	clean    bool // the reading taken with the change-out
	step     float64
	doubtful bool
}

func newWork(in Input) (*work, bool) {
	w := &work{in: in}
	var ok [3]bool
	w.site, ok[0] = in.Register.Site(in.Bank.Site())
	w.ahu, ok[1] = in.Register.AHU(in.Bank)
	w.bank, ok[2] = in.Register.Bank(in.Bank)
	if !ok[0] || !ok[1] || !ok[2] {
		return nil, false
	}
	w.item, _ = in.Register.Item(w.bank.Item)
	w.loc = w.site.Location()
	w.law = resistance.LawFor(w.bank, in.Register.Item, nil, resistance.SiteLaw(w.site))
	w.fix = resistance.NewCorrector(w.ahu, w.bank, w.site, w.law)
	w.stand = entry.Standing(in.Entries)
	w.run = in.Register.ScheduleOf(in.Bank).Runner(w.loc).Counted(w.counted())
	w.out = Assessment{
		Bank: in.Bank, Name: in.Register.Name(in.Bank), Now: in.Now, LawBasis: string(w.law.Basis),
		NoGauge: w.bank.Gauge.Absent, HoursWeek: w.run.PerWeek(), ReadEvery: readEvery(w.bank), Parts: Parts(w.bank), LabourHours: w.bank.LabourHours,
	}
	for _, x := range in.Entries {
		w.out.UpTo = max(w.out.UpTo, x.Seq)
	}
	if in.Carried != nil {
		w.out.UpTo = max(w.out.UpTo, in.Carried.UpTo)
	}
	return w, true
}

// counted are the run hours that the AHU's points counted, by day.
func (w *work) counted() map[string]float64 {
	var out map[string]float64
	for i := range w.stand {
		x := &w.stand[i]
		if b, ok := x.Body.(entry.RunDay); ok && x.Place == w.in.Bank.AHU() && !x.At.After(w.in.Now) {
			if out == nil {
				out = map[string]float64{}
			}
			out[b.Day] = b.Hours
		}
	}
	return out
}

// runAhead lets the hours counted in the present life say how the fan will run.
// Those counted before it do not: they need not be at hand.
func (w *work) runAhead() {
	w.run = w.run.Ahead(w.cur.start)
	w.out.HoursWeek = w.run.PerWeek()
}

func readEvery(b plant.Bank) int {
	if b.ReadEvery > 0 {
		return b.ReadEvery
	}
	return duelist.DefaultSettings().ReadEvery
}

// Parts lists the items and counts one change-out of a bank needs.
func Parts(b plant.Bank) []duelist.Part {
	var out []duelist.Part
	for _, f := range b.Fronts {
		code := cmp.Or(f.Item, b.Item)
		if code == "" || f.Count <= 0 {
			continue
		}
		if i := slices.IndexFunc(out, func(p duelist.Part) bool { return p.Item == code }); i >= 0 {
			out[i].Count += f.Count
			continue
		}
		out = append(out, duelist.Part{Item: code, Count: f.Count})
	}
	return out
}

// split cuts the entries into lives at every change-out and corrects readings.
func (w *work) split() {
	cur := life{}
	underFault := w.suspects()
	left, days := 0, dayCounter{run: w.run, loc: w.loc}
	add := func(s seen) {
		if n := len(cur.seen); n > 0 {
			s.gap = days.hours(cur.seen[n-1].At, s.At)
		}
		if cur.seen == nil {
			cur.seen = make([]seen, 0, left)
		}
		cur.seen = append(cur.seen, s)
	}
	for i := range w.stand {
		x := &w.stand[i]
		if x.At.After(w.in.Now) {
			continue
		}
		left = len(w.stand) - i
		switch b := x.Body.(type) {
		case entry.Swap:
			if x.Place != w.in.Bank {
				continue
			}
			if b.BeforePa != nil {
				add(w.see(x, *b.BeforePa, resistance.Stated{FlowM3s: b.FlowM3s, FanHz: b.FanHz, FanPct: b.FanPct}))
			}
			if w.leftOut(x.Seq) {
				if b.CleanPa != nil {
					add(w.see(x, *b.CleanPa, resistance.Stated{FlowM3s: b.FlowM3s, FanHz: b.FanHz, FanPct: b.FanPct}))
				}
				continue
			}
			cur.end = x.At
			if cur.swap != nil || len(cur.seen) > 0 {
				w.lives = append(w.lives, cur)
			}
			cur = life{start: x.At, swap: x}
			days = dayCounter{run: w.run, loc: w.loc}
			if b.CleanPa != nil {
				s := w.see(x, *b.CleanPa, resistance.Stated{FlowM3s: b.FlowM3s, FanHz: b.FanHz, FanPct: b.FanPct})
				s.clean = true
				add(s)
			}
		case entry.Reading:
			if x.Place != w.in.Bank {
				continue
			}
			s := w.see(x, b.Pa, resistance.Stated{FlowM3s: b.FlowM3s, FanHz: b.FanHz, FanPct: b.FanPct})
			s.wet, s.suspect = b.Wet, b.Suspect || underFault[x.Seq]
			s.step = max(b.StepPa, w.bank.Gauge.StepPa) * s.fixed.Factor
			add(s)
		case entry.OverRange:
			if x.Place != w.in.Bank {
				continue
			}
			s := w.see(x, b.TopPa, resistance.Stated{FlowM3s: b.FlowM3s, FanHz: b.FanHz, FanPct: b.FanPct})
			s.over = true
			add(s)
		}
	}
	w.cur = cur
}

// learnLaw takes the exponent of resistance against airflow from the present
// life's own readings, where the item's data give no law.
func (w *work) learnLaw() {
	if w.law.Basis == resistance.LawItem {
		return
	}
	var rs []resistance.FlowReading
	hours := 0.0
	for i := range w.cur.seen {
		s := &w.cur.seen[i]
		hours += s.gap
		known := s.fixed.Basis == resistance.ByFlow || s.fixed.Basis == resistance.BySpeed
		if known && !s.over && !s.wet && !s.suspect {
			rs = append(rs, resistance.FlowReading{Hours: hours, FlowM3s: s.fixed.FlowM3s, Pa: s.pa})
		}
	}
	e, ok := resistance.EstimateExponent(rs)
	if !ok || !e.Usable() {
		return
	}
	w.law = e.Law()
	w.fix = resistance.NewCorrector(w.ahu, w.bank, w.site, w.law)
	w.out.LawBasis = string(w.law.Basis)
	w.unsaid = nil
	past := w.lives
	w.lives = nil
	w.split()
	w.lives = past
}

func (w *work) see(x *entry.Entry, pa float64, said resistance.Stated) seen {
	return seen{Entry: x, pa: pa, fixed: w.correct(pa, said), step: w.bank.Gauge.StepPa}
}

// correct carries a reading to design airflow. With nothing said of the airflow all
// readings take the same factor, unless a fan curve finds the airflow from them.
func (w *work) correct(pa float64, said resistance.Stated) resistance.Corrected {
	if said != (resistance.Stated{}) {
		return w.fix.Correct(pa, said)
	}
	if w.unsaid == nil {
		c := w.fix.Correct(pa, said)
		w.unsaid = &c
	}
	if w.unsaid.Basis != resistance.AsDesign {
		return w.fix.Correct(pa, said)
	}
	c := *w.unsaid
	c.Pa = pa * c.Factor
	return c
}

// present fills in what is seen of the present life without any forecast.
func (w *work) present() {
	o := &w.out
	if w.cur.swap != nil {
		start := w.cur.start // of its own: an assessment is kept long, and all this work must not be kept with it
		o.LifeStart = &start
		s, _ := w.cur.swap.Body.(entry.Swap)
		o.Unconfirmed = !s.Confirmed
		o.LastSwap = &SwapSeen{Seq: w.cur.swap.Seq, At: w.cur.start, CleanPa: s.CleanPa, Count: s.Count, Who: cmp.Or(s.Who, w.cur.swap.By)}
		if len(w.lives) > 0 {
			if prev := w.lives[len(w.lives)-1].seen; len(prev) > 0 {
				before := prev[len(prev)-1].fixed.Pa
				o.LastSwap.BeforePa = &before
			}
		}
		o.LifeSeq = w.cur.swap.Seq
		for _, s := range w.cur.seen {
			o.LifeSeq = min(o.LifeSeq, s.Seq)
		}
		if w.unsettled() {
			o.LifeSeq = 0
		}
	}
	w.tellDoubted()
	for _, x := range w.stand {
		if w.cur.swap != nil {
			if w.bearsUntil(x).Before(w.cur.start) {
				continue
			}
			o.LifeSeq = min(o.LifeSeq, x.Seq) // older than a change-out told late, or reaching into the life
			if x.At.Before(w.cur.start) {
				continue
			}
		}
		switch b := x.Body.(type) {
		case entry.Skip:
			o.Skipped = &Skipped{x.At, b.Reason}
		case entry.FanOff:
			o.Skipped = &Skipped{x.At, w.tongue().Text("fan off")}
		case entry.Reading, entry.OverRange:
			if x.Place == w.in.Bank {
				o.Skipped = nil
			}
		case entry.Defer:
			o.Deferred = &Deferral{b.Until, b.Reason, x.By}
		case entry.Booking:
			o.Booking = nil
			if !b.Cancelled {
				o.Booking = &Booking{Seq: x.Seq, Start: b.Start, Crew: b.Crew, By: x.By}
			}
		case entry.JobStart:
			if o.Booking != nil {
				at := x.At
				o.Booking.Begun = &at
			}
		case entry.JobDone:
			o.Booking = nil
		}
	}
	if c := w.in.Carried; c != nil {
		w.carry(*c)
	}
	if o.DoubtedSwap != nil {
		o.LifeSeq = 0 // once it is settled, the life before is needed
	}
}

// bearsUntil is how long an entry bears on readings: an outside event as long as
// it lasts and to the reading after it, hours counted on a day all that day.
func (w *work) bearsUntil(x entry.Entry) time.Time {
	switch b := x.Body.(type) {
	case entry.Event:
		if b.Until != nil {
			return b.Until.AddDate(0, 0, readEvery(w.bank))
		}
		return x.At.AddDate(0, 0, eventDays)
	case entry.RunDay:
		return x.At.Add(wholeDay)
	}
	return x.At
}

// wholeDay is the longest a day may be: hours counted on the day of a change-out
// bear on the life that began on it.
const wholeDay = 25 * time.Hour

// carry takes over from the last assessment what lies before its LifeSeq.
func (w *work) carry(c Assessment) {
	o := &w.out
	if o.LastSwap != nil && c.LastSwap != nil && o.LastSwap.Seq == c.LastSwap.Seq {
		o.LastSwap.BeforePa = c.LastSwap.BeforePa
	}
	o.LifeSeq = c.LifeSeq
}

// limits finds the clean and the final resistance and the caps on age. Usual is
// what stands in for figures that nobody gave.
func (w *work) limits(usual forecast.Prior) {
	o := &w.out
	clean, ok := resistance.CleanFor(w.ahu, w.bank, w.in.Register.Item, w.law)
	o.CleanPa, o.CleanBasis = clean.Pa, clean.Source
	if s := w.firstClean(); s != nil {
		o.CleanPa, o.CleanBasis = s.fixed.Pa, "read at the change-out"
	} else if !ok {
		o.CleanPa, o.CleanBasis = usual.CleanPa(), "usual for this stage"
	}
	limit, err := resistance.LimitFor(w.site, w.bank, w.item, o.CleanPa)
	if err != nil {
		limit = resistance.Limit{Pa: usual.LimitPa, Rule: "usual for this stage", Source: err.Error()}
	}
	o.LimitPa, o.LimitSource = limit.Pa, limit.Rule+": "+limit.Source
	w.caps = resistance.CapsFor(w.site, w.bank)
	if w.cur.swap != nil {
		w.capAt = w.caps.Due(w.cur.start.In(w.loc), w.run)
	}
}

// firstClean is the reading taken with the change-out, if it can be believed:
// positive and below the limit that the register gives.
func (w *work) firstClean() *seen {
	for i, s := range w.cur.seen {
		if s.clean && !s.doubtful && s.fixed.Pa > 0 && s.fixed.Weight > 0.2 {
			return &w.cur.seen[i]
		}
	}
	return nil
}

// hours is the run time from the start of a life.
func (w *work) hours(start, t time.Time) float64 { return math.Max(0, w.run.Hours(start, t)) }

// observations puts a life's readings on an axis.
func (w *work) observations(l life, a axis) []forecast.Observation {
	out := make([]forecast.Observation, 0, len(l.seen))
	x, from := 0.0, a.knots[0].at
	for i := range l.seen {
		s := &l.seen[i]
		switch {
		case len(a.knots) > 1:
			x = a.plain(s.At)
		case a.season != nil || i == 0:
			x += a.span(from, s.At)
		default: // hours add up day by day, once
			x += s.gap
		}
		from = s.At
		out = append(out, forecast.Observation{
			X: math.Max(0, x), Pa: s.fixed.Pa, Weight: s.fixed.Weight, StepPa: s.step, Censored: s.over,
			Doubtful: s.doubtful || s.wet || s.suspect || s.fixed.Basis == resistance.NoAirflow,
		})
	}
	return out
}

// kept is the number of readings of a finished life that priors are learnt from.
const kept = 20

// finished turns the lives before the present one into what priors learn from.
func (w *work) finished() []forecast.FinishedLife {
	var out []forecast.FinishedLife
	for _, l := range w.lives {
		if l.swap == nil || l.end.IsZero() {
			continue // its beginning is not known
		}
		limit := w.limitAt(l.end)
		along := w.axisOf(l, l.start, nil)
		f := forecast.FinishedLife{
			Obs: thin(w.observations(l, along)), EndX: along.plain(l.end), LimitPa: limit, Group: string(w.in.Bank),
		}
		f.EndX, f.ReachedLimit = reached(f.Obs, f.EndX, limit)
		if f.ReachedLimit {
			w.out.LifeMonths = append(w.out.LifeMonths, along.months(along.when(f.EndX)))
		}
		if c := l.clean(); c != nil && !c.doubtful && c.fixed.Weight > 0.1 {
			f.CleanPa = c.fixed.Pa
		}
		if f.EndX > 0 {
			out = append(out, f)
		}
	}
	return out
}

// thin keeps at most so many trusted readings of a life, evenly over it, with
// the first and the last.
func thin(obs []forecast.Observation) []forecast.Observation {
	var good []forecast.Observation
	for _, o := range obs {
		if !o.Doubtful && o.Weight > 0.1 {
			good = append(good, o)
		}
	}
	if len(good) <= kept {
		return good
	}
	out := make([]forecast.Observation, 0, kept)
	for i := range kept {
		out = append(out, good[i*(len(good)-1)/(kept-1)])
	}
	return out
}

// reached finds where trusted readings first crossed the limit for good.
func reached(obs []forecast.Observation, end, limit float64) (float64, bool) {
	for i, o := range obs {
		if o.Pa < limit {
			continue
		}
		if i == 0 || obs[i-1].Pa >= limit || o.Censored {
			return math.Max(o.X, 1), true
		}
		prev := obs[i-1]
		t := (limit - prev.Pa) / (o.Pa - prev.Pa)
		return math.Max(prev.X+t*(o.X-prev.X), 1), true
	}
	return end, false
}

// limitAt is the limit that applied at a time, from the register's edits.
func (w *work) limitAt(t time.Time) float64 {
	b := w.bank
	var at int64
	for _, x := range w.stand {
		e, ok := x.Body.(entry.RegisterEdit)
		if !ok || e.Object != "bank" || x.Place != w.in.Bank || x.At.After(t) || x.Seq < at {
			continue
		}
		var old plant.Bank
		if json.Unmarshal(e.Value, &old) == nil {
			b, at = old, x.Seq
		}
	}
	item, _ := w.in.Register.Item(b.Item)
	l, err := resistance.LimitFor(w.site, b, item, w.out.CleanPa)
	if err != nil {
		return w.out.LimitPa
	}
	return l.Pa
}
