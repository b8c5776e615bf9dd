package registerfile

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"github.com/xuri/excelize/v2"

	"clogwise/internal/plant"
)

// xlsxTables reads every sheet of a workbook but those that are empty or whose
// name begins with an underscore.
func xlsxTables(name string, raw []byte) (tables []table, faults []Fault) {
	defer func() { // a workbook comes from outside, and the library indexes into what it says
		if r := recover(); r != nil {
			tables, faults = nil, []Fault{{File: name, Text: fmt.Sprintf("is damaged (%v); open it in a spreadsheet and save it anew", r)}}
		}
	}()
	f, err := excelize.OpenReader(bytes.NewReader(raw), unpackLimits)
	if err != nil {
		return nil, []Fault{{File: name, Text: fmt.Sprintf("is not a workbook that can be read (%v); save it as .xlsx without a password", err)}}
	}
	defer f.Close() // removes temporary files of large sheets
	if p, err := f.GetWorkbookProps(); err == nil && p.Date1904 != nil && *p.Date1904 {
		return nil, []Fault{{File: name, Text: "counts its dates from 1904; save it with the 1900 date system, or dates would be four years off"}}
	}
	for _, sheet := range f.GetSheetList() {
		if strings.HasPrefix(sheet, "_") {
			continue
		}
		lines, err := f.GetRows(sheet, excelize.Options{RawCellValue: true})
		if err != nil {
			faults = append(faults, Fault{File: name, Sheet: sheet, Text: fmt.Sprintf("cannot be read: %v", err)})
			continue
		}
		if t, ok := newTable(name, sheet, numbered(lines)); ok {
			tables = append(tables, t)
		}
	}
	if len(tables) == 0 && len(faults) == 0 {
		faults = append(faults, Fault{File: name, Text: "empty; the first row of a sheet names the columns"})
	}
	return tables, faults
}

// unpackLimits: a small file may unpack to an enormous one.
var unpackLimits = excelize.Options{UnzipSizeLimit: 8 * MaxBytes, UnzipXMLSizeLimit: 2 * MaxBytes}

func numbered(lines [][]string) []row {
	rows := make([]row, len(lines))
	for i, cells := range lines {
		rows[i] = row{i + 1, cells}
	}
	return rows
}

// WriteXLSX writes a workbook with one sheet per table. It carries every field.
func WriteXLSX(w io.Writer, c plant.Contents) error {
	f := excelize.NewFile()
	defer f.Close()
	for _, t := range tableOrder {
		if err := writeSheet(f, t, c); err != nil {
			return fmt.Errorf("write sheet %s: %w", t, err)
		}
	}
	if err := f.DeleteSheet("Sheet1"); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	if err := f.Write(w); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	return nil
}

func writeSheet(f *excelize.File, t Table, c plant.Contents) error {
	if _, err := f.NewSheet(string(t)); err != nil {
		return err
	}
	for i, cells := range rowsOf(t, c) {
		for j, s := range cells {
			if s == "" {
				continue
			}
			at, err := excelize.CoordinatesToCellName(j+1, i+1)
			if err != nil {
				return err
			}
			if err := f.SetCellStr(string(t), at, s); err != nil {
				return err
			}
		}
	}
	return f.SetPanes(string(t), &excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"})
}
