package registerfile

import (
	"math"
	"strconv"
	"strings"

	"clogwise/internal/entry"
	"clogwise/internal/units"
)

// Bounds of what can be believed of a gauge and a fan: beyond them a row has the
// wrong unit or column, which is a fault of the file and not of the filter.
const (
	mostPa   = 5000 // about 20 in wc; filter gauges end at a few hundred to 2000 Pa
	mostFlow = 500  // m³/s
	mostHz   = 120
	mostPct  = 120
)

func (w *historyRow) reading() entry.Reading {
	pa, step, unit, ok := w.pressure()
	if !ok && !w.bad {
		w.fault("pa", "missing; write the reading, or take the row out")
	}
	return entry.Reading{
		Pa: pa, StepPa: step, Unit: unit,
		FlowM3s: w.flow(), FanHz: w.number("fan_hz", 0, mostHz), FanPct: w.number("fan_pct", 0, mostPct),
		Wet: w.yes("wet"), Suspect: w.yes("suspect"),
	}
}

// swap reads a change-out; its pa, where clean_pa is not given, is the clean
// reading.
func (w *historyRow) swap() entry.Swap {
	s := entry.Swap{
		CleanPa: w.number("clean_pa", 0, mostPa), BeforePa: w.number("before_pa", 0, mostPa),
		FlowM3s: w.flow(), FanHz: w.number("fan_hz", 0, mostHz), FanPct: w.number("fan_pct", 0, mostPct),
		Who: w.cell("by"), Item: w.item(), Count: w.count(),
	}
	if pa, _, _, ok := w.pressure(); ok && s.CleanPa == nil {
		s.CleanPa = &pa
	}
	s.Confirmed = s.Count != nil && s.CleanPa != nil
	return s
}

// pressure reads pa, or value and unit. Step is the rounding seen in the digits.
func (w *historyRow) pressure() (pa, step float64, unit string, ok bool) {
	col, cell := "pa", w.cell("pa")
	if cell == "" {
		col, cell = "value", w.cell("value")
	}
	if cell == "" {
		return 0, 0, "", false
	}
	m := numberUnit.FindStringSubmatch(w.decimal(cell))
	if m == nil {
		w.fault(col, "%q is not a number; write a reading such as 145", clip(cell))
		return 0, 0, "", false
	}
	u, ok := w.pressureUnit(col, m[2])
	if !ok {
		return 0, 0, "", false
	}
	x, _ := strconv.ParseFloat(m[1], 64) // out of range gives an infinity, refused below
	pa = u.ToPa(x)
	if !(math.Abs(pa) <= mostPa) {
		w.fault(col, "%s is more than any filter gauge shows; check the unit", clip(cell))
		return 0, 0, "", false
	}
	return pa, u.ToPa(lastDigit(m[1])), string(u), true
}

// pressureUnit is the unit typed in the cell, else that of the unit column, else
// Pa where the column is named so.
func (w *historyRow) pressureUnit(col, inCell string) (units.PressureUnit, bool) {
	name, from := inCell, col
	if name == "" {
		name, from = w.cell("unit"), "unit"
	}
	if name == "" && col == "pa" {
		return units.Pa, true
	}
	if name == "" {
		w.fault("unit", "missing; write the unit of the value, such as Pa or in wc")
		return "", false
	}
	u, ok := units.ParsePressureUnit(name)
	if !ok {
		w.fault(from, "%q is not a unit of pressure; write Pa, kPa, mbar, mmH2O or in wc", clip(name))
	}
	return u, ok
}

// lastDigit is the value of one in the last digit written: 0.01 for "0.45".
func lastDigit(s string) float64 {
	if strings.ContainsAny(s, "eE") {
		return 0
	}
	_, decimals, _ := strings.Cut(s, ".")
	return math.Pow(10, -float64(len(decimals)))
}

// decimal turns a decimal comma into a point, in files whose columns are not
// parted by commas or that quote them.
func (w *historyRow) decimal(s string) string {
	if strings.Count(s, ",") == 1 && !strings.Contains(s, ".") {
		return strings.Replace(s, ",", ".", 1)
	}
	return s
}

// flow reads flow_m3s, or flow and its unit.
func (w *historyRow) flow() *float64 {
	cell, col := w.cell("flow_m3s"), "flow_m3s"
	if cell == "" {
		cell, col = w.cell("flow"), "flow"
	}
	if cell == "" {
		return nil
	}
	m := numberUnit.FindStringSubmatch(w.decimal(cell))
	if m == nil {
		w.fault(col, "%q is not a number; write an airflow such as 3.1", clip(cell))
		return nil
	}
	name := m[2]
	if name == "" {
		name = w.cell("flow_unit")
	}
	if name == "" && col == "flow_m3s" {
		name = string(units.M3s)
	}
	u, ok := units.ParseFlowUnit(name)
	if !ok {
		w.fault(col, "%q is not a unit of airflow; write m3/s, m3/h, L/s or cfm", clip(name))
		return nil
	}
	x, _ := strconv.ParseFloat(m[1], 64)
	return w.inside(col, cell, u.ToM3s(x), 0, mostFlow)
}

// number reads an optional number within bounds.
func (w *historyRow) number(col string, from, to float64) *float64 {
	cell := w.cell(col)
	if cell == "" {
		return nil
	}
	x, err := quantity(w.decimal(cell), col)
	if err != nil {
		w.fault(col, "%v", err)
		return nil
	}
	return w.inside(col, cell, x, from, to)
}

func (w *historyRow) inside(col, cell string, x, from, to float64) *float64 {
	if !(x >= from && x <= to) {
		w.fault(col, "%s is not possible; write a number from %s to %s", clip(cell), number(from), number(to))
		return nil
	}
	return &x
}

func (w *historyRow) count() *int {
	cell := w.cell("count")
	if cell == "" {
		return nil
	}
	n, err := strconv.Atoi(cell)
	if err != nil || n < 1 || n > 1000 {
		w.fault("count", "%q is no count of filters; write a whole number", clip(cell))
		return nil
	}
	return &n
}

func (w *historyRow) item() string {
	code := w.cell("item")
	if code == "" {
		return ""
	}
	if _, ok := w.h.reg.Item(code); !ok {
		w.fault("item", "%q is not an item of the register; add it, or correct the code", clip(code))
	}
	return code
}

func (w *historyRow) yes(col string) bool {
	cell := w.cell(col)
	b, ok := yes[strings.ToLower(cell)]
	if cell != "" && !ok {
		w.fault(col, "%q does not fit; write yes or no", clip(cell))
	}
	return b
}
