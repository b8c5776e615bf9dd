// Package auditfile writes what the digest and a chart say as tables for the
// audit file: a workbook, or comma-separated values. It is pure.
//
// Text comes from what people typed and what integrators sent. A cell that a
// spreadsheet would take for a formula is written so that it is text.
package auditfile

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// Table is one sheet: a row of names and rows of cells. A cell is a string, an
// int or a float64; nil is an empty one.
type Table struct {
	Name string // at most 31 characters, of letters and spaces
	Head []string
	Rows [][]any
}

// text makes a cell's text harmless: what begins like a formula gets an
// apostrophe in front, which spreadsheets take for "this is text" (OWASP, CSV
// injection). Control characters go.
func text(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' {
			return ' '
		}
		return r
	}, s)
	if begins := strings.TrimSpace(s); begins != "" && strings.ContainsRune("=+-@|%", rune(begins[0])) {
		return "'" + s
	}
	return s
}

// CSV is one table, with a byte order mark so that spreadsheets read its letters.
func CSV(t Table) ([]byte, error) {
	var b bytes.Buffer
	b.WriteString("\ufeff")
	w := csv.NewWriter(&b)
	if err := w.Write(t.Head); err != nil {
		return nil, fmt.Errorf("write table %s: %w", t.Name, err)
	}
	for _, row := range t.Rows {
		cells := make([]string, len(row))
		for i, c := range row {
			cells[i] = plain(c)
		}
		if err := w.Write(cells); err != nil {
			return nil, fmt.Errorf("write table %s: %w", t.Name, err)
		}
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

func plain(c any) string {
	switch c := c.(type) {
	case string:
		return text(c)
	case int:
		return strconv.Itoa(c)
	case float64:
		return strconv.FormatFloat(c, 'f', -1, 64)
	}
	return ""
}

// XLSX is a workbook of tables.
func XLSX(tables ...Table) ([]byte, error) {
	f := excelize.NewFile()
	defer f.Close() //nolint:errcheck // in memory
	for _, t := range tables {
		if err := sheet(f, t); err != nil {
			return nil, fmt.Errorf("write sheet %s: %w", t.Name, err)
		}
	}
	if err := f.DeleteSheet("Sheet1"); err != nil {
		return nil, fmt.Errorf("write workbook: %w", err)
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		return nil, fmt.Errorf("write workbook: %w", err)
	}
	return b.Bytes(), nil
}

func sheet(f *excelize.File, t Table) error {
	if _, err := f.NewSheet(t.Name); err != nil {
		return err
	}
	head := make([]any, len(t.Head))
	for i, h := range t.Head {
		head[i] = h
	}
	for i, row := range append([][]any{head}, t.Rows...) {
		for j, c := range row {
			at, err := excelize.CoordinatesToCellName(j+1, i+1)
			if err != nil {
				return err
			}
			switch c := c.(type) {
			case nil:
				continue
			case string:
				err = f.SetCellStr(t.Name, at, text(c))
			default:
				err = f.SetCellValue(t.Name, at, c)
			}
			if err != nil {
				return err
			}
		}
	}
	return f.SetPanes(t.Name, &excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"})
}

// day is a date as spreadsheets and people of every country read it.
func day(t time.Time, loc *time.Location) any {
	if t.IsZero() {
		return nil
	}
	return t.In(loc).Format("2006-01-02")
}

func minute(t time.Time, loc *time.Location) any {
	if t.IsZero() {
		return nil
	}
	return t.In(loc).Format("2006-01-02 15:04")
}

// round keeps so many decimals; nothing is written for zero, which stands for
// "not known" in what these tables are made from.
func round(x float64, decimals int) any {
	p := math.Pow10(decimals)
	if x = math.Round(x*p) / p; x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return x
}
