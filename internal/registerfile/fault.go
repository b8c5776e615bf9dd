package registerfile

import (
	"cmp"
	"fmt"
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
		fmt.Fprintf(&b, ", row %d", f.Row)
	}
	if f.Column != "" {
		fmt.Fprintf(&b, ", %s", f.Column)
	}
	return b.String() + ": " + f.Text
}
