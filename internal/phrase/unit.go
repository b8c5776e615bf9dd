package phrase

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"clogwise/internal/units"
)

// unitKind is what a unit measures.
type unitKind uint8

const (
	uNone unitKind = iota
	uPressure
	uFlow
	uHz
	uPct
	uOther // °C, kW, A, rpm …: a number of no concern to us
)

// unit is a unit as typed after a number.
type unit struct {
	kind     unitKind
	name     string
	pressure units.PressureUnit
	factor   float64 // of the pressure unit; 10 for daPa
	flow     units.FlowUnit
	weak     bool // a bare "in" or "mm", which may be the little word or a size
}

// longestUnit bounds how far a unit name is looked for, in bytes.
const longestUnit = 20

// otherUnits are units that follow numbers in a plant room and are not read
// from filter gauges.
var otherUnits = map[string]bool{
	"c": true, "°c": true, "°f": true, "°": true, "degc": true, "degf": true, "degrees": true, "deg": true,
	"kw": true, "w": true, "kwh": true, "v": true, "volts": true, "amp": true, "amps": true, "rpm": true,
	"db": true, "dba": true, "m/s": true, "fpm": true, "ppm": true, "kg": true, "litres": true,
	"$": true, "£": true, "€": true, "gbp": true, "eur": true, "usd": true, "eurs": true, "quid": true,
	"bar": true, "lux": true, "ft": true, "m": true, "mm": true, "cm": true, "km": true, "miles": true,
}

var extraPressure = map[string]units.PressureUnit{
	"inofwater": units.InH2O, "incheswater": units.InH2O, "inchesofwater": units.InH2O, "inchwc": units.InH2O,
	"incheswc": units.InH2O, "incheswg": units.InH2O, "inchwg": units.InH2O, "inchesh2o": units.InH2O, "ins": units.InH2O,
	"n/m2": units.Pa, "inwk": units.InH2O, "inh2owc": units.InH2O, "inofwc": units.InH2O, "inofh2o": units.InH2O, "inw": units.InH2O,
	"\"w": units.InH2O, "''wc": units.InH2O, "''wg": units.InH2O, "mmwater": units.MmH2O, "mmcda": units.MmH2O,
	"mmofwater": units.MmH2O, "millibars": units.Mbar, "mbars": units.Mbar, "pas": units.Pa, "pascales": units.Pa,
	"zollws": units.InH2O, "zoll": units.InH2O, "pulgadas": units.InH2O, "inwcg": units.InH2O, "inwgc": units.InH2O,
}

// matchUnit reads the longest unit name at the start of s (after blanks) and
// gives its length in bytes, blanks included; 0 = none.
func matchUnit(s string) (unit, int) {
	start := len(s) - len(strings.TrimLeft(s, " \t\u00a0\u202f"))
	var best unit
	n := 0
	var name strings.Builder
	pos := start
	for range 4 { // pieces: "in" ". " "w" "." "c"
		end := unitPiece(s, pos)
		if end == pos {
			break
		}
		name.WriteString(unitFold(s[pos:end]))
		if u, ok := unitNamed(name.String()); ok && boundary(s, end) && !(u.kind == uOther && len(u.name) == 1 && (start > 0 || end < len(s) && s[end] == '/')) {
			best, n = u, end
		}
		for pos = end; pos < len(s) && strings.IndexByte(". \t", s[pos]) >= 0; pos++ {
		}
		if pos < len(s) && s[pos] == '/' {
			name.WriteByte('/')
			pos++
		}
	}
	return best, n
}

// unitPiece gives the end of a run of letters and digits, or of one inch sign.
func unitPiece(s string, i int) int {
	start := i
	for i < len(s) {
		r, n := utf8.DecodeRuneInString(s[i:])
		switch {
		case strings.ContainsRune("\"”“″%°$£€", r) && i == start:
			i += n
			if r != '°' {
				return i
			}
		case r == '\'' && i == start && strings.HasPrefix(s[i:], "''"):
			return i + 2
		case unicode.IsLetter(r) || i > start && (isDigit(r) || r == '³' || r == '₂' || r == '²' || r == '^'):
			i += n
		default:
			return i
		}
	}
	return i
}

func unitFold(s string) string {
	s = strings.ToLower(s)
	for _, r := range [...][2]string{{"₂", "2"}, {"²", "2"}, {"³", "3"}, {"^3", "3"}, {"”", "\""}, {"“", "\""}, {"″", "\""}} {
		s = strings.ReplaceAll(s, r[0], r[1])
	}
	return s
}

// boundary reports whether a name may end at i: no letter or digit follows.
func boundary(s string, i int) bool {
	if i >= len(s) {
		return true
	}
	if last := s[i-1]; last == '"' || last == '\'' || last == '%' || last >= utf8.RuneSelf {
		return true
	}
	r, _ := utf8.DecodeRuneInString(s[i:])
	return !unicode.IsLetter(r) && !isDigit(r)
}

func unitNamed(s string) (unit, bool) {
	switch s {
	case "hz", "hertz":
		return unit{kind: uHz, name: "Hz"}, true
	case "%", "pct", "percent", "prozent", "pc":
		if s == "pc" {
			return unit{}, false
		}
		return unit{kind: uPct, name: "%"}, true
	case "dapa":
		return unit{kind: uPressure, name: "daPa", pressure: units.Pa, factor: 10}, true
	case "m3/h", "m3h", "m3/hr", "cbm/h":
		return unit{kind: uFlow, name: string(units.M3h), flow: units.M3h}, true
	}
	if otherUnits[s] {
		return unit{kind: uOther, name: s, weak: s == "mm" || s == "m"}, true
	}
	if u, ok := extraPressure[s]; ok {
		return unit{kind: uPressure, name: string(u), pressure: u, factor: 1}, true
	}
	if u, ok := units.ParsePressureUnit(s); ok {
		return unit{kind: uPressure, name: string(u), pressure: u, factor: 1, weak: s == "in"}, true
	}
	if f, ok := units.ParseFlowUnit(s); ok {
		return unit{kind: uFlow, name: string(f), flow: f}, true
	}
	return unit{}, false
}

// pascals converts a value in u to Pa.
func (u unit) pascals(v float64) float64 { return u.pressure.ToPa(v * u.factor) }
