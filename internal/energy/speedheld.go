package energy

import (
	"fmt"
	"math"
	"strings"

	"clogwise/internal/plant"
	"clogwise/internal/resistance"
)

// AirflowLoss is what dirt does to a fan whose speed is fixed.
type AirflowLoss struct {
	Known bool // fan and system curves meet: the figures below hold

	CleanM3s, NowM3s float64 // through the unit
	LostPct          float64 // of the clean airflow
	CleanPa, NowPa   float64 // fan pressure
	CleanW, NowW     float64 // electrical power at the same efficiency
	FilterPa         float64 // resistance a gauge shows at the airflow left

	// Without a fan curve: what is missing, and the range the loss lies in.
	Missing []string
	LostMin float64 // %, a fan that holds its airflow whatever comes
	LostMax float64 // %, a fan whose pressure does not rise as airflow falls
}

// SpeedHeld returns the airflow lost and the change in power when a bank's
// resistance at design airflow grows from cleanPa to nowPa, by the operating
// points of the fan curve and a system curve quadratic in airflow beside the
// bank. Where the fan curve is missing or is not met, Known is false: Missing
// says what is needed, LostMin and LostMax bound the loss for any fan whose
// pressure rises as its airflow falls, and nothing is guessed.
func SpeedHeld(ahu plant.AHU, bank plant.Bank, law resistance.Law, cleanPa, nowPa float64) AirflowLoss {
	s, missing := systemFor(ahu, bank, law, cleanPa)
	if len(missing) > 0 {
		return s.bounds(missing, nowPa)
	}
	eta := EfficiencyOf(ahu.Efficiency).Eta
	clean, err := s.fan.Meet(s.at(cleanPa))
	if err != nil {
		return s.bounds([]string{err.Error()}, nowPa)
	}
	now, err := s.fan.Meet(s.at(nowPa))
	if err != nil {
		return s.bounds([]string{err.Error()}, nowPa)
	}
	return AirflowLoss{
		Known: true, CleanM3s: clean, NowM3s: now, LostPct: 100 * (1 - now/clean),
		CleanPa: s.fan.Pa(clean), NowPa: s.fan.Pa(now),
		CleanW: FanPowerW(clean, s.fan.Pa(clean), eta), NowW: FanPowerW(now, s.fan.Pa(now), eta),
		FilterPa: nowPa * law.Ratio(s.bankDesign, now*s.share),
	}
}

// system is a fan with what it blows through.
type system struct {
	fan        resistance.FanCurve
	design     float64 // airflow of the unit, m³/s
	share      float64 // of it through the bank
	bankDesign float64
	law        resistance.Law
	clean      float64 // Pa of the bank at design airflow
	rest       float64 // Pa at design airflow beside the bank; 0 = not known
}

func systemFor(ahu plant.AHU, bank plant.Bank, law resistance.Law, cleanPa float64) (system, []string) {
	s := system{design: ahu.DesignFlowM3s, bankDesign: resistance.BankFlowM3s(ahu, bank), law: law, clean: cleanPa}
	var missing []string
	if !positive(s.design) {
		missing = append(missing, "design airflow of the unit")
	} else {
		s.share = s.bankDesign / s.design
	}
	if !positive(cleanPa) {
		missing = append(missing, "clean resistance of the bank")
	}
	if ahu.DesignSystemPa > cleanPa {
		s.rest = ahu.DesignSystemPa - cleanPa
	}
	if len(ahu.FanCurve) == 0 {
		return s, append(missing, "fan curve (pressure at three airflows or more)")
	}
	fan, err := resistance.NewFanCurve(ahu.FanCurve)
	if err != nil {
		return s, append(missing, err.Error())
	}
	s.fan = fan
	s.rest = resistance.DesignPa(ahu, fan) - cleanPa
	if !(s.rest > 0) {
		s.rest = 0
		missing = append(missing, "fan total pressure at design airflow above the bank's own resistance")
	}
	return s, missing
}

// at is the resistance of the whole system against the unit's airflow when the
// bank has pa at design airflow.
func (s system) at(pa float64) func(q float64) float64 {
	return func(q float64) float64 {
		if !(q > 0) {
			return 0
		}
		r := q / s.design
		return s.rest*r*r + pa*s.law.Ratio(s.bankDesign, q*s.share)
	}
}

// bounds gives the range of the loss for a fan that is not known. A fan pressure
// that stays level while airflow falls loses the most; the more so the smaller
// the rest of the system is, and when even that is not known it counts as none.
func (s system) bounds(missing []string, nowPa float64) AirflowLoss {
	out := AirflowLoss{Missing: missing}
	if !positive(s.design) || !positive(s.clean) {
		out.LostMax = 100
		return out
	}
	if s.rest == 0 {
		out.Missing = append(out.Missing, "fan total pressure at design airflow (it would narrow the range)")
	}
	if !(nowPa > s.clean) {
		return out
	}
	level := s.rest + s.clean
	lo, hi := 0.0, s.design
	for range 60 {
		mid := (lo + hi) / 2
		if s.at(nowPa)(mid) <= level {
			lo = mid
		} else {
			hi = mid
		}
	}
	out.LostMax = 100 * (1 - lo/s.design)
	return out
}

// String says the loss in a few words.
func (a AirflowLoss) String() string {
	if a.Known {
		return fmt.Sprintf("airflow %.2f of %.2f m³/s, %.1f %% lost; fan power %+.0f W", a.NowM3s, a.CleanM3s, math.Max(0, a.LostPct), a.NowW-a.CleanW)
	}
	return fmt.Sprintf("airflow lost between %.0f and %.0f %%; missing: %s", a.LostMin, a.LostMax, strings.Join(a.Missing, "; "))
}
