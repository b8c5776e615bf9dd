package wire

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Item is one reading or change-out as integrators send it. Pointers tell absent
// from zero.
type Item struct {
	ID    string     `json:"id,omitempty"`    // once-only within the key and its successors
	Bank  string     `json:"bank,omitempty"`  // "site/ahu/bank"
	Point string     `json:"point,omitempty"` // or the building system's point name
	At    *time.Time `json:"at,omitempty"`    // RFC 3339; default: time of arrival

	Pa        *float64 `json:"pa,omitempty"`
	Value     *float64 `json:"value,omitempty"` // with unit, instead of pa
	Unit      string   `json:"unit,omitempty"`
	OverRange bool     `json:"over_range,omitempty"` // at or above what is given, or the gauge's top
	Suspect   bool     `json:"suspect,omitempty"`
	Wet       bool     `json:"wet,omitempty"` // rain, fog or a washed coil

	FlowM3s *float64 `json:"flow_m3s,omitempty"`
	FanHz   *float64 `json:"fan_hz,omitempty"`
	FanPct  *float64 `json:"fan_pct,omitempty"`

	Count    *int     `json:"count,omitempty"`
	CleanPa  *float64 `json:"clean_pa,omitempty"`
	BeforePa *float64 `json:"before_pa,omitempty"`
	Item     string   `json:"item,omitempty"`
	Who      string   `json:"who,omitempty"`
}

// Parsed is an item as far as it could be read.
type Parsed struct {
	Item
	Once string // once-only key of the event it came in, if any
	Err  error  // why it cannot be taken; the rest of the body still can

	names []string // fields seen so far
}

// MaxText bounds a text field, in bytes.
const MaxText = 256

// slot is where a field is kept, nil for a name that is no field. Names are
// exact: two spellings of one name would be read differently by different
// programs.
func (it *Item) slot(name string) any {
	switch name {
	case "id":
		return &it.ID
	case "bank":
		return &it.Bank
	case "point":
		return &it.Point
	case "at":
		return &it.At
	case "pa":
		return &it.Pa
	case "value":
		return &it.Value
	case "unit":
		return &it.Unit
	case "over_range":
		return &it.OverRange
	case "suspect":
		return &it.Suspect
	case "wet":
		return &it.Wet
	case "flow_m3s":
		return &it.FlowM3s
	case "fan_hz":
		return &it.FanHz
	case "fan_pct":
		return &it.FanPct
	case "count":
		return &it.Count
	case "clean_pa":
		return &it.CleanPa
	case "before_pa":
		return &it.BeforePa
	case "item":
		return &it.Item
	case "who":
		return &it.Who
	}
	return nil
}

// put sets a field from a JSON scalar: string, json.Number, bool, or nil for
// null, which means absent. The first fault is kept in p.Err.
func (p *Parsed) put(name string, v any) {
	if p.Err != nil {
		return
	}
	into := p.slot(name)
	if into == nil {
		p.Err = noField(name)
		return
	}
	for _, n := range p.names {
		if n == name {
			p.Err = fmt.Errorf("%s is given twice", name)
			return
		}
	}
	p.names = append(p.names, name)
	if v == nil {
		return
	}
	if err := assign(into, v); err != nil {
		p.Err = fmt.Errorf("%s: %w", name, err)
	}
}

func noField(name string) error {
	if lower := strings.ToLower(name); lower != name && new(Item).slot(lower) != nil {
		return fmt.Errorf("no field %q; write %s, in small letters", Clip(name), lower)
	}
	return fmt.Errorf("no field %q; the fields are listed at /openapi.json", Clip(name))
}

func assign(into, v any) error {
	switch into := into.(type) {
	case *string:
		s, ok := v.(string)
		if !ok {
			return errors.New("text in quotes is needed")
		}
		if err := PlainText(s); err != nil {
			return err
		}
		*into = s
	case **time.Time:
		s, _ := v.(string)
		t, err := time.Parse(time.RFC3339, s)
		if err != nil {
			return fmt.Errorf("%s is not an RFC 3339 time; write for example 2026-03-02T08:00:00Z", show(v))
		}
		*into = &t
	case **float64:
		f, err := number(v)
		if err != nil {
			return err
		}
		*into = &f
	case **int:
		f, err := number(v)
		if err != nil || f != math.Trunc(f) || math.Abs(f) > math.MaxInt32 {
			return fmt.Errorf("%s is not a whole number", show(v))
		}
		n := int(f)
		*into = &n
	case *bool:
		b, ok := v.(bool)
		if !ok {
			return fmt.Errorf("%s is neither true nor false", show(v))
		}
		*into = b
	}
	return nil
}

func number(v any) (float64, error) {
	n, ok := v.(json.Number)
	if !ok {
		return 0, fmt.Errorf("%s is not a number; leave the field out when there is none", show(v))
	}
	f, err := strconv.ParseFloat(string(n), 64)
	if err != nil || math.IsInf(f, 0) {
		return 0, fmt.Errorf("%s is out of range", show(v))
	}
	return f, nil
}

// PlainText refuses text longer than MaxText or with characters that cannot be
// shown. It keeps what is shown to people and used as a key short and legible.
func PlainText(s string) error {
	if len(s) > MaxText {
		return fmt.Errorf("longer than %d bytes", MaxText)
	}
	for _, r := range s {
		if unicode.IsControl(r) || r == utf8.RuneError {
			return errors.New("holds a character that cannot be shown")
		}
	}
	return nil
}

// show quotes what was sent, shortened.
func show(v any) string {
	if s, ok := v.(string); ok {
		return strconv.Quote(Clip(s))
	}
	return Clip(fmt.Sprint(v))
}

// Clip shortens what a fault quotes to about 40 bytes.
func Clip(s string) string {
	const most = 40
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + "…"
}
