// Package units parses, converts and prints the quantities of filter work.
//
// Inside the program everything is SI: pascal, m³/s, second, watt, kWh. The
// other units exist only at the edges, where people and building systems type
// and read.
package units

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Habit is the unit system the people of a site read their gauges in.
type Habit string

// The two unit habits.
const (
	SI Habit = "SI" // Pa, m³/s, mm
	IP Habit = "IP" // in wc, cfm, in
)

// A PressureUnit is a unit of differential pressure in its canonical spelling.
type PressureUnit string

// Pressure units met on gauges and in building systems. InH2O and MmH2O are
// the conventional columns (density 1000 kg/m³, g = 9.80665 m/s²), as in NIST
// SP 811 Appendix B.8.
const (
	Pa    PressureUnit = "Pa"
	KPa   PressureUnit = "kPa"
	HPa   PressureUnit = "hPa"
	Mbar  PressureUnit = "mbar"
	MmH2O PressureUnit = "mmH2O"
	InH2O PressureUnit = "inH2O"
	Psi   PressureUnit = "psi"
)

// Conversion factors to SI. NIST SP 811 (2008), Appendix B.8, except where the
// factor is exact by definition.
const (
	PaPerMmH2O   = 9.80665        // conventional millimetre of water
	PaPerInH2O   = 25.4 * 9.80665 // conventional inch of water, 249.08891 Pa
	PaPerInH2O4C = 249.082        // at 39.2 °F (4 °C); UN/ECE Rec 20 code N18
	PaPerInH2O60 = 248.84         // at 60 °F; UN/ECE Rec 20 code N19
	PaPerPsi     = 6894.757293168
	M3sPerCfm    = 4.719474432e-4 // exact: 0.3048³/60
	MsPerFpm     = 0.00508        // exact: 0.3048/60
	WPerHp       = 745.69987158227022
)

var paPer = map[PressureUnit]float64{
	Pa: 1, KPa: 1000, HPa: 100, Mbar: 100, MmH2O: PaPerMmH2O, InH2O: PaPerInH2O, Psi: PaPerPsi,
}

// ToPa converts v in unit u to pascal; an unknown unit gives NaN.
func (u PressureUnit) ToPa(v float64) float64 {
	f, ok := paPer[u]
	if !ok {
		return math.NaN()
	}
	return v * f
}

// FromPa converts pascal to unit u; an unknown unit gives NaN.
func (u PressureUnit) FromPa(pa float64) float64 {
	f, ok := paPer[u]
	if !ok {
		return math.NaN()
	}
	return pa / f
}

var pressureNames = map[string]PressureUnit{
	"pa": Pa, "pascal": Pa, "pascals": Pa, "kpa": KPa, "hpa": HPa, "mbar": Mbar, "millibar": Mbar, "mb": Mbar,
	"mmh2o": MmH2O, "mmwc": MmH2O, "mmwg": MmH2O, "mmws": MmH2O, "mmwk": MmH2O, "mmca": MmH2O,
	"inh2o": InH2O, "inwc": InH2O, "inwg": InH2O, "iwc": InH2O, "iwg": InH2O, "wc": InH2O, "wg": InH2O,
	"in": InH2O, "inch": InH2O, "inches": InH2O, "\"": InH2O, "″": InH2O, "''": InH2O, "”": InH2O, "“": InH2O,
	"\"wc": InH2O, "\"wg": InH2O, "\"h2o": InH2O, "inaq": InH2O, "inwater": InH2O, "inh20": InH2O, "mmh20": MmH2O,
	"psi": Psi,
}

// ParsePressureUnit reads a unit name as people type it: case, blanks and dots
// do not matter ("in. w.c.", "inH2O", "mm WG"). The second result is false for
// anything else.
func ParsePressureUnit(s string) (PressureUnit, bool) {
	u, ok := pressureNames[squeeze(s)]
	return u, ok
}

func squeeze(s string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case ' ', '.', '\t', '_', '-', '\u00a0':
			return -1
		}
		return r
	}, strings.ToLower(strings.ReplaceAll(s, "₂", "2")))
}

// A FlowUnit is a unit of airflow in its canonical spelling.
type FlowUnit string

// Airflow units.
const (
	M3s FlowUnit = "m³/s"
	M3h FlowUnit = "m³/h"
	Ls  FlowUnit = "L/s"
	Cfm FlowUnit = "cfm"
)

var flowNames = map[string]FlowUnit{
	"m3/s": M3s, "m³/s": M3s, "m3s": M3s, "cms": M3s, "cumecs": M3s, "m^3/s": M3s,
	"m3/h": M3h, "m³/h": M3h, "m3h": M3h, "cmh": M3h, "m3/hr": M3h, "m³/hr": M3h, "m^3/h": M3h,
	"l/s": Ls, "ls": Ls, "lps": Ls, "cfm": Cfm, "ft3/min": Cfm, "ft³/min": Cfm,
}

var m3sPer = map[FlowUnit]float64{M3s: 1, M3h: 1.0 / 3600, Ls: 1e-3, Cfm: M3sPerCfm}

// ParseFlowUnit reads an airflow unit as people type it.
func ParseFlowUnit(s string) (FlowUnit, bool) {
	u, ok := flowNames[squeeze(s)]
	return u, ok
}

// ToM3s converts v in unit u to m³/s; an unknown unit gives NaN.
func (u FlowUnit) ToM3s(v float64) float64 {
	f, ok := m3sPer[u]
	if !ok {
		return math.NaN()
	}
	return v * f
}

// FromM3s converts m³/s to unit u; an unknown unit gives NaN.
func (u FlowUnit) FromM3s(v float64) float64 {
	f, ok := m3sPer[u]
	if !ok {
		return math.NaN()
	}
	return v / f
}

// Pressure prints pa in both unit systems, the site's habit first:
// "145 Pa (0.58 in wc)" or "0.58 in wc (145 Pa)".
func Pressure(pa float64, h Habit) string {
	if h == IP {
		return fmt.Sprintf("%s (%s)", inch(pa), pascal(pa))
	}
	return fmt.Sprintf("%s (%s)", pascal(pa), inch(pa))
}

// ShortPressure prints pa in the site's habit alone.
func ShortPressure(pa float64, h Habit) string {
	if h == IP {
		return inch(pa)
	}
	return pascal(pa)
}

// pascal prints whole pascals, and a tenth of a small pressure that somebody typed as typed.
func pascal(pa float64) string {
	if tenths := math.Round(pa * 10); math.Abs(pa*10-tenths) < 1e-9 && math.Mod(tenths, 10) != 0 && pa >= 3 && pa < 50 {
		return fixed(pa, 1) + " Pa"
	}
	return fixed(pa, 0) + " Pa"
}

func inch(pa float64) string { return fixed(pa/PaPerInH2O, 2) + " in wc" }

// fixed prints x with a number of decimals, and a negative value that rounds to
// nothing without its sign.
func fixed(x float64, decimals int) string {
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.HasPrefix(s, "-") && strings.Trim(s, "-0.") == "" {
		return s[1:]
	}
	return s
}

// Flow prints an airflow in both unit systems, the site's habit first.
func Flow(m3s float64, h Habit) string {
	si := strconv.FormatFloat(m3s, 'f', 2, 64) + " m³/s"
	ip := strconv.FormatFloat(math.Round(m3s/M3sPerCfm/10)*10, 'f', 0, 64) + " cfm"
	if h == IP {
		return ip + " (" + si + ")"
	}
	return si + " (" + ip + ")"
}
