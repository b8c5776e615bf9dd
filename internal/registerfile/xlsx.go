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
func xlsxTables(name string, raw []byte) ([]table, []Fault) {
	f, err := openXLSX(raw)
	if err != nil {
		return nil, []Fault{{File: name, Text: fmt.Sprintf("is not a workbook that can be read (%v); save it as .xlsx without a password", err)}}
	}
	defer f.Close() // closes temporary files of large sheets
	var tables []table
	var faults []Fault
	for _, sheet := range f.GetSheetList() {
		if strings.HasPrefix(sheet, "_") {
			continue
		}
		lines, err := f.GetRows(sheet, excelize.Options{RawCellValue: true})
		if err != nil {
			faults = append(faults, Fault{File: name, Sheet: sheet, Text: "cannot be read: " + err.Error()})
			continue
		}
		var rows []row
		for i, cells := range lines {
			rows = append(rows, row{i + 1, cells})
		}
		if t, ok := newTable(name, sheet, rows); ok {
			tables = append(tables, t)
		}
	}
	if len(tables) == 0 && len(faults) == 0 {
		faults = append(faults, Fault{File: name, Text: "empty; the first row of a sheet names the columns"})
	}
	return tables, faults
}

// openXLSX opens a workbook within the size a register can need: a small file
// may unpack to an enormous one.
func openXLSX(raw []byte) (f *excelize.File, err error) {
	defer func() { // a workbook comes from outside, and the library indexes into what it says
		if r := recover(); r != nil {
			f, err = nil, fmt.Errorf("damaged: %v", r)
		}
	}()
	return excelize.OpenReader(bytes.NewReader(raw), excelize.Options{UnzipSizeLimit: 8 * MaxBytes, UnzipXMLSizeLimit: 2 * MaxBytes})
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
