package resistance

import (
	"math"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Basis says what the airflow of a reading was taken from.
type Basis string

// Bases of airflow.
const (
	ByFlow     Basis = "measured flow"
	ByFanCurve Basis = "fan curve"       // fan speed, fan curve and system curve
	BySpeed    Basis = "fan speed ratio" // holds only while dampers stand still
	AsDesign   Basis = "taken as design"
	NoAirflow  Basis = "no airflow" // fan off, or a flow nobody can use
)

// Stated is what a report says of airflow beside a pressure; nil is not said.
type Stated struct {
	FlowM3s *float64 // through the AHU
	FanHz   *float64
	FanPct  *float64 // of the speed at design airflow
}

// Corrected is a reading carried to design airflow and 1.20 kg/m³.
type Corrected struct {
	Pa     float64 // at design airflow and 1.20 kg/m³
	Factor float64 // Pa over what was read; carries gauge steps along
	Weight float64 // 0..1, information relative to a reading at measured design airflow

	Basis   Basis
	FlowM3s float64 // through the bank when read; 0 = unknown
	Ratio   float64 // of design airflow when read; 0 = unknown
	Air     float64 // the part of Factor that is air density and viscosity

	LawBasis LawBasis
	Exponent float64 // local exponent of the law at the airflow read
	Note     string  // what people should know of the basis, in a few words; may be empty
}

// Weights of a reading by the basis of its airflow: common practice, no source.
// They stand for how far the airflow may be off.
const (
	weightFanCurve = 0.8
	weightSpeed    = 0.7
	weightGuess    = 0.5 // design airflow assumed where nothing holds it
	weightVAV      = 0.3 // design airflow assumed where it is known to vary
)

// A Corrector carries the readings of one bank to design airflow. It is
// immutable. Build it with NewCorrector.
type Corrector struct {
	law      Law
	design   float64 // through the bank, m³/s
	share    float64 // of the AHU's airflow
	designHz float64
	control  plant.FanControl
	varies   bool    // VAV
	mu, rho  float64 // ln of μ₁.₂₀/μ and of 1.20/ρ; both zero when nothing is known of the air
	fan      *FanCurve
	rest     float64 // Pa/(bank m³/s)²: the system without this bank
}

// NewCorrector prepares the correction. Law is that of the whole bank (BankLaw,
// LawFor). The air is that of the AHU's usual temperature and humidity at the
// site's altitude; where none of them is known it is taken as 1.20 kg/m³.
func NewCorrector(ahu plant.AHU, bank plant.Bank, site plant.Site, law Law) Corrector {
	c := Corrector{
		law: law, design: BankFlowM3s(ahu, bank), share: flowShare(bank),
		designHz: designHz(ahu, site), control: ahu.FanControl, varies: len(ahu.FlowProfile) > 1,
	}
	if air, known := AirAt(ahu, site); known {
		c.mu, c.rho = air.logs()
	}
	c.fan, c.rest = systemOf(ahu, bank, law)
	return c
}

func designHz(ahu plant.AHU, site plant.Site) float64 {
	switch {
	case ahu.DesignHz > 0:
		return ahu.DesignHz
	case site.Units == units.IP:
		return 60
	}
	return 50
}

// AirAt is the usual air at the filters of an AHU. What is not known is taken as
// 20 °C, 50 % and the standard pressure at the site's altitude; the second
// result is false when all three had to be taken.
func AirAt(ahu plant.AHU, site plant.Site) (Air, bool) {
	a := Air{TempC: standardTempC, RHPct: 50, Pa: PressureAtPa(site.AltitudeM)}
	if ahu.AirTempC != nil {
		a.TempC = *ahu.AirTempC
	}
	if ahu.RHPct != nil {
		a.RHPct = *ahu.RHPct
	}
	return a, ahu.AirTempC != nil || ahu.RHPct != nil || site.AltitudeM != 0
}

// systemOf sets up fan curve and system when both are known; fan is nil
// otherwise. The rest of the system is taken as quadratic in airflow.
func systemOf(ahu plant.AHU, bank plant.Bank, law Law) (fan *FanCurve, rest float64) {
	q := BankFlowM3s(ahu, bank)
	clean := bank.CleanPa
	if !(clean > 0) {
		clean = law.Pa(q)
	}
	f, err := NewFanCurve(ahu.FanCurve)
	if err != nil || !(clean > 0) || !(q > 0) {
		return nil, 0
	}
	rest = (DesignPa(ahu, f) - clean) / (q * q)
	if !(rest > 0) {
		return nil, 0
	}
	return &f, rest
}

// DesignPa is the fan pressure at design airflow with clean filters: the
// register's figure, else what the fan gives at design airflow.
func DesignPa(ahu plant.AHU, fan FanCurve) float64 {
	if ahu.DesignSystemPa > 0 {
		return ahu.DesignSystemPa
	}
	return fan.Pa(ahu.DesignFlowM3s)
}

// CorrectToDesign carries one reading to design airflow and 1.20 kg/m³. For many
// readings of a bank use a Corrector.
func CorrectToDesign(r entry.Reading, ahu plant.AHU, bank plant.Bank, site plant.Site, law Law) Corrected {
	return NewCorrector(ahu, bank, site, law).Correct(r.Pa, Stated{r.FlowM3s, r.FanHz, r.FanPct})
}

// Correct carries pa, read at the airflow stated, to design airflow and
// 1.20 kg/m³: Δp·(q_d/q)^n for a power law, the ratio of the law's values for
// one of two terms, times Air.ToStandard. Zero and negative readings keep their
// sign.
func (c Corrector) Correct(pa float64, said Stated) Corrected {
	out := c.airflow(pa, said)
	out.LawBasis = c.law.Basis
	if out.Basis == NoAirflow {
		out.Pa, out.Factor, out.Air = pa, 1, 1
		return out
	}
	q := c.design * out.Ratio
	if !(c.design > 0) { // the shape of a power law needs no airflow
		q = out.Ratio
	}
	out.Exponent = c.law.Exponent(q)
	out.Air = toStandard(c.mu, c.rho, out.Exponent)
	out.Factor = out.Air * c.law.Ratio(q, q/out.Ratio)
	out.Pa = pa * out.Factor
	out.Weight *= flowWeight(out.Ratio)
	return out
}

// UntoldVarying notes a reading of a VAV unit without its airflow. It hides most of
// what goes wrong with a filter.
const UntoldVarying = "airflow not given and it varies: taken as design"

// airflow finds the airflow of a reading and how far it is to be believed.
func (c Corrector) airflow(pa float64, said Stated) Corrected {
	speed, spoken := c.speed(said)
	switch {
	case said.FlowM3s != nil:
		return c.measured(*said.FlowM3s)
	case spoken && !positive(speed):
		return Corrected{Basis: NoAirflow, Note: "fan standing still: nothing to read"}
	}
	if c.fan != nil && (spoken || c.control == plant.SpeedHeld) {
		if out, ok := c.byCurve(pa, speed); ok {
			return out
		}
	}
	switch {
	case spoken:
		return c.bySpeed(speed)
	case c.varies:
		return c.at(1, weightVAV, AsDesign, UntoldVarying)
	case c.control == plant.FlowHeld:
		return c.at(1, 1, AsDesign, "airflow not given: taken as design")
	case c.control == plant.SpeedHeld:
		return c.at(1, weightGuess, AsDesign, "airflow not given and fan speed fixed: taken as design, the true figure is higher")
	}
	return c.at(1, weightGuess, AsDesign, "airflow not given, fan control not known: taken as design")
}

// speed is the stated speed as a share of that at design airflow; 1 when none
// was stated.
func (c Corrector) speed(said Stated) (ratio float64, spoken bool) {
	switch {
	case said.FanHz != nil:
		return *said.FanHz / c.designHz, true
	case said.FanPct != nil:
		return *said.FanPct / 100, true
	}
	return 1, false
}

func (c Corrector) measured(ahuFlow float64) Corrected {
	switch {
	case !positive(ahuFlow):
		return Corrected{Basis: NoAirflow, Note: "no airflow: nothing to read"}
	case !(c.design > 0):
		out := c.at(1, weightGuess, AsDesign, "design airflow of the unit is missing: not corrected")
		out.FlowM3s = ahuFlow * c.share
		return out
	}
	return c.at(ahuFlow*c.share/c.design, 1, ByFlow, "")
}

// bySpeed takes airflow in proportion to fan speed. A fan that holds its airflow
// and runs above its design speed does so because of dirt: its airflow is
// design, not more. One of fixed speed loses airflow to dirt unseen.
func (c Corrector) bySpeed(speed float64) Corrected {
	if c.control == plant.FlowHeld && speed > 1 {
		return c.at(1, weightSpeed, BySpeed, "fan above its design speed to hold airflow: taken as design")
	}
	if c.control == plant.SpeedHeld {
		return c.at(speed, weightGuess, BySpeed, "airflow by fan speed, less as filters load: the true figure is higher")
	}
	return c.at(speed, weightSpeed, BySpeed, "airflow by fan speed: holds while dampers stand still")
}

// byCurve finds the airflow at which fan, rest of the system and the resistance
// read agree.
func (c Corrector) byCurve(pa, speed float64) (Corrected, bool) {
	q, err := c.fan.AtSpeed(speed).Meet(func(ahuFlow float64) float64 {
		q := ahuFlow * c.share
		return c.rest*q*q + pa
	})
	if err != nil {
		return Corrected{}, false
	}
	return c.at(q*c.share/c.design, weightFanCurve, ByFanCurve, "airflow by fan curve: holds while dampers stand still"), true
}

func (c Corrector) at(ratio, weight float64, b Basis, note string) Corrected {
	return Corrected{Ratio: ratio, FlowM3s: ratio * c.design, Weight: weight, Basis: b, Note: note}
}

// flowWeight is the weight of a reading by its share of design airflow: nearly 1
// from 60 % to 150 %, one half at 50 %, below 0.06 under 40 %. A gauge error and
// an airflow error both grow as (q_d/q)^n, and the exponent itself is known only
// near design.
func flowWeight(ratio float64) float64 {
	rise := 1 / (1 + math.Exp((0.5-ratio)/0.035))
	fall := 1 / (1 + math.Exp((ratio-1.75)/0.06))
	return rise * fall
}
