package webhook

import (
	"errors"
	"net/http"
	"time"

	"clogwise/bot/webhook/proof"
	"clogwise/bot/webhook/wire"
	"clogwise/internal/ledger"
)

// admit finds the key a request was sent with, takes a token of its rate limit
// and returns the body as sent. Its order is: what costs least first.
func (s *api) admit(w http.ResponseWriter, r *http.Request) (ledger.Key, []byte, error) {
	now := s.Now()
	c, err := proof.ClaimOf(r.Header, now)
	if errors.Is(err, proof.ErrBadID) {
		return ledger.Key{}, nil, faultf(http.StatusBadRequest, "%v; %s", err, nothingKept)
	}
	if err != nil {
		return ledger.Key{}, nil, faultf(http.StatusUnauthorized, "%v; %s", err, nothingKept)
	}
	keys, err := s.keys.all(r.Context())
	if err != nil {
		return ledger.Key{}, nil, err
	}
	var k ledger.Key
	if c.Bearer != "" { // known before the body is
		if k, err = proof.ByBearer(keys, c.Bearer, now); err != nil {
			return k, nil, faultf(http.StatusUnauthorized, "%v; %s", err, nothingKept)
		}
	}
	body, err := readBody(w, r, s.MaxBody)
	if err != nil {
		return k, nil, bodyFault("the body", err)
	}
	if c.Bearer == "" {
		if k, err = proof.Key(keys, c, r.Header, body, now); err != nil {
			return k, nil, faultf(http.StatusUnauthorized, "%v; %s", err, nothingKept)
		}
	}
	if ok, wait := s.shared.allow(r.Context(), lineage(k.ID)); !ok {
		return k, nil, &fault{
			status: http.StatusTooManyRequests, retry: max(wait, time.Second),
			detail: "too many requests for this key; " + nothingKept + ". " + sendAgain +
				" after the time in Retry-After, or put several items into one request",
		}
	}
	return k, body, nil
}

func bodyFault(what string, err error) error {
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return faultf(http.StatusRequestEntityTooLarge, "%s is larger than %d bytes; %s. Send fewer items at a time", what, large.Limit, nothingKept)
	case errors.Is(err, wire.ErrEncoding):
		return faultf(http.StatusUnsupportedMediaType, "%v; %s", err, nothingKept)
	case errors.Is(err, wire.ErrUnpack):
		return faultf(http.StatusBadRequest, "%v; %s", err, nothingKept)
	}
	return faultf(http.StatusBadRequest, "the body broke off; %s. %s", nothingKept, sendAgain)
}

// items reads what a body says.
func (s *api) items(r *http.Request, body []byte) ([]wire.Parsed, error) {
	plain, err := wire.Unpack(r.Header.Get("Content-Encoding"), body, unpackTimes*s.MaxBody)
	if err != nil {
		return nil, bodyFault("what the body unpacks to", err)
	}
	items, err := wire.Decode(r.Header, plain, s.MaxItems)
	switch {
	case errors.Is(err, wire.ErrType):
		return nil, faultf(http.StatusUnsupportedMediaType, "%v; %s", err, nothingKept)
	case err != nil:
		return nil, faultf(http.StatusBadRequest, "%v; %s. Mend the body and send it again", err, nothingKept)
	}
	return items, nil
}
