package wire_test

import (
	"net/http"
	"strings"
	"testing"
	"unicode/utf8"

	"clogwise/bot/webhook/wire"
)

// Whatever the body, decoding ends, within its bounds, with legible faults.
func FuzzDecode(f *testing.F) {
	for _, s := range []struct{ kind, body string }{
		{"application/json", one}, {"application/json", "[" + one + `,{"pa":1e999,"PA":{"x":[1]}},null]`},
		{"application/x-ndjson", one + "\n" + one}, {"text/csv", "bank,pa\nx,1\n\"y\",NaN\n"},
		{structured, event("e1", `,"data":`+one)}, {batched, "[" + event("e1", `,"data_base64":"e30="`) + "]"},
		{"application/json", "\xef\xbb\xbf[[[[[[[[["}, {"text/csv", "\""}, {"application/json", `{"\ud800":"\u0000"}`},
	} {
		f.Add(s.kind, []byte(s.body))
	}
	f.Fuzz(func(t *testing.T, kind string, body []byte) {
		const most = 50
		items, err := wire.Decode(http.Header{"Content-Type": {kind}}, body, most)
		if err != nil && len(err.Error()) > 500 {
			t.Errorf("a fault of %d bytes", len(err.Error()))
		}
		if err == nil && (len(items) == 0 || len(items) > most) {
			t.Errorf("%d items", len(items))
		}
		for _, p := range items {
			if p.Err == nil {
				continue
			}
			if s := p.Err.Error(); len(s) > 500 || !utf8.ValidString(s) {
				t.Errorf("fault %q", s)
			}
		}
	})
}

func FuzzUnpack(f *testing.F) {
	f.Add("gzip", []byte("\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\xff\x03\x00\x00\x00\x00\x00\x00\x00\x00\x00"))
	f.Add("zstd", []byte("\x28\xb5\x2f\xfd\x04\x00\x01\x00\x00\x99\xe9\xd8\x51"))
	f.Fuzz(func(t *testing.T, encoding string, body []byte) {
		const most = 4096
		switch strings.ToLower(strings.TrimSpace(encoding)) {
		case "", "identity":
			return // as sent, bounded before
		}
		plain, err := wire.Unpack(encoding, body, most)
		if err == nil && len(plain) > most {
			t.Errorf("%d bytes", len(plain))
		}
	})
}
