package webhook

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

	"clogwise/internal/ledger"
)

// Headers of a signed message (Standard Webhooks).
const (
	headerID        = standardwebhooks.HeaderWebhookID
	headerTimestamp = standardwebhooks.HeaderWebhookTimestamp
	headerSignature = standardwebhooks.HeaderWebhookSignature
)

// tolerance is how far a signed request's clock may be off, either way.
const tolerance = 5 * time.Minute

var (
	errNoAuth = errors.New("no credentials: send webhook-id, webhook-timestamp and webhook-signature headers, or Authorization: Bearer KEY")
	errAuth   = errors.New("the credentials match no valid key; check the secret, that the signature is over id.timestamp.body " +
		"as sent, and that the key is neither revoked nor expired")
	errBadID = fmt.Errorf("webhook-id must be 1 to %d visible ASCII characters", maxText)
)

// claim is what a request says of itself before it is believed.
type claim struct {
	bearer string // or else it is signed
	id     string // webhook-id, may be empty with a bearer key
}

// claimOf reads the credentials of a request, as far as that needs no body: what
// has none, or a clock far off, is turned away before a body is taken in.
func claimOf(h http.Header, now time.Time) (claim, error) {
	for _, name := range []string{"Authorization", headerID, headerTimestamp, headerSignature} {
		if len(h.Values(name)) > 1 {
			return claim{}, fmt.Errorf("%s is sent more than once", strings.ToLower(name))
		}
	}
	c := claim{id: h.Get(headerID)}
	if c.id != "" && !visible(c.id) {
		return c, errBadID
	}
	if scheme, secret, ok := strings.Cut(h.Get("Authorization"), " "); ok && strings.EqualFold(scheme, "Bearer") {
		c.bearer = strings.TrimSpace(secret)
		if c.bearer == "" {
			return c, errNoAuth
		}
		return c, nil
	}
	if c.id == "" || h.Get(headerSignature) == "" || h.Get(headerTimestamp) == "" {
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
	if len(s) > maxText {
		return false
	}
	for i := range len(s) {
		if s[i] < '!' || s[i] > '~' {
			return false
		}
	}
	return true
}

// authenticate finds the key that a request proves to hold. Every failure of
// proof looks alike.
func authenticate(keys []ledger.Key, c claim, h http.Header, body []byte, now time.Time) (ledger.Key, error) {
	if c.bearer != "" {
		return byBearer(keys, c.bearer, now)
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

func byBearer(keys []ledger.Key, secret string, now time.Time) (ledger.Key, error) {
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
