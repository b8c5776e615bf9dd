package wire

import (
	"cmp"
	"errors"
	"fmt"
	"math"

	"clogwise/internal/units"
)

// Bounds of what is believed at all; beyond them an item is refused. Filter
// gauges end at a few hundred to 2000 Pa; mains frequency drives at 120 Hz.
const (
	minPa      = -500
	maxPa      = 5000
	maxFlowM3s = 500
	maxHz      = 120
	maxPct     = 120
	maxCount   = 10_000
)

// Pressure is the item's reading in Pa. An error says that there is none, that
// there are two, or that it is beyond what is believed.
func (it Item) Pressure() (float64, error) {
	switch {
	case it.Pa != nil && it.Value != nil:
		return 0, errors.New("give pa, or value with unit, not both")
	case it.Pa != nil:
		return *it.Pa, within("pa", it.Pa, minPa, maxPa)
	case it.Value == nil:
		return 0, errors.New("no pressure: give pa, or value with unit")
	}
	u, ok := units.ParsePressureUnit(it.Unit)
	if !ok {
		return 0, fmt.Errorf("unit %q is not known; use Pa, kPa, hPa, mbar, mmH2O or inH2O", Clip(it.Unit))
	}
	pa := u.ToPa(*it.Value)
	return pa, within("value in Pa", &pa, minPa, maxPa)
}

// CheckAir refuses an airflow or a fan speed beyond what is believed.
func (it Item) CheckAir() error {
	return cmp.Or(within("flow_m3s", it.FlowM3s, 0, maxFlowM3s), within("fan_hz", it.FanHz, 0, maxHz), within("fan_pct", it.FanPct, 0, maxPct))
}

// CheckSwap refuses a change-out's pressures and count beyond what is believed.
func (it Item) CheckSwap() error {
	if err := cmp.Or(within("clean_pa", it.CleanPa, 0, maxPa), within("before_pa", it.BeforePa, 0, maxPa)); err != nil {
		return err
	}
	if it.Count != nil && (*it.Count < 1 || *it.Count > maxCount) {
		return fmt.Errorf("count is %d, not between 1 and %d", *it.Count, maxCount)
	}
	return nil
}

func within(name string, v *float64, lo, hi float64) error {
	if v != nil && (math.IsNaN(*v) || *v < lo || *v > hi) {
		return fmt.Errorf("%s is %g, not between %g and %g", name, *v, lo, hi)
	}
	return nil
}
