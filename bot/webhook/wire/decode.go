package wire

import (
	"bytes"
	"errors"
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"strings"
	"unicode/utf8"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
)

// ErrType is of a body in a form that is not read; it is answered as 415.
var ErrType = errors.New("unsupported content type; send application/json, application/x-ndjson, text/csv, " +
	"application/cloudevents+json or application/cloudevents-batch+json")

var byteOrderMark = []byte("\xef\xbb\xbf")

// Decode reads a body, unpacked, into its items, of which it must hold 1 to most.
// The headers tell its form and, with ce- headers, its event. An error means that
// the body as a whole cannot be read, and wraps ErrType when that is for its
// form; what is wrong with a single item is kept beside it.
func Decode(h http.Header, body []byte, most int) ([]Parsed, error) {
	kind, params, err := mime.ParseMediaType(h.Get("Content-Type"))
	if err != nil {
		return nil, ErrType
	}
	if cs := params["charset"]; cs != "" && !strings.EqualFold(cs, "utf-8") {
		return nil, fmt.Errorf("%w, in UTF-8", ErrType)
	}
	if !utf8.Valid(body) {
		return nil, errors.New("the body is not valid UTF-8")
	}
	body = bytes.TrimPrefix(body, byteOrderMark)
	if len(bytes.TrimSpace(body)) == 0 {
		return nil, errors.New("the body is empty")
	}
	items, err := decodeForm(kind, body, most)
	if err != nil {
		return nil, err
	}
	if len(items) == 0 {
		return nil, errors.New("the body holds no item")
	}
	return binaryEvent(h, kind, items)
}

func decodeForm(kind string, body []byte, most int) ([]Parsed, error) {
	switch kind {
	case "application/json":
		return decodeJSON(body, most)
	case "application/x-ndjson", "application/jsonl":
		return decodeLines(body, most)
	case "text/csv":
		return decodeCSV(body, most)
	case "application/cloudevents+json", "application/cloudevents-batch+json":
		return decodeEvents(body, most)
	}
	return nil, ErrType
}

// binaryEvent stamps items with the event that the request's ce- headers
// describe (CloudEvents 1.0, HTTP binding, binary mode). A signature covers the
// id, the time and the body, so with one the headers could be changed on the
// way; such events must come in structured mode.
func binaryEvent(h http.Header, kind string, items []Parsed) ([]Parsed, error) {
	if strings.HasPrefix(kind, "application/cloudevents") {
		return items, nil
	}
	if h.Get("Ce-Specversion") == "" {
		// Taken as no event it would lose its once-only id, and a resend count twice.
		if h.Get("Ce-Id") != "" && h.Get("Ce-Source") != "" {
			return nil, errors.New("ce- headers: no specversion; send ce-specversion: 1.0")
		}
		return items, nil
	}
	if h.Get(standardwebhooks.HeaderWebhookSignature) != "" {
		return nil, errors.New("a signature does not cover ce- headers; send the event in structured mode, as application/cloudevents+json")
	}
	attrs := map[string]string{}
	for _, name := range []string{"specversion", "id", "source", "type", "time"} {
		switch vs := h.Values("Ce-" + name); len(vs) {
		case 0:
		case 1:
			attrs[name] = unescaped(vs[0])
		default:
			return nil, fmt.Errorf("ce-%s is sent more than once", name)
		}
	}
	if err := checkEvent(attrs, len(items)); err != nil {
		return nil, fmt.Errorf("ce- headers: %w", err)
	}
	return stamp(items, attrs), nil
}

// unescaped undoes the percent-encoding of an attribute in a header, and the
// quotes that the binding asks receivers to take as well (CloudEvents 1.0.2, HTTP
// binding, 3.1.3.2): the same event in structured mode must have the same id. A
// value that is no such encoding is taken as it stands.
func unescaped(v string) string {
	if n := len(v); n > 1 && v[0] == '"' && v[n-1] == '"' {
		v = strings.NewReplacer(`\\`, `\`, `\"`, `"`).Replace(v[1 : n-1])
	}
	if plain, err := url.PathUnescape(v); err == nil && utf8.ValidString(plain) {
		return plain
	}
	return v
}
