package outbound_test

import (
	"context"
	"encoding/base64"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"clogwise/bot/webhook/outbound"
	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/outgoing"
)

const event = `{"specversion":"1.0","id":"due:n/a/b:1","source":"clogwise/n","type":"clogwise.bank.due","data":{}}`

// The secrets of the rotated and the fresh key, 24 bytes each as Standard
// Webhooks asks for at least.
var secrets = [][]byte{[]byte("old-old-old-old-old-old-"), []byte("new-new-new-new-new-new-")}

func sender(address string) *outbound.Sender {
	later := time.Now().Add(time.Hour)
	return &outbound.Sender{Now: time.Now, Keys: func(context.Context) ([]ledger.Key, error) {
		return []ledger.Key{
			{ID: "k1", Name: "hall", Scheme: outgoing.Scheme, Points: []string{address}, Secret: secrets[0], Expires: &later},
			{ID: "k1.2", Name: "hall", Scheme: outgoing.Scheme, Points: []string{address}, Secret: secrets[1]},
		}, nil
	}}
}

func post(to string) channel.Post {
	return channel.Post{To: channel.Address{Platform: outgoing.Platform, Channel: to}, Text: event + "\n(This may repeat an earlier post.)"}
}

// A receiver that knows either secret can prove what it got.
func TestSignedWithEverySecret(t *testing.T) {
	t.Parallel()
	got := 0
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			t.Error(err)
		}
		for _, s := range secrets {
			hook, err := standardwebhooks.NewWebhook("whsec_" + base64.StdEncoding.EncodeToString(s))
			if err != nil {
				t.Error(err)
			}
			if err := hook.Verify(body, r.Header); err != nil {
				t.Errorf("not signed with %s: %v", s, err)
			}
		}
		if string(body) != event || r.Header.Get("Content-Type") != "application/cloudevents+json" || r.Header.Get("webhook-id") != "due:n/a/b:1" || r.Method != http.MethodPost {
			t.Errorf("%s %v %s", r.Method, r.Header, body)
		}
		got++
	}))
	defer srv.Close()
	id, err := sender(srv.URL).Send(t.Context(), post("k1"))
	if err != nil || id != "due:n/a/b:1" || got != 1 {
		t.Errorf("%q, %v, %d requests", id, err, got)
	}
}

func TestAnswers(t *testing.T) {
	t.Parallel()
	now := time.Now().Truncate(time.Second)
	for _, tc := range []struct {
		status int
		retry  string
		want   func(error) bool
	}{
		{204, "", func(err error) bool { return err == nil }},
		{410, "", func(err error) bool { return errors.Is(err, channel.ErrRefused) }},
		{429, "7", func(err error) bool {
			r, ok := errors.AsType[*channel.RetryError](err)
			return ok && r.After == 7*time.Second
		}},
		{503, "999999", func(err error) bool {
			r, ok := errors.AsType[*channel.RetryError](err)
			return ok && r.After == 30*time.Minute
		}},
		{503, now.Add(7 * time.Second).UTC().Format(http.TimeFormat), func(err error) bool {
			r, ok := errors.AsType[*channel.RetryError](err)
			return ok && r.After == 7*time.Second
		}},
		{503, now.Add(-time.Hour).UTC().Format(http.TimeFormat), func(err error) bool {
			r, ok := errors.AsType[*channel.RetryError](err)
			return ok && r.After == 0
		}},
		{429, "-7", func(err error) bool { return errors.Is(err, channel.ErrAway) }},
		{503, "", func(err error) bool { return errors.Is(err, channel.ErrAway) }},
		{500, "", func(err error) bool { return errors.Is(err, channel.ErrAway) }},
		{404, "", func(err error) bool {
			return err != nil && !errors.Is(err, channel.ErrAway) && !errors.Is(err, channel.ErrRefused)
		}},
		{302, "", func(err error) bool { return err != nil && strings.Contains(err.Error(), "302") }}, // never followed
	} {
		srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Path == "/elsewhere" {
				t.Error("a redirect was followed")
			}
			w.Header().Set("Retry-After", tc.retry)
			w.Header().Set("Location", "/elsewhere")
			w.WriteHeader(tc.status)
		}))
		s := sender(srv.URL)
		s.Now = func() time.Time { return now }
		if _, err := s.Send(t.Context(), post("k1")); !tc.want(err) {
			t.Errorf("%d %s: %v", tc.status, tc.retry, err)
		} else if err != nil && strings.Contains(err.Error(), "chat") {
			t.Errorf("an integrator is told of as a chat platform: %v", err)
		}
		srv.Close()
	}
}

// What goes wrong is told without the address, whose query may hold a secret,
// and without the keys.
func TestNothingSecretIsTold(t *testing.T) {
	t.Parallel()
	srv := httptest.NewServer(http.NotFoundHandler())
	address := srv.URL + "/?token=hush-hush"
	srv.Close() // nobody listens there any more
	_, err := sender(address).Send(t.Context(), post("k1"))
	if !errors.Is(err, channel.ErrAway) || !strings.Contains(err.Error(), "refused") {
		t.Fatalf("%v", err)
	}
	for _, secret := range []string{"hush-hush", string(secrets[0]), base64.StdEncoding.EncodeToString(secrets[1])} {
		if strings.Contains(err.Error(), secret) {
			t.Errorf("%v tells %s", err, secret)
		}
	}
	if _, err := sender(address).Send(t.Context(), post("k9")); !errors.Is(err, channel.ErrRefused) {
		t.Errorf("removed endpoint: %v", err)
	}
	if _, err := sender("http://192.0.2.1/").Send(t.Context(), post("k1")); !errors.Is(err, channel.ErrRefused) { // TEST-NET-1, RFC 5737
		t.Errorf("in the clear: %v", err)
	}
}
