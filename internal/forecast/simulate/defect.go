package simulate

import (
	"math"
	"math/rand/v2"

	"clogwise/internal/forecast"
)

// Defect is something wrong with a bank, its gauge, or the person reading it.
type Defect string

// Defects.
const (
	None         Defect = ""
	TornBag      Defect = "torn bag"        // resistance falls by 25–60 % and stays so
	WetSpike     Defect = "wet spike"       // up by 40–100 % for one to three readings
	StuckGauge   Defect = "stuck gauge"     // shows the same from then on
	ZeroDrift    Defect = "zero drift"      // an offset grows to 5–15 % of the limit; zero checks monthly
	SwappedTubes Defect = "swapped tubes"   // the sign is wrong from then on
	UnseenSwap   Defect = "unreported swap" // back to clean, and nobody said so
	WrongBank    Defect = "wrong bank"      // one reading belongs to a sibling
	WrongUnit    Defect = "wrong unit"      // one reading is in inches of water, said to be Pa
)

// Defects lists them all.
func Defects() []Defect {
	return []Defect{TornBag, WetSpike, StuckGauge, ZeroDrift, SwappedTubes, UnseenSwap, WrongBank, WrongUnit}
}

// Case is a life with a defect, ready to be examined.
type Case struct {
	Input forecast.ExamineInput
	Onset int     // index of the first reading concerned; -1 without a defect
	EndX  float64 // of the readings
}

// Fleet says what banks of a simulated fleet are like.
type Fleet struct {
	Prior  forecast.Prior
	MeanX  float64 // typical life, axis units
	EveryX float64 // between readings
}

// Case draws a life of the fleet and puts the defect in.
func (f Fleet) Case(rnd *rand.Rand, d Defect) Case {
	clean := f.Prior.CleanPa()
	l := Life{Curve: Draw(rnd, clean, f.Prior.LimitPa), DoseX: f.MeanX * math.Exp(0.25*rnd.NormFloat64())}
	l.Dust = Steps(rnd, l.DoseX/6, 0.3, 4*l.DoseX)
	g := Gauge{Noise: 0.03 + 0.02*rnd.Float64(), StepPa: []float64{1, 2, 5}[rnd.IntN(3)]}
	end := l.EndX()
	obs := g.Readings(rnd, l, f.EveryX, end)
	c := Case{Onset: -1, EndX: end, Input: forecast.ExamineInput{
		Prior: f.Prior, Gauge: forecast.GaugeFacts{StepPa: g.StepPa, TopPa: 2.5 * f.Prior.LimitPa},
		ItemCleanPa: l.Curve.CleanPa,
		Life:        forecast.Life{CleanPa: l.Curve.CleanPa, LimitPa: f.Prior.LimitPa},
	}}
	sibling := clean * (0.5 + 0.3*rnd.Float64())
	if rnd.IntN(2) == 0 {
		sibling = clean * (2 + rnd.Float64())
	}
	c.Input.Siblings = []forecast.Sibling{{Name: "sibling", ExpectPa: sibling, SDPa: 0.06 * sibling}}
	if d != None {
		c.Onset = len(obs)/5 + rnd.IntN(max(1, len(obs)*3/5))
		obs = f.spoil(rnd, d, g, l, obs, &c)
	}
	c.Input.Life.Obs = obs
	return c
}

// spoil changes the readings from the onset on.
func (f Fleet) spoil(rnd *rand.Rand, d Defect, g Gauge, l Life, obs []forecast.Observation, c *Case) []forecast.Observation {
	at := c.Onset
	remake := func(i int, pa float64) {
		obs[i] = g.Show(pa*(1+g.Noise*rnd.NormFloat64()), obs[i].X, 1)
	}
	switch d {
	case TornBag:
		keep := 1 - (0.25 + 0.35*rnd.Float64())
		for i := at; i < len(obs); i++ {
			remake(i, keep*l.Pa(obs[i].X))
		}
	case WetSpike:
		up := 1.4 + 0.6*rnd.Float64()
		for i := at; i < min(at+1+rnd.IntN(3), len(obs)); i++ {
			remake(i, up*l.Pa(obs[i].X))
		}
	case StuckGauge:
		for i := at; i < len(obs); i++ {
			obs[i].Pa = obs[at].Pa
		}
	case ZeroDrift:
		f.drift(rnd, g, obs, c)
	case SwappedTubes:
		for i := at; i < len(obs); i++ {
			obs[i].Pa = -obs[i].Pa
		}
	case UnseenSwap:
		for i := at; i < len(obs); i++ {
			remake(i, l.Pa(obs[i].X-obs[at].X+f.EveryX/2))
		}
	case WrongBank:
		s := c.Input.Siblings[0]
		obs[at] = g.Show(s.ExpectPa+s.SDPa*rnd.NormFloat64(), obs[at].X, 1)
	case WrongUnit:
		obs[at].Pa = math.Round(obs[at].Pa/249.08891*100) / 100
	}
	return obs
}

// drift lets an offset grow over a quarter of a life, and checks zero monthly.
func (f Fleet) drift(rnd *rand.Rand, g Gauge, obs []forecast.Observation, c *Case) {
	most := (0.05 + 0.10*rnd.Float64()) * f.Prior.LimitPa
	offset := func(x float64) float64 {
		return most * math.Min(math.Max((x-obs[c.Onset].X)/(f.MeanX/4), 0), 1)
	}
	for i := range obs {
		obs[i].Pa += math.Round(offset(obs[i].X)/g.StepPa) * g.StepPa
	}
	month := f.MeanX / 8
	for x := month; x < c.EndX; x += month {
		c.Input.Zeros = append(c.Input.Zeros, forecast.ZeroCheck{X: x, Pa: g.Show(offset(x)+rnd.NormFloat64(), x, 1).Pa})
	}
}
