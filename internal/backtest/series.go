package backtest

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
)

// SeriesRow is one reading of a file. A figure the file does not give is 0.
type SeriesRow struct {
	Row     int       // of the file, the header being 1
	Hours   float64   // since the first row, or as the file gives them
	Time    time.Time // zero when the file counts in hours
	Pa      float64
	FlowM3s float64
	FanPct  float64 // fan speed, percent of that at design airflow
}

// ReadSeries reads the readings of one life from CSV with a header row.
// Columns: pa; hours (run hours since change-out) or time (RFC 3339,
// "2006-01-02 15:04" or "2006-01-02"; hours then count from the first row); and
// optionally flow_m3s and fan_pct. Other columns are ignored, empty rows
// skipped. An error names the row and the column.
func ReadSeries(r io.Reader) ([]SeriesRow, error) {
	records := csv.NewReader(r)
	records.FieldsPerRecord = -1
	records.TrimLeadingSpace = true
	header, err := records.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("the file is empty; want a header row: hours,pa or time,pa")
	}
	if err != nil {
		return nil, fmt.Errorf("row 1: %w", err)
	}
	cols, err := seriesColumns(header)
	if err != nil {
		return nil, err
	}
	var out []SeriesRow
	for row := 2; ; row++ {
		rec, err := records.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("row %d: %w", row, err)
		}
		if strings.TrimSpace(strings.Join(rec, "")) == "" {
			continue
		}
		s, err := cols.parse(rec, row)
		if err != nil {
			return nil, err
		}
		if !s.Time.IsZero() {
			first := s.Time
			if len(out) > 0 {
				first = out[0].Time
			}
			s.Hours = s.Time.Sub(first).Hours()
		}
		if s.Hours < 0 {
			return nil, fmt.Errorf("row %d, column %q: before the first row", row, cols.clock())
		}
		out = append(out, s)
	}
	if len(out) == 0 {
		return nil, errors.New("the file has a header but no readings")
	}
	return out, nil
}

// fields are the places of a series file's columns, −1 when missing.
type fields struct{ hours, time, pa, flow, fan int }

func (f fields) clock() string {
	if f.hours >= 0 {
		return "hours"
	}
	return "time"
}

func seriesColumns(header []string) (fields, error) {
	f := fields{-1, -1, -1, -1, -1}
	places := map[string]*int{"hours": &f.hours, "time": &f.time, "pa": &f.pa, "flow_m3s": &f.flow, "fan_pct": &f.fan}
	for i, h := range header {
		name := strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		if place, ok := places[name]; ok {
			*place = i
		}
	}
	if f.pa < 0 {
		return f, errors.New(`row 1: no column "pa"`)
	}
	if f.hours < 0 && f.time < 0 {
		return f, errors.New(`row 1: no column "hours" or "time"`)
	}
	return f, nil
}

func (f fields) parse(rec []string, row int) (SeriesRow, error) {
	s := SeriesRow{Row: row}
	var err error
	if s.Pa, err = field(rec, f.pa, row, "pa", true); err != nil {
		return s, err
	}
	if f.hours >= 0 {
		if s.Hours, err = field(rec, f.hours, row, "hours", true); err != nil {
			return s, err
		}
	} else if s.Time, err = clock(rec, f.time, row); err != nil {
		return s, err
	}
	if s.FlowM3s, err = field(rec, f.flow, row, "flow_m3s", false); err != nil {
		return s, err
	}
	s.FanPct, err = field(rec, f.fan, row, "fan_pct", false)
	return s, err
}

// field reads one number; a column that is not needed may be missing or empty.
func field(rec []string, at, row int, name string, needed bool) (float64, error) {
	text := ""
	if at >= 0 && at < len(rec) {
		text = strings.TrimSpace(rec[at])
	}
	if text == "" {
		if needed {
			return 0, fmt.Errorf("row %d, column %q: empty", row, name)
		}
		return 0, nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("row %d, column %q: %q is not a number", row, name, text)
	}
	if !needed && v < 0 {
		return 0, fmt.Errorf("row %d, column %q: %v is below 0", row, name, v)
	}
	return v, nil
}

func clock(rec []string, at, row int) (time.Time, error) {
	text := ""
	if at < len(rec) {
		text = strings.TrimSpace(rec[at])
	}
	for _, layout := range [...]string{time.RFC3339, "2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02"} {
		if t, err := time.Parse(layout, text); err == nil {
			return t, nil
		}
	}
	return time.Time{}, fmt.Errorf(`row %d, column "time": %q is not a time like 2006-01-02 15:04`, row, text)
}
