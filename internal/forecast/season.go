package forecast

import (
	"cmp"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"
)

// Season holds the dust factor of each month of a site, January first: how
// many usual hours one hour of that month counts for. The mean of the factors
// is 1.
type Season [12]float64

// FlatSeason is the season of a site of which nothing is known.
func FlatSeason() Season {
	var s Season
	for i := range s {
		s[i] = 1
	}
	return s
}

// MonthHours is a stretch of run hours within one calendar month.
type MonthHours struct {
	Month time.Month
	Hours float64
}

// Dose returns the usual hours that the stretches count for: the axis value to
// give to Fit in the place of plain hours.
func (s Season) Dose(stretches []MonthHours) float64 {
	sum := 0.0
	for _, m := range stretches {
		sum += s.of(m.Month) * m.Hours
	}
	return sum
}

// HoursFor returns the plain hours, along the coming stretches, in which the
// dose is met: the way back from a forecast to run hours. Beyond the last
// stretch hours count as usual ones.
func (s Season) HoursFor(dose float64, coming []MonthHours) float64 {
	hours := 0.0
	for _, m := range coming {
		d := s.of(m.Month) * m.Hours
		if d >= dose && d > 0 {
			return hours + m.Hours*math.Max(dose, 0)/d
		}
		dose -= d
		hours += m.Hours
	}
	return hours + math.Max(dose, 0)
}

func (s Season) of(m time.Month) float64 {
	f := s[(int(m)+11)%12]
	if !(f > 0) {
		return 1
	}
	return f
}

// SeasonLife is a finished life as the season is learnt from: how its run
// hours, or at sites that count air moved its hours at design airflow, fell on
// the months. Lives of one group (bank) are taken to end at the same dose.
type SeasonLife struct {
	Group string
	Hours [12]float64 // in each month, January first, over all years
}

const (
	lifeScatter   = 0.15 // SD of the ln dose between lives of one bank, less the season
	monthSpread   = 0.35 // SD of the ln factor of a month, before any life is seen
	monthRough    = 0.20 // SD of the bend of ln factors from month to month
	seasonRounds  = 30   // of Gauss–Newton
	leastSeasonal = 3    // lives below which there is no season
)

// LearnSeason learns the monthly factors of a site from its finished lives:
// lives that met dusty months were shorter. The factors are drawn towards 1 and
// towards their neighbours, the more the fewer lives there are. Until lives
// cover every month of the year, or with fewer than three lives in banks that
// have more than one, the season is flat. The order of lives does not matter.
func LearnSeason(lives []SeasonLife) Season {
	lives = withPeers(lives)
	if len(lives) < leastSeasonal || !coversYear(lives) {
		return FlatSeason()
	}
	var g [12]float64
	for range seasonRounds {
		step, ok := seasonStep(lives, g)
		if !ok {
			break
		}
		for m := range g {
			g[m] = math.Min(math.Max(g[m]+step[m], -2), 2)
		}
	}
	var s Season
	sum := 0.0
	for m := range s {
		s[m] = math.Exp(g[m])
		sum += s[m] / 12
	}
	for m := range s {
		s[m] /= sum
	}
	return s
}

// withPeers keeps lives with hours whose bank has another life, in a fixed
// order.
func withPeers(lives []SeasonLife) []SeasonLife {
	count := make(map[string]int)
	var kept []SeasonLife
	for _, l := range lives {
		sum, fine := 0.0, true
		for _, h := range l.Hours {
			sum += h
			fine = fine && h >= 0 && finite(h)
		}
		if fine && sum > 0 {
			kept = append(kept, l)
			count[l.Group]++
		}
	}
	kept = slices.DeleteFunc(kept, func(l SeasonLife) bool { return count[l.Group] < 2 })
	slices.SortFunc(kept, func(a, b SeasonLife) int {
		return cmp.Or(cmp.Compare(a.Group, b.Group), slices.Compare(a.Hours[:], b.Hours[:]))
	})
	return kept
}

func coversYear(lives []SeasonLife) bool {
	var sum [12]float64
	for _, l := range lives {
		for m, h := range l.Hours {
			sum[m] += h
		}
	}
	return slices.Min(sum[:]) > 0
}

// seasonStep is one Gauss–Newton step for the ln factors: lives of a bank
// should end at the same ln dose.
func seasonStep(lives []SeasonLife, g [12]float64) ([12]float64, bool) {
	a := mat.NewSymDense(12, nil)
	b := mat.NewVecDense(12, nil)
	for m := range 12 {
		a.SetSym(m, m, a.At(m, m)+1/square(monthSpread))
		b.SetVec(m, b.AtVec(m)-g[m]/square(monthSpread))
		bend := [3]int{(m + 11) % 12, m, (m + 1) % 12}
		weight := [3]float64{1, -2, 1}
		r := g[bend[0]] - 2*g[bend[1]] + g[bend[2]]
		for i := range bend {
			b.SetVec(bend[i], b.AtVec(bend[i])-weight[i]*r/square(monthRough))
			for j := range bend {
				if bend[i] <= bend[j] {
					a.SetSym(bend[i], bend[j], a.At(bend[i], bend[j])+weight[i]*weight[j]/square(monthRough))
				}
			}
		}
	}
	for start := 0; start < len(lives); {
		end := start + 1
		for end < len(lives) && lives[end].Group == lives[start].Group {
			end++
		}
		addBank(a, b, lives[start:end], g)
		start = end
	}
	var chol mat.Cholesky
	var x mat.VecDense
	var step [12]float64
	if !chol.Factorize(a) || chol.SolveVecTo(&x, b) != nil {
		return step, false
	}
	for m := range step {
		step[m] = x.AtVec(m)
	}
	return step, true
}

// addBank adds one bank's lives to the normal equations, about their mean.
func addBank(a *mat.SymDense, b *mat.VecDense, bank []SeasonLife, g [12]float64) {
	n := len(bank)
	r := make([]float64, n)
	j := make([][12]float64, n)
	var jMean [12]float64
	rMean := 0.0
	for i, l := range bank {
		dose := 0.0
		for m, h := range l.Hours {
			j[i][m] = math.Exp(g[m]) * h
			dose += j[i][m]
		}
		r[i] = math.Log(dose)
		rMean += r[i] / float64(n)
		for m := range j[i] {
			j[i][m] /= dose
			jMean[m] += j[i][m] / float64(n)
		}
	}
	w := 1 / square(lifeScatter)
	for i := range bank {
		for m := range 12 {
			dm := j[i][m] - jMean[m]
			b.SetVec(m, b.AtVec(m)-w*dm*(r[i]-rMean))
			for k := m; k < 12; k++ {
				a.SetSym(m, k, a.At(m, k)+w*dm*(j[i][k]-jMean[k]))
			}
		}
	}
}
