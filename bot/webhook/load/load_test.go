package load_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"clogwise/bot/webhook/load"
)

const secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"

// fake is an intake that keeps what it is sent in memory, with faults to order.
// The real one is tried in the tests of the command.
type fake struct {
	t *testing.T

	mu       sync.Mutex
	seqs     map[string]int64 // by id and place
	requests int
	away     int  // requests to turn away first
	lose     int  // answers to lose first, the readings kept
	forget   bool // records resends anew
	same     bool // gives every reading the same entry
}

func (f *fake) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		f.t.Error(err)
	}
	hook, err := standardwebhooks.NewWebhook(secret)
	if err != nil || hook.Verify(body, r.Header) != nil {
		f.t.Errorf("%s %s is not signed", r.Method, r.URL)
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	switch r.URL.Path {
	case "/v1/banks":
		fmt.Fprint(w, `{"banks":[{"bank":"north/ahu-1/primary"},{"bank":"north/ahu-1/secondary"}]}`)
	case "/metrics":
		fmt.Fprintf(w, "# TYPE clogwise_ledger_entries_total counter\nclogwise_ledger_entries_total %d\n", 7+len(f.seqs))
	case "/v1/readings":
		f.readings(w, r, body)
	default:
		f.t.Errorf("asked for %s", r.URL)
	}
}

func (f *fake) readings(w http.ResponseWriter, r *http.Request, body []byte) {
	f.requests++
	if f.away > 0 {
		f.away--
		w.Header().Set("Retry-After", "0")
		w.WriteHeader(429)
		fmt.Fprint(w, `{}`)
		return
	}
	var items []struct {
		Bank    string
		Pa      float64
		Suspect bool
	}
	if err := json.Unmarshal(body, &items); err != nil {
		f.t.Error(err)
	}
	var results []map[string]any
	for i, it := range items {
		if !it.Suspect || it.Pa < 60 || it.Pa > 100 || !strings.HasPrefix(it.Bank, "north/ahu-1/") {
			f.t.Errorf("reading %+v", it)
		}
		key := fmt.Sprint(r.Header.Get("webhook-id"), " ", i)
		if _, known := f.seqs[key]; !known || f.forget {
			f.seqs[key] = int64(f.requests*1000 + i + 1)
		}
		if f.same {
			f.seqs[key] = 1
		}
		results = append(results, map[string]any{"index": i, "outcome": "recorded", "seq": f.seqs[key]})
	}
	if f.lose > 0 {
		f.lose--
		panic(http.ErrAbortHandler)
	}
	w.WriteHeader(202)
	_ = json.NewEncoder(w).Encode(map[string]any{"results": results})
}

func run(t *testing.T, f *fake, change func(*load.Plan)) (load.Report, error) {
	t.Helper()
	f.t, f.seqs = t, map[string]int64{}
	srv := httptest.NewServer(f)
	defer srv.Close()
	p := load.Plan{URL: srv.URL, Secret: secret, Requests: 12, Batch: 5, Parallel: 3, For: time.Minute, Resend: 4}
	if change != nil {
		change(&p)
	}
	return load.Run(context.Background(), p)
}

func TestLoadCounts(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name  string
		fake  *fake
		want  load.Report // of the counts alone
		sound bool
	}{
		{"plain", &fake{}, load.Report{Requests: 12, Readings: 60, Entries: 60, Resent: 4, LedgerEntries: 60}, true},
		{"turned away", &fake{away: 5}, load.Report{Requests: 12, Readings: 60, Entries: 60, Resent: 4, LedgerEntries: 60, TurnedAway: 5}, true},
		{"answers lost", &fake{lose: 3}, load.Report{Requests: 12, Readings: 60, Entries: 60, Resent: 4, LedgerEntries: 60}, true},
		{"resends not known", &fake{forget: true}, load.Report{Requests: 12, Readings: 60, Entries: 60, Resent: 4, Forgotten: 20, LedgerEntries: 60}, false},
		{"one entry for all", &fake{same: true}, load.Report{Requests: 12, Readings: 60, Entries: 1, Doubled: 59, Resent: 4, LedgerEntries: 60}, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			got, err := run(t, tc.fake, nil)
			if err != nil {
				t.Fatal(err)
			}
			if got.Seconds <= 0 || got.P50Ms > got.P95Ms || got.P95Ms > got.P99Ms || got.P99Ms > got.MaxMs || got.MaxMs <= 0 || got.ReadingsPerSec <= got.RequestsPerSec {
				t.Errorf("times %+v", got)
			}
			if got.Sound() != tc.sound {
				t.Errorf("sound %v: %+v", got.Sound(), got)
			}
			got.Seconds, got.RequestsPerSec, got.ReadingsPerSec, got.P50Ms, got.P95Ms, got.P99Ms, got.MaxMs = 0, 0, 0, 0, 0, 0, 0
			if got != tc.want {
				t.Errorf("got  %+v\nwant %+v", got, tc.want)
			}
		})
	}
}

func TestLoadEndsInTime(t *testing.T) {
	t.Parallel()
	f := &fake{}
	got, err := run(t, f, func(p *load.Plan) { p.Requests, p.For, p.Resend = 1_000_000, 100*time.Millisecond, 0 })
	if err != nil || got.Requests == 0 || got.Requests == 1_000_000 || got.Readings != len(f.seqs) {
		t.Errorf("%+v, %v; %d readings kept", got, err, len(f.seqs))
	}
}

func TestLoadRefuses(t *testing.T) {
	t.Parallel()
	good := load.Plan{URL: "http://127.0.0.1:1", Secret: secret, Banks: []string{"a/b/c"}, Requests: 1, Batch: 1, Parallel: 1, For: time.Second}
	for name, tc := range map[string]struct {
		change func(*load.Plan)
		want   string
	}{
		"other machine":  {func(p *load.Plan) { p.URL = "http://192.0.2.1:8086" }, "not of this machine"}, // TEST-NET-1, RFC 5737
		"name":           {func(p *load.Plan) { p.URL = "http://example.org" }, "not of this machine"},
		"disguised":      {func(p *load.Plan) { p.URL = "http://127.0.0.1@192.0.2.1/" }, "not of this machine"},
		"no scheme":      {func(p *load.Plan) { p.URL = "127.0.0.1:8086" }, "not of this machine"},
		"no requests":    {func(p *load.Plan) { p.Requests = 0 }, "requests: 0"},
		"no end":         {func(p *load.Plan) { p.For = time.Hour }, "for (in seconds): 3600"},
		"many":           {func(p *load.Plan) { p.Parallel = 1000 }, "parallel: 1000"},
		"large":          {func(p *load.Plan) { p.Batch = 10_001 }, "batch: 10001"},
		"no secret":      {func(p *load.Plan) { p.Secret = "" }, "the secret is not one"},
		"nobody listens": {func(p *load.Plan) { p.Banks = nil }, "connection refused"},
	} {
		p := good
		tc.change(&p)
		if _, err := load.Run(context.Background(), p); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v, want %q", name, err, tc.want)
		}
	}
}
