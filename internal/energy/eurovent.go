package energy

import (
	"errors"
	"fmt"

	"clogwise/internal/resistance"
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

// EuroventDustG is the test dust in grams over which Eurovent 4/21 takes the mean
// resistance of a filter of an ISO 16890 group; 0 for groups it does not rate.
func EuroventDustG(group string) float64 {
	switch group {
	case resistance.EPM1:
		return 200
	case resistance.EPM25:
		return 250
	case resistance.EPM10:
		return 400
	}
	return 0
}

// euroventLimits are the largest yearly energies in kWh of energy classes A+, A,
// B, C and D by ISO 16890 group, a row for each 10 % of efficiency from 50 % on
// (Eurovent 4/21-2019). C and D, and some of A+ and A, are from memory.
var euroventLimits = map[string][5][5]float64{
	resistance.EPM1: {
		{800, 900, 1050, 1400, 2000}, {850, 950, 1100, 1450, 2050}, {950, 1100, 1250, 1550, 2150},
		{1050, 1250, 1450, 1800, 2400}, {1200, 1400, 1550, 1900, 2500},
	},
	resistance.EPM25: {
		{700, 800, 950, 1300, 1900}, {750, 850, 1000, 1350, 1950}, {800, 900, 1050, 1400, 2000},
		{900, 1000, 1200, 1500, 2100}, {1000, 1100, 1300, 1600, 2200},
	},
	resistance.EPM10: {
		{450, 550, 650, 750, 1100}, {500, 600, 700, 850, 1200}, {600, 700, 800, 900, 1300},
		{700, 800, 900, 1000, 1400}, {800, 900, 1050, 1400, 1500},
	},
}

// EuroventLimits are the largest yearly energies in kWh of classes A+, A, B, C
// and D for a filter class (Eurovent 4/21-2019); false for classes that it does
// not rate: coarse ones, those of other standards and those without a figure.
func EuroventLimits(c resistance.Class) (kWh [5]float64, rated bool) {
	rows, ok := euroventLimits[c.Group]
	if !ok || c.System != resistance.ISO16890 || c.Pct < 50 {
		return kWh, false
	}
	return rows[min((c.Pct-50)/10, len(rows)-1)], true
}

// EuroventClass is the energy class, "A+" to "E", of a filter of an ISO 16890
// class that takes kWh a year under the conditions of Eurovent 4/21; empty for
// what that does not rate.
func EuroventClass(c resistance.Class, kWh float64) string {
	limits, rated := EuroventLimits(c)
	if !rated || !(kWh >= 0) {
		return ""
	}
	for i, name := range [...]string{"A+", "A", "B", "C", "D"} {
		if kWh <= limits[i] {
			return name
		}
	}
	return "E"
}
