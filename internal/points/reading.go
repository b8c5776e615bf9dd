package points

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Limit is a bank's stated final resistance in Pa, 0 when neither it nor its
// item states one.
func Limit(reg *plant.Register, bank plant.Bank) float64 {
	if item, ok := reg.Item(bank.Item); ok && bank.LimitPa == 0 {
		return item.FinalPa
	}
	return bank.LimitPa
}

// Doubt says why a reading is not believed until somebody has looked; empty when
// nothing speaks against it.
func Doubt(pa float64, bank plant.Bank, limitPa float64) string {
	switch {
	case pa <= 0:
		return "zero or negative: check the tubes and that the fan runs"
	case bank.Gauge.TopPa > 0 && pa > bank.Gauge.TopPa:
		return fmt.Sprintf("above the gauge's top of %.0f Pa (%.2f in wc): check the unit", bank.Gauge.TopPa, bank.Gauge.TopPa/units.PaPerInH2O)
	case limitPa > 0 && pa > 2*limitPa:
		return fmt.Sprintf("above twice the limit of %.0f Pa (%.2f in wc): check the unit and the bank", limitPa, limitPa/units.PaPerInH2O)
	}
	return ""
}

// Reading makes what a sample of a mapped pressure point says: a reading, or one
// over the gauge's range. held says why it is kept out of the trend.
func Reading(m Mapping, s entry.Sample, bank plant.Bank, limitPa float64) (body entry.Body, held string, err error) {
	if s.OverRange {
		top := bank.Gauge.TopPa
		if s.Pa != nil || s.Value != nil {
			if top, err = m.Value(s); err != nil {
				return nil, "", err
			}
		}
		if top <= 0 {
			return nil, "", errors.New("over_range: give the top of the gauge in pa; it is not in the register")
		}
		return entry.OverRange{TopPa: top, FlowM3s: s.FlowM3s, FanHz: s.FanHz, FanPct: s.FanPct}, "", nil
	}
	pa, err := m.Value(s)
	if err != nil {
		return nil, "", err
	}
	r := entry.Reading{
		Pa: pa, FlowM3s: s.FlowM3s, FanHz: s.FanHz, FanPct: s.FanPct, StepPa: bank.Gauge.StepPa,
		Wet: s.Wet, Suspect: s.Suspect, Unit: cmp.Or(s.Unit, unitOf(m, s)),
	}
	held = Doubt(pa, bank, limitPa)
	r.Suspect = r.Suspect || held != ""
	return r, held, nil
}

func unitOf(m Mapping, s entry.Sample) string {
	if s.Pa != nil {
		return ""
	}
	return m.Unit
}

// Near is how far apart a pressure and what is known of the air may be taken.
const Near = 10 * time.Minute

// Air is what samples of an AHU say of the air at a time.
type Air struct {
	FlowM3s, FanHz, FanPct *float64
	Off                    bool // the fan stood still
}

// AirAt takes from the samples of an AHU those nearest to a time, none further
// than Near.
func AirAt(samples []entry.Entry, at time.Time) Air {
	best := map[Quantity]float64{}
	gap := map[Quantity]time.Duration{}
	for _, x := range samples {
		s, ok := x.Body.(entry.Sample)
		if !ok || s.Value == nil {
			continue
		}
		q, d := Quantity(s.Quantity), at.Sub(x.At).Abs()
		if near, seen := gap[q]; d > Near || seen && d >= near {
			continue
		}
		gap[q], best[q] = d, *s.Value
	}
	air := Air{}
	for q, into := range map[Quantity]**float64{Airflow: &air.FlowM3s, FanHz: &air.FanHz, FanPct: &air.FanPct} {
		if v, ok := best[q]; ok {
			*into = &v
		}
	}
	status, told := best[RunStatus]
	air.Off = told && math.Abs(status) < 0.5
	return air
}

// With puts what is known of the air into a reading that says nothing of it
// itself. held says that the fan stood still.
func With(body entry.Body, air Air) (out entry.Body, held string) {
	switch b := body.(type) {
	case entry.Reading:
		if b.FlowM3s == nil && b.FanHz == nil && b.FanPct == nil {
			b.FlowM3s, b.FanHz, b.FanPct = air.FlowM3s, air.FanHz, air.FanPct
		}
		if air.Off {
			b.Suspect, held = true, "the fan stood still by its run status"
		}
		return b, held
	case entry.OverRange:
		if b.FlowM3s == nil && b.FanHz == nil && b.FanPct == nil {
			b.FlowM3s, b.FanHz, b.FanPct = air.FlowM3s, air.FanHz, air.FanPct
		}
		return b, ""
	}
	return body, ""
}
