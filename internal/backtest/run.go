package backtest

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// Run is one life recorded to its end: resistance against two possible axes.
type Run struct {
	ID      string
	Seconds []float64 // since start, increasing
	Dust    []float64 // dust fed so far, any unit; nil when the file has none
	Pa      []float64 // resistance
}

// Axis says what a life is measured in.
type Axis string

// Axes.
const (
	ByDust Axis = "dust"
	ByTime Axis = "time"
)

// Along returns the run's axis values.
func (r Run) Along(a Axis) []float64 {
	if a == ByDust {
		return r.Dust
	}
	return r.Seconds
}

// ReadRuns reads lives from CSV with a header row. Columns: run, pa, and at
// least one of seconds (also: hours, time, x) and dust (also: any name that
// starts with dust); other columns are ignored. Rows of a run stand together,
// in the order of time. An error names the row (the header is row 1) and the
// column.
func ReadRuns(r io.Reader) ([]Run, error) {
	rows := csv.NewReader(r)
	rows.FieldsPerRecord = -1
	rows.TrimLeadingSpace = true
	header, err := rows.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("the file is empty; want a header row: run,seconds,pa,dust")
	}
	if err != nil {
		return nil, fmt.Errorf("row 1: %w", err)
	}
	cols, err := findColumns(header)
	if err != nil {
		return nil, err
	}
	var runs []Run
	for row := 2; ; row++ {
		rec, err := rows.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("row %d: %w", row, err)
		}
		if runs, err = cols.add(runs, rec, row); err != nil {
			return nil, err
		}
	}
	if len(runs) == 0 {
		return nil, errors.New("the file has a header but no rows")
	}
	return runs, nil
}

// columns are the places of the fields in a record, −1 when missing.
type columns struct {
	run, pa, seconds, dust int
	name                   []string
}

func findColumns(header []string) (columns, error) {
	c := columns{-1, -1, -1, -1, header}
	for i, h := range header {
		h = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		switch {
		case h == "run" || h == "life":
			c.run = i
		case h == "pa" || h == "dp_pa":
			c.pa = i
		case h == "seconds" || h == "hours" || h == "time" || h == "x":
			c.seconds = i
		case strings.HasPrefix(h, "dust"):
			c.dust = i
		}
	}
	switch {
	case c.run < 0:
		return c, errors.New(`row 1: no column "run"`)
	case c.pa < 0:
		return c, errors.New(`row 1: no column "pa"`)
	case c.seconds < 0 && c.dust < 0:
		return c, errors.New(`row 1: no column "seconds" or "dust"; one of them must say how far a life has come`)
	}
	return c, nil
}

func (c columns) add(runs []Run, rec []string, row int) ([]Run, error) {
	pa, err := c.number(rec, c.pa, row)
	if err != nil {
		return nil, err
	}
	if c.run >= len(rec) {
		return nil, fmt.Errorf("row %d, column %q: missing", row, c.name[c.run])
	}
	id := strings.TrimSpace(rec[c.run])
	if len(runs) == 0 || runs[len(runs)-1].ID != id {
		runs = append(runs, Run{ID: id})
	}
	r := &runs[len(runs)-1]
	for _, axis := range [...]struct {
		at  int
		out *[]float64
	}{{c.seconds, &r.Seconds}, {c.dust, &r.Dust}} {
		if axis.at < 0 {
			continue
		}
		v, err := c.number(rec, axis.at, row)
		if err != nil {
			return nil, err
		}
		if n := len(*axis.out); n > 0 && v < (*axis.out)[n-1] {
			return nil, fmt.Errorf("row %d, column %q: %v is before the row above it (%v) in run %s",
				row, c.name[axis.at], v, (*axis.out)[n-1], id)
		}
		*axis.out = append(*axis.out, v)
	}
	r.Pa = append(r.Pa, pa)
	return runs, nil
}

func (c columns) number(rec []string, at, row int) (float64, error) {
	if at >= len(rec) {
		return 0, fmt.Errorf("row %d, column %q: missing", row, c.name[at])
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(rec[at]), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("row %d, column %q: %q is not a number", row, c.name[at], rec[at])
	}
	return v, nil
}

// end returns the axis value at which the isotonic fit of the run first
// reaches the limit.
func (r Run) end(a Axis, limitPa float64) (float64, bool) {
	fit := isotonic(r.Pa)
	for i, x := range r.Along(a) {
		if fit[i] >= limitPa {
			return x, true
		}
	}
	return 0, false
}

// isotonic is the least-squares non-decreasing fit (pool adjacent violators).
func isotonic(y []float64) []float64 {
	type block struct {
		mean float64
		n    int
	}
	var blocks []block
	for _, v := range y {
		blocks = append(blocks, block{v, 1})
		for len(blocks) > 1 {
			a, b := blocks[len(blocks)-2], blocks[len(blocks)-1]
			if a.mean <= b.mean {
				break
			}
			n := a.n + b.n
			blocks = append(blocks[:len(blocks)-2],
				block{(a.mean*float64(a.n) + b.mean*float64(b.n)) / float64(n), n})
		}
	}
	out := make([]float64, 0, len(y))
	for _, b := range blocks {
		for range b.n {
			out = append(out, b.mean)
		}
	}
	return out
}
