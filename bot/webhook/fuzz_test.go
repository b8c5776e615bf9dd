package webhook_test

import (
	"net/http"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"clogwise/bot/webhook"
	"clogwise/internal/ledger"
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
		faults, err := webhook.Decode(http.Header{"Content-Type": {kind}}, body, most)
		if err != nil && len(err.Error()) > 500 {
			t.Errorf("a fault of %d bytes", len(err.Error()))
		}
		if err == nil && (len(faults) == 0 || len(faults) > most) {
			t.Errorf("%d items", len(faults))
		}
		for _, s := range faults {
			if len(s) > 500 || !utf8.ValidString(s) {
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
		plain, err := webhook.Unpack(encoding, body, most)
		if err == nil && len(plain) > most {
			t.Errorf("%d bytes", len(plain))
		}
	})
}

// No header but a right one proves a key: the fuzzer never has the secret, so
// the only signature that may pass is the one made here, for its own id, time
// and body.
func FuzzSignature(f *testing.F) {
	k := ledger.Key{ID: "k1", Scheme: webhook.Signature, Secret: []byte("0123456789abcdef0123456789abcdef")}
	bearer, secret, err := webhook.NewKey("b", webhook.Bearer, nil, nil, noon)
	if err != nil {
		f.Fatal(err)
	}
	t := &testing.T{}
	good := sign(t, "whsec_MDEyMzQ1Njc4OWFiY2RlZjAxMjM0NTY3ODlhYmNkZWY=", "m1", noon, one)
	f.Add("m1", "1772452800", good, "", []byte(one))
	f.Add("m1", "1772452800", "v1,AAAA "+good, "", []byte(one))
	f.Add("m1", "+1772452800", good, "Bearer", []byte(one))
	f.Add("m1.1772452800", "1772452800", good, "Basic x", []byte(one))
	f.Add("", "", "", "Bearer "+secret, []byte(one))
	f.Add("m1", "1772452800", "v1,v1,,v1a", "bearer  x", []byte{})
	s := webhook.Server{Now: func() time.Time { return noon }}
	f.Fuzz(func(t *testing.T, id, stamp, signature, auth string, body []byte) {
		h := http.Header{}
		for name, v := range map[string]string{"webhook-id": id, "webhook-timestamp": stamp, "webhook-signature": signature, "Authorization": auth} {
			if v != "" {
				h.Set(name, v)
			}
		}
		got, err := webhook.Prove(s, []ledger.Key{k, bearer}, h, body)
		signed := got.ID == "k1" && id == "m1" && string(body) == one && strings.Contains(signature, good)
		borne := got.ID == bearer.ID && strings.Contains(auth, secret)
		if (err == nil) != (signed || borne) {
			t.Errorf("key %q, error %v", got.ID, err)
		}
		if err != nil && strings.Contains(err.Error(), secret) {
			t.Error("the secret is in the error")
		}
	})
}
