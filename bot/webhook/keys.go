package webhook

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// Schemes of keys.
const (
	Signature = "signature" // Standard Webhooks headers
	Bearer    = "bearer"    // for plant that cannot sign
)

// NewKey makes a key and its secret, which is not kept in the clear for bearer
// keys: a hash is enough to know it again. A signature can only be checked with
// the secret itself.
func NewKey(name, scheme string, sites, points []string, now time.Time) (ledger.Key, string, error) {
	var raw [32]byte
	if _, err := rand.Read(raw[:]); err != nil {
		return ledger.Key{}, "", err
	}
	var id [6]byte
	if _, err := rand.Read(id[:]); err != nil {
		return ledger.Key{}, "", err
	}
	k := ledger.Key{ID: "k" + hex.EncodeToString(id[:]), Name: name, Scheme: scheme, Sites: sites, Points: points, Created: now.UTC()}
	switch scheme {
	case Signature:
		k.Secret = raw[:]
		return k, "whsec_" + base64.StdEncoding.EncodeToString(raw[:]), nil
	case Bearer:
		secret := "cw_" + k.ID + "_" + base64.RawURLEncoding.EncodeToString(raw[:])
		h := sha256.Sum256([]byte(secret))
		k.Hash = h[:]
		return k, secret, nil
	}
	return ledger.Key{}, "", fmt.Errorf("scheme %q is neither signature nor bearer", scheme)
}

// tolerance is how far a signed request's clock may be off.
const tolerance = 5 * time.Minute

var (
	errNoAuth   = errors.New("no credentials: send webhook-id, webhook-timestamp and webhook-signature headers, or Authorization: Bearer KEY")
	errBadAuth  = errors.New("credentials do not match a valid key; nothing was recorded")
	errOldStamp = errors.New("webhook-timestamp is more than 5 minutes off; set the sender's clock and sign again")
)

// authenticate finds the key that a request proves to hold. Every failure of
// proof looks alike.
func authenticate(keys []ledger.Key, h http.Header, body []byte, now time.Time) (ledger.Key, error) {
	if secret, ok := strings.CutPrefix(h.Get("Authorization"), "Bearer "); ok {
		return byBearer(keys, strings.TrimSpace(secret), now)
	}
	if h.Get(standardwebhooks.HeaderWebhookSignature) == "" {
		return ledger.Key{}, errNoAuth
	}
	sec, err := strconv.ParseInt(h.Get(standardwebhooks.HeaderWebhookTimestamp), 10, 64)
	if err != nil || h.Get(standardwebhooks.HeaderWebhookID) == "" {
		return ledger.Key{}, errNoAuth
	}
	if d := now.Sub(time.Unix(sec, 0)); d > tolerance || d < -tolerance {
		return ledger.Key{}, errOldStamp
	}
	for _, k := range keys {
		if k.Scheme != Signature || !valid(k, now) {
			continue
		}
		hook, err := standardwebhooks.NewWebhookRaw(k.Secret)
		// The library reads the real clock; the window was checked above.
		if err == nil && hook.VerifyIgnoringTimestamp(body, h) == nil {
			return k, nil
		}
	}
	return ledger.Key{}, errBadAuth
}

func byBearer(keys []ledger.Key, secret string, now time.Time) (ledger.Key, error) {
	sum := sha256.Sum256([]byte(secret))
	found := ledger.Key{}
	for _, k := range keys {
		if k.Scheme == Bearer && valid(k, now) && subtle.ConstantTimeCompare(k.Hash, sum[:]) == 1 {
			found = k
		}
	}
	if found.ID == "" {
		return found, errBadAuth
	}
	return found, nil
}

func valid(k ledger.Key, now time.Time) bool {
	return (k.Revoked == nil || now.Before(*k.Revoked)) && (k.Expires == nil || now.Before(*k.Expires))
}

// mayWrite reports whether a key's scope covers a bank reached by a point name
// (empty: by its id).
func mayWrite(k ledger.Key, bank plant.BankID, point string) bool {
	if len(k.Sites) > 0 && !slices.Contains(k.Sites, bank.Site()) {
		return false
	}
	if len(k.Points) == 0 {
		return true
	}
	return slices.ContainsFunc(k.Points, func(p string) bool { return point != "" && strings.HasPrefix(point, p) })
}
