package registerfile

import (
	"fmt"
	"slices"
	"strings"
)

// table is the text of one sheet or CSV file.
type table struct {
	file, sheet string
	header      []string // normalised column names
	shown       []string // the header as it is written in the file
	rows        []row
	given       map[string]string // what a column that is not there holds in every row
}

type row struct {
	num   int // in the file, from 1
	cells []string
}

// at is a position in the table, for faults.
func (t table) at(r row, col string) Fault {
	shown := col
	if i := slices.Index(t.header, col); i >= 0 {
		shown = t.shown[i]
	}
	return Fault{File: t.file, Sheet: t.sheet, Row: r.num, Column: shown}
}

// position is where an object's row is; prefix is before the names of its columns.
func (t table) position(r row, prefix string) position {
	return position{t.at(r, ""), func(field string) string {
		key, _, _ := strings.Cut(field, "[")
		return t.at(r, prefix+strings.ReplaceAll(key, ".", "_")).Column
	}}
}

// cell is the text of a column, empty where the row or table has none.
func (t table) cell(r row, col string) string {
	i := slices.Index(t.header, col)
	if i < 0 {
		return t.given[col]
	}
	if i >= len(r.cells) {
		return ""
	}
	return r.cells[i]
}

func (t table) has(cols ...string) bool {
	for _, c := range cols {
		if !slices.Contains(t.header, c) {
			return false
		}
	}
	return true
}

// newTable takes the header off the first row that is not blank and drops blank
// rows and those that begin with a hash.
func newTable(file, sheet string, rows []row) (table, bool) {
	t := table{file: file, sheet: sheet}
	for _, r := range rows {
		for i, c := range r.cells {
			r.cells[i] = strings.TrimSpace(c)
		}
		if blank(r) || strings.HasPrefix(r.cells[0], "#") {
			continue
		}
		for i, c := range r.cells {
			r.cells[i] = unguard(c)
		}
		if t.header == nil {
			t.shown = r.cells
			for _, h := range r.cells {
				t.header = append(t.header, headerKey(h))
			}
			continue
		}
		t.rows = append(t.rows, r)
	}
	return t, t.header != nil
}

func blank(r row) bool {
	return !slices.ContainsFunc(r.cells, func(c string) bool { return c != "" })
}

// otherNames are headers people write for a column of ours.
var otherNames = map[string]string{
	"site_id": "site", "ahu_id": "ahu", "unit_tag": "ahu", "bank_id": "bank", "reorder_code": "code", "item_code": "code",
	"timestamp": "time", "date": "time", "dp": "pa", "dp_pa": "pa", "pressure_pa": "pa", "dp_unit": "unit",
	"airflow_m3s": "flow_m3s", "hz": "fan_hz", "comment": "note", "comments": "note", "notes": "note", "remark": "note", "type": "kind",
}

// headerKey is a header in the form of our column names: "Limit (Pa)" is limit_pa.
func headerKey(h string) string {
	words := strings.FieldsFunc(strings.ToLower(h), func(r rune) bool {
		return strings.ContainsRune(" _-()[].,/\t\n\r\u00a0", r)
	})
	k := strings.Join(words, "_")
	if n, ok := otherNames[k]; ok {
		return n
	}
	return k
}

// checkHeader faults columns that are unknown or come twice, and cells that
// stand under no header.
func (t table) checkHeader(known []string, report func(Fault)) {
	seen := map[string]bool{}
	for i, h := range t.header {
		f := Fault{File: t.file, Sheet: t.sheet, Column: t.shown[i]}
		switch {
		case h == "":
			continue // told by row, if anything stands below it
		case seen[h]:
			f.Text = fmt.Sprintf("column %s is there twice; keep one", h)
			report(f)
		case !slices.Contains(known, h):
			f.Text = fmt.Sprintf("unknown column%s", didYouMean(h, known))
			report(f)
		}
		seen[h] = true
	}
	for _, r := range t.rows {
		for i, c := range r.cells {
			if c != "" && (i >= len(t.header) || t.header[i] == "") {
				f := t.at(r, "")
				f.Column = fmt.Sprintf("column %d", i+1)
				f.Text = fmt.Sprintf("%q stands under no header; name the column or take it out", clip(c))
				report(f)
			}
		}
	}
}

// clip shortens text from a file for showing in a fault.
func clip(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

// guarded are the first characters of text that would be taken for a formula,
// or on reading for a remark or a guard.
const guarded = "=+-@\t\r#'"

// guard keeps a spreadsheet from taking text for a formula; unguard undoes it.
// Text that begins with an apostrophe gets a second one, so that nothing is lost.
func guard(s string) string {
	if s != "" && strings.ContainsRune(guarded, rune(s[0])) {
		return "'" + s
	}
	return s
}

func unguard(s string) string {
	if len(s) > 1 && s[0] == '\'' && strings.ContainsRune(guarded, rune(s[1])) {
		return s[1:]
	}
	return s
}
