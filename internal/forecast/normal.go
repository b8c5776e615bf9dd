package forecast

import "math"

// normalCDF is the standard normal distribution function.
func normalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// normalPDF is the standard normal density.
func normalPDF(z float64) float64 { return exp(-z*z/2) * (1 / math.Sqrt2 / math.SqrtPi) }

// upperTail returns P(Z > z) and the hazard φ(z)/P(Z > z), stable far out.
func upperTail(z float64) (p, hazard float64) {
	if z > 8 { // asymptotic series of the Mills ratio
		return normalPDF(z) / z, z + 1/z
	}
	p = 0.5 * math.Erfc(z/math.Sqrt2)
	return p, normalPDF(z) / p
}

// CRPSNormal returns the continuous ranked probability score of the forecast
// N(mean, sd²) when y happened, in the unit of y (Gneiting and Raftery, J. Am.
// Stat. Assoc. 102 (2007) 359–378).
func CRPSNormal(mean, sd, y float64) float64 {
	if !(sd > 0) {
		return math.Abs(y - mean)
	}
	z := (y - mean) / sd
	return sd * (z*(2*normalCDF(z)-1) + 2*normalPDF(z) - 1/math.Sqrt(math.Pi))
}
