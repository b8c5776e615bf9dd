package ledgerfile

import (
	"errors"
	"fmt"
	"io"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"clogwise/internal/entry"
)

// Bounds of the format: rows of a sheet, characters of a cell (UTF-16 units; half
// of them leaves room for any text).
const (
	mostRows = 1_048_576
	mostCell = 16_000
	mostMore = 30 // further columns for long bodies
)

const sheetName = "ledger"

// book is a workbook being written, a sheet after the other when one is full.
type book struct {
	to     io.Writer
	file   *excelize.File
	sheet  *excelize.StreamWriter
	sheets int
	row    int
}

func newBook(w io.Writer) (*book, error) {
	b := &book{to: w, file: excelize.NewFile()}
	return b, b.next()
}

// next begins a sheet with its header.
func (b *book) next() error {
	if b.sheet != nil {
		if err := b.sheet.Flush(); err != nil {
			return err
		}
	}
	b.sheets++
	name := sheetName
	if b.sheets > 1 {
		name = fmt.Sprintf("%s %d", sheetName, b.sheets)
	}
	if b.sheets == 1 {
		if err := b.file.SetSheetName("Sheet1", name); err != nil {
			return err
		}
	} else if _, err := b.file.NewSheet(name); err != nil {
		return err
	}
	var err error
	if b.sheet, err = b.file.NewStreamWriter(name); err != nil {
		return err
	}
	var head []any
	for _, c := range columns {
		head = append(head, c)
	}
	for i := range mostMore {
		head = append(head, fmt.Sprintf("body %d", i+2))
	}
	b.row = 1
	return b.sheet.SetRow("A1", head)
}

// Add implements Writer.
func (b *book) Add(e entry.Entry) error {
	if b.row == mostRows {
		if err := b.next(); err != nil {
			return err
		}
	}
	cells, err := cellsOf(e)
	if err != nil {
		return err
	}
	last := len(cells) - 1
	out := make([]any, 0, len(cells))
	for _, c := range cells[:last] {
		if utf8.RuneCountInString(c) > mostCell {
			return fmt.Errorf("entry %d: a text is too long for a workbook; export to .ndjson", e.Seq)
		}
		out = append(out, c)
	}
	parts := split(cells[last])
	if len(parts) > 1+mostMore {
		return fmt.Errorf("entry %d: its body is too long for a workbook; export to .ndjson", e.Seq)
	}
	b.row++
	at, err := excelize.CoordinatesToCellName(1, b.row)
	if err != nil {
		return err
	}
	return b.sheet.SetRow(at, append(out, parts...))
}

// split cuts text into pieces that fit a cell.
func split(s string) []any {
	var out []any
	for len(s) > mostCell {
		cut := mostCell
		for !utf8.RuneStart(s[cut]) {
			cut--
		}
		out, s = append(out, s[:cut]), s[cut:]
	}
	return append(out, s)
}

// Close implements Writer.
func (b *book) Close() error {
	return errors.Join(b.sheet.Flush(), b.file.Write(b.to), b.file.Close())
}

// unpackLimits: a small file may unpack to an enormous one.
var unpackLimits = excelize.Options{UnzipSizeLimit: 8 << 30, UnzipXMLSizeLimit: 64 << 20, RawCellValue: true}

func readBook(r io.Reader, each func(entry.Entry) error) (err error) {
	defer func() { // a workbook comes from outside, and the library indexes into what it says
		if p := recover(); p != nil {
			err = fmt.Errorf("is damaged (%v); open it in a spreadsheet and save it anew", p)
		}
	}()
	f, err := excelize.OpenReader(r, unpackLimits)
	if err != nil {
		return fmt.Errorf("is not a workbook that can be read: %w", err)
	}
	defer f.Close() //nolint:errcheck // removes temporary files of large sheets
	for _, name := range f.GetSheetList() {
		if err := readSheet(f, name, each); err != nil {
			return fmt.Errorf("sheet %s, %w", name, err)
		}
	}
	return nil
}

func readSheet(f *excelize.File, name string, each func(entry.Entry) error) error {
	rows, err := f.Rows(name)
	if err != nil {
		return err
	}
	defer rows.Close() //nolint:errcheck // only read
	var t table
	for n := 1; rows.Next(); n++ {
		cells, err := rows.Columns()
		if err != nil {
			return err
		}
		if n == 1 {
			if t, err = newTable(cells); err != nil {
				return err
			}
			continue
		}
		if len(cells) == 0 {
			continue
		}
		if err := t.hand(n, cells, each); err != nil {
			return err
		}
	}
	return rows.Error()
}
