// Package ledgerfile writes every entry of a ledger to open formats (NDJSON,
// CSV, XLSX) and reads them back without loss: amendments, retractions and what
// no longer counts included.
package ledgerfile

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// A Writer writes entries in the order in which they are added. Close ends the
// file, not what it is written to.
type Writer interface {
	Add(e entry.Entry) error
	Close() error
}

// Known reports whether a file's name says that it holds, or is to hold, a ledger.
func Known(name string) bool {
	switch extension(name) {
	case ".ndjson", ".jsonl", ".csv", ".xlsx":
		return true
	}
	return false
}

func extension(name string) string { return strings.ToLower(filepath.Ext(name)) }

// NewWriter writes in the form that a file's name asks for.
func NewWriter(name string, w io.Writer) (Writer, error) {
	switch extension(name) {
	case ".ndjson", ".jsonl":
		return lines{json.NewEncoder(w)}, nil
	case ".csv":
		c := rows{csv.NewWriter(w)}
		return c, c.Write(columns[:])
	case ".xlsx":
		return newBook(w)
	}
	return nil, unknown(name)
}

func unknown(name string) error {
	return fmt.Errorf("%q is not a form for a ledger; name a file ending in .ndjson, .csv or .xlsx", filepath.Base(name))
}

// Read hands on the entries of a file in their order. The error names the row
// at which it could not go on; what came before has been handed on.
func Read(name string, r io.Reader, each func(entry.Entry) error) error {
	var err error
	switch extension(name) {
	case ".ndjson", ".jsonl":
		err = readLines(r, each)
	case ".csv":
		err = readCSV(r, each)
	case ".xlsx":
		err = readBook(r, each)
	default:
		return unknown(name)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", filepath.Base(name), err)
	}
	return nil
}

type lines struct{ *json.Encoder }

// Add implements Writer.
func (l lines) Add(e entry.Entry) error { return l.Encode(e) }

// Close implements Writer.
func (lines) Close() error { return nil }

func readLines(r io.Reader, each func(entry.Entry) error) error {
	buf := bufio.NewReader(r)
	for n := 1; ; n++ {
		line, err := buf.ReadBytes('\n')
		if len(bytes.TrimSpace(line)) > 0 {
			var e entry.Entry
			if err := json.Unmarshal(line, &e); err != nil {
				return fmt.Errorf("line %d: %w", n, err)
			}
			if err := each(e); err != nil {
				return fmt.Errorf("line %d: %w", n, err)
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// columns of a table of entries; the body is JSON.
var columns = [...]string{"seq", "source", "kind", "place", "at", "received", "by", "line", "body"}

type rows struct{ *csv.Writer }

// Add implements Writer.
func (c rows) Add(e entry.Entry) error {
	cells, err := cellsOf(e)
	if err != nil {
		return err
	}
	return c.Write(cells)
}

// Close implements Writer.
func (c rows) Close() error {
	c.Flush()
	return c.Error()
}

func cellsOf(e entry.Entry) ([]string, error) {
	body, err := json.Marshal(e.Body)
	if err != nil {
		return nil, err
	}
	cells := []string{
		strconv.FormatInt(e.Seq, 10), plain(e.Source), string(e.Kind), plain(string(e.Place)), moment(e.At), moment(e.Received),
		plain(e.By), plain(e.Line), string(body),
	}
	return cells, nil
}

func moment(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339Nano)
}

// plain is text that every spreadsheet keeps as it is: control characters, which
// files lose or split rows at, and backslashes are written as in JSON, and text
// that would be taken for a formula gets an apostrophe before it.
func plain(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\\':
			b.WriteString(`\\`)
		case r < ' ' || r >= 0x7f && r < 0xa0 || r == 0xfffe || r == 0xffff || r == 0x2028 || r == 0x2029:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			b.WriteRune(r)
		}
	}
	out := b.String()
	if out != "" && strings.ContainsRune("=+-@' ", rune(out[0])) || strings.HasSuffix(out, " ") {
		return "'" + out
	}
	return out
}

func unplain(s string) (string, error) {
	s = strings.TrimPrefix(s, "'")
	if !strings.Contains(s, `\`) {
		return s, nil
	}
	var out string
	err := json.Unmarshal([]byte(`"`+strings.ReplaceAll(s, `"`, `\"`)+`"`), &out)
	if err != nil {
		return "", fmt.Errorf("%q: a backslash is written twice, a control character as \\u and four digits", s)
	}
	return out, nil
}

func readCSV(r io.Reader, each func(entry.Entry) error) error {
	c := csv.NewReader(r)
	c.FieldsPerRecord = -1
	head, err := c.Read()
	if err != nil {
		return fmt.Errorf("row 1: no header: %w", err)
	}
	t, err := newTable(head)
	if err != nil {
		return err
	}
	for {
		rec, err := c.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		n, _ := c.FieldPos(0)
		if err := t.hand(n, rec, each); err != nil {
			return err
		}
	}
}

// table knows where each column stands.
type table struct {
	at   map[string]int
	more []int // further columns that long bodies go on in
}

func newTable(head []string) (table, error) {
	t := table{at: map[string]int{}}
	for i, h := range head {
		h = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		if strings.HasPrefix(h, "body ") {
			t.more = append(t.more, i)
			continue
		}
		t.at[h] = i
	}
	for _, want := range columns {
		if _, ok := t.at[want]; !ok {
			return t, fmt.Errorf("row 1: no column %q: this is no exported ledger; its columns are %s", want, strings.Join(columns[:], ", "))
		}
	}
	return t, nil
}

func (t table) hand(n int, rec []string, each func(entry.Entry) error) error {
	e, err := t.entry(rec)
	if err == nil {
		err = each(e)
	}
	if err != nil {
		return fmt.Errorf("row %d: %w", n, err)
	}
	return nil
}

func (t table) entry(rec []string) (e entry.Entry, err error) {
	cell := func(name string) string {
		if i := t.at[name]; i < len(rec) {
			return rec[i]
		}
		return ""
	}
	text := func(name string) string {
		s, terr := unplain(cell(name))
		if terr != nil && err == nil {
			err = fmt.Errorf("%s: %w", name, terr)
		}
		return s
	}
	when := func(name string) time.Time {
		if cell(name) == "" {
			return time.Time{}
		}
		at, terr := time.Parse(time.RFC3339Nano, cell(name))
		if terr != nil && err == nil {
			err = fmt.Errorf("%s: %q is not a moment; a spreadsheet may have rewritten it. Export again and leave the file as it is", name, cell(name))
		}
		return at
	}
	e = entry.Entry{
		Source: text("source"), Kind: entry.Kind(cell("kind")), Place: plant.BankID(text("place")), At: when("at"), Received: when("received"),
		By: text("by"), Line: text("line"),
	}
	if err != nil {
		return e, err
	}
	if e.Seq, err = strconv.ParseInt(cell("seq"), 10, 64); err != nil {
		return e, fmt.Errorf("seq: %q is not a number", cell("seq"))
	}
	body := cell("body")
	for _, i := range t.more {
		if i < len(rec) {
			body += rec[i]
		}
	}
	e.Body, err = entry.DecodeBody(e.Kind, []byte(body))
	return e, err
}
