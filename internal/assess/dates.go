package assess

import (
	"fmt"
	"math"
	"reflect"
	"time"

	"clogwise/internal/duelist"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
	"clogwise/internal/units"
)

// start is the beginning of the present life: the change-out, or where nobody
// reported one, a guess from the first reading, or zero with nothing to go by.
func (w *work) start() (t time.Time, guessed bool) {
	if w.cur.swap != nil {
		return w.cur.start, false
	}
	for _, s := range w.cur.seen {
		if s.doubtful || s.wet || s.suspect || s.over || !(s.fixed.Pa > 0) {
			continue
		}
		age := w.ageAt(s.fixed.Pa)
		return s.At.Add(-time.Duration(age / max(w.run.PerWeek(), 1) * 7 * 24 * float64(time.Hour))), true
	}
	return time.Time{}, false
}

// ageAt is the run hours at which the prior expects a resistance: bisection on
// the prior's mean curve, which rises.
func (w *work) ageAt(pa float64) float64 {
	p := forecast.Fit(w.prior, forecast.Life{LimitPa: w.out.LimitPa, CleanPa: w.out.CleanPa})
	lo, hi := 0.0, p.Quantile(0.95)
	for range 50 {
		mid := (lo + hi) / 2
		if p.MeanPa(mid) < pa {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// learn takes what the bank's own finished lives teach into the prior.
func (w *work) learn() {
	if c := w.in.Carried; c != nil && c.learnt != nil && c.learnt.of(w.in.Prior, w.out.Lives) {
		w.out.learnt = c.learnt
	} else {
		w.out.learnt = &learnt{w.in.Prior, len(w.out.Lives), w.in.Prior.ForBank(w.out.Lives)}
	}
	w.prior = w.out.learnt.own
	w.out.PriorLevel, w.out.PriorLives = string(w.prior.Level()), w.prior.Lives
}

// learnt is what a bank's finished lives made of a prior. It goes with an assessment
// that is kept in memory: lives end seldom, and learning costs a fifth of the work.
type learnt struct {
	from  forecast.Prior
	lives int
	own   forecast.Prior
}

// of reports whether it is what a prior and these lives would give: those carried
// are the same as long as their number is.
func (l *learnt) of(from forecast.Prior, lives []forecast.FinishedLife) bool {
	return l.lives == len(lives) && reflect.DeepEqual(l.from, from)
}

// forecast fits the present life.
func (w *work) forecast() {
	start, guessed := w.start()
	if start.IsZero() {
		return
	}
	w.out.HoursRun = w.hours(start, w.in.Now)
	w.along = w.axisOf(w.cur, start, w.in.Season)
	life := forecast.Life{Obs: w.observations(w.cur, w.along), LimitPa: w.out.LimitPa}
	w.along.events = w.eventsOf(w.along, life.Obs, life)
	for i := range life.Obs {
		life.Obs[i].X = forecast.Dose(life.Obs[i].X, w.along.events)
	}
	w.nowX = w.along.at(w.in.Now)
	life.NowX = w.nowX
	if !guessed && w.firstClean() == nil {
		life.CleanPa = w.out.CleanPa
	}
	for _, o := range life.Obs {
		if !o.Doubtful {
			w.out.Readings++
		}
	}
	w.post, w.hasPost = forecast.Fit(w.prior, life), true
	w.out.NowPa = w.post.NowPa()
	w.cur.start = start
	w.out.LifeHours, w.out.UsualHours = w.post.Quantile(0.5), w.prior.AtLimit(w.out.LimitPa).MedianLife()
	if last := w.last(); last != nil {
		w.out.Last = &Seen{
			Seq: last.Seq, At: last.At, Pa: last.pa, DesignPa: last.fixed.Pa, Basis: note(last.fixed), Weight: last.fixed.Weight,
			OverRange: last.over, Doubtful: last.doubtful || last.suspect || last.wet, By: last.By,
		}
	}
}

func note(c resistance.Corrected) string {
	if c.Note != "" {
		return c.Note
	}
	return string(c.Basis)
}

// last is the newest reading of the present life.
func (w *work) last() *seen {
	if n := len(w.cur.seen); n > 0 {
		return &w.cur.seen[n-1]
	}
	return nil
}

// lastSound is the newest reading that counts.
func (w *work) lastSound() *seen {
	for i := len(w.cur.seen) - 1; i >= 0; i-- {
		if s := &w.cur.seen[i]; !s.doubtful && !s.suspect && !s.wet && s.fixed.Basis != resistance.NoAirflow {
			return s
		}
	}
	return nil
}

// beyond is how far ahead dates are told; later ones are left open.
const beyond = 20 * 366 * 24 * time.Hour

// at is the date on which a share q of the forecast has reached the limit.
func (w *work) at(q float64) time.Time {
	t := w.along.when(w.post.Quantile(q))
	if t.IsZero() || t.Sub(w.in.Now) > beyond {
		return time.Time{}
	}
	return t.In(w.loc)
}

// lifeHours is the run hours from the change-out to the limit, at a share q.
func (w *work) lifeHours(q float64) float64 {
	x := w.post.Quantile(q)
	if w.along.isPlain() {
		return x
	}
	if t := w.along.when(x); !t.IsZero() {
		return w.hours(w.cur.start, t)
	}
	return w.out.HoursRun + w.left(q)
}

// left is the run hours left at a share q of the forecast, 0 or more.
func (w *work) left(q float64) float64 {
	x := w.post.Remaining(q)
	if w.along.isPlain() {
		return x
	}
	if t := w.along.when(w.nowX + x); !t.IsZero() {
		return w.hours(w.in.Now, t)
	}
	return x / w.along.knots[len(w.along.knots)-1].pace
}

// dates turns run hours into dates and finds which limit governs.
func (w *work) dates() {
	o := &w.out
	h := w.site.Units
	if w.hasPost && !o.NoGauge {
		o.Dates = Dates{Median: w.at(0.5), P10: w.at(0.1), P90: w.at(0.9), P025: w.at(0.025), P975: w.at(0.975)}
		o.Hours = Hours{Median: w.left(0.5), P10: w.left(0.1), P90: w.left(0.9), P025: w.left(0.025), P975: w.left(0.975)}
		o.Governing = units.ShortPressure(o.LimitPa, h)
		o.ProbWeek = w.post.ProbBy(w.along.at(w.in.Now.AddDate(0, 0, 7)))
		o.Prob30 = w.post.ProbBy(w.along.at(w.in.Now.AddDate(0, 0, 30)))
	}
	if w.capAt.IsZero() {
		return
	}
	// The cap is certain: it cuts the distribution of dates off.
	capAt := w.capAt.In(w.loc)
	if o.Dates.Median.IsZero() || capAt.Before(o.Dates.Median) {
		o.Governing, o.CapGoverns = fmt.Sprintf("its age cap (%s)", capWords(w.caps)), true
		if o.NoGauge || !w.hasPost {
			o.Dates = Dates{capAt, capAt, capAt, capAt, capAt}
			return
		}
	}
	for _, d := range []*time.Time{&o.Dates.P025, &o.Dates.P10, &o.Dates.Median, &o.Dates.P90, &o.Dates.P975} {
		if d.IsZero() || capAt.Before(*d) {
			*d = capAt
		}
	}
}

func capWords(c resistance.Caps) string {
	switch {
	case c.Months > 0 && c.Hours > 0:
		return fmt.Sprintf("%g months or %g h", c.Months, c.Hours)
	case c.Hours > 0:
		return fmt.Sprintf("%g run hours", c.Hours)
	}
	return fmt.Sprintf("%g months", c.Months)
}

// judge names the condition.
func (w *work) judge() {
	o := &w.out
	e := duelist.Evidence{
		ReadEvery: o.ReadEvery, NoGauge: o.NoGauge, PaNow: o.NowPa, CleanPa: o.CleanPa, LimitPa: o.LimitPa,
		ByNow: math.NaN(), BySoon: math.NaN(), CapAt: w.capAt, Doubtful: o.blocked(),
	}
	if w.cur.swap != nil {
		e.LifeStart = w.cur.start
	}
	if s := w.lastSound(); s != nil {
		e.LastRead, e.SeenPa = s.At, s.fixed.Pa
		if s.over {
			e.SeenPa = math.Max(s.fixed.Pa, o.LimitPa)
		}
		if s.fixed.Weight < 0.2 {
			e.SeenPa = 0 // read at too little airflow to convict a filter
		}
	}
	if w.hasPost && !o.NoGauge {
		soon := duelist.DefaultSettings().SoonBy(w.in.Now)
		e.ByNow, e.BySoon = w.post.ProbBy(w.nowX), w.post.ProbBy(w.along.at(soon))
	}
	o.Evidence = plainEvidence(e)
	o.Condition = duelist.Classify(e, duelist.DefaultSettings(), w.in.Now)
}

// blocked reports whether an open finding makes the readings unfit to judge by.
func (a Assessment) blocked() bool {
	for _, f := range a.Findings {
		if f.Open && f.Blocks {
			return true
		}
	}
	return false
}

// AsOf is the assessment brought to another date without reading the ledger
// again: the condition follows the calendar, the forecast stays.
func (a Assessment) AsOf(now time.Time) Assessment {
	if a.Bank == "" || !now.After(a.Now) {
		return a
	}
	e := a.Evidence.evidence(a)
	e.ByNow, e.BySoon = a.chance(now), a.chance(duelist.DefaultSettings().SoonBy(now))
	a.Condition = duelist.Classify(e, duelist.DefaultSettings(), now)
	if a.Deferred != nil && !a.Deferred.Until.After(now) {
		a.Deferred = nil
	}
	return a
}

// chance is the probability that the limit is reached by t, read off the stored
// quantiles by straight lines between them.
func (a Assessment) chance(t time.Time) float64 {
	if a.Dates.Median.IsZero() {
		if a.Evidence.HasForecast {
			return 0
		}
		return math.NaN()
	}
	at := []time.Time{a.Dates.P025, a.Dates.P10, a.Dates.Median, a.Dates.P90, a.Dates.P975}
	q := []float64{0.025, 0.1, 0.5, 0.9, 0.975}
	if t.Before(at[0]) {
		return 0
	}
	for i := 1; i < len(at); i++ {
		if at[i].IsZero() {
			return q[i-1]
		}
		if t.Before(at[i]) {
			span := at[i].Sub(at[i-1]).Seconds()
			if span <= 0 {
				return q[i]
			}
			return q[i-1] + (q[i]-q[i-1])*t.Sub(at[i-1]).Seconds()/span
		}
	}
	return 1
}

// Evidence is the part of a bank's state that its condition is judged by, kept
// so that it can be judged again on another day.
type Evidence struct {
	LastRead    time.Time `json:"last_read,omitzero"`
	SeenPa      float64   `json:"seen_pa,omitempty"`
	CapAt       time.Time `json:"cap_at,omitzero"`
	HasForecast bool      `json:"has_forecast"`
}

func plainEvidence(e duelist.Evidence) Evidence {
	return Evidence{LastRead: e.LastRead, SeenPa: e.SeenPa, CapAt: e.CapAt, HasForecast: !math.IsNaN(e.ByNow)}
}

func (k Evidence) evidence(a Assessment) duelist.Evidence {
	e := duelist.Evidence{
		LastRead: k.LastRead, ReadEvery: a.ReadEvery, NoGauge: a.NoGauge, SeenPa: k.SeenPa, PaNow: a.NowPa,
		CleanPa: a.CleanPa, LimitPa: a.LimitPa, CapAt: k.CapAt, Doubtful: a.blocked(),
	}
	if a.LifeStart != nil {
		e.LifeStart = *a.LifeStart
	}
	return e
}

// Row is the assessment as a row of the due list.
func (a Assessment) Row(reg *plant.Register) duelist.Row {
	ahu, _ := reg.AHU(a.Bank)
	r := duelist.Row{
		Bank: a.Bank, Name: a.Name, AHU: ahu.Tag, Site: a.Bank.Site(), Condition: a.Condition,
		PaNow: a.NowPa, LimitPa: a.LimitPa, CleanPa: a.CleanPa, Governing: a.Governing, LimitSource: a.LimitSource,
		Median: a.Dates.Median, P10: a.Dates.P10, P90: a.Dates.P90, LeastCost: a.LeastCost,
		PenaltyPerDay: a.Energy.MoneyPerDay, WaitWeek: a.Energy.WaitWeek, KWhPerDay: a.Energy.KWhPerDay, KgCO2PerDay: a.Energy.KgPerDay, AtMost: a.Energy.AtMost(),
		Parts: a.Parts,
	}
	if a.NoGauge { // judged by age: a figure would only mislead
		r.PaNow, r.LimitPa, r.CleanPa, r.LimitSource = 0, 0, 0, ""
	}
	if a.Last != nil {
		r.LastRead = a.Last.At
		if a.Last.Doubtful && a.Condition == duelist.Doubtful && !a.NoGauge {
			r.ReadPa = a.Last.Pa
		}
	}
	if a.Deferred != nil {
		r.Deferred, r.DeferReason = &a.Deferred.Until, a.Deferred.Reason
	}
	if a.Booking != nil {
		r.Booked = &a.Booking.Start
	}
	for _, f := range a.Findings {
		if f.Open {
			r.Findings = append(r.Findings, f.Text+" "+f.Check)
		}
	}
	return r
}

// Job is the bank's next change-out for planning visits; false when no date is
// foreseen. One that is booked is always among them, whatever else is said of it.
func (a Assessment) Job(now time.Time) (duelist.Job, bool) {
	best, booked := a.LeastCost, time.Time{}
	if b := a.Booking; b != nil && b.Start.After(now.AddDate(0, 0, -1)) {
		booked = b.Start
	}
	if best.IsZero() || !a.Dates.Median.IsZero() && a.Dates.Median.Before(best) {
		best = a.Dates.Median
	}
	if a.Deferred != nil && a.Deferred.Until.After(best) {
		best = a.Deferred.Until
	}
	if best.IsZero() {
		best = booked
	}
	if best.IsZero() || booked.IsZero() && (a.Condition == duelist.Doubtful || a.Condition == duelist.Unread) {
		return duelist.Job{}, false
	}
	latest := a.Dates.P10
	if latest.IsZero() || latest.Before(now) {
		latest = now
	}
	if latest.Before(best) && a.LeastCost.Equal(best) {
		best = latest
	}
	if a.Deferred != nil && a.Deferred.Until.After(latest) {
		latest = a.Deferred.Until
	}
	return duelist.Job{
		Bank: a.Bank, Best: best, Latest: latest, Booked: booked, Early: a.earlyPerDay(now), Late: a.Energy.MoneyPerDay, Hours: a.LabourHours,
	}, true
}

// earlyPerDay is the worth of filter life thrown away by changing a day early:
// the change-out's cost spread over the life expected.
func (a Assessment) earlyPerDay(now time.Time) units.Money {
	if a.LifeStart == nil || a.Dates.Median.IsZero() {
		return units.Money{}
	}
	days := a.Dates.Median.Sub(*a.LifeStart).Hours() / 24
	if days < 1 {
		return units.Money{}
	}
	return a.Energy.ChangeCost.Times(1 / days)
}
