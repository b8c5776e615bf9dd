package webhook

import (
	"bytes"
	"errors"
	"fmt"
	"mime"
	"net/http"
	"strings"
	"unicode/utf8"
)

// errType is answered as 415.
var errType = errors.New("unsupported content type; send application/json, application/x-ndjson, text/csv, " +
	"application/cloudevents+json or application/cloudevents-batch+json")

var byteOrderMark = []byte("\xef\xbb\xbf")

// decodeItems reads a body into its items. An error means that the body as a
// whole cannot be read; what is wrong with a single item is kept beside it.
func decodeItems(h http.Header, body []byte, most int) ([]parsed, error) {
	kind, params, err := mime.ParseMediaType(h.Get("Content-Type"))
	if err != nil {
		return nil, errType
	}
	if cs := params["charset"]; cs != "" && !strings.EqualFold(cs, "utf-8") {
		return nil, fmt.Errorf("%w, in UTF-8", errType)
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

func decodeForm(kind string, body []byte, most int) ([]parsed, error) {
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
	return nil, errType
}

// binaryEvent stamps items with the event that the request's ce- headers
// describe (CloudEvents 1.0, HTTP binding, binary mode). A signature covers the
// id, the time and the body, so with one the headers could be changed on the
// way; such events must come in structured mode.
func binaryEvent(h http.Header, kind string, items []parsed) ([]parsed, error) {
	if h.Get("Ce-Specversion") == "" || strings.HasPrefix(kind, "application/cloudevents") {
		return items, nil
	}
	if h.Get(headerSignature) != "" {
		return nil, errors.New("a signature does not cover ce- headers; send the event in structured mode, as application/cloudevents+json")
	}
	attrs := map[string]string{}
	for _, name := range []string{"specversion", "id", "source", "type", "time"} {
		if vs := h.Values("Ce-" + name); len(vs) > 0 {
			attrs[name] = vs[0]
		}
	}
	if err := checkEvent(attrs, len(items)); err != nil {
		return nil, fmt.Errorf("ce- headers: %w", err)
	}
	return stamp(items, attrs), nil
}
