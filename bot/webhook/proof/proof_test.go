package proof_test

import (
	"crypto/sha256"
	"net/http"
	"strings"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"clogwise/bot/webhook/proof"
	"clogwise/internal/ledger"
)

const one = `{"bank":"north/ahu-1/secondary","pa":120,"at":"2026-03-02T08:00:00Z"}`

// noon is the present: 1772452800 s since 1970.
var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// No header but a right one proves a key: the fuzzer never has the secret, so
// the only signature that may pass is the one made here, for its own id, time
// and body.
func FuzzSignature(f *testing.F) {
	k := ledger.Key{ID: "k1", Scheme: proof.Signature, Secret: []byte("0123456789abcdef0123456789abcdef")}
	const secret = "cw_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8"
	sum := sha256.Sum256([]byte(secret))
	bearer := ledger.Key{ID: "k2", Scheme: proof.Bearer, Hash: sum[:]}
	hook, err := standardwebhooks.NewWebhookRaw(k.Secret)
	if err != nil {
		f.Fatal(err)
	}
	good, err := hook.Sign("m1", noon, []byte(one))
	if err != nil {
		f.Fatal(err)
	}
	f.Add("m1", "1772452800", good, "", []byte(one))
	f.Add("m1", "1772452800", "v1,AAAA "+good, "", []byte(one))
	f.Add("m1", "+1772452800", good, "Bearer", []byte(one))
	f.Add("m1.1772452800", "1772452800", good, "Basic x", []byte(one))
	f.Add("", "", "", "Bearer "+secret, []byte(one))
	f.Add("m1", "1772452800", "v1,v1,,v1a", "bearer  x", []byte{})
	f.Fuzz(func(t *testing.T, id, stamp, signature, auth string, body []byte) {
		h := http.Header{}
		for name, v := range map[string]string{"webhook-id": id, "webhook-timestamp": stamp, "webhook-signature": signature, "Authorization": auth} {
			if v != "" {
				h.Set(name, v)
			}
		}
		var got ledger.Key
		c, err := proof.ClaimOf(h, noon)
		if err == nil {
			got, err = proof.Key([]ledger.Key{k, bearer}, c, h, body, noon)
		}
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
