package resistance

import "math"

// Reference air of EN 779:2012 and ISO 16890-2: resistances are stated for it.
const (
	StandardDensity = 1.20     // kg/m³
	standardTempC   = 20.0     // °C
	seaLevelPa      = 101325.0 // Pa
	kelvin          = 273.15
)

// StandardViscosity is the dynamic viscosity of air at 20 °C, Pa·s.
var StandardViscosity = Viscosity(standardTempC)

// Air is the state of the air at the filters.
type Air struct {
	TempC float64 // °C
	Pa    float64 // absolute pressure
	RHPct float64 // relative humidity, %
}

// Density returns the density of moist air in kg/m³ (EN 779:2012 annex,
// ISO 16890-2 annex).
func (a Air) Density() float64 {
	vapour := a.RHPct / 100 * SaturatedVapourPa(a.TempC)
	return (a.Pa - 0.378*vapour) / (287.06 * (a.TempC + kelvin))
}

// SaturatedVapourPa returns the saturated vapour pressure of water over tempC in
// Pa (EN 779:2012 annex, ISO 16890-2 annex).
func SaturatedVapourPa(tempC float64) float64 {
	t := tempC + kelvin
	return math.Exp(59.484085 - 6790.4985/t - 5.02802*math.Log(t))
}

// Viscosity returns the dynamic viscosity of air in Pa·s by Sutherland's form
// with the constants of ISO 16890-2.
func Viscosity(tempC float64) float64 {
	t := tempC + kelvin
	return 1.455e-6 * math.Sqrt(t) / (1 + 110.4/t)
}

// PressureAtPa returns the pressure of the standard atmosphere at an altitude in
// metres, in Pa (ISO 2533:1975, layer from −2 to 11 km; altitudes beyond it are
// taken at its ends).
func PressureAtPa(altitudeM float64) float64 {
	h := min(max(altitudeM, -2000), 11000)
	return seaLevelPa * math.Pow(1-0.0065*h/288.15, 9.80665/(287.05287*0.0065))
}

// ToStandard returns the factor that carries a resistance met in this air to air
// of 1.20 kg/m³ at the same airflow, for a law of local exponent n: with
// Δp = k μ^(2−n) ρ^(n−1) q^n it is (μ₁.₂₀/μ)^(2−n) (1.20/ρ)^(n−1) (EN 779:2012
// annex, ISO 16890-2 annex).
func (a Air) ToStandard(n float64) float64 {
	mu, rho := a.logs()
	return toStandard(mu, rho, n)
}

// logs returns ln(μ₁.₂₀/μ) and ln(1.20/ρ).
func (a Air) logs() (mu, rho float64) {
	return math.Log(StandardViscosity / Viscosity(a.TempC)), math.Log(StandardDensity / a.Density())
}

func toStandard(mu, rho, n float64) float64 { return math.Exp((2-n)*mu + (n-1)*rho) }
