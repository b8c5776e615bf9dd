package webhook_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"net"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"

	"clogwise/bot/webhook"
	"clogwise/internal/ledger"
	"clogwise/internal/queue"
)

func TestBodyBound(t *testing.T) {
	t.Parallel()
	b := start(t, func(s *webhook.Server) { s.MaxBody = 1024 })
	for _, scheme := range []string{webhook.Signature, webhook.Bearer} {
		s := b.sender(scheme, nil, nil)
		pad := strings.Repeat(" ", 1024-len(one))
		if r := s.post(call{id: "m1", body: one + pad}); r.code != 202 {
			t.Errorf("at the bound: %d %s", r.code, r.raw)
		}
		b.problem(s.post(call{id: "m2", body: one + pad + " "}), 413, "larger than 1024 bytes", "Send fewer items")
		r := s.request(call{id: "m3", body: one + pad + pad})
		r.ContentLength = -1 // chunked: the size is not told beforehand
		b.problem(b.send(r), 413, "larger than 1024 bytes")
	}
	b.count(2)
}

func TestPackedBodies(t *testing.T) {
	t.Parallel()
	b := start(t, func(s *webhook.Server) { s.MaxBody = 64 << 10 })
	s := b.sender(webhook.Signature, nil, nil)
	bomb := strings.Repeat(" ", 8*64<<10) + one // just over the bound once unpacked
	for _, tc := range []struct {
		name, encoding, body string
		code                 int
		says                 string
	}{
		{"gzip", "gzip", packGzip(t, one), 202, ""},
		{"zstd", "ZSTD", packZstd(t, one), 202, ""},
		{"identity", "identity", one, 202, ""},
		{"gzip bomb", "gzip", packGzip(t, bomb), 413, "unpacks to is larger than 524288 bytes"},
		{"zstd bomb", "zstd", packZstd(t, bomb), 413, "larger than 524288 bytes"},
		{"gzip that is none", "gzip", one, 400, "cannot be unpacked"},
		{"zstd that is none", "zstd", one, 400, "cannot be unpacked"},
		{"gzip cut short", "gzip", packGzip(t, one)[:40], 400, "cannot be unpacked"},
		{"zstd cut short", "zstd", packZstd(t, one)[:40], 400, "cannot be unpacked"},
		{"gzip damaged", "gzip", damaged(packGzip(t, one)), 400, "cannot be unpacked"},
		{"zstd with a huge window", "zstd", "\x28\xb5\x2f\xfd\x00\xf8\x01\x00\x00", 400, "cannot be unpacked"},
		{"gzip empty", "gzip", packGzip(t, ""), 400, "the body is empty"},
		{"brotli", "br", one, 415, "send gzip, zstd or none"},
		{"twice", "gzip, gzip", packGzip(t, packGzip(t, one)), 415, "send gzip, zstd or none"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			b, s := b.in(t), s.in(t)
			// The signature is over the body as sent.
			r := s.post(call{id: "m-" + strings.ReplaceAll(tc.name, " ", "-"), body: tc.body, header: map[string]string{"Content-Encoding": tc.encoding}})
			if tc.code == 202 {
				if r.code != 202 {
					t.Errorf("%d %s", r.code, r.raw)
				}
				return
			}
			b.problem(r, tc.code, tc.says, "nothing was recorded")
			if tc.code == 415 && r.header.Get("Accept-Encoding") != "gzip, zstd" {
				t.Errorf("Accept-Encoding %q", r.header.Get("Accept-Encoding"))
			}
		})
	}
	b.count(3)
}

func packGzip(t *testing.T, s string) string {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	if _, err := w.Write([]byte(s)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func packZstd(t *testing.T, s string) string {
	t.Helper()
	w, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1))
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close() //nolint:errcheck // nothing was written to it
	return string(w.EncodeAll([]byte(s), nil))
}

// damaged turns a bit of the checksum at the end.
func damaged(s string) string { return s[:len(s)-5] + string(s[len(s)-5]^1) + s[len(s)-4:] }

func TestLedgerThatCannotCommit(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Signature, nil, nil)
	batch := "[" + one + "," + strings.Replace(one, "120", "121", 1) + "]"
	b.store.FailCommits(1)
	r := s.post(call{id: "m1", body: batch})
	b.problem(r, 503, "nothing was recorded", "same webhook-id")
	if sec, err := strconv.Atoi(r.header.Get("Retry-After")); err != nil || sec < 1 {
		t.Errorf("Retry-After %q", r.header.Get("Retry-After"))
	}
	b.count(0)
	b.store.UncertainCommits(1, true)
	b.problem(s.post(call{id: "m1", body: batch}), 503, "not known whether", "same webhook-id")
	if r := s.post(call{id: "m1", body: batch}); r.code != 200 || r.Duplicate != 2 {
		t.Errorf("sent again: %d %s", r.code, r.raw)
	}
	b.count(2)
	b.store.UncertainCommits(1, false)
	b.problem(s.post(call{id: "m2", body: one}), 503, "not known whether")
	if r := s.post(call{id: "m2", body: one}); r.code != 202 {
		t.Errorf("sent again: %d %s", r.code, r.raw)
	}
	b.count(3)
	if !strings.Contains(b.logs.String(), "level=ERROR") {
		t.Error("the failure is not in the log")
	}
}

func TestRateLimit(t *testing.T) {
	t.Parallel()
	b := start(t, func(s *webhook.Server) { s.Rate, s.Burst = 0.1, 3 })
	s, other := b.sender(webhook.Bearer, nil, nil), b.sender(webhook.Bearer, nil, nil)
	for i := range 3 {
		if r := s.post(call{id: "m" + strconv.Itoa(i), body: one}); r.code != 202 {
			t.Fatalf("request %d: %d %s", i, r.code, r.raw)
		}
	}
	r := s.post(call{id: "m9", body: one})
	b.problem(r, 429, "nothing was recorded", "several items into one request")
	// A token takes 1/0.1 = 10 s.
	if sec, err := strconv.Atoi(r.header.Get("Retry-After")); err != nil || sec < 1 || sec > 10 {
		t.Errorf("Retry-After %q", r.header.Get("Retry-After"))
	}
	b.count(3)
	if r := other.post(call{id: "m1", body: one}); r.code != 202 {
		t.Errorf("another key: %d", r.code)
	}
	old, fresh, secret, err := webhook.Rotate([]ledger.Key{s.key}, s.key.ID, time.Hour, noon)
	if err != nil {
		t.Fatal(err)
	}
	b.putKey(old)
	b.putKey(fresh)
	b.problem((&sender{b, fresh, secret}).post(call{id: "m9", body: one}), 429) // a new secret is no new allowance
}

// With the queue out of reach readings are taken, each process limits rates by
// itself, the queue is left alone for a while, and readiness tells.
func TestQueueOutOfReach(t *testing.T) {
	t.Parallel()
	b := start(t, func(s *webhook.Server) { s.Rate, s.Burst = 0.1, 3 })
	s := b.sender(webhook.Bearer, nil, nil)
	b.queue.down.Store(true)
	for i := range 3 {
		if r := s.post(call{id: "m" + strconv.Itoa(i), body: one}); r.code != 202 {
			t.Fatalf("request %d: %d %s", i, r.code, r.raw)
		}
	}
	r := s.post(call{id: "m9", body: one})
	b.problem(r, 429)
	if sec, err := strconv.Atoi(r.header.Get("Retry-After")); err != nil || sec < 1 || sec > 10 {
		t.Errorf("Retry-After %q", r.header.Get("Retry-After"))
	}
	b.count(3)
	if b.queue.asked > 3 { // 8 calls if it were asked each time
		t.Errorf("the dead queue was asked %d times", b.queue.asked)
	}
	if !strings.Contains(b.logs.String(), "level=WARN") {
		t.Error("not in the log")
	}
	res, err := http.Get(b.url + "/readyz")
	if err != nil {
		t.Fatal(err)
	}
	if r := b.read(res); r.code != 200 || !strings.Contains(r.raw, `"queue":"out of reach: readings are taken`) {
		t.Errorf("readiness: %d %s", r.code, r.raw)
	}
}

func TestHealthAndReadiness(t *testing.T) {
	t.Parallel()
	b := start(t)
	get := func(path string) reply {
		t.Helper()
		res, err := http.Get(b.url + path)
		if err != nil {
			t.Fatal(err)
		}
		return b.read(res)
	}
	if r := get("/readyz"); r.code != 200 || r.raw != `{"ledger":"ready","queue":"ready"}`+"\n" {
		t.Errorf("ready: %d %s", r.code, r.raw)
	}
	b.store.Down(true)
	b.problem(get("/readyz"), 503, "ledger out of reach", "queue ready")
	if r := get("/healthz"); r.code != 200 { // alive: a restart would not help
		t.Errorf("health with the ledger down: %d", r.code)
	}
}

func TestWrongMethodsAndPaths(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Bearer, nil, nil)
	for _, tc := range []struct {
		method, path string
		code         int
		allow        string
	}{
		{"GET", "/v1/readings", 405, "POST"},
		{"PUT", "/v1/readings", 405, "POST"},
		{"DELETE", "/v1/swaps", 405, "POST"},
		{"POST", "/v1/banks", 405, "GET, HEAD"},
		{"BREW", "/v1/due", 405, "GET, HEAD"},
		{"POST", "/healthz", 405, "GET, HEAD"},
		{"POST", "/metrics", 405, "GET, HEAD"},
		{"POST", "/v1/reading", 404, ""},
		{"GET", "/", 404, ""},
		{"GET", "/v1/banks/north/ahu-1/nonesuch", 404, ""},
		{"GET", "/v1/banks/north/ahu-1", 404, ""},
		{"GET", "/v1/banks/%2e%2e/x/y", 404, ""},
		{"POST", "//v1/readings", 404, ""},
		{"POST", "/v1/../v1/readings", 404, ""},
		{"POST", "/v1/./readings", 404, ""},
		{"POST", "/v1/readings/", 404, ""},
	} {
		r := s.post(call{method: tc.method, path: tc.path})
		b.problem(r, tc.code)
		if got := r.header.Get("Allow"); got != tc.allow {
			t.Errorf("%s %s: Allow %q, want %q", tc.method, tc.path, got, tc.allow)
		}
		if r.header.Get("X-Content-Type-Options") != "nosniff" || r.header.Get("Cache-Control") != "no-store" {
			t.Errorf("%s %s: headers %v", tc.method, tc.path, r.header)
		}
	}
	if r := s.post(call{method: "HEAD", path: "/v1/due"}); r.code != 200 || r.raw != "" {
		t.Errorf("HEAD: %d %q", r.code, r.raw)
	}
	b.problem((&sender{b, s.key, "cw_nobody"}).post(call{method: "GET", path: "/v1/due"}), 401)
}

func TestBanksAndDueAreRead(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Signature, nil, nil) // a GET is signed over an empty body
	if r := s.post(call{id: "m1", body: one}); r.code != 202 {
		t.Fatal(r.raw)
	}
	if _, err := b.server.View.Recompute(context.Background(), "north/ahu-1/secondary", noon); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		"/v1/banks":                       `"bank":"north/ahu-1/secondary"`,
		"/v1/banks/north/ahu-1/secondary": `"limit_pa":200`,
		"/v1/due":                         `"due":[`,
	} {
		r := s.post(call{method: "GET", path: path, id: "g1"})
		if r.code != 200 || !strings.Contains(r.raw, want) || strings.Contains(r.raw, `"lives"`) {
			t.Errorf("%s: %d %s", path, r.code, r.raw)
		}
	}
}

// Requests begun are finished when the server stops, and no new ones are taken.
func TestStopFinishesWhatHasBegun(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Bearer, nil, nil)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.server.Serve(ctx, l) }()
	b.url = "http://" + l.Addr().String()
	s.bundle = b

	before := b.store.Commits()
	b.store.SlowCommits(300 * time.Millisecond)
	answered := make(chan reply, 1)
	go func() { answered <- s.post(call{id: "m1", body: one}) }()
	for b.store.Commits() == before {
		time.Sleep(time.Millisecond)
	}
	stop()
	if r := <-answered; r.code != 202 {
		t.Errorf("%d %s", r.code, r.raw)
	}
	if err := <-done; err != nil {
		t.Errorf("Serve: %v", err)
	}
	b.count(1)
	if _, err := http.DefaultClient.Do(s.request(call{id: "m2", body: one})); err == nil {
		t.Error("a request is taken after the stop")
	}
}

// A request that does not end in time is cut off; its entries are not half there.
func TestStopGivesUpOnWhatHangs(t *testing.T) {
	t.Parallel()
	b := start(t, func(s *webhook.Server) { s.StopAfter = 50 * time.Millisecond })
	s := b.sender(webhook.Bearer, nil, nil)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.server.Serve(ctx, l) }()
	b.url = "http://" + l.Addr().String()
	before := b.store.Commits()
	b.store.SlowCommits(time.Hour)
	broken := make(chan error, 1)
	r := s.request(call{id: "m1", body: one})
	go func() {
		res, err := http.DefaultClient.Do(r)
		if err == nil {
			err = res.Body.Close()
		}
		broken <- err
	}()
	for b.store.Commits() == before {
		time.Sleep(time.Millisecond)
	}
	stop()
	if err := <-done; !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("Serve: %v", err)
	}
	if err := <-broken; err == nil {
		t.Error("the hanging request was answered")
	}
	b.count(0)
}

func TestTooManyRequestsAtOnce(t *testing.T) {
	t.Parallel()
	b := start(t, func(s *webhook.Server) { s.InFlight = 1 })
	s := b.sender(webhook.Bearer, nil, nil)
	before := b.store.Commits()
	b.store.SlowCommits(300 * time.Millisecond)
	first := make(chan reply, 1)
	go func() { first <- s.post(call{id: "m1", body: one}) }()
	for b.store.Commits() == before {
		time.Sleep(time.Millisecond)
	}
	second := s.post(call{id: "m2", body: one})
	b.problem(second, 503, "too many requests at once", "nothing was recorded")
	if second.header.Get("Retry-After") != "1" {
		t.Errorf("Retry-After %q", second.header.Get("Retry-After"))
	}
	if r := <-first; r.code != 202 {
		t.Errorf("%d %s", r.code, r.raw)
	}
	if r := s.post(call{id: "m2", body: one}); r.code != 202 {
		t.Errorf("after: %d %s", r.code, r.raw)
	}
}

// The same message sent by many at once is recorded once and never mistaken.
func TestManyResendsAtOnce(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Signature, nil, nil)
	var all sync.WaitGroup
	replies := make([]reply, 16)
	for i := range replies {
		all.Go(func() { replies[i] = s.post(call{id: "m1", body: one}) })
	}
	all.Wait()
	fresh := 0
	for _, r := range replies {
		fresh += r.Recorded
		if r.Recorded+r.Duplicate != 1 {
			t.Errorf("%d %s", r.code, r.raw)
		}
	}
	if fresh != 1 {
		t.Errorf("%d answers say recorded", fresh)
	}
	b.count(1)
}

// brokenQueue panics, as a fault of ours might.
type brokenQueue struct{ *switchQueue }

func (brokenQueue) Notify(context.Context, ...queue.Notice) error { panic("out of order") }

func TestPanicIsAnsweredAndLogged(t *testing.T) {
	t.Parallel()
	b := start(t, func(s *webhook.Server) { s.Queue = brokenQueue{s.Queue.(*switchQueue)} })
	s := b.sender(webhook.Bearer, nil, nil)
	b.problem(s.post(call{id: "m1", body: one}), 500, "same webhook-id")
	if !strings.Contains(b.logs.String(), "out of order") {
		t.Error("not in the log")
	}
}

// Whatever is sent, no secret comes back in an answer or lands in a log.
func TestSecretsStayOut(t *testing.T) {
	t.Parallel()
	b := start(t, func(s *webhook.Server) { s.Rate, s.Burst = 0.1, 4 })
	signs, bears := b.sender(webhook.Signature, nil, nil), b.sender(webhook.Bearer, nil, nil)
	var seen strings.Builder
	for i, s := range []*sender{signs, bears} {
		for _, c := range []call{
			{id: "m1", body: one},
			{id: "m2", body: "["},
			{id: "m3", body: `{"bank":"x"}`},
			{id: "m4", body: one, path: "/v1/readings?key=" + s.secret},
			{id: "m5", body: one, at: noon.Add(time.Hour)},
			{method: "PATCH", path: "/" + s.secret},
		} {
			r := s.request(c)
			if i == 1 && c.id == "m5" {
				r.Header.Set("Authorization", "Bearer "+s.secret+"x")
			}
			got := b.send(r)
			for k, v := range got.header {
				seen.WriteString(k + ": " + strings.Join(v, ",") + "\n")
			}
			seen.WriteString(got.raw + "\n")
		}
		for range 4 {
			seen.WriteString(s.post(call{id: "flood", body: one}).raw)
		}
		b.store.FailCommits(1)
		seen.WriteString(s.post(call{id: "m7", body: one}).raw)
	}
	b.queue.down.Store(true)
	b.store.Down(true)
	seen.WriteString(bears.post(call{id: "m8", body: one}).raw)
	b.store.Down(false)
	res, err := http.Get(b.url + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	seen.WriteString(b.read(res).raw)
	seen.WriteString(b.logs.String())
	for _, secret := range []string{signs.secret, strings.TrimPrefix(signs.secret, "whsec_"), string(raw(t, signs.secret)), bears.secret,
		string(bears.key.Hash), sign(t, signs.secret, "m1", noon, one)} {
		if strings.Contains(seen.String(), secret) {
			t.Errorf("a secret is seen: %.12s…", secret)
		}
	}
	if len(b.logs.String()) == 0 {
		t.Error("nothing was logged, so the search proves nothing")
	}
}
