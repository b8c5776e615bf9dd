package wire

import (
	"bytes"
	"cmp"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"
)

// maxDepth bounds nesting; an item itself has no nested fields.
const maxDepth = 8

// maxAttributes bounds the attributes of an event, its data among them: with more
// it could not be seen that one is given twice.
const maxAttributes = 100

// jsonReader reads items from JSON token by token, so that a name given twice or
// spelt otherwise is seen: decoding into a struct would settle both silently.
// Its errors mean that the body as a whole cannot be read.
type jsonReader struct {
	*jsontext.Decoder
	depth int
	left  int // items that may still come
	most  int
}

func newJSONReader(raw []byte, most int) *jsonReader {
	d := jsontext.NewDecoder(bytes.NewBuffer(raw), jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true)) // half a character becomes U+FFFD, as in encoding/json
	return &jsonReader{Decoder: d, left: most, most: most}
}

// next is the next token; the depth is kept.
func (d *jsonReader) next() (json.Token, error) {
	t, err := d.ReadToken()
	if err != nil {
		return nil, badJSON(err)
	}
	switch t.Kind() {
	case jsontext.KindBeginObject, jsontext.KindBeginArray:
		if d.depth++; d.depth > maxDepth {
			return nil, fmt.Errorf("JSON: nested deeper than %d", maxDepth)
		}
		return json.Delim(t.Kind()), nil
	case jsontext.KindEndObject, jsontext.KindEndArray:
		d.depth--
		return json.Delim(t.Kind()), nil
	case jsontext.KindString:
		return t.String(), nil
	case jsontext.KindNumber:
		return json.Number(t.String()), nil
	case jsontext.KindTrue, jsontext.KindFalse:
		return t.Bool(), nil
	}
	return nil, nil
}

// more reports whether the array or object that is read goes on.
func (d *jsonReader) more() bool {
	k := d.PeekKind()
	return k != jsontext.KindEndObject && k != jsontext.KindEndArray
}

func badJSON(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return errors.New("JSON: the body ends too early")
	}
	return fmt.Errorf("JSON: %s", strings.TrimPrefix(err.Error(), "jsontext: "))
}

// end makes sure that nothing follows.
func (d *jsonReader) end() error {
	if _, err := d.ReadToken(); err != io.EOF {
		return errors.New("JSON: something follows the value; for several items send an array, or application/x-ndjson")
	}
	return nil
}

// skip reads to the end of the value that begins with t.
func (d *jsonReader) skip(t json.Token) error {
	if _, open := t.(json.Delim); !open {
		return nil
	}
	for at := d.depth; d.depth >= at; {
		if _, err := d.next(); err != nil {
			return err
		}
	}
	return nil
}

// room counts an item.
func (d *jsonReader) room() error {
	if d.left--; d.left < 0 {
		return tooMany(d.most)
	}
	return nil
}

func tooMany(most int) error {
	return fmt.Errorf("more than %d items in one request; split them over several", most)
}

// list reads one object or an array of them, each by read.
func (d *jsonReader) list(t json.Token, read func() ([]Parsed, error)) ([]Parsed, error) {
	switch t {
	case json.Delim('{'):
		return read()
	case json.Delim('['):
	default:
		return nil, errors.New("JSON: an object, or an array of objects, is needed")
	}
	var out []Parsed
	for d.more() {
		t, err := d.next()
		if err != nil {
			return nil, err
		}
		if t != json.Delim('{') {
			if err := cmp.Or(d.room(), d.skip(t)); err != nil {
				return nil, err
			}
			out = append(out, Parsed{Err: errors.New("an object is needed")})
			continue
		}
		some, err := read()
		if err != nil {
			return nil, err
		}
		out = append(out, some...)
	}
	_, err := d.next()
	return out, err
}

// item reads an object whose brace has been read.
func (d *jsonReader) item() ([]Parsed, error) {
	if err := d.room(); err != nil {
		return nil, err
	}
	var p Parsed
	for d.more() {
		name, err := d.next()
		if err != nil {
			return nil, err
		}
		v, err := d.next()
		if err != nil {
			return nil, err
		}
		if _, nested := v.(json.Delim); nested {
			if err := d.skip(v); err != nil {
				return nil, err
			}
			if p.Err == nil {
				p.Err = fmt.Errorf("%s: a plain value is needed, nothing nested", Clip(fmt.Sprint(name)))
			}
			continue
		}
		p.put(name.(string), v)
	}
	_, err := d.next()
	return []Parsed{p}, err
}

// decodeJSON reads one item or an array of them.
func decodeJSON(body []byte, most int) ([]Parsed, error) {
	d := newJSONReader(body, most)
	t, err := d.next()
	if err != nil {
		return nil, err
	}
	items, err := d.list(t, d.item)
	if err != nil {
		return nil, err
	}
	return items, d.end()
}

// decodeLines reads one item a line.
func decodeLines(body []byte, most int) ([]Parsed, error) {
	var items []Parsed
	n := 0
	for line := range bytes.Lines(body) {
		n++
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		if len(items) == most {
			return nil, tooMany(most)
		}
		d := newJSONReader(line, 1)
		t, err := d.next()
		if err == nil && t != json.Delim('{') {
			err = errors.New("JSON: an object is needed")
		}
		var some []Parsed
		if err == nil {
			some, err = d.item()
		}
		if err == nil {
			err = d.end()
		}
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		items = append(items, some...)
	}
	return items, nil
}

// decodeEvents reads CloudEvents 1.0 in structured mode, one or a batch. What an
// event carries as data is what would else be the body; its type is not looked
// at, since the path says what is sent.
func decodeEvents(body []byte, most int) ([]Parsed, error) {
	d := newJSONReader(body, most)
	t, err := d.next()
	if err != nil {
		return nil, err
	}
	items, err := d.list(t, d.event)
	if err != nil {
		return nil, err
	}
	return items, d.end()
}

// event reads an event whose brace has been read.
func (d *jsonReader) event() ([]Parsed, error) {
	attrs := map[string]string{}
	var data []Parsed
	var fault error
	for d.more() {
		t, err := d.next()
		if err != nil {
			return nil, err
		}
		name := t.(string)
		v, err := d.next()
		if err != nil {
			return nil, err
		}
		_, again := attrs[name]
		switch {
		case again:
			fault = cmp.Or(fault, fmt.Errorf("%s is given twice", Clip(name)))
			err = d.skip(v)
		case v == nil: // null is the same as left out (CloudEvents 1.0.2, JSON format, 2.2)
			continue
		case len(attrs) == maxAttributes:
			fault = cmp.Or(fault, fmt.Errorf("more than %d attributes", maxAttributes))
			err = d.skip(v)
		case name == "data":
			data, err = d.data(v)
		case name == "data_base64":
			var some []Parsed
			some, err = d.data64(v)
			data = append(data, some...)
		default:
			err = d.skip(v)
		}
		if err != nil {
			return nil, err
		}
		if len(attrs) < maxAttributes {
			s, _ := v.(string)
			attrs[name] = s
		}
	}
	if _, err := d.next(); err != nil {
		return nil, err
	}
	if fault == nil {
		fault = checkEvent(attrs, len(data))
	}
	if fault != nil {
		return []Parsed{{Err: fmt.Errorf("event: %w", fault)}}, nil
	}
	return stamp(data, attrs), nil
}

func (d *jsonReader) data(t json.Token) ([]Parsed, error) {
	if _, nested := t.(json.Delim); !nested {
		return nil, nil
	}
	return d.list(t, d.item)
}

func (d *jsonReader) data64(t json.Token) ([]Parsed, error) {
	s, ok := t.(string)
	if !ok {
		return nil, d.skip(t)
	}
	raw, err := base64.StdEncoding.DecodeString(s)
	if err != nil {
		return nil, errors.New("data_base64 is not base64")
	}
	items, err := decodeJSON(raw, d.left)
	d.left -= len(items)
	return items, err
}

func checkEvent(attrs map[string]string, items int) error {
	if v := attrs["specversion"]; v != "1.0" {
		return fmt.Errorf("specversion %q is not 1.0", Clip(v))
	}
	for _, name := range []string{"id", "source", "type"} {
		if attrs[name] == "" {
			return fmt.Errorf("no %s", name)
		}
		if err := PlainText(attrs[name]); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	// The once-only id joins source and id by a space; a URI reference has none.
	if strings.Contains(attrs["source"], " ") {
		return fmt.Errorf("source %q is no URI reference: it holds a space", Clip(attrs["source"]))
	}
	if kind := attrs["datacontenttype"]; kind != "" && !isJSON(kind) {
		return fmt.Errorf("datacontenttype %q is not read inside an event; put JSON there, or send that form by itself", Clip(kind))
	}
	if t, given := attrs["time"]; given {
		if _, err := time.Parse(time.RFC3339, t); err != nil {
			return fmt.Errorf("time %q is not an RFC 3339 time", Clip(t))
		}
	}
	if _, both := attrs["data_base64"]; both {
		if _, both = attrs["data"]; both {
			return errors.New("data and data_base64 are both given")
		}
	}
	if items == 0 {
		return errors.New("no data: an object or an array of objects is needed")
	}
	return nil
}

func isJSON(kind string) bool {
	base, _, err := mime.ParseMediaType(kind)
	return err == nil && (base == "application/json" || base == "text/json" || strings.HasSuffix(base, "+json"))
}

// stamp gives items the identity and, where they have none, the time of their
// event, whose attributes have been checked.
func stamp(items []Parsed, attrs map[string]string) []Parsed {
	var at *time.Time
	if t, err := time.Parse(time.RFC3339, attrs["time"]); err == nil {
		at = &t
	}
	for i := range items {
		items[i].Once = fmt.Sprintf("%s %s %06d", attrs["source"], attrs["id"], i)
		if items[i].At == nil {
			items[i].At = at
		}
	}
	return items
}
