package backtest

import (
	"fmt"
	"io"
	"math"
	"slices"
	"text/tabwriter"
)

// Report holds the scores of the methods, in the order they were given.
type Report struct {
	Options Options
	Runs    int // that reach the limit
	Short   int // that do not: learnt from, not forecast
	Rows    []Row
}

// Row is one method's score over all runs, cuts, thinnings and seeds. All but
// Method and N are percentages.
type Row struct {
	Method   string
	N        int
	MdAPE    float64 // median |error| of the median forecast, of the remaining life
	AbsErr   float64 // median |error|, of the whole life
	CRPS     float64 // mean continuous ranked probability score, of the whole life
	Cover80  float64 // lives within the central 80 % range
	Width80  float64 // mean width of that range, of the whole life
	Cover95  float64 // lives within the central 95 % range
	Failures int     // forecasts that gave no figure; scored as 20 lives off
}

// Table writes the report as text.
func (r Report) Table(w io.Writer) error {
	o := r.Options
	runs := fmt.Sprintf("%d runs to %v Pa", r.Runs, o.LimitPa)
	if r.Short > 0 {
		runs += fmt.Sprintf(" (%d more do not reach it: learnt from, not forecast)", r.Short)
	}
	_, err := fmt.Fprintf(w, "%s, axis %s; cuts %v; readings %v; noise %v %%, rounded to %v Pa; %d seeds\n"+
		"All figures in percent. MdAPE: of the remaining life; the others: of the whole life.\n\n",
		runs, o.Axis, o.Cuts, o.Thin, 100*o.Noise, o.StepPa, o.Seeds)
	if err != nil {
		return err
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "method\tMdAPE\t|e|/L\tCRPS\tcover 80\twidth 80\tcover 95\tforecasts\t")
	for _, row := range r.Rows {
		fmt.Fprintf(t, "%s\t%.1f\t%.1f\t%.2f\t%.0f\t%.1f\t%.0f\t%d\t\n",
			row.Method, row.MdAPE, row.AbsErr, row.CRPS, row.Cover80, row.Width80, row.Cover95, row.N)
	}
	return t.Flush()
}

// Forecast gives quantiles of the whole life in axis units. It answers for any
// probability between 0 and 1; a method that cannot forecast answers NaN.
type Forecast func(q float64) float64

// levels is the number of quantiles the score is integrated over.
const levels = 100

// scorer gathers one method's errors.
type scorer struct {
	relErr, absErr          []float64
	crps, width             float64
	in80, in95, n, failures int
}

// most is how far off, in lives, a forecast can be reckoned: beyond it every
// error is the same uselessness.
const most = 20

func (s *scorer) add(f Forecast, end, now float64) {
	q := func(p float64) float64 {
		v := f(p) / end
		if math.IsNaN(v) {
			return most
		}
		return math.Min(math.Max(v, 0), most)
	}
	if math.IsNaN(f(0.5)) {
		s.failures++
	}
	s.n++
	e := math.Abs(math.Max(q(0.5), now/end) - 1)
	s.absErr = append(s.absErr, e)
	s.relErr = append(s.relErr, e/(1-now/end))
	lo, hi := q(0.1), q(0.9)
	s.width += hi - lo
	if lo <= 1 && 1 <= hi {
		s.in80++
	}
	if q(0.025) <= 1 && 1 <= q(0.975) {
		s.in95++
	}
	s.crps += quantileScore(q, 1)
}

// quantileScore is the CRPS as twice the mean pinball loss over evenly spaced
// quantiles (Laio and Tamea, Hydrol. Earth Syst. Sci. 11 (2007) 1267–1277).
func quantileScore(q func(float64) float64, y float64) float64 {
	sum := 0.0
	for i := range levels {
		p := (float64(i) + 0.5) / levels
		v := q(p)
		if y < v {
			sum += (1 - p) * (v - y)
		} else {
			sum += p * (y - v)
		}
	}
	return 2 * sum / levels
}

func (s *scorer) row(name string) Row {
	n := math.Max(float64(s.n), 1)
	return Row{
		Method: name, N: s.n, Failures: s.failures,
		MdAPE: 100 * median(s.relErr), AbsErr: 100 * median(s.absErr),
		CRPS: 100 * s.crps / n, Width80: 100 * s.width / n,
		Cover80: 100 * float64(s.in80) / n, Cover95: 100 * float64(s.in95) / n,
	}
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	v = slices.Sorted(slices.Values(v))
	m := len(v) / 2
	if len(v)%2 == 1 {
		return v[m]
	}
	return (v[m-1] + v[m]) / 2
}
