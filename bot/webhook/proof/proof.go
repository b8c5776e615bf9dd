// Package proof finds the key that a request proves to hold, by a signature
// (Standard Webhooks) or as a bearer. It is pure: keys, headers, body and time
// in, a key out.
package proof

import (
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"clogwise/bot/webhook/wire"
	"clogwise/internal/ledger"
)

// Schemes of keys.
const (
	Signature = "signature" // Standard Webhooks headers
	Bearer    = "bearer"    // for plant that cannot sign
)

// HeaderID is the header of a message's id, which a bearer may send too.
const HeaderID = standardwebhooks.HeaderWebhookID

// Further headers of a signed message (Standard Webhooks).
const (
	headerTimestamp = standardwebhooks.HeaderWebhookTimestamp
	headerSignature = standardwebhooks.HeaderWebhookSignature
)

// tolerance is how far a signed request's clock may be off, either way.
const tolerance = 5 * time.Minute

var (
	errNoAuth = errors.New("no credentials: send webhook-id, webhook-timestamp and webhook-signature headers, or Authorization: Bearer KEY")
	errAuth   = errors.New("the credentials match no valid key; check the secret, that the signature is over id.timestamp.body " +
		"as sent, and that the key is neither revoked nor expired")

	// ErrBadID is of a webhook-id that cannot be kept.
	ErrBadID = fmt.Errorf("webhook-id must be 1 to %d visible ASCII characters", wire.MaxText)
)

// Claim is what a request says of itself before it is believed.
type Claim struct {
	Bearer string // or else it is signed
	ID     string // webhook-id, may be empty with a bearer key
}

// ClaimOf reads the credentials of a request, as far as that needs no body: what
// has none, or a clock far off, is turned away before a body is taken in. An
// error is ErrBadID or says which credentials are wrong.
func ClaimOf(h http.Header, now time.Time) (Claim, error) {
	for _, name := range []string{"Authorization", HeaderID, headerTimestamp, headerSignature} {
		if len(h.Values(name)) > 1 {
			return Claim{}, fmt.Errorf("%s is sent more than once", strings.ToLower(name))
		}
	}
	c := Claim{ID: h.Get(HeaderID)}
	if c.ID != "" && !visible(c.ID) {
		return c, ErrBadID
	}
	if scheme, secret, ok := strings.Cut(h.Get("Authorization"), " "); ok && strings.EqualFold(scheme, "Bearer") {
		c.Bearer = strings.TrimSpace(secret)
		if c.Bearer == "" {
			return c, errNoAuth
		}
		return c, nil
	}
	if c.ID == "" || h.Get(headerSignature) == "" || h.Get(headerTimestamp) == "" {
		return c, errNoAuth
	}
	return c, checkStamp(h.Get(headerTimestamp), now)
}

// checkStamp holds a timestamp in seconds since 1970 to the window.
func checkStamp(stamp string, now time.Time) error {
	sec, err := strconv.ParseInt(stamp, 10, 64)
	if err != nil {
		return errors.New("webhook-timestamp is not a number of seconds since 1970")
	}
	at := time.Unix(sec, 0)
	if at.Before(now.Add(-tolerance)) || at.After(now.Add(tolerance)) {
		return fmt.Errorf("webhook-timestamp is more than 5 minutes off; the time here is %d. Set the sender's clock and sign again", now.Unix())
	}
	return nil
}

func visible(s string) bool {
	if len(s) > wire.MaxText {
		return false
	}
	for i := range len(s) {
		if s[i] < '!' || s[i] > '~' {
			return false
		}
	}
	return true
}

// Key finds the key that a request proves to hold. Every failure of proof looks
// alike.
func Key(keys []ledger.Key, c Claim, h http.Header, body []byte, now time.Time) (ledger.Key, error) {
	if c.Bearer != "" {
		return ByBearer(keys, c.Bearer, now)
	}
	for _, k := range keys {
		if k.Scheme != Signature || len(k.Secret) == 0 || !valid(k, now) {
			continue
		}
		hook, err := standardwebhooks.NewWebhookRaw(k.Secret)
		// The library reads the real clock; the window was checked before.
		if err == nil && hook.VerifyIgnoringTimestamp(body, h) == nil {
			return k, nil
		}
	}
	return ledger.Key{}, errAuth
}

// ByBearer finds the bearer key with a secret, as Key does, before there is a
// body.
func ByBearer(keys []ledger.Key, secret string, now time.Time) (ledger.Key, error) {
	sum := sha256.Sum256([]byte(secret))
	var found ledger.Key
	for _, k := range keys {
		if k.Scheme == Bearer && valid(k, now) && subtle.ConstantTimeCompare(k.Hash, sum[:]) == 1 {
			found = k
		}
	}
	if found.ID == "" {
		return found, errAuth
	}
	return found, nil
}

// valid reports whether a key is taken at now.
func valid(k ledger.Key, now time.Time) bool {
	return (k.Revoked == nil || now.Before(*k.Revoked)) && (k.Expires == nil || now.Before(*k.Expires))
}
