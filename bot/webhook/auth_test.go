package webhook_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"clogwise/bot/webhook"
	"clogwise/internal/ledger"
)

const one = `{"bank":"north/ahu-1/secondary","pa":120,"at":"2026-03-02T08:00:00Z"}`

// The vector is that of the reference libraries of the Standard Webhooks
// specification (test of signing, payload {"test": 2432232314}). The signature
// is taken, so what is refused is the item.
func TestPublishedSignature(t *testing.T) {
	t.Parallel()
	b := start(t, func(s *webhook.Server) { s.Now = func() time.Time { return time.Unix(1614265330, 0).Add(time.Minute) } })
	k := ledger.Key{ID: "kv", Name: "vector", Scheme: webhook.Signature, Secret: raw(t, "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"), Created: noon}
	b.putKey(k)
	send := func(signature, body string) reply {
		r, _ := http.NewRequest("POST", b.url+"/v1/readings", strings.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("webhook-id", "msg_p5jXN8AQM9LWM0D4loKWxJek")
		r.Header.Set("webhook-timestamp", "1614265330")
		r.Header.Set("webhook-signature", signature)
		return b.send(r)
	}
	const good = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
	b.problem(send(good, `{"test": 2432232314}`), 422, `no field \"test\"`)
	for name, tc := range map[string]struct{ signature, body string }{
		"other body":            {good, `{"test": 2432232315}`},
		"other whitespace":      {good, `{"test":2432232314}`},
		"no version":            {strings.TrimPrefix(good, "v1,"), `{"test": 2432232314}`},
		"asymmetric version":    {"v1a" + strings.TrimPrefix(good, "v1"), `{"test": 2432232314}`},
		"truncated":             {good[:len(good)-4], `{"test": 2432232314}`},
		"empty signature parts": {"v1, ,v1", `{"test": 2432232314}`},
	} {
		t.Run(name, func(t *testing.T) { b.in(t).problem(send(tc.signature, tc.body), 401, "nothing was recorded") })
	}
	// A sender that changes its secret signs with both; one match is enough.
	b.problem(send("v1,AAAA v1a,BBBB "+good, `{"test": 2432232314}`), 422)
}

func TestClockWindow(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Signature, nil, nil)
	for _, tc := range []struct {
		off  time.Duration
		code int
	}{
		{0, 202}, {-5 * time.Minute, 202}, {5 * time.Minute, 202},
		{-5*time.Minute - time.Second, 401}, {5*time.Minute + time.Second, 401}, {-time.Hour, 401}, {100 * 365 * 24 * time.Hour, 401},
	} {
		t.Run(tc.off.String(), func(t *testing.T) {
			b, s := b.in(t), s.in(t)
			r := s.post(call{id: "m" + tc.off.String(), at: noon.Add(tc.off), body: one})
			if r.code != tc.code {
				t.Errorf("got %d %s, want %d", r.code, r.raw, tc.code)
			}
			if tc.code == 401 {
				b.problem(r, 401, "5 minutes", fmt.Sprint(noon.Unix()))
			}
		})
	}
	b.count(3)
}

func TestCredentialsThatDoNotDo(t *testing.T) {
	t.Parallel()
	b := start(t)
	signs := b.sender(webhook.Signature, nil, nil)
	bears := b.sender(webhook.Bearer, nil, nil)
	gone := b.sender(webhook.Bearer, nil, nil)
	past := noon.Add(-time.Second)
	gone.key.Revoked = &past
	b.putKey(gone.key)
	ended := b.sender(webhook.Signature, nil, nil)
	ended.key.Expires = &past
	b.putKey(ended.key)

	good := call{id: "m1", body: one}
	for name, tc := range map[string]struct {
		from   *sender
		change func(h http.Header)
		code   int
		says   string
	}{
		"none":                     {bears, func(h http.Header) { h.Del("Authorization") }, 401, "no credentials"},
		"basic":                    {bears, func(h http.Header) { h.Set("Authorization", "Basic dTpw") }, 401, "no credentials"},
		"empty bearer":             {bears, func(h http.Header) { h.Set("Authorization", "Bearer ") }, 401, "no credentials"},
		"unknown bearer":           {bears, func(h http.Header) { h.Set("Authorization", "Bearer cw_nobody") }, 401, "match no valid key"},
		"two bearers":              {bears, func(h http.Header) { h.Add("Authorization", "Bearer cw_nobody") }, 401, "more than once"},
		"revoked":                  {gone, func(http.Header) {}, 401, "match no valid key"},
		"expired":                  {ended, func(http.Header) {}, 401, "match no valid key"},
		"signing secret as bearer": {bears, func(h http.Header) { h.Set("Authorization", "Bearer "+signs.secret) }, 401, "match no valid key"},
		"no id":                    {signs, func(h http.Header) { h.Del("webhook-id") }, 401, "no credentials"},
		"no timestamp":             {signs, func(h http.Header) { h.Del("webhook-timestamp") }, 401, "no credentials"},
		"no signature":             {signs, func(h http.Header) { h.Del("webhook-signature") }, 401, "no credentials"},
		"timestamp in words":       {signs, func(h http.Header) { h.Set("webhook-timestamp", "noon") }, 401, "seconds since 1970"},
		"timestamp too large":      {signs, func(h http.Header) { h.Set("webhook-timestamp", "99999999999999999999") }, 401, "seconds since 1970"},
		"other timestamp":          {signs, func(h http.Header) { h.Set("webhook-timestamp", fmt.Sprint(noon.Unix()+1)) }, 401, "match no valid key"},
		"other id":                 {signs, func(h http.Header) { h.Set("webhook-id", "m2") }, 401, "match no valid key"},
		"two ids":                  {signs, func(h http.Header) { h.Add("webhook-id", "m2") }, 401, "more than once"},
		"id too long":              {bears, func(h http.Header) { h.Set("webhook-id", strings.Repeat("x", 257)) }, 400, "webhook-id must be"},
		"id not visible":           {bears, func(h http.Header) { h.Set("webhook-id", "a b") }, 400, "webhook-id must be"},
	} {
		t.Run(name, func(t *testing.T) {
			b := b.in(t)
			r := tc.from.request(good)
			tc.change(r.Header)
			got := b.send(r)
			b.problem(got, tc.code, tc.says, "nothing was recorded")
			if tc.code == 401 && !strings.HasPrefix(got.header.Get("WWW-Authenticate"), "Bearer") {
				t.Error("401 without WWW-Authenticate")
			}
		})
	}
	b.count(0)
	r := bears.request(good)
	r.Header.Set("Authorization", "bearer "+bears.secret) // the scheme's name has no case (RFC 9110, 11.1)
	if got := b.send(r); got.code != 202 {
		t.Errorf("got %d %s", got.code, got.raw)
	}
}

// A body is not taken in for credentials that cannot be right.
func TestStrangersAreTurnedAwayBeforeTheirBody(t *testing.T) {
	t.Parallel()
	b := start(t)
	r, _ := http.NewRequest("POST", b.url+"/v1/readings", neverRead{t})
	r.Header.Set("Expect", "100-continue")
	r.Header.Set("Authorization", "Bearer cw_nobody")
	transport := &http.Transport{ExpectContinueTimeout: time.Minute}
	defer transport.CloseIdleConnections()
	res, err := transport.RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	res.Request = r
	b.problem(b.read(res), 401)
}

type neverRead struct{ t *testing.T }

func (n neverRead) Read([]byte) (int, error) {
	n.t.Error("the body was read")
	return 0, fmt.Errorf("not to be read")
}

func TestRotation(t *testing.T) {
	t.Parallel()
	now := noon
	b := start(t, func(s *webhook.Server) { s.Now = func() time.Time { return now } })
	s := b.sender(webhook.Signature, []string{"north"}, nil)
	if r := s.post(call{id: "m1", body: one}); r.code != 202 {
		t.Fatalf("before: %d %s", r.code, r.raw)
	}
	old, fresh, secret, err := webhook.Rotate([]ledger.Key{s.key}, s.key.ID, 24*time.Hour, now)
	if err != nil {
		t.Fatal(err)
	}
	if secret == s.secret || fresh.ID == old.ID || fresh.Name != old.Name || fresh.Sites[0] != "north" {
		t.Errorf("successor %s %v, secret new: %v", fresh.ID, fresh.Sites, secret != s.secret)
	}
	b.putKey(old)
	b.putKey(fresh)
	next := &sender{b, fresh, secret}
	for name, from := range map[string]*sender{"old": s, "new": next} {
		r := from.post(call{id: "m1", body: one})
		if r.code != 200 || r.Duplicate != 1 {
			t.Errorf("resent under the %s key: %d %s; want a duplicate", name, r.code, r.raw)
		}
	}
	both := next.request(call{id: "m2", body: one})
	both.Header.Set("webhook-signature", sign(t, s.secret, "m2", noon, one)+" "+sign(t, secret, "m2", noon, one))
	if r := b.send(both); r.code != 202 {
		t.Errorf("signed by both: %d %s", r.code, r.raw)
	}
	now = noon.Add(24 * time.Hour)
	b.problem(s.post(call{id: "m3", at: now, body: one}), 401)
	if r := next.post(call{id: "m3", at: now, body: one}); r.code != 202 {
		t.Errorf("new key after the overlap: %d %s", r.code, r.raw)
	}
	if r := b.send(both); r.code != 401 { // its time has passed as well
		t.Errorf("replayed a day later: %d", r.code)
	}
}

func TestRotateRefuses(t *testing.T) {
	t.Parallel()
	k, _, err := webhook.NewKey("n", webhook.Bearer, nil, nil, noon)
	if err != nil {
		t.Fatal(err)
	}
	old, fresh, _, err := webhook.Rotate([]ledger.Key{k}, k.ID, time.Hour, noon)
	if err != nil {
		t.Fatal(err)
	}
	third, fourth, _, err := webhook.Rotate([]ledger.Key{old, fresh}, fresh.ID, 0, noon)
	if err != nil || fresh.ID != k.ID+".2" || fourth.ID != k.ID+".3" || !third.Expires.Equal(noon) {
		t.Errorf("ids %s, %s: %v", fresh.ID, fourth.ID, err)
	}
	dead := k
	dead.Revoked = &noon
	for name, tc := range map[string]struct {
		keys    []ledger.Key
		overlap time.Duration
		want    string
	}{
		"unknown":  {nil, time.Hour, "no key " + k.ID},
		"negative": {[]ledger.Key{k}, -1, "less than nothing"},
		"twice":    {[]ledger.Key{old, fresh}, time.Hour, "has been rotated"},
		"revoked":  {[]ledger.Key{dead}, time.Hour, "is revoked"},
	} {
		if _, _, _, err := webhook.Rotate(tc.keys, k.ID, tc.overlap, noon); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v, want %q", name, err, tc.want)
		}
	}
	for _, name := range []string{"", "  ", "a\x00b", strings.Repeat("n", 300)} {
		if _, _, err := webhook.NewKey(name, webhook.Bearer, nil, nil, noon); err == nil {
			t.Errorf("name %q is taken", name)
		}
	}
	if _, _, err := webhook.NewKey("n", "password", nil, nil, noon); err == nil || !strings.Contains(err.Error(), "neither signature nor bearer") {
		t.Errorf("scheme: %v", err)
	}
}

func TestScope(t *testing.T) {
	t.Parallel()
	b := start(t)
	north := b.sender(webhook.Bearer, []string{"north"}, nil)
	points := b.sender(webhook.Bearer, nil, []string{"s."})
	const foreign = `{"bank":"south/ahu-1/primary","pa":50,"at":"2026-03-02T08:00:00Z"}`
	b.problem(north.post(call{body: foreign}), 403, "may not write there", "nothing was recorded")
	b.problem(north.post(call{body: strings.Replace(foreign, "primary", "nonesuch", 1)}), 403, "may not write there") // existence is not told
	// A point beyond the key's sites looks like one that nobody knows, and stays
	// aside although it is mapped.
	for _, name := range []string{"S.AHU1.PriDP", "S.Nonesuch"} {
		r := north.post(call{body: `{"point":"` + name + `","pa":50}`})
		if r.code != 202 || r.Aside != 1 || r.Results[0].Bank != "" || !strings.Contains(r.Results[0].Why, "nobody has said") {
			t.Errorf("point %s: %d %s", name, r.code, r.raw)
		}
	}
	b.head += 2
	b.problem(points.post(call{body: one}), 403, "may not write there")
	b.problem(points.post(call{body: `{"point":"N.AHU1.SecDP","pa":50}`}), 403, "may not write there")
	b.count(0)
	if r := points.post(call{body: `{"point":"S.AHU1.PriDP","pa":50}`}); r.code != 202 || r.Results[0].Bank != "south/ahu-1/primary" {
		t.Errorf("point in scope: %d %s", r.code, r.raw)
	}
	// A number in a name is whole.
	first := b.sender(webhook.Bearer, nil, []string{"S.AHU1", "plant"})
	for point, code := range map[string]int{"S.AHU1": 202, "s.ahu1.SecDP": 202, "S.AHU10.SecDP": 403, "S.AHU11": 403, "Plant7": 202} {
		if r := first.post(call{body: `{"point":"` + point + `","pa":50}`}); r.code != code {
			t.Errorf("point %s: %d %s", point, r.code, r.raw)
		}
	}
	b.head += 3
	r := north.post(call{body: "[" + one + "," + foreign + "]"})
	if r.code != 202 || r.Recorded != 1 || r.Refused != 1 || r.Results[1].Outcome != "refused" {
		t.Errorf("half in scope: %d %s", r.code, r.raw)
	}
	b.count(2)
	for _, path := range []string{"/v1/banks", "/v1/due"} {
		if got := north.post(call{method: "GET", path: path}); got.code != 200 || strings.Contains(got.raw, "south") {
			t.Errorf("%s: %d %s", path, got.code, got.raw)
		}
	}
	b.problem(north.post(call{method: "GET", path: "/v1/banks/south/ahu-1/primary"}), 404)
}

// Keys are read at most once in KeysFor; a revoked one is refused after it.
func TestRevokedKeyIsRefusedOnceKeysAreReadAgain(t *testing.T) {
	t.Parallel()
	const hold = 300 * time.Millisecond
	b := start(t, func(s *webhook.Server) { s.KeysFor = hold })
	s := b.sender(webhook.Bearer, nil, nil)
	began := time.Now()
	if r := s.post(call{id: "m1", body: one}); r.code != 202 {
		t.Fatalf("%d %s", r.code, r.raw)
	}
	s.key.Revoked = &noon
	b.putKey(s.key)
	second := s.post(call{id: "m2", body: one})
	if within := time.Since(began) < hold; within && second.code != 202 {
		t.Errorf("keys were read again at once: %d", second.code)
	}
	time.Sleep(hold)
	b.problem(s.post(call{id: "m3", body: one}), 401)
}

func TestKeysThatCannotBeCheckedAreNotTaken(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Bearer, nil, nil)
	b.store.Down(true)
	r := s.post(call{id: "m1", body: one})
	b.problem(r, 503, "nothing was recorded", "same webhook-id")
	if r.header.Get("Retry-After") == "" {
		t.Error("no Retry-After")
	}
	b.store.Down(false)
	if r := s.post(call{id: "m1", body: one}); r.code != 202 {
		t.Errorf("after: %d %s", r.code, r.raw)
	}
}
