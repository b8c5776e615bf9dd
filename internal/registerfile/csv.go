package registerfile

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"clogwise/internal/plant"
)

// csvTable reads a CSV file. Comma, semicolon and tab are told apart by the
// first line.
func csvTable(name string, raw []byte) ([]table, []Fault) {
	if !utf8.Valid(raw) {
		return nil, []Fault{{File: name, Text: "is not UTF-8 text; save it as \"CSV UTF-8\""}}
	}
	r := csv.NewReader(bytes.NewReader(raw))
	r.FieldsPerRecord = -1
	r.TrimLeadingSpace = true
	r.Comma = delimiter(raw)
	var rows []row
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var pe *csv.ParseError
		if errors.As(err, &pe) {
			return nil, []Fault{{File: name, Row: pe.Line, Text: fmt.Sprintf("quotes do not match (%v); what follows could not be read", pe.Err)}}
		}
		if err != nil {
			return nil, []Fault{{File: name, Text: err.Error()}}
		}
		line, _ := r.FieldPos(0)
		rows = append(rows, row{line, cells})
	}
	t, ok := newTable(name, "", rows)
	if !ok {
		return nil, []Fault{{File: name, Text: "empty; the first row names the columns"}}
	}
	return []table{t}, nil
}

// delimiter is the one that the first line with words in it has most of.
func delimiter(raw []byte) rune {
	best, most := ',', 0
	for line := range bytes.Lines(raw) {
		if text := bytes.Trim(line, ",;\t \r\n"); len(text) == 0 || text[0] == '#' {
			continue
		}
		for _, d := range []rune{',', ';', '\t'} {
			if n := strings.Count(string(line), string(d)); n > most {
				best, most = d, n
			}
		}
		break
	}
	return best
}

// WriteCSV writes one table of the register. The three tables together carry
// every field.
func WriteCSV(w io.Writer, t Table, c plant.Contents) error {
	cw := csv.NewWriter(w)
	if err := cw.WriteAll(rowsOf(t, c)); err != nil {
		return fmt.Errorf("write table of %s: %w", t, err)
	}
	return nil
}
