package registerfile

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
)

// historyColumns are the columns of a history file, in the order of its help.
var historyColumns = []string{
	"time", "site", "ahu", "bank", "point", "kind",
	"pa", "value", "unit", "flow_m3s", "flow", "flow_unit", "fan_hz", "fan_pct", "wet", "suspect",
	"count", "clean_pa", "before_pa", "item", "by", "note",
}

// ReadHistory reads past readings and change-outs from a CSV or XLSX file into
// entries, in the order of the rows. Rows with faults make none; all faults are
// listed.
//
// Columns: time; ahu and bank, and site where a tag exists at several (or point,
// a building system's name); pa, or value and unit; optionally kind (reading or
// swap), flow_m3s (or flow and flow_unit), fan_hz, fan_pct, wet, suspect, and of
// a change-out count, clean_pa, before_pa and item; by and note.
//
// A time is RFC 3339, or without offset in site time ("2026-03-01 14:30", or a
// spreadsheet's date). Of an hour that the clocks repeat the first is meant; one
// that they skip is refused. Source is "file:", the first 16 digits of the
// file's SHA-256, and the row (with the sheet before it in a workbook): the same
// file read twice is recorded once.
func ReadHistory(name string, r io.Reader, reg *plant.Register, now time.Time) ([]entry.Entry, []Fault) {
	return ReadHistoryAs(name, r, nil, reg, now)
}

// ReadHistoryAs is ReadHistory of a file some of whose columns have other names.
func ReadHistoryAs(name string, r io.Reader, cols Columns, reg *plant.Register, now time.Time) ([]entry.Entry, []Fault) {
	raw, fault := slurp(name, r)
	if fault != nil {
		return nil, []Fault{*fault}
	}
	var tables []table
	var faults []Fault
	switch ext := strings.ToLower(filepath.Ext(name)); ext {
	case ".csv", ".tsv", ".txt":
		tables, faults = csvTable(name, raw)
	case ".xlsx":
		tables, faults = xlsxTables(name, raw)
	default:
		return nil, []Fault{{File: name, Text: fmt.Sprintf("%q is not a form of history file; use .csv or .xlsx", ext)}}
	}
	sum := sha256.Sum256(raw)
	h := historyReader{reg: reg, now: now, source: "file:" + hex.EncodeToString(sum[:8]), faults: faults}
	for _, t := range tables {
		h.table(t.as(cols))
	}
	return h.entries, h.faults
}

type historyReader struct {
	reg     *plant.Register
	now     time.Time
	source  string
	entries []entry.Entry
	faults  []Fault
}

func (h *historyReader) fault(f Fault) { h.faults = append(h.faults, f) }

func (h *historyReader) table(t table) {
	if !t.has("time") || !t.has("point") && !t.has("ahu") {
		h.fault(Fault{File: t.file, Sheet: t.sheet, Text: "has no history: columns time and ahu (or point) are needed, with pa, or value and unit"})
		return
	}
	t.checkHeader(historyColumns, h.fault)
	for _, r := range t.rows {
		row := historyRow{h: h, t: t, r: r}
		if e, ok := row.entry(); ok {
			e.Source = h.source + ":" + fmt.Sprint(r.num)
			if t.sheet != "" {
				e.Source = h.source + ":" + t.sheet + ":" + fmt.Sprint(r.num)
			}
			h.entries = append(h.entries, e)
		}
	}
}

// historyRow reads one row; bad is set by the first fault.
type historyRow struct {
	h   *historyReader
	t   table
	r   row
	bad bool
}

func (w *historyRow) cell(col string) string { return w.t.cell(w.r, col) }

func (w *historyRow) fault(col, format string, args ...any) {
	w.bad = true
	f := w.t.at(w.r, col)
	f.Text = fmt.Sprintf(format, args...)
	w.h.fault(f)
}

func (w *historyRow) entry() (entry.Entry, bool) {
	place, ok := w.place()
	if !ok {
		return entry.Entry{}, false
	}
	e := entry.Entry{
		Place: place, At: w.time(place), Received: w.h.now,
		By: cmp.Or(w.cell("by"), "file"), Line: w.cell("note"),
	}
	switch kind := strings.ToLower(w.cell("kind")); kind {
	case "", "reading", "read", "messwert", "lectura":
		e.Kind, e.Body = entry.KindReading, w.reading()
	case "swap", "change", "changed", "change-out", "changeout", "wechsel", "filterwechsel", "cambio":
		e.Kind, e.Body = entry.KindSwap, w.swap()
	default:
		w.fault("kind", "%q is unknown; write reading or swap", clip(kind))
	}
	return e, !w.bad
}

// place finds the bank by point name, or by site, AHU and bank.
func (w *historyRow) place() (plant.BankID, bool) {
	if p := w.cell("point"); p != "" {
		id, ok := w.h.reg.Point(p)
		if !ok {
			w.fault("point", "%q feeds no bank of the register; add it to the bank's points", clip(p))
		}
		return id, ok
	}
	site := ""
	if s := w.cell("site"); s != "" {
		found, ok := w.h.reg.FindSite(s)
		if !ok {
			w.fault("site", "%q is not a site of the register", clip(s))
			return "", false
		}
		site = found.ID
	}
	name := w.cell("ahu")
	ahus := w.h.reg.FindAHUs(site, name)
	switch {
	case len(ahus) == 0:
		w.fault("ahu", "%q is no AHU of the register", clip(name))
		return "", false
	case len(ahus) > 1:
		w.fault("site", "%q is at %d sites; write which in a column site", clip(name), len(ahus))
		return "", false
	}
	id, ok := w.h.reg.FindBank(ahus[0], w.cell("bank"))
	if stage, known := phrase.StageOf(w.cell("bank")); !ok && known {
		id, ok = w.h.reg.FindBank(ahus[0], string(stage))
	}
	if !ok {
		w.fault("bank", "%q is not a bank of %s; it has %s", clip(w.cell("bank")), w.h.reg.Name(ahus[0]), w.banks(ahus[0]))
	}
	return id, ok
}

func (w *historyRow) banks(ahu plant.BankID) string {
	var names []string
	for _, id := range w.h.reg.Banks(ahu) {
		_, _, bank := id.Split()
		names = append(names, bank)
	}
	return cmp.Or(strings.Join(names, ", "), "none")
}

func (w *historyRow) time(place plant.BankID) time.Time {
	t, err := parseTime(w.cell("time"), w.h.reg.Location(place.Site()))
	switch {
	case err != nil:
		w.fault("time", "%v", err)
	case t.After(w.h.now):
		w.fault("time", "%s lies in the future; check the date", w.cell("time"))
	case t.Year() < 1990:
		w.fault("time", "%s is too long ago; check the year", w.cell("time"))
	}
	return t
}
