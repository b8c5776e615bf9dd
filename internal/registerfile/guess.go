package registerfile

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"unicode"

	"clogwise/internal/units"
)

// As says which column of ours a file's column is.
type As struct {
	Column string `json:"column"`
	Unit   string `json:"unit,omitempty"` // of its values, where the header says it
}

// Columns says what the columns of a file are that do not have our names, by
// their headers. Case and punctuation of a header do not count.
type Columns map[string]As

// as renames the columns of a table.
func (t table) as(cols Columns) table {
	t.given = map[string]string{}
	for i, shown := range t.shown {
		for header, as := range cols {
			if headerKey(header) != headerKey(shown) {
				continue
			}
			t.header[i] = as.Column
			if as.Unit != "" {
				t.given[unitColumn(as.Column)] = as.Unit
			}
		}
	}
	return t
}

// unitColumn is the column that holds the unit of another.
func unitColumn(column string) string {
	if column == "flow" {
		return "flow_unit"
	}
	return "unit"
}

// Guess is what a file's column is taken for, to be confirmed by a person.
type Guess struct {
	File   string `json:"file"`
	Sheet  string `json:"sheet,omitempty"`
	Header string `json:"header"`
	As
	Sample string `json:"sample,omitempty"` // its first value
	Why    string `json:"why,omitempty"`    // why there is no guess
}

// GuessColumns looks at the columns of a CSV or XLSX file that do not have our
// names and says what they may be: of a history, or else of a register's tables.
// A file without such columns gives none.
func GuessColumns(name string, r io.Reader, history bool) ([]Guess, []Fault) {
	raw, fault := slurp(name, r)
	if fault != nil {
		return nil, []Fault{*fault}
	}
	var tables []table
	var faults []Fault
	switch strings.ToLower(filepath.Ext(name)) {
	case ".csv", ".tsv", ".txt":
		tables, faults = csvTable(name, raw)
	case ".xlsx":
		tables, faults = xlsxTables(name, raw)
	}
	known := historyColumns
	if !history {
		known = nil
		for _, t := range tableOrder {
			known = append(known, layoutOf(t).names()...)
		}
	}
	var out []Guess
	for _, t := range tables {
		out = append(out, t.guess(known)...)
	}
	return out, faults
}

func (t table) guess(known []string) []Guess {
	var out []Guess
	taken := map[string]bool{}
	for _, h := range t.header {
		if slices.Contains(known, h) {
			taken[h] = true
		}
	}
	for i, h := range t.header {
		if h == "" || slices.Contains(known, h) {
			continue
		}
		g := Guess{File: t.file, Sheet: t.sheet, Header: t.shown[i], Sample: t.sample(i)}
		as, ok := guessOne(t.shown[i], known)
		switch {
		case !ok:
			g.Why = "nothing of ours has a name like it"
		case taken[as.Column]:
			g.Why = fmt.Sprintf("it looks like %s, which another column is already", as.Column)
		default:
			g.As, taken[as.Column] = as, true
		}
		out = append(out, g)
	}
	return out
}

func (t table) sample(i int) string {
	for _, r := range t.rows {
		if i < len(r.cells) && r.cells[i] != "" {
			return clip(r.cells[i])
		}
	}
	return ""
}

// meanings are words of headers in the words of our columns; English, German and
// Spanish (common practice, no source).
var meanings = map[string]string{
	"timestamp": "time", "datum": "time", "date": "time", "zeit": "time", "zeitstempel": "time", "uhrzeit": "time", "fecha": "time", "hora": "time", "datetime": "time", "measured": "time",
	"building": "site", "location": "site", "standort": "site", "gebäude": "site", "liegenschaft": "site", "edificio": "site", "sitio": "site",
	"anlage": "ahu", "gerät": "ahu", "geraet": "ahu", "máquina": "ahu", "rlt": "ahu", "lüftungsgerät": "ahu", "uta": "ahu", "climatizadora": "ahu", "handler": "ahu", "equipment": "ahu", "asset": "ahu",
	"stufe": "bank", "filterstufe": "bank", "etapa": "bank", "filterbank": "bank", "stage": "bank",
	"datenpunkt": "point", "datapoint": "point", "trend": "point", "punto": "point",
	"dp": "pa", "differenzdruck": "pa", "druck": "pa", "differential": "pa", "pressure": "pa", "presión": "pa", "presion": "pa", "diferencial": "pa", "pérdida": "pa", "perdida": "pa", "carga": "pa", "druckverlust": "pa", "druckdifferenz": "pa", "filterdruck": "pa", "delta": "pa", "δp": "pa", "wert": "value", "valor": "value", "lectura": "pa", "messwert": "value", "reading": "value",
	"einheit": "unit", "uom": "unit", "unidad": "unit",
	"airflow": "flow", "volumenstrom": "flow", "luftmenge": "flow", "caudal": "flow",
	"frequency": "hz", "frequenz": "hz", "frecuencia": "hz", "drehzahl": "pct", "speed": "pct", "velocidad": "pct",
	"qty": "count", "quantity": "count", "anzahl": "count", "stück": "count", "cantidad": "count",
	"initial": "clean", "sauber": "clean", "anfangs": "clean", "anfangsdruck": "clean", "limpio": "clean", "vorher": "before", "antes": "before",
	"article": "item", "artikel": "item", "material": "item", "artículo": "item",
	"technician": "by", "techniker": "by", "técnico": "by", "tecnico": "by", "who": "by", "inspector": "by",
	"bemerkung": "note", "bemerkungen": "note", "notiz": "note", "observaciones": "note", "remarks": "note",
	"vorgang": "kind", "action": "kind", "art": "kind",
	"grenzwert": "limit", "enddruck": "limit", "final": "limit", "límite": "limit", "maximum": "limit", "max": "limit",
	"preis": "price", "precio": "price", "währung": "currency", "moneda": "currency", "lieferzeit": "lead", "bestand": "stock", "existencias": "stock",
	"breite": "width", "höhe": "height", "tiefe": "depth", "klasse": "class", "filterklasse": "class", "nennvolumenstrom": "design", "auslegung": "design",
}

// quiet words tell nothing by themselves.
var quiet = []string{"filter", "filters", "filtro", "filtros", "the", "of", "at", "in", "de", "der", "des", "am", "del", "number", "nr", "no", "name", "tag", "utc", "value", "pressure", "drop", "pa"}

// guessOne takes a header apart into words and a unit, and finds the one column
// that shares most of them.
func guessOne(header string, known []string) (As, bool) {
	said, unit := headerWords(header)
	best, most, tie := "", 0.0, false
	for _, column := range known {
		s := alike(said, strings.Split(column, "_"))
		switch {
		case s > most:
			best, most, tie = column, s, false
		case s == most && s > 0:
			tie = tie || !sameRoot(best, column)
		}
	}
	if most < 0.5 || tie {
		return As{}, false
	}
	return withUnit(best, unit, known)
}

// sameRoot holds for columns that differ in their unit alone: pa and value, flow
// and flow_m3s.
func sameRoot(a, b string) bool {
	return strings.HasPrefix(a, b) || strings.HasPrefix(b, a)
}

// withUnit picks, of columns that hold the same, the one that takes a unit.
func withUnit(column, unit string, known []string) (As, bool) {
	p, isPressure := units.ParsePressureUnit(unit)
	f, isFlow := units.ParseFlowUnit(unit)
	switch {
	case (column == "pa" || column == "value") && isPressure && p != units.Pa && slices.Contains(known, "value"):
		return As{"value", string(p)}, true
	case column == "value" && isPressure:
		return As{"pa", ""}, true
	case strings.HasSuffix(column, "_pa") && isPressure && p != units.Pa:
		return As{}, false // our column takes Pa alone
	case strings.HasPrefix(column, "flow") && isFlow && slices.Contains(known, "flow"):
		if f == units.M3s {
			return As{"flow_m3s", ""}, true
		}
		return As{"flow", string(f)}, true
	case strings.HasSuffix(column, "_m3s") && isFlow && f != units.M3s:
		return As{}, false
	}
	return As{Column: column}, true
}

// headerWords are a header's words, in ours where they are known, and its unit:
// what stands in brackets, or at the end.
func headerWords(header string) (said []string, unit string) {
	text := strings.ReplaceAll(header, "∆", "Δ")
	if open := strings.LastIndexAny(text, "([{"); open >= 0 {
		unit = strings.Trim(text[open:], "()[]{} ")
		text = text[:open]
	}
	fields := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '³' && r != '/' && r != '%'
	})
	for i, w := range fields {
		if unit == "" && i > 0 && i == len(fields)-1 {
			_, p := units.ParsePressureUnit(w)
			_, f := units.ParseFlowUnit(w)
			if p || f {
				unit = w
				continue
			}
		}
		if m, ok := meanings[w]; ok {
			w = m
		}
		said = append(said, w)
	}
	switch u := strings.ToLower(unit); u {
	case "hz":
		said = append(said, "hz")
	case "%":
		said = append(said, "pct")
	}
	return said, unit
}

// alike is the share of words that a header and a column have in common; words
// that tell nothing count only where nothing else is there.
func alike(said, column []string) float64 {
	a, b := telling(said), telling(column)
	common := 0
	for _, w := range a {
		if slices.Contains(b, w) {
			common++
		}
	}
	if common == 0 {
		return 0
	}
	return float64(common) / float64(len(a)+len(b)-common)
}

func telling(ws []string) []string {
	var out []string
	for _, w := range ws {
		if !slices.Contains(quiet, w) && !slices.Contains([]string{"m3s", "mm", "fan"}, w) && !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	if len(out) == 0 {
		out = slices.Compact(slices.Clone(ws))
	}
	return out
}
