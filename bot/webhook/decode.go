package webhook

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"mime"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// item is one reading or change-out as integrators send it. Pointers tell absent
// from zero.
type item struct {
	ID    string     `json:"id"`    // once-only within the key, optional
	Bank  string     `json:"bank"`  // "site/ahu/bank"
	Point string     `json:"point"` // or the building system's point name
	At    *time.Time `json:"at"`    // RFC 3339; default: now

	Pa        *float64 `json:"pa"`
	Value     *float64 `json:"value"` // with unit, instead of pa
	Unit      string   `json:"unit"`
	OverRange bool     `json:"over_range"` // at or above the top given in pa
	Suspect   bool     `json:"suspect"`

	FlowM3s *float64 `json:"flow_m3s"`
	FanHz   *float64 `json:"fan_hz"`
	FanPct  *float64 `json:"fan_pct"`

	Count    *int     `json:"count"`
	CleanPa  *float64 `json:"clean_pa"`
	BeforePa *float64 `json:"before_pa"`
	Item     string   `json:"item"`
	Who      string   `json:"who"`
}

// Bounds of what is believed at all; beyond them an item is refused.
const (
	maxPa      = 5000
	minPa      = -500
	maxFlowM3s = 500
	maxHz      = 400
	maxPct     = 200
	maxDepth   = 8
)

// errType is answered as 415.
var errType = errors.New("unsupported content type; send application/json, application/x-ndjson or text/csv")

// decodeItems reads a body into its items. An error means that the body as a
// whole cannot be read.
func decodeItems(contentType string, body []byte, most int) ([]item, error) {
	kind, params, err := mime.ParseMediaType(contentType)
	if err != nil {
		return nil, errType
	}
	if cs := params["charset"]; cs != "" && !strings.EqualFold(cs, "utf-8") {
		return nil, fmt.Errorf("%w, in UTF-8", errType)
	}
	if !utf8.Valid(body) {
		return nil, errors.New("the body is not valid UTF-8")
	}
	var items []item
	switch kind {
	case "application/json":
		items, err = decodeJSON(body)
	case "application/x-ndjson", "application/jsonl":
		items, err = decodeLines(body)
	case "text/csv":
		items, err = decodeCSV(body)
	default:
		return nil, errType
	}
	switch {
	case err != nil:
		return nil, err
	case len(items) == 0:
		return nil, errors.New("the body holds no item")
	case len(items) > most:
		return nil, fmt.Errorf("%d items in one request; send at most %d", len(items), most)
	}
	return items, nil
}

func decodeJSON(body []byte) ([]item, error) {
	if err := checkJSON(body); err != nil {
		return nil, err
	}
	if trimmed := bytes.TrimLeft(body, " \t\r\n"); len(trimmed) > 0 && trimmed[0] == '[' {
		var items []item
		return items, strict(body, &items)
	}
	var one item
	err := strict(body, &one)
	return []item{one}, err
}

func decodeLines(body []byte) ([]item, error) {
	var items []item
	n := 0
	for line := range bytes.Lines(body) {
		n++
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		if err := checkJSON(line); err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		var one item
		if err := strict(line, &one); err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		items = append(items, one)
	}
	return items, nil
}

func strict(raw []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return fmt.Errorf("JSON: %w", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return errors.New("JSON: something follows the value; for several items send an array, or application/x-ndjson")
	}
	return nil
}

// checkJSON refuses nesting beyond maxDepth and a key given twice, which
// decoders resolve silently and differently.
func checkJSON(raw []byte) error {
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	type level struct {
		object bool
		key    bool // the next string is a key
		seen   map[string]bool
	}
	var stack []level
	value := func() {
		if n := len(stack); n > 0 && stack[n-1].object {
			stack[n-1].key = true
		}
	}
	for {
		t, err := d.Token()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return fmt.Errorf("JSON: %w", err)
		}
		switch v := t.(type) {
		case json.Delim:
			switch v {
			case '{', '[':
				if len(stack) == maxDepth {
					return fmt.Errorf("JSON: nested deeper than %d", maxDepth)
				}
				stack = append(stack, level{object: v == '{', key: v == '{', seen: map[string]bool{}})
			default:
				stack = stack[:len(stack)-1]
				value()
			}
		case string:
			if n := len(stack); n > 0 && stack[n-1].key {
				if stack[n-1].seen[v] {
					return fmt.Errorf("JSON: %q is given twice", v)
				}
				stack[n-1].seen[v] = true
				stack[n-1].key = false
				continue
			}
			value()
		default:
			value()
		}
	}
}

// decodeCSV reads rows whose header names the fields of item.
func decodeCSV(body []byte) ([]item, error) {
	r := csv.NewReader(bytes.NewReader(body))
	r.TrimLeadingSpace = true
	head, err := r.Read()
	if err != nil {
		return nil, errors.New("CSV: no header row; write for example: bank,at,pa")
	}
	for i, h := range head {
		head[i] = strings.ToLower(strings.TrimSpace(h))
	}
	var items []item
	for n := 2; ; n++ {
		rec, err := r.Read()
		if err == io.EOF {
			return items, nil
		}
		if err != nil {
			return nil, fmt.Errorf("CSV: %w", err)
		}
		var one item
		for i, cell := range rec {
			if cell = strings.TrimSpace(cell); cell == "" {
				continue
			}
			if err := one.set(head[i], cell); err != nil {
				return nil, fmt.Errorf("CSV row %d, %s: %w", n, head[i], err)
			}
		}
		items = append(items, one)
	}
}

func (it *item) set(name, cell string) error {
	number := func(into **float64) error {
		f, err := strconv.ParseFloat(cell, 64)
		if err != nil {
			return fmt.Errorf("%q is not a number", cell)
		}
		*into = &f
		return nil
	}
	switch name {
	case "id":
		it.ID = cell
	case "bank":
		it.Bank = cell
	case "point":
		it.Point = cell
	case "unit":
		it.Unit = cell
	case "item":
		it.Item = cell
	case "who":
		it.Who = cell
	case "at":
		t, err := time.Parse(time.RFC3339, cell)
		if err != nil {
			return fmt.Errorf("%q is not an RFC 3339 time", cell)
		}
		it.At = &t
	case "pa":
		return number(&it.Pa)
	case "value":
		return number(&it.Value)
	case "flow_m3s":
		return number(&it.FlowM3s)
	case "fan_hz":
		return number(&it.FanHz)
	case "fan_pct":
		return number(&it.FanPct)
	case "clean_pa":
		return number(&it.CleanPa)
	case "before_pa":
		return number(&it.BeforePa)
	case "count":
		n, err := strconv.Atoi(cell)
		if err != nil {
			return fmt.Errorf("%q is not a whole number", cell)
		}
		it.Count = &n
	case "over_range", "suspect":
		b, err := strconv.ParseBool(cell)
		if err != nil {
			return fmt.Errorf("%q is neither true nor false", cell)
		}
		if name == "suspect" {
			it.Suspect = b
		} else {
			it.OverRange = b
		}
	default:
		return errors.New("no such column")
	}
	return nil
}

// decodeReading makes the body of a reading; held says why it is kept out of the
// trend, err why it is refused.
func decodeReading(it item, bank plant.Bank, limitPa float64) (body entry.Body, held string, err error) {
	pa, err := it.pressure()
	if err != nil {
		return nil, "", err
	}
	if err := it.air(); err != nil {
		return nil, "", err
	}
	if it.OverRange {
		return entry.OverRange{TopPa: pa, FlowM3s: it.FlowM3s, FanHz: it.FanHz, FanPct: it.FanPct}, "", nil
	}
	r := entry.Reading{Pa: pa, FlowM3s: it.FlowM3s, FanHz: it.FanHz, FanPct: it.FanPct, StepPa: bank.Gauge.StepPa, Suspect: it.Suspect, Unit: it.Unit}
	switch {
	case pa <= 0:
		held = "zero or negative: check the tubes and the fan"
	case bank.Gauge.TopPa > 0 && pa > bank.Gauge.TopPa:
		held = fmt.Sprintf("above the gauge's top of %.0f Pa", bank.Gauge.TopPa)
	case limitPa > 0 && pa > 2*limitPa:
		held = fmt.Sprintf("above twice the limit of %.0f Pa", limitPa)
	}
	r.Suspect = r.Suspect || held != ""
	return r, held, nil
}

func (it item) pressure() (float64, error) {
	switch {
	case it.Pa != nil && it.Value != nil:
		return 0, errors.New("give pa, or value with unit, not both")
	case it.Pa != nil:
		return inRange("pa", *it.Pa, minPa, maxPa)
	case it.Value == nil:
		return 0, errors.New("no pressure: give pa, or value with unit")
	}
	u, ok := units.ParsePressureUnit(it.Unit)
	if !ok {
		return 0, fmt.Errorf("unit %q is not known; use Pa, kPa, hPa, mbar, mmH2O or inH2O", it.Unit)
	}
	return inRange("value in Pa", u.ToPa(*it.Value), minPa, maxPa)
}

func (it item) air() error {
	for _, f := range []struct {
		name string
		v    *float64
		most float64
	}{{"flow_m3s", it.FlowM3s, maxFlowM3s}, {"fan_hz", it.FanHz, maxHz}, {"fan_pct", it.FanPct, maxPct}} {
		if f.v != nil {
			if _, err := inRange(f.name, *f.v, 0, f.most); err != nil {
				return err
			}
		}
	}
	return nil
}

func inRange(name string, v, lo, hi float64) (float64, error) {
	if math.IsNaN(v) || v < lo || v > hi {
		return 0, fmt.Errorf("%s is %g, not between %g and %g", name, v, lo, hi)
	}
	return v, nil
}

// decodeSwap makes the body of a change-out.
func decodeSwap(it item, bank plant.Bank, _ float64) (entry.Body, string, error) {
	if err := it.air(); err != nil {
		return nil, "", err
	}
	for _, p := range []struct {
		name string
		v    *float64
	}{{"clean_pa", it.CleanPa}, {"before_pa", it.BeforePa}} {
		if p.v != nil {
			if _, err := inRange(p.name, *p.v, 0, maxPa); err != nil {
				return nil, "", err
			}
		}
	}
	if it.Count != nil && (*it.Count < 1 || *it.Count > 10_000) {
		return nil, "", fmt.Errorf("count is %d, not between 1 and 10000", *it.Count)
	}
	return entry.Swap{
		Count: it.Count, CleanPa: it.CleanPa, BeforePa: it.BeforePa, FlowM3s: it.FlowM3s, FanHz: it.FanHz, FanPct: it.FanPct,
		Item: it.Item, Who: it.Who, Confirmed: it.Count != nil && it.CleanPa != nil,
	}, "", nil
}
