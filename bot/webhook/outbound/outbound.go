// Package outbound sends events to integrators: signed after Standard Webhooks,
// as CloudEvents in structured mode.
package outbound

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/outgoing"
)

// Sender sends the outbox's events to their endpoints. It implements
// channel.Sender: the outbox keeps, repeats and parks.
type Sender struct {
	Keys func(ctx context.Context) ([]ledger.Key, error)
	Now  func() time.Time // also stamps what is signed
	HTTP *http.Client     // nil: one of its own
}

// Bounds of one sending.
const (
	answerWait = 15 * time.Second
	mostRead   = 64 << 10 // of an answer, which says nothing of use
	longRetry  = ledger.LongRetry
)

var client = &http.Client{
	Timeout: answerWait,
	// A redirect would carry the event and its signature to whom it was not made for.
	CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
}

// Send implements channel.Sender. The id of what was sent is the event's.
func (s *Sender) Send(ctx context.Context, p channel.Post) (string, error) {
	raw, x, err := outgoing.Read(p)
	if err != nil {
		return "", marked(channel.ErrRefused, fmt.Errorf("not an event: %w", err))
	}
	e, err := s.endpoint(ctx, p.To.Channel)
	if err != nil {
		return "", err
	}
	req, err := s.request(ctx, e, x.ID, raw)
	if err != nil {
		return "", marked(channel.ErrRefused, err)
	}
	c := s.HTTP
	if c == nil {
		c = client
	}
	res, err := c.Do(req)
	if err != nil {
		return "", marked(channel.ErrAway, fmt.Errorf("%s is out of reach: %s", e.Name, why(err)))
	}
	defer res.Body.Close() //nolint:errcheck // only read
	_, _ = io.Copy(io.Discard, io.LimitReader(res.Body, mostRead))
	return x.ID, judge(e, res, s.Now())
}

func (s *Sender) endpoint(ctx context.Context, id string) (outgoing.Endpoint, error) {
	keys, err := s.Keys(ctx)
	if err != nil {
		return outgoing.Endpoint{}, marked(channel.ErrAway, err)
	}
	for _, e := range outgoing.Endpoints(keys, s.Now()) {
		if e.ID == id {
			return e, nil
		}
	}
	return outgoing.Endpoint{}, marked(channel.ErrRefused, fmt.Errorf("endpoint %s has been removed", id))
}

func (s *Sender) request(ctx context.Context, e outgoing.Endpoint, id string, raw []byte) (*http.Request, error) {
	if err := outgoing.CheckURL(e.URL); err != nil {
		return nil, err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, e.URL, bytes.NewReader(raw))
	if err != nil {
		return nil, errors.New("the address cannot be used") // err would quote it, and it may hold a secret
	}
	now := s.Now()
	var signatures []string
	for _, secret := range e.Keys {
		hook, err := standardwebhooks.NewWebhookRaw(secret)
		if err != nil {
			return nil, errors.New("the endpoint's secret cannot be used")
		}
		one, err := hook.Sign(id, now, raw)
		if err != nil {
			return nil, errors.New("not signed")
		}
		signatures = append(signatures, one)
	}
	req.Header.Set("Content-Type", "application/cloudevents+json")
	req.Header.Set("User-Agent", "clogwise")
	req.Header.Set(standardwebhooks.HeaderWebhookID, id)
	req.Header.Set(standardwebhooks.HeaderWebhookTimestamp, strconv.FormatInt(now.Unix(), 10))
	req.Header.Set(standardwebhooks.HeaderWebhookSignature, strings.Join(signatures, " "))
	return req, nil
}

// fate is an error that the outbox treats as one of the channel's, without its
// words, which speak of a chat platform.
type fate struct{ err, kind error }

func marked(kind, err error) error { return fate{err, kind} }

// Error implements error.
func (f fate) Error() string { return f.err.Error() }

// Unwrap gives what went wrong and what it is treated as.
func (f fate) Unwrap() []error { return []error{f.err, f.kind} }

// judge says what an answer means: 2xx that it was taken, 410 that nothing more
// is wanted (Standard Webhooks), anything else that it may be sent again.
func judge(e outgoing.Endpoint, res *http.Response, now time.Time) error {
	err := fmt.Errorf("%s answers %d", e.Name, res.StatusCode)
	switch {
	case res.StatusCode/100 == 2:
		return nil
	case res.StatusCode == http.StatusGone:
		return marked(channel.ErrRefused, fmt.Errorf("%w, so it wants nothing more; remove it (clogwise events remove %s) or mend it and retry", err, e.ID))
	case res.StatusCode == http.StatusTooManyRequests || res.StatusCode == http.StatusServiceUnavailable:
		if after, told := retryAfter(res.Header.Get("Retry-After"), now); told {
			return &channel.RetryError{After: min(after, longRetry), Err: err}
		}
		return marked(channel.ErrAway, err)
	case res.StatusCode >= 500:
		return marked(channel.ErrAway, err)
	}
	return err
}

// retryAfter reads when to try again: seconds or a date (RFC 9110, section 10.2.3).
func retryAfter(header string, now time.Time) (after time.Duration, told bool) {
	if seconds, err := strconv.Atoi(header); err == nil {
		return time.Duration(seconds) * time.Second, seconds >= 0
	}
	at, err := http.ParseTime(header)
	return max(at.Sub(now), 0), err == nil
}

// why is what went wrong without the address, which may hold a secret.
func why(err error) string {
	var u interface{ Unwrap() error }
	for errors.As(err, &u) {
		inner := u.Unwrap()
		if inner == nil {
			break
		}
		err = inner
		u = nil
	}
	return err.Error()
}
