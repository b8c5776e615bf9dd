// Package points knows what the points of a building system measure: which bank
// or AHU, which quantity, in which unit and scale. It is pure.
package points

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// A Quantity is what a point measures.
type Quantity string

// Quantities, with the unit in which their samples are kept.
const (
	Pressure  Quantity = "pressure"   // differential, across a bank; Pa
	Airflow   Quantity = "airflow"    // through an AHU; m³/s
	FanHz     Quantity = "fan-hz"     // fan speed as drive frequency; Hz
	FanPct    Quantity = "fan-pct"    // fan speed; % of full
	RunHours  Quantity = "run-hours"  // run-hour meter; h
	RunStatus Quantity = "run-status" // 1 the fan runs, 0 it does not
)

// Quantities lists all, in the order in which people are told of them.
var Quantities = [...]Quantity{Pressure, Airflow, FanHz, FanPct, RunHours, RunStatus}

// A Mapping is what is known of one point.
type Mapping struct {
	entry.Point
	Place plant.BankID // a bank for Pressure, an AHU for the rest
	Seq   int64        // of the entry that says so; 0: the register does
}

// Of is the mapping's quantity.
func (m Mapping) Of() Quantity { return Quantity(m.Quantity) }

// Recorded is the place of what the point's values are recorded as. Those of a
// trend are kept at the AHU: the bank hears of the reading made of them.
func (m Mapping) Recorded() plant.BankID {
	if m.Trend {
		return m.Place.AHU()
	}
	return m.Place
}

// Map is what is known of all points. Names are compared without regard to case.
// It is immutable.
type Map struct {
	byName map[string]Mapping
	drives map[plant.BankID]bool // AHUs that have points of their air
	trends map[string][]Mapping  // of each site, by place and name
	runs   map[string][]Mapping  // likewise
}

// Fold puts together what the register says (the points of each bank's
// differential pressure) and what the entries of kind point say, of which the
// newest of a name counts.
func Fold(reg *plant.Register, entries []entry.Entry) Map {
	m := Map{byName: map[string]Mapping{}, drives: map[plant.BankID]bool{}, trends: map[string][]Mapping{}, runs: map[string][]Mapping{}}
	for _, id := range reg.Banks("") {
		b, _ := reg.Bank(id)
		for _, name := range b.Points {
			m.byName[key(name)] = Mapping{Point: entry.Point{Name: name, Quantity: string(Pressure)}, Place: id}
		}
	}
	for _, x := range slices.SortedFunc(slices.Values(entries), func(a, b entry.Entry) int { return cmp.Compare(a.Seq, b.Seq) }) {
		p, ok := x.Body.(entry.Point)
		switch {
		case !ok:
		case p.Removed:
			delete(m.byName, key(p.Name))
		default:
			m.byName[key(p.Name)] = Mapping{p, x.Place, x.Seq}
		}
	}
	for _, x := range m.byName {
		site := x.Place.Site()
		if x.Of() != Pressure {
			m.drives[x.Place] = true
		}
		if x.Trend {
			m.trends[site] = append(m.trends[site], x)
		}
		if x.Of() == RunHours || x.Of() == RunStatus {
			m.runs[site] = append(m.runs[site], x)
		}
	}
	for _, lists := range []map[string][]Mapping{m.trends, m.runs} {
		for _, of := range lists {
			slices.SortFunc(of, byPlace)
		}
	}
	return m
}

func key(name string) string { return strings.ToLower(strings.TrimSpace(name)) }

// Find is what is known of a point; ok is false when nothing is.
func (m Map) Find(name string) (Mapping, bool) {
	x, ok := m.byName[key(name)]
	return x, ok
}

// All lists every mapping, by place and name.
func (m Map) All() []Mapping {
	return slices.SortedFunc(maps.Values(m.byName), byPlace)
}

func byPlace(a, b Mapping) int {
	return cmp.Or(cmp.Compare(a.Place, b.Place), cmp.Compare(a.Name, b.Name))
}

// Trends lists the mappings of a site whose values are thinned, by place and
// name. The list is not to be altered.
func (m Map) Trends(site string) []Mapping { return m.trends[site] }

// Runs lists the mappings of a site that tell when its fans ran, by place and
// name. The list is not to be altered.
func (m Map) Runs(site string) []Mapping { return m.runs[site] }

// Air reports whether an AHU has points of its air or its fan.
func (m Map) Air(ahu plant.BankID) bool { return m.drives[ahu] }

// LeastKept is the least number of days that a trend's values are kept: long
// enough for a reading to be made of each day, and for somebody to look.
const LeastKept = 35

// Check says what is wrong with a mapping, before it is recorded.
func Check(reg *plant.Register, place plant.BankID, p entry.Point) error {
	q := Quantity(p.Quantity)
	switch {
	case key(p.Name) == "":
		return errors.New("the point has no name")
	case p.Removed:
		return nil
	case p.Trend && q != Pressure:
		return errors.New("only a pressure is thinned; leave trend out, the air's values go with it")
	case !slices.Contains(Quantities[:], q):
		return fmt.Errorf("quantity %q is not known; use one of %v", p.Quantity, Quantities)
	case p.KeepDays != 0 && (!p.Trend || p.KeepDays < LeastKept):
		return fmt.Errorf("only the values of a trend are let go, and not before %d days", LeastKept)
	case math.IsNaN(p.Scale) || math.IsInf(p.Scale, 0) || math.IsNaN(p.Offset) || math.IsInf(p.Offset, 0):
		return errors.New("scale and offset must be plain numbers")
	}
	_, isBank := reg.Bank(place)
	_, isAHU := reg.AHU(place)
	if q == Pressure && !isBank {
		return fmt.Errorf("%q is no bank; a pressure is across one: SITE/AHU/BANK", place)
	}
	if q != Pressure && (!isAHU || place.Whole()) {
		return fmt.Errorf("%q is no AHU; %s is of one: SITE/AHU", place, q)
	}
	if p.Unit != "" {
		_, err := convert(q, 1, p.Unit)
		return err
	}
	return nil
}

// Value is a sample in the unit in which its quantity is kept: scaled, offset,
// and converted from the unit that was sent or else the mapping's.
func (m Mapping) Value(s entry.Sample) (float64, error) {
	if s.Pa != nil {
		if m.Of() != Pressure {
			return 0, fmt.Errorf("pa is given, and point %s is of %s: give value", m.Name, m.Quantity)
		}
		return checked(Pressure, *s.Pa)
	}
	if s.Value == nil {
		return 0, errors.New("no value: give value, or pa of a pressure")
	}
	v := *s.Value*cmp.Or(m.Scale, 1) + m.Offset
	si, err := convert(m.Of(), v, cmp.Or(s.Unit, m.Unit))
	if err != nil {
		return 0, err
	}
	return checked(m.Of(), si)
}

func convert(q Quantity, v float64, unit string) (float64, error) {
	name := strings.ToLower(strings.TrimSpace(unit))
	switch q {
	case Pressure:
		u, ok := units.ParsePressureUnit(unit)
		if !ok {
			return 0, fmt.Errorf("unit %q is no pressure; use Pa, kPa, hPa, mbar, mmH2O or inH2O", unit)
		}
		return u.ToPa(v), nil
	case Airflow:
		u, ok := units.ParseFlowUnit(unit)
		if !ok {
			return 0, fmt.Errorf("unit %q is no airflow; use m3/s, m3/h, L/s or cfm", unit)
		}
		return u.ToM3s(v), nil
	}
	for _, u := range plainUnits[q] {
		if name == u.name {
			return v * u.factor, nil
		}
	}
	return 0, fmt.Errorf("unit %q does not fit %s", unit, q)
}

type plainUnit struct {
	name   string
	factor float64
}

// plainUnits are those of the remaining quantities; the empty one is usual.
var plainUnits = map[Quantity][]plainUnit{
	FanHz:     {{"", 1}, {"hz", 1}},
	FanPct:    {{"", 1}, {"%", 1}, {"pct", 1}, {"percent", 1}, {"fraction", 100}, {"1", 100}},
	RunHours:  {{"", 1}, {"h", 1}, {"hr", 1}, {"hours", 1}, {"min", 1. / 60}, {"s", 1. / 3600}},
	RunStatus: {{"", 1}, {"bool", 1}, {"1", 1}},
}

// bounds are what is believed at all of each quantity. Filter gauges end at a few
// hundred to 2000 Pa; mains frequency drives at 120 Hz.
var bounds = map[Quantity][2]float64{
	Pressure: {-500, 5000}, Airflow: {0, 500}, FanHz: {0, 120}, FanPct: {0, 120}, RunHours: {0, 1e6}, RunStatus: {0, 1},
}

func checked(q Quantity, v float64) (float64, error) {
	b := bounds[q]
	if math.IsNaN(v) || v < b[0] || v > b[1] {
		return 0, fmt.Errorf("%s comes to %g, not between %g and %g; check unit and scale", q, v, b[0], b[1])
	}
	return v, nil
}
