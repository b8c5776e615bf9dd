package webhook

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"clogwise/bot/webhook/proof"
	"clogwise/bot/webhook/wire"
	"clogwise/internal/ledger"
	"clogwise/internal/outgoing"
	"clogwise/internal/plant"
)

// Schemes of keys.
const (
	Signature = proof.Signature // Standard Webhooks headers
	Bearer    = proof.Bearer    // for plant that cannot sign
)

// NewKey makes a key and its secret, which is not kept in the clear for bearer
// keys: a hash is enough to know it again. A signature can only be checked with
// the secret itself.
func NewKey(name, scheme string, sites, points []string, now time.Time) (ledger.Key, string, error) {
	if strings.TrimSpace(name) == "" || wire.PlainText(name) != nil {
		return ledger.Key{}, "", fmt.Errorf("name %q does not do; write who uses the key, such as \"hall automation\"", wire.Clip(name))
	}
	var id [6]byte
	rand.Read(id[:]) //nolint:errcheck // never fails
	k := ledger.Key{ID: "k" + hex.EncodeToString(id[:]), Name: name, Scheme: scheme, Sites: sites, Points: points, Created: now.UTC()}
	secret, err := arm(&k)
	return k, secret, err
}

// arm gives a key a fresh secret of its scheme: 32 random bytes, of the 24 to 64
// that Standard Webhooks asks for.
func arm(k *ledger.Key) (secret string, err error) {
	var raw [32]byte
	rand.Read(raw[:]) //nolint:errcheck // never fails
	k.Hash, k.Secret = nil, nil
	switch k.Scheme {
	case Signature, outgoing.Scheme:
		k.Secret = raw[:]
		return secretPrefix + base64.StdEncoding.EncodeToString(raw[:]), nil
	case Bearer:
		secret = "cw_" + base64.RawURLEncoding.EncodeToString(raw[:])
		h := sha256.Sum256([]byte(secret))
		k.Hash = h[:]
		return secret, nil
	}
	return "", fmt.Errorf("scheme %q is neither signature nor bearer", k.Scheme)
}

// secretPrefix begins a secret as people see it (Standard Webhooks).
const secretPrefix = "whsec_"

// Rotate makes the successor of a key among all keys: the same name, scope and
// once-only ids, another secret. The old key ends after overlap, until when both
// are taken; a sender may sign with both.
func Rotate(keys []ledger.Key, id string, overlap time.Duration, now time.Time) (old, fresh ledger.Key, secret string, err error) {
	i := slices.IndexFunc(keys, func(k ledger.Key) bool { return k.ID == id })
	switch {
	case i < 0:
		return old, fresh, "", fmt.Errorf("no key %s; clogwise key list shows them", id)
	case overlap < 0:
		return old, fresh, "", fmt.Errorf("overlap %s is less than nothing; write for example 24h", overlap)
	}
	old = keys[i]
	switch {
	case old.Revoked != nil:
		return old, fresh, "", fmt.Errorf("key %s is revoked; make another: clogwise key new NAME", id)
	case old.Expires != nil:
		return old, fresh, "", fmt.Errorf("key %s has been rotated and ends %s; rotate its successor, see clogwise key list",
			id, old.Expires.UTC().Format(time.RFC3339))
	}
	fresh = old
	fresh.ID = lineage(id) + "." + strconv.Itoa(generation(keys, lineage(id))+1)
	fresh.Created = now.UTC()
	if secret, err = arm(&fresh); err != nil {
		return old, fresh, "", err
	}
	ends := now.Add(overlap).UTC()
	old.Expires = &ends
	return old, fresh, secret, nil
}

// lineage is what a key shares with those it was rotated from and to. Once-only
// ids belong to it: a message resent under the next key is still known.
func lineage(id string) string {
	first, _, _ := strings.Cut(id, ".")
	return first
}

// generation is the highest number among the keys of a lineage; the first is 1.
func generation(keys []ledger.Key, line string) int {
	most := 1
	for _, k := range keys {
		if _, n, ok := strings.Cut(k.ID, "."); ok && lineage(k.ID) == line {
			if g, err := strconv.Atoi(n); err == nil {
				most = max(most, g)
			}
		}
	}
	return most
}

// errScope is why an item is refused that the key may not write.
var errScope = errors.New("this key may not write there")

// covers reports whether a key's scope covers a bank reached by a point name
// (empty: by its id).
func covers(k ledger.Key, bank plant.BankID, point string) bool {
	return coversSite(k, bank.Site()) && coversPoint(k, point)
}

func coversSite(k ledger.Key, site string) bool {
	return len(k.Sites) == 0 || slices.Contains(k.Sites, site)
}

// coversPoint takes prefixes without regard to case, as point names are. A prefix
// that ends in a figure ends with its number: AHU-1 is not AHU-10.
func coversPoint(k ledger.Key, point string) bool {
	if len(k.Points) == 0 {
		return true
	}
	point = strings.ToLower(point)
	return point != "" && slices.ContainsFunc(k.Points, func(p string) bool {
		rest, ok := strings.CutPrefix(point, strings.ToLower(p))
		return ok && !(endsInDigit(p) && rest != "" && isDigit(rest[0]))
	})
}

func endsInDigit(s string) bool { return s != "" && isDigit(s[len(s)-1]) }

func isDigit(c byte) bool { return c >= '0' && c <= '9' }
