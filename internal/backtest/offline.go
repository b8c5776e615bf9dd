package backtest

import (
	"fmt"
	"io"
	"math"

	"clogwise/internal/forecast"
)

// Bank is what the offline forecast is told of the bank beside its readings. A
// zero leaves the stage's default.
type Bank struct {
	Stage         string  // primary, secondary, third, return
	LimitPa       float64 // final resistance at design airflow
	CleanPa       float64 // clean resistance at design airflow
	MedianLife    float64 // usual life, run hours
	DesignFlowM3s float64 // for readings that give their airflow
	Exponent      float64 // of resistance against airflow; 0 = 1/0.85
	StepPa        float64 // gauge graduation
	TopPa         float64 // gauge range
	NowHours      float64 // 0 = at the last reading
	Prior         *forecast.Prior
}

// Range is a median with its central ranges.
type Range struct {
	Median float64    `json:"median"`
	In80   [2]float64 `json:"range_80"`
	In95   [2]float64 `json:"range_95"`
}

// Offline is the forecast of one file.
type Offline struct {
	LimitPa        float64            `json:"limit_pa"`
	CleanPa        float64            `json:"clean_pa"`
	NowHours       float64            `json:"now_hours"`
	NowPa          float64            `json:"now_pa"`
	LifeHours      Range              `json:"life_hours"`
	RemainingHours Range              `json:"remaining_hours"`
	Reached        float64            `json:"probability_reached"`
	PriorFrom      forecast.Level     `json:"prior_from"`
	Readings       int                `json:"readings"`
	Doubtful       int                `json:"doubtful"`
	Findings       []forecast.Finding `json:"findings"`
}

// usualExponent is 1/0.85: Li et al., Separation and Purification Technology
// 284 (2022) 120209, as used by an open building-simulation library.
const usualExponent = 1 / 0.85

// ForecastFile reads a series and forecasts its life: what the offline
// forecast command does.
func ForecastFile(r io.Reader, bank Bank) (Offline, error) {
	rows, err := ReadSeries(r)
	if err != nil {
		return Offline{}, err
	}
	return ForecastSeries(rows, bank)
}

// ForecastSeries forecasts the life that the rows belong to.
func ForecastSeries(rows []SeriesRow, bank Bank) (Offline, error) {
	prior := bank.prior()
	if err := prior.Check(); err != nil {
		return Offline{}, fmt.Errorf("forecast: %w", err)
	}
	life := forecast.Life{CleanPa: bank.CleanPa, LimitPa: bank.LimitPa, NowX: bank.NowHours}
	for _, row := range rows {
		o := bank.observe(row)
		life.Obs = append(life.Obs, o)
		if bank.NowHours == 0 {
			life.NowX = math.Max(life.NowX, o.X)
		}
	}
	obs, findings := forecast.Examine(forecast.ExamineInput{
		Prior: prior, Life: life, Gauge: forecast.GaugeFacts{TopPa: bank.TopPa, StepPa: bank.StepPa}, ItemCleanPa: bank.CleanPa,
	})
	life.Obs = obs
	post := forecast.Fit(prior, life)
	out := Offline{
		LimitPa: post.LimitPa(), CleanPa: post.CleanPa(), NowHours: post.NowX(), NowPa: post.NowPa(),
		LifeHours: rangeOf(post.Quantile), RemainingHours: rangeOf(post.Remaining),
		Reached: post.ProbBy(post.NowX()), PriorFrom: post.Level(), Readings: len(rows), Findings: findings,
	}
	for _, o := range obs {
		if o.Doubtful {
			out.Doubtful++
		}
	}
	return out, nil
}

func rangeOf(q func(float64) float64) Range {
	return Range{Median: q(0.5), In80: [2]float64{q(0.1), q(0.9)}, In95: [2]float64{q(0.025), q(0.975)}}
}

func (b Bank) prior() forecast.Prior {
	if b.Prior != nil {
		return *b.Prior
	}
	d := forecast.DefaultFor(b.Stage).For(b.LimitPa, b.CleanPa)
	if b.MedianLife > 0 {
		d.MedianLife = b.MedianLife
	}
	return d.Prior()
}

// observe corrects a reading to design airflow by the power law, when its
// airflow or the fan's speed is given, and weighs it by how near to design it
// was taken: below 40 % it hardly counts.
func (b Bank) observe(row SeriesRow) forecast.Observation {
	n := b.Exponent
	if n == 0 {
		n = usualExponent
	}
	share := 1.0
	switch {
	case row.FlowM3s > 0 && b.DesignFlowM3s > 0:
		share = row.FlowM3s / b.DesignFlowM3s
	case row.FanPct > 0:
		share = row.FanPct / 100
	}
	up := math.Pow(share, -n)
	weight := math.Min(1, share*share)
	if share < 0.4 {
		weight = 0.02
	}
	return forecast.Observation{X: row.Hours, Pa: row.Pa * up, Weight: weight, StepPa: b.StepPa * up}
}
