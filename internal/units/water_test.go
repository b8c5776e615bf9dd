package units_test

import (
	"math"
	"testing"

	"clogwise/internal/units"
)

// An inch of water at 20 °C is its density (998.207 kg/m³, CIPM) times standard
// gravity times 25.4 mm: 248.64 Pa, computed. The convention used on gauges lies
// 0.18 % above it, that at 60 °F 0.10 %, that at 4 °C 0.003 % (NIST SP 811, B.8).
func TestWaterColumnsDifferByConvention(t *testing.T) {
	at20C := 998.207 * 9.80665 * 0.0254
	if math.Abs(at20C-248.64) > 0.005 {
		t.Errorf("at 20 °C %.3f Pa", at20C)
	}
	for _, tc := range []struct {
		name     string
		pa, want float64 // percent below the conventional inch
	}{{"20 °C", at20C, 0.18}, {"60 °F", units.PaPerInH2O60, 0.0999}, {"4 °C", units.PaPerInH2O4C, 0.0028}} {
		below := 100 * (1 - tc.pa/units.PaPerInH2O)
		if math.Abs(below-tc.want) > 0.001 {
			t.Errorf("%s: %.4f %% below, want %.4f %%", tc.name, below, tc.want)
		}
	}
}
