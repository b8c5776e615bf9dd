package energy

import (
	"errors"
	"fmt"
)

// DustStep is the resistance of a test filter after an amount of test dust.
type DustStep struct {
	DustG float64 // grams fed so far
	Pa    float64
}

// ErrDustSteps is returned for dust steps that do not grow from a clean filter.
var ErrDustSteps = errors.New("dust steps")

// Reference conditions of Eurovent 4/21 for one full-size filter.
const (
	euroventFlowM3s = 0.944
	euroventHours   = 6000
	euroventEta     = 0.5
)

// EuroventMeanPa is the mean resistance over the dust fed (Eurovent 4/21):
// the trapezoid through the steps over the last amount. It returns ErrDustSteps
// for fewer than two steps, a first one that is not clean, or dust that does not
// grow.
func EuroventMeanPa(steps []DustStep) (float64, error) {
	if len(steps) < 2 || steps[0].DustG != 0 {
		return 0, fmt.Errorf("%w: a clean filter and one step at least", ErrDustSteps)
	}
	sum := 0.0
	for i := 1; i < len(steps); i++ {
		dm := steps[i].DustG - steps[i-1].DustG
		if !positive(dm) {
			return 0, fmt.Errorf("%w: %g g after %g g", ErrDustSteps, steps[i].DustG, steps[i-1].DustG)
		}
		sum += (steps[i].Pa + steps[i-1].Pa) / 2 * dm
	}
	return sum / steps[len(steps)-1].DustG, nil
}

// EuroventKWh is the yearly energy of one full-size filter at a mean resistance:
// q Δp t / (1000 η) with q = 0.944 m³/s, t = 6000 h and η = 0.5 (Eurovent 4/21).
func EuroventKWh(meanPa float64) float64 {
	return euroventFlowM3s * meanPa * euroventHours / (1000 * euroventEta)
}
