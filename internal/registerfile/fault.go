package registerfile

import (
	"cmp"
	"fmt"
	"path/filepath"
	"strings"
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
func (f Fault) String() string {
	var b strings.Builder
	b.WriteString(cmp.Or(f.File, "register"))
	if f.Sheet != "" {
		fmt.Fprintf(&b, ", sheet %s", f.Sheet)
	}
	if f.Row > 0 {
		fmt.Fprintf(&b, ", %s %d", f.rowWord(), f.Row)
	}
	if f.Column != "" {
		fmt.Fprintf(&b, ", %s", f.Column)
	}
	return b.String() + ": " + f.Text
}

func (f Fault) rowWord() string {
	if isYAML(f.File) {
		return "line"
	}
	return "row"
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
