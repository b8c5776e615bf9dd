package energy

import (
	"math"

	"clogwise/internal/units"
)

// FanPowerW returns the electrical power in W that moves flowM3s against pa at
// an overall efficiency eta: P = q Δp / η.
func FanPowerW(flowM3s, pa, eta float64) float64 { return flowM3s * pa / eta }

// airHorsepowerConstant belongs to water at 68 °F; a conventional inch of water
// would give 6343.31, so results agree with SI within 0.25 %.
const airHorsepowerConstant = 6356

// AirHorsepower returns cfm · in wg / 6356, the air horsepower of American
// practice.
func AirHorsepower(cfm, inWG float64) float64 { return cfm * inWG / airHorsepowerConstant }

// FanLaws carries airflow m³/s, pressure Pa and power W of a fan to ratio times
// its speed in a system that does not change: airflow goes with speed, pressure
// with its square, power with its cube.
func FanLaws(flowM3s, pa, w, ratio float64) (flow, pressure, power float64) {
	return flowM3s * ratio, pa * ratio * ratio, w * ratio * ratio * ratio
}

// SFP is the specific fan power in W/(m³/s) that a pressure takes at an overall
// efficiency: Δp / η.
func SFP(pa, eta float64) float64 { return pa / eta }

// sfpLimits are the largest specific fan powers of categories SFP 0 to SFP 6,
// W/(m³/s) (EN 16798-3:2017).
var sfpLimits = [...]float64{300, 500, 750, 1250, 2000, 3000, 4500}

// SFPCategory returns the category 0 to 7 of a specific fan power (EN
// 16798-3:2017).
func SFPCategory(sfp float64) int {
	for i, limit := range sfpLimits {
		if sfp <= limit {
			return i
		}
	}
	return len(sfpLimits)
}

// FanPowerIP is fan power in W from American units at an overall efficiency.
func FanPowerIP(cfm, inWG, eta float64) float64 {
	return AirHorsepower(cfm, inWG) / eta * units.WPerHp
}

func positive(x float64) bool { return x > 0 && !math.IsInf(x, 1) }
