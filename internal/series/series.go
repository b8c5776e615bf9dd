// Package series forecasts one filter life from a table of readings, without a
// register or a ledger. It is pure: bytes in, figures out.
package series

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
)

// Options say what the table does not.
type Options struct {
	CleanPa       float64   // clean resistance at design airflow, Pa; 0 = not known
	LimitPa       float64   // final resistance at design airflow, Pa; 0 = usual for the stage
	DesignFlowM3s float64   // m³/s; needed where the table gives airflow
	Stage         string    // primary, secondary, third or return
	HoursPerDay   float64   // run hours a day, for a column of times; 0 = 24
	Now           time.Time // rows later than this are refused; zero = none are
}

// Forecast is what `clogwise forecast` prints. Hours are remaining run hours
// from the last row.
type Forecast struct {
	MedianHours float64   `json:"median_hours"`
	P10Hours    float64   `json:"p10_hours"`
	P90Hours    float64   `json:"p90_hours"`
	P025Hours   float64   `json:"p025_hours"`
	P975Hours   float64   `json:"p975_hours"`
	CleanPa     float64   `json:"clean_pa"`
	PaNow       float64   `json:"pa_now"`
	LimitPa     float64   `json:"limit_pa"`
	Findings    []Finding `json:"findings"`
	Prior       string    `json:"prior"`
}

// Finding is a reading that does not fit.
type Finding struct {
	Row   int    `json:"row,omitempty"` // of the table; the header is row 1
	Code  string `json:"code"`
	Text  string `json:"text"`
	Check string `json:"check"`
}

// row is one reading of the table.
type row struct {
	line    int
	hours   float64
	at      time.Time
	reading entry.Reading
}

// epoch stands for the change-out where the table counts hours.
var epoch = time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)

// Of reads a table of one life and forecasts it. Columns: hours (run hours since
// the change-out) or time (RFC 3339 or a date; the first row is the change-out),
// pa, and optionally flow_m3s and fan_pct. Its errors name row and column.
func Of(r io.Reader, o Options) (Forecast, error) {
	if err := o.check(); err != nil {
		return Forecast{}, err
	}
	rows, byTime, err := read(r)
	if err != nil {
		return Forecast{}, err
	}
	if byTime {
		for _, x := range rows {
			if !o.Now.IsZero() && x.at.After(o.Now) {
				return Forecast{}, fmt.Errorf("row %d, time: %s is in the future", x.line, x.at.Format(time.RFC3339))
			}
		}
	}
	return o.forecast(rows, byTime), nil
}

func (o *Options) check() error {
	if o.Stage == "" {
		o.Stage = string(plant.Secondary)
	}
	switch plant.Stage(o.Stage) {
	case plant.Primary, plant.Secondary, plant.Third, plant.Return:
	default:
		return fmt.Errorf("stage %q is none of primary, secondary, third, return", o.Stage)
	}
	for name, v := range map[string]float64{"clean-pa": o.CleanPa, "limit-pa": o.LimitPa, "design-flow": o.DesignFlowM3s, "hours-per-day": o.HoursPerDay} {
		if v < 0 || math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("%s is %g; it must be a number of 0 or more", name, v)
		}
	}
	if o.HoursPerDay > 24 {
		return fmt.Errorf("hours-per-day is %g; a day has 24", o.HoursPerDay)
	}
	if o.HoursPerDay == 0 {
		o.HoursPerDay = 24
	}
	if o.LimitPa > 0 && o.CleanPa >= o.LimitPa {
		return fmt.Errorf("clean-pa %g is not below limit-pa %g", o.CleanPa, o.LimitPa)
	}
	return nil
}

// forecast assesses a bank that has nothing but this life.
func (o Options) forecast(rows []row, byTime bool) Forecast {
	daily := 24.0
	start := epoch
	if byTime {
		daily, start = o.HoursPerDay, rows[0].at
	}
	prior := forecast.ClassPrior(o.Stage)
	bank := plant.Bank{ID: o.Stage, Stage: plant.Stage(o.Stage), CleanPa: o.CleanPa, LimitPa: o.LimitPa}
	if bank.LimitPa == 0 {
		bank.LimitPa = prior.LimitPa
	}
	id := plant.MakeBankID("file", "unit", bank.ID)
	reg := plant.NewRegister(plant.Contents{
		Sites: []plant.Site{{ID: "file", Zone: "UTC", Schedule: plant.Schedule{Hours: map[string]float64{"daily": daily}}}},
		AHUs:  map[plant.BankID]plant.AHU{id.AHU(): {ID: "unit", Tag: "unit", DesignFlowM3s: o.DesignFlowM3s, FanControl: plant.FlowHeld}},
		Banks: map[plant.BankID]plant.Bank{id: bank},
	})
	entries := []entry.Entry{{Seq: 1, Kind: entry.KindSwap, Place: id, At: start, Body: entry.Swap{}}}
	if r := rows[0]; r.hours == 0 && o.CleanPa == 0 { // read at the change-out, which a column of times begins with
		entries[0].Body = entry.Swap{CleanPa: &r.reading.Pa, FlowM3s: r.reading.FlowM3s, FanPct: r.reading.FanPct, Confirmed: true}
		if len(rows) > 1 {
			rows = rows[1:]
		}
	}
	line := map[int64]int{}
	now := start
	for i, x := range rows {
		at := x.at
		if !byTime {
			at = epoch.Add(time.Duration(x.hours * float64(time.Hour)))
		}
		seq := int64(i + 2)
		line[seq] = x.line
		entries = append(entries, entry.Entry{Seq: seq, Kind: entry.KindReading, Place: id, At: at, Body: x.reading})
		if at.After(now) {
			now = at
		}
	}
	a := assess.Bank(assess.Input{Register: reg, Bank: id, Entries: entries, Prior: prior, Now: now})
	out := Forecast{
		MedianHours: a.Hours.Median, P10Hours: a.Hours.P10, P90Hours: a.Hours.P90, P025Hours: a.Hours.P025, P975Hours: a.Hours.P975,
		CleanPa: a.CleanPa, PaNow: a.NowPa, LimitPa: a.LimitPa, Prior: a.PriorLevel, Findings: []Finding{},
	}
	for _, f := range a.Findings {
		out.Findings = append(out.Findings, Finding{line[f.Seq], f.Code, f.Text, f.Check})
	}
	return out
}

// read reads the table.
func read(r io.Reader) (rows []row, byTime bool, err error) {
	in := csv.NewReader(r)
	in.FieldsPerRecord = -1
	in.TrimLeadingSpace = true
	head, err := in.Read()
	if err != nil {
		return nil, false, errors.New("no header row; write for example: hours,pa")
	}
	col := map[string]int{}
	for i, h := range head {
		col[strings.ToLower(strings.Trim(strings.TrimSpace(h), "\ufeff"))] = i
	}
	_, hasHours := col["hours"]
	_, hasTime := col["time"]
	if _, ok := col["pa"]; !ok || hasHours == hasTime {
		return nil, false, fmt.Errorf("columns %s: want pa and one of hours, time", strings.Join(head, ", "))
	}
	for n := 2; ; n++ {
		rec, err := in.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, hasTime, fmt.Errorf("row %d: %w", n, err)
		}
		x := row{line: n}
		if err := x.fill(rec, col); err != nil {
			return nil, hasTime, fmt.Errorf("row %d, %w", n, err)
		}
		rows = append(rows, x)
	}
	if len(rows) == 0 {
		return nil, hasTime, errors.New("a header but no rows")
	}
	return rows, hasTime, nil
}

func (x *row) fill(rec []string, col map[string]int) error {
	cell := func(name string) (string, bool) {
		i, ok := col[name]
		if !ok || i >= len(rec) || strings.TrimSpace(rec[i]) == "" {
			return "", false
		}
		return strings.TrimSpace(rec[i]), true
	}
	number := func(name string, lo, hi float64, into func(float64)) error {
		s, ok := cell(name)
		if !ok {
			return nil
		}
		v, err := strconv.ParseFloat(s, 64)
		if err != nil || math.IsNaN(v) || v < lo || v > hi {
			return fmt.Errorf("%s: %q is not a number between %g and %g", name, s, lo, hi)
		}
		into(v)
		return nil
	}
	for _, must := range []string{"pa", "hours", "time"} {
		if _, in := col[must]; in {
			if _, ok := cell(must); !ok {
				return fmt.Errorf("%s: empty", must)
			}
		}
	}
	if s, ok := cell("time"); ok {
		at, err := parseTime(s)
		if err != nil {
			return err
		}
		x.at = at
	}
	return errors.Join(
		number("hours", 0, 1e6, func(v float64) { x.hours = v }),
		number("pa", -500, 5000, func(v float64) { x.reading.Pa = v }),
		number("flow_m3s", 0, 500, func(v float64) { x.reading.FlowM3s = &v }),
		number("fan_pct", 0, 200, func(v float64) { x.reading.FanPct = &v }),
	)
}

func parseTime(s string) (time.Time, error) {
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02 15:04", time.DateOnly} {
		if t, err := time.Parse(layout, s); err == nil {
			return t, nil
		}
	}
	return time.Time{}, fmt.Errorf("time: %q is no time; write 2026-03-02T08:00:00Z or 2026-03-02", s)
}
