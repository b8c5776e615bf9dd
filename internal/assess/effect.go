package assess

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"

	"clogwise/internal/forecast"
)

// A secondary loads by what its primary lets through, and that changes with the
// primary's age. The pace is taken as e^(βu), u the primary's run hours since its
// change-out as a share of its life to the limit. How β is thought of before any
// reading: no effect, give or take a half at the limit (common practice, no source).
const (
	effectSpread = 0.4 // SD of β
	effectReach  = 1.2 // β looked at on either side of 0
	effectStep   = 0.2
	effectOld    = 2.0 // u from which the pace grows no more
	effectLives  = 3   // newest lives of the secondary that are looked at
	effectTerms  = 3   // of a life's curve over dust: a parabola
	effectLeast  = 8   // readings of a life below which its curve says nothing of β
	effectWorth  = 0.5 // of a reading: the weather's dust shifts neighbours alike
)

// primaryAges are the change-outs of a primary on a scale of run hours, and the
// hours of one life to its limit.
type primaryAges struct {
	zero    time.Time // of the scale: the first change-out
	changes []float64
	life    float64
}

func (w *work) primaryAges() (primaryAges, bool) {
	var a primaryAges
	for _, l := range append(slices.Clone(w.lives), w.cur) {
		if l.swap == nil {
			continue
		}
		if a.zero.IsZero() {
			a.zero = l.start
		}
		a.changes = append(a.changes, w.hours(a.zero, l.start))
	}
	a.life = w.lifeHours(0.5)
	return a, len(a.changes) > 0 && a.life > 0
}

// let is the dust that a primary of a life of one has let through by age u, as a
// multiple of what a fresh one lets through in that life.
func let(beta, u float64) float64 {
	beyond := math.Max(0, u-effectOld)
	u -= beyond
	if math.Abs(beta) < 1e-9 {
		return u + beyond
	}
	return math.Expm1(beta*u)/beta + beyond*math.Exp(beta*effectOld)
}

// met is the dust between two places on the scale, in hours behind a fresh primary.
func (a primaryAges) met(beta, from, to float64) float64 {
	sum := 0.0
	for i, c := range a.changes {
		lo, hi := math.Max(from, c), to
		if i+1 < len(a.changes) {
			hi = math.Min(to, a.changes[i+1])
		}
		if hi > lo {
			sum += a.life * (let(beta, (hi-c)/a.life) - let(beta, (lo-c)/a.life))
		}
	}
	return sum
}

// behind is one life of a secondary, with where it and its readings are on the
// primary's scale.
type behind struct {
	from, now float64
	obs       []forecast.Observation
	at        []float64
}

// livesBehind are the newest lives of a secondary that began when the primary's age
// was known, the present one last; false where the present one did not.
func (w *work) livesBehind(a primaryAges) ([]behind, bool) {
	var out []behind
	for _, l := range append(slices.Clone(w.lives), w.cur) {
		if l.swap == nil || l.start.Before(a.zero) {
			continue
		}
		end := l.end
		if end.IsZero() {
			end = w.in.Now
		}
		b := behind{from: w.hours(a.zero, l.start), now: w.hours(a.zero, end)}
		for i, o := range w.observations(l, w.axisOf(l, l.start, nil)) {
			if !o.Doubtful && !o.Censored && o.Weight > 0 {
				b.obs, b.at = append(b.obs, o), append(b.at, w.hours(a.zero, l.seen[i].At))
			}
		}
		out = append(out, b)
	}
	known := w.cur.swap != nil && !w.cur.start.Before(a.zero)
	return out[max(0, len(out)-effectLives):], known
}

// misfit is the mean square by which the readings miss the best parabola over the
// dust met.
func (b behind) misfit(beta float64, a primaryAges) (float64, bool) {
	n := len(b.obs)
	x, y := mat.NewDense(n, effectTerms, nil), mat.NewVecDense(n, nil)
	all := a.met(beta, b.from, b.now)
	for i, o := range b.obs {
		w, u := math.Sqrt(o.Weight), a.met(beta, b.from, b.at[i])/all
		x.SetRow(i, []float64{w, w * u, w * u * u})
		y.SetVec(i, w*o.Pa)
	}
	var c, left mat.VecDense
	if c.SolveVec(x, y) != nil {
		return 0, false
	}
	left.MulVec(x, &c)
	left.SubVec(y, &left)
	return mat.Dot(&left, &left) / float64(n), true
}

// weigh is the logarithm of how well a life fits β, next to no effect.
func (b behind) weigh(beta float64, a primaryAges) float64 {
	if len(b.obs) < effectLeast || !(b.now > b.from) {
		return 0
	}
	with, okWith := b.misfit(beta, a)
	without, ok := b.misfit(0, a)
	const leastPa = 0.5 // what no gauge shows
	if !okWith || !ok {
		return 0
	}
	return -effectWorth * float64(len(b.obs)-effectTerms) / 2 * math.Log((with+leastPa*leastPa)/(without+leastPa*leastPa))
}

// effectOf reads from the secondary's readings how its loading follows the primary's
// age. It returns how many times as fast as in its present life the secondary loads
// when primaries are changed every so many run hours; nil where that cannot be told.
func effectOf(primary, secondary *work) func(primaryHours float64) float64 {
	ages, ok := primary.primaryAges()
	if !ok {
		return nil
	}
	lives, ok := secondary.livesBehind(ages)
	if !ok {
		return nil
	}
	present := lives[len(lives)-1]
	if !(present.now > present.from) {
		return nil
	}
	var betas, score []float64
	for k := math.Round(-effectReach / effectStep); k <= math.Round(effectReach/effectStep); k++ {
		beta := k * effectStep
		s := -beta * beta / (2 * effectSpread * effectSpread)
		for _, l := range lives {
			s += l.weigh(beta, ages)
		}
		betas, score = append(betas, beta), append(score, s)
	}
	best, sum := slices.Max(score), 0.0
	for i := range score {
		score[i] = math.Exp(score[i] - best)
		sum += score[i]
	}
	for i, beta := range betas { // over the pace of the present life, which its curve shows
		score[i] *= (present.now - present.from) / ages.met(beta, present.from, present.now) / sum
	}
	return func(h float64) float64 {
		u, mean := math.Max(h/ages.life, 1e-6), 0.0
		for i, beta := range betas {
			mean += score[i] * let(beta, u) / u
		}
		return mean
	}
}
