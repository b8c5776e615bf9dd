package registerfile

import (
	"cmp"
	"path/filepath"
	"strings"

	"clogwise/internal/locale"
)

// Fault is something wrong in a file: where, and what to write instead.
type Fault struct {
	File   string `json:"file"`
	Sheet  string `json:"sheet,omitempty"`  // of a workbook
	Row    int    `json:"row,omitempty"`    // row of a table, line of a YAML file; from 1, 0 = the whole file
	Column string `json:"column,omitempty"` // header of a table's column, key of a YAML file
	Text   string `json:"text"`
}

// String is the fault in one line: "banks.csv, row 7, gauge_top_pa: …".
func (f Fault) String() string { return f.Words(locale.Locale{}) }

// Words is the fault in one line in a language. Headers and what the file holds stay
// as they are.
func (f Fault) Words(in locale.Locale) string {
	parts := []string{cmp.Or(f.File, in.Text("register"))}
	if f.Sheet != "" {
		parts = append(parts, in.Text("sheet %s", f.Sheet))
	}
	if f.Row > 0 && isYAML(f.File) {
		parts = append(parts, in.Text("line %d", f.Row))
	} else if f.Row > 0 {
		parts = append(parts, in.Text("row %d", f.Row))
	}
	if f.Column != "" {
		parts = append(parts, f.Column)
	}
	return strings.Join(parts, ", ") + ": " + in.Retell(f.Text)
}

func isYAML(file string) bool {
	ext := strings.ToLower(filepath.Ext(file))
	return ext == ".yaml" || ext == ".yml"
}

// place is where the fault is, without what it says.
func (f Fault) place() string {
	f.Text = ""
	return strings.TrimSuffix(f.String(), ": ")
}

// follows reports whether f, a fault of the register, only says again that a
// cell or key could not be read, which p has said. In a YAML file the key alone
// decides: an object is many lines long.
func (f Fault) follows(p Fault) bool {
	return f.File == p.File && f.Sheet == p.Sheet && f.Column != "" && lastKey(f.Column) == lastKey(p.Column) &&
		(f.Row == p.Row || isYAML(f.File))
}

// lastKey is the innermost key of a field: top_pa of gauge.top_pa.
func lastKey(field string) string {
	field = field[strings.LastIndexByte(field, '.')+1:]
	key, _, _ := strings.Cut(field, "[")
	return key
}
