package points

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Tagged is a point as a building system describes it: a name, and words of an
// open vocabulary (Project Haystack's marker tags, the parts of a Brick class),
// most of which mean nothing here.
type Tagged struct {
	Name  string
	Words map[string]bool // lower case
	Unit  string
	Equip string // what it belongs to, as the system calls it
}

// words splits names of classes and tags into their words: "brick:Supply_Air_Flow_Sensor",
// "runHours", "AHU-3" → supply air flow sensor; run hours; ahu 3.
func words(s string) []string {
	var out []string
	var cur strings.Builder
	flush := func() {
		if cur.Len() > 0 {
			out = append(out, strings.ToLower(cur.String()))
			cur.Reset()
		}
	}
	last := ' '
	for _, r := range s {
		switch {
		case !unicode.IsLetter(r) && !unicode.IsDigit(r):
			flush()
		case unicode.IsUpper(r) && unicode.IsLower(last), unicode.IsDigit(r) != unicode.IsDigit(last) && cur.Len() > 0:
			flush()
			cur.WriteRune(r)
		default:
			cur.WriteRune(r)
		}
		last = r
	}
	flush()
	return out
}

// A rule tells a quantity by words that must all be there, each one of several.
type rule struct {
	quantity Quantity
	all      [][]string
}

// rules are looked at in order. The words are those of Brick 1.4 classes
// (Filter_Differential_Pressure_Sensor, Supply_Air_Flow_Sensor, Run_Time_Sensor,
// Fan_On_Off_Status, …) and of Project Haystack 4 tags (filter, pressure, delta,
// air, flow, fan, speed, run, sensor, …).
var rules = []rule{
	{Pressure, [][]string{{"filter"}, {"pressure", "dp"}}},
	{RunHours, [][]string{{"run", "runtime", "operating"}, {"hours", "hour", "time", "runtime"}}},
	{FanHz, [][]string{{"fan", "vfd", "motor", "drive"}, {"frequency", "freq", "hz"}}},
	{FanPct, [][]string{{"fan", "vfd", "motor", "drive"}, {"speed"}}},
	{RunStatus, [][]string{{"fan"}, {"status", "run", "running"}}},
	{Airflow, [][]string{{"flow", "airflow"}, {"air", "airflow", "supply", "discharge"}}},
}

// notMeasured mark points that say what is wanted, not what is.
var notMeasured = []string{"setpoint", "sp", "cmd", "command", "alarm", "limit", "water", "steam", "gas", "enable"}

// quantityOf is the quantity that words tell.
func quantityOf(t Tagged) (Quantity, bool) {
	if slices.ContainsFunc(notMeasured, func(w string) bool { return t.Words[w] }) {
		return "", false
	}
	for _, r := range rules {
		fits := !slices.ContainsFunc(r.all, func(any []string) bool {
			return !slices.ContainsFunc(any, func(w string) bool { return t.Words[w] })
		})
		if !fits {
			continue
		}
		if r.quantity == FanPct && strings.EqualFold(unitName(t.Unit), "hz") {
			return FanHz, true
		}
		return r.quantity, true
	}
	return "", false
}

// Guess is what a tagged point is taken for. With Why it is not certain enough
// to be recorded.
type Guess struct {
	entry.Point
	Place plant.BankID `json:"place,omitempty"`
	Why   string       `json:"why,omitempty"`
}

// Guessed tells a tagged point's quantity by its words, and its place by the tags
// of AHUs and the stages found in its equipment's name or its own.
func Guessed(reg *plant.Register, t Tagged) Guess {
	g := Guess{Point: entry.Point{Name: t.Name}}
	q, ok := quantityOf(t)
	if !ok {
		g.Why = "its tags tell no quantity that is of use here"
		return g
	}
	g.Quantity = string(q)
	if u := unitName(t.Unit); u != "" {
		if _, err := convert(q, 1, u); err != nil {
			g.Why = err.Error()
			return g
		}
		g.Unit = u
	} else if q == Pressure || q == Airflow {
		g.Why = fmt.Sprintf("%s without a unit", q)
		return g
	}
	ahu, why := ahuOf(reg, t)
	if g.Why = why; why != "" {
		return g
	}
	if g.Place = ahu; q == Pressure {
		g.Place, g.Why = bankOf(reg, ahu, t)
	}
	return g
}

// ahuOf finds the one AHU whose tag or alias is among the words.
func ahuOf(reg *plant.Register, t Tagged) (plant.BankID, string) {
	for _, text := range []string{t.Equip, t.Name} {
		said := " " + strings.Join(words(text), " ") + " "
		var found []plant.BankID
		for _, id := range reg.AHUs("") {
			a, _ := reg.AHU(id)
			if slices.ContainsFunc(append([]string{a.Tag}, a.Aliases...), func(name string) bool {
				w := strings.Join(words(name), " ")
				return w != "" && strings.Contains(said, " "+w+" ")
			}) {
				found = append(found, id)
			}
		}
		if len(found) > 1 { // of several sites: the site may be named too
			named := slices.DeleteFunc(slices.Clone(found), func(id plant.BankID) bool {
				return !strings.Contains(said, " "+strings.Join(words(id.Site()), " ")+" ")
			})
			if len(named) > 0 {
				found = named
			}
		}
		switch {
		case len(found) == 1:
			return found[0], ""
		case len(found) > 1:
			return "", fmt.Sprintf("%d AHUs could be meant: %v", len(found), found[:min(len(found), 3)])
		}
	}
	return "", "names no AHU of the register"
}

// stageWords are what stages are called in names of points.
var stageWords = map[plant.Stage][]string{
	plant.Primary:   {"primary", "pri", "pre", "prefilter", "panel"},
	plant.Secondary: {"secondary", "sec", "bag", "final", "fine"},
	plant.Third:     {"third", "hepa", "tertiary"},
	plant.Return:    {"return", "extract", "exhaust"},
}

func bankOf(reg *plant.Register, ahu plant.BankID, t Tagged) (plant.BankID, string) {
	banks := reg.Banks(ahu)
	said := append(words(t.Name), words(t.Equip)...)
	for w := range t.Words {
		said = append(said, w)
	}
	var found []plant.BankID
	for _, id := range banks {
		b, _ := reg.Bank(id)
		if slices.ContainsFunc(append(stageWords[b.Stage], strings.ToLower(b.ID)), func(w string) bool { return slices.Contains(said, w) }) {
			found = append(found, id)
		}
	}
	if len(found) == 0 && len(banks) == 1 {
		found = banks
	}
	if len(found) != 1 {
		return ahu, fmt.Sprintf("which bank of %s it is across is not told; its banks are %v", ahu, banks)
	}
	return found[0], ""
}

// unitNames are units as Brick (QUDT) and Haystack write them, where that is not
// how people type them.
var unitNames = map[string]string{
	"inh₂o": "inH2O", "in_h2o": "inH2O", "inches_of_water": "inH2O", "inh2o": "inH2O", "pascals": "Pa", "pa": "Pa", "kilopa": "kPa", "hectopa": "hPa",
	"m3-per-sec": "m3/s", "m3-per-hr": "m3/h", "l-per-sec": "L/s", "ft3-per-min": "cfm", "cubic_feet_per_minute": "cfm", "liters_per_second": "L/s",
	"cubic_meters_per_second": "m3/s", "cubic_meters_per_hour": "m3/h", "hz": "Hz", "hertz": "Hz", "percent": "%", "hr": "h", "hour": "h", "min": "min",
}

// unitName reads a unit as it is tagged: "unit:PA", "cfm", "L/s".
func unitName(s string) string {
	s = strings.TrimPrefix(strings.TrimSpace(s), "unit:")
	if u, ok := unitNames[strings.ToLower(s)]; ok {
		return u
	}
	if u, ok := units.ParsePressureUnit(s); ok {
		return string(u)
	}
	return s
}
