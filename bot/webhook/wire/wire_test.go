package wire_test

import (
	"bytes"
	"compress/gzip"
	"errors"
	"net/http"
	"strings"
	"testing"

	"clogwise/bot/webhook/wire"
)

const (
	structured = "application/cloudevents+json"
	batched    = "application/cloudevents-batch+json"

	one = `{"bank":"north/ahu-1/secondary","pa":120,"at":"2026-03-02T08:00:00Z"}`
)

// Attributes are those of CloudEvents 1.0.2, section "Context Attributes".
func event(id, more string) string {
	return `{"specversion":"1.0","type":"org.example.reading","source":"/north/bms","id":"` + id + `"` + more + `}`
}

// One reading is the same item in every form; only an event gives it a once-only
// key.
func TestFormsSayTheSame(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct{ kind, body, once string }{
		"object":      {"application/json", one, ""},
		"list":        {"application/json", "[" + one + "]", ""},
		"lines":       {"application/x-ndjson", "\n" + one + "\n", ""},
		"CSV":         {"text/csv", "bank,pa,at\nnorth/ahu-1/secondary,120,2026-03-02T08:00:00Z\n", ""},
		"event":       {structured, event("e1", `,"data":`+one), "/north/bms e1 000000"},
		"batch":       {batched, "[" + event("e1", `,"data":`+one) + "]", "/north/bms e1 000000"},
		"event, time": {structured, event("e1", `,"time":"2026-03-02T08:00:00Z","data":{"bank":"north/ahu-1/secondary","pa":120}`), "/north/bms e1 000000"},
	} {
		items, err := wire.Decode(http.Header{"Content-Type": {tc.kind}}, []byte(tc.body), 1)
		if err != nil || len(items) != 1 || items[0].Err != nil {
			t.Errorf("%s: %+v, error %v", name, items, err)
			continue
		}
		p := items[0]
		if p.Bank != "north/ahu-1/secondary" || p.Pa == nil || *p.Pa != 120 || p.At == nil || p.At.Unix() != 1772438400 || p.Once != tc.once {
			t.Errorf("%s: %+v", name, p)
		}
	}
}

func TestUnpackKeepsTheBound(t *testing.T) {
	t.Parallel()
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	if _, err := z.Write([]byte(one)); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	plain, err := wire.Unpack(" GZIP ", packed.Bytes(), int64(len(one)))
	if err != nil || string(plain) != one {
		t.Errorf("at the bound: %q, error %v", plain, err)
	}
	var large *http.MaxBytesError
	if _, err := wire.Unpack("gzip", packed.Bytes(), int64(len(one))-1); !errors.As(err, &large) || large.Limit != int64(len(one))-1 {
		t.Errorf("over the bound: %v", err)
	}
	if _, err := wire.Unpack("gzip", []byte(one), 1000); !errors.Is(err, wire.ErrUnpack) {
		t.Errorf("not packed: %v", err)
	}
	if _, err := wire.Unpack("br", []byte(one), 1000); !errors.Is(err, wire.ErrEncoding) {
		t.Errorf("another encoding: %v", err)
	}
}

// The inch of water is 249.0889 Pa (conventional, NIST SP 811).
func TestPressure(t *testing.T) {
	t.Parallel()
	half, far := 0.5, 6000.0
	pa, err := wire.Item{Value: &half, Unit: "in wc"}.Pressure()
	if err != nil || pa < 124.54 || pa > 124.55 {
		t.Errorf("0.5 in wc: %g Pa, error %v", pa, err)
	}
	for want, it := range map[string]wire.Item{
		"no pressure":     {},
		"not both":        {Pa: &half, Value: &half, Unit: "Pa"},
		"is not known":    {Value: &half, Unit: "furlong"},
		"not between":     {Pa: &far},
		"value in Pa is ": {Value: &far, Unit: "Pa"},
	} {
		if _, err := it.Pressure(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}
