// Package load drives an intake on this machine with signed requests, as an
// integrator would, and counts afterwards what became of them.
package load

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"golang.org/x/time/rate"
)

// Plan is what to send. Every reading is invented and, unless From is set, marked
// suspect, so that it moves no forecast should it land in a ledger that matters.
type Plan struct {
	URL      string        // of the intake, on a loopback address
	Secret   string        // of a signature key, whsec_…
	Banks    []string      // to spread readings over; empty: those the intake lists
	Requests int           // at most so many
	Batch    int           // readings a request
	Parallel int           // senders
	For      time.Duration // at most so long
	Resend   int           // requests sent a second time afterwards, to be known
	Follow   int           // readings followed at a time until the forecast of their bank covers them

	PerSecond float64   // requests a second at most; 0: as fast as they are answered
	From      time.Time // change-out of filters that load from then on, read every six hours, in a ledger made for the trial
}

// Bounds of a plan.
const (
	mostRequests = 1_000_000
	mostBatch    = 10_000
	mostParallel = 256
	mostFor      = 10 * time.Minute
)

// Report is what happened. A request that was turned away or whose answer was
// lost is sent again under its id, and counted once.
type Report struct {
	Requests       int     `json:"requests"`
	Readings       int     `json:"readings"`
	Seconds        float64 `json:"seconds"`
	RequestsPerSec float64 `json:"requests_per_second"`
	ReadingsPerSec float64 `json:"readings_per_second"`

	P50Ms float64 `json:"p50_ms"` // from the first byte sent to the answer's last, tries that were turned away left out
	P95Ms float64 `json:"p95_ms"`
	P99Ms float64 `json:"p99_ms"`
	MaxMs float64 `json:"max_ms"`

	TurnedAway int `json:"turned_away"` // 429 and 503
	Failed     int `json:"failed"`      // no answer, or another than expected
	Refused    int `json:"refused"`     // readings

	Entries       int   `json:"entries"`                  // different entries that the answers name
	Doubled       int   `json:"doubled"`                  // readings acknowledged with an entry that another one has
	Resent        int   `json:"resent"`                   // requests sent again afterwards
	Forgotten     int   `json:"forgotten"`                // readings of those that were not known with their entry
	LedgerEntries int64 `json:"ledger_entries,omitempty"` // by which the ledger grew, if it tells; others may have written too

	Followed   int     `json:"followed,omitempty"`   // readings followed from their acknowledgement to a forecast that covers them
	Unfollowed int     `json:"unfollowed,omitempty"` // given up after a minute
	LagP50Ms   float64 `json:"lag_p50_ms,omitempty"` // of those followed; one given up counts as a minute
	LagP95Ms   float64 `json:"lag_p95_ms,omitempty"`
	LagMaxMs   float64 `json:"lag_max_ms,omitempty"`
}

// Sound reports whether every reading acknowledged is in the ledger once.
func (r Report) Sound() bool {
	return r.Failed+r.Refused+r.Doubled+r.Forgotten == 0 && r.Entries == r.Readings &&
		(r.LedgerEntries == 0 || r.LedgerEntries >= int64(r.Entries))
}

func (p Plan) check() error {
	u, err := url.Parse(p.URL)
	if err != nil || u.Scheme != "http" || !loopback(u.Hostname()) {
		return fmt.Errorf("url %q is not of this machine; the load is for http://127.0.0.1:PORT alone", p.URL)
	}
	for _, b := range []struct {
		name    string
		n, most int
	}{
		{"requests", p.Requests, mostRequests}, {"batch", p.Batch, mostBatch}, {"parallel", p.Parallel, mostParallel},
		{"for (in seconds)", int((p.For + time.Second - 1) / time.Second), int(mostFor / time.Second)},
	} {
		if b.n < 1 || b.n > b.most {
			return fmt.Errorf("%s: %d is not between 1 and %d", b.name, b.n, b.most)
		}
	}
	return nil
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// sent is one request that was acknowledged.
type sent struct {
	index int
	seqs  []int64
	took  time.Duration
}

type runner struct {
	Plan
	hook   *standardwebhooks.Webhook
	client *http.Client
	run    string // part of every id
	began  time.Time

	next       atomic.Int64
	turnedAway atomic.Int64
	failed     atomic.Int64
	refused    atomic.Int64

	follower
}

// Run sends what the plan says until its count or time is reached or ctx ends,
// then resends and counts.
func Run(ctx context.Context, p Plan) (Report, error) {
	if err := p.check(); err != nil {
		return Report{}, err
	}
	hook, err := standardwebhooks.NewWebhook(p.Secret)
	if err != nil || p.Secret == "" {
		return Report{}, errors.New("the secret is not one that clogwise key new printed")
	}
	transport := &http.Transport{DialContext: dialLoopback, MaxIdleConnsPerHost: p.Parallel}
	defer transport.CloseIdleConnections()
	r := &runner{
		Plan: p, hook: hook, began: time.Now(), client: &http.Client{Transport: transport, Timeout: 35 * time.Second},
	}
	r.run = "load-" + strconv.FormatInt(r.began.UnixNano(), 36)
	if len(r.Banks) == 0 {
		if r.Banks, err = r.banks(ctx); err != nil {
			return Report{}, err
		}
	}
	before := r.ledger(ctx)
	r.began = time.Now()
	r.startFollowing(ctx)
	all := r.drive(ctx)
	took := time.Since(r.began)
	rep := r.count(all, took)
	r.endFollowing(&rep)
	if after := r.ledger(ctx); before > 0 && after > 0 {
		rep.LedgerEntries = after - before
	}
	rep.Resent, rep.Forgotten = r.again(ctx, all)
	rep.Failed = int(r.failed.Load())
	return rep, ctx.Err()
}

// dialLoopback keeps the load on this machine whatever a name resolves to.
func dialLoopback(ctx context.Context, network, addr string) (net.Conn, error) {
	var d net.Dialer
	c, err := d.DialContext(ctx, network, addr)
	if err != nil {
		return nil, err
	}
	if a, ok := c.RemoteAddr().(*net.TCPAddr); !ok || !a.IP.IsLoopback() {
		return nil, errors.Join(fmt.Errorf("%s is not of this machine", addr), c.Close())
	}
	return c, nil
}

func (r *runner) drive(ctx context.Context) []sent {
	ctx, cancel := context.WithDeadline(ctx, r.began.Add(r.For))
	defer cancel()
	pace := rate.NewLimiter(rate.Inf, 1)
	if r.PerSecond > 0 {
		pace = rate.NewLimiter(rate.Limit(r.PerSecond), r.Parallel)
	}
	parts := make([][]sent, r.Parallel)
	var all sync.WaitGroup
	for i := range parts {
		all.Go(func() {
			for pace.Wait(ctx) == nil {
				n := int(r.next.Add(1)) - 1
				if n >= r.Requests {
					return
				}
				if s, ok := r.deliver(ctx, n); ok {
					parts[i] = append(parts[i], s)
				}
			}
		})
	}
	all.Wait()
	return slices.Concat(parts...)
}

// tries bounds how often one request is sent when no answer comes.
const tries = 5

// deliver sends a request until it is acknowledged, as an integrator should:
// under the same id, after a pause when told so. What the deadline cuts short is
// delivered all the same, since it may be in the ledger already.
func (r *runner) deliver(ctx context.Context, n int) (sent, bool) {
	send := context.WithoutCancel(ctx)
	for lost := 0; ; {
		began := time.Now()
		status, wait, results, err := r.post(send, n)
		switch {
		case err != nil:
			if lost++; lost == tries {
				r.failed.Add(1)
				return sent{}, false
			}
			wait = 100 * time.Millisecond
		case status == http.StatusOK || status == http.StatusAccepted:
			s := sent{index: n, took: time.Since(began)}
			for _, x := range results {
				if x.Seq == 0 {
					r.refused.Add(1)
					continue
				}
				s.seqs = append(s.seqs, x.Seq)
			}
			r.offer(results)
			return s, true
		case status == http.StatusTooManyRequests || status == http.StatusServiceUnavailable:
			r.turnedAway.Add(1)
			if ctx.Err() != nil {
				return sent{}, false // refused whole: nothing of it is recorded
			}
		default:
			r.failed.Add(1)
			return sent{}, false
		}
		time.Sleep(wait)
	}
}

type result struct {
	Outcome string
	Bank    string
	Seq     int64
}

// post sends request n once.
func (r *runner) post(ctx context.Context, n int) (status int, wait time.Duration, results []result, err error) {
	res, err := r.do(ctx, http.MethodPost, "/v1/readings", fmt.Sprintf("%s-%d", r.run, n), r.body(n))
	if err != nil {
		return 0, 0, nil, err
	}
	defer res.Body.Close() //nolint:errcheck // only read
	var answer struct{ Results []result }
	if err := json.NewDecoder(res.Body).Decode(&answer); err != nil {
		return 0, 0, nil, err
	}
	_, err = io.Copy(io.Discard, res.Body)
	seconds, _ := strconv.Atoi(res.Header.Get("Retry-After"))
	return res.StatusCode, time.Duration(seconds) * time.Second, answer.Results, err
}

func (r *runner) do(ctx context.Context, method, path, id string, body []byte) (*http.Response, error) {
	req, err := http.NewRequestWithContext(ctx, method, strings.TrimSuffix(r.URL, "/")+path, bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	now := time.Now()
	signature, err := r.hook.Sign(id, now, body)
	if err != nil {
		return nil, err
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set(standardwebhooks.HeaderWebhookID, id)
	req.Header.Set(standardwebhooks.HeaderWebhookTimestamp, strconv.FormatInt(now.Unix(), 10))
	req.Header.Set(standardwebhooks.HeaderWebhookSignature, signature)
	return r.client.Do(req)
}

// lived is the time between two readings of a bank with From, and life how long its
// filters last.
const (
	lived = 6 * time.Hour
	life  = 150 * 24 * time.Hour
)

// body is request n, the same whenever it is made: readings of one bank after
// another, all before the start; a second apart, or as those of a filter that loads.
func (r *runner) body(n int) []byte {
	type reading struct {
		Bank    string    `json:"bank"`
		At      time.Time `json:"at"`
		Pa      float64   `json:"pa"`
		Suspect bool      `json:"suspect"`
	}
	items := make([]reading, r.Batch)
	for i := range items {
		k := n*r.Batch + i
		bank, sweep := k%len(r.Banks), k/len(r.Banks)
		if r.From.IsZero() {
			at := r.began.UTC().Truncate(time.Second).Add(-time.Duration(1+sweep%86400) * time.Second)
			items[i] = reading{r.Banks[bank], at, 60 + float64(k%400)/10, true}
			continue
		}
		age := time.Duration(sweep+1) * lived
		wobble := float64((k*7919)%11-5) / 2
		items[i] = reading{r.Banks[bank], r.From.Add(age), 60 + 140*float64(age)/float64(life) + wobble, false}
	}
	raw, _ := json.Marshal(items) // plain numbers, texts and times only
	return raw
}

func (r *runner) banks(ctx context.Context) ([]string, error) {
	res, err := r.do(ctx, http.MethodGet, "/v1/banks", r.run, nil)
	if err != nil {
		return nil, err
	}
	defer res.Body.Close() //nolint:errcheck // only read
	var answer struct {
		Banks  []struct{ Bank string }
		Detail string
	}
	if err := json.NewDecoder(res.Body).Decode(&answer); err != nil {
		return nil, fmt.Errorf("GET /v1/banks: %w", err)
	}
	if res.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("GET /v1/banks: %s", answer.Detail)
	}
	if len(answer.Banks) == 0 {
		return nil, errors.New("the intake lists no banks; name some with --banks, or import a register first")
	}
	var out []string
	for _, b := range answer.Banks {
		out = append(out, b.Bank)
	}
	return out, nil
}

// ledger is how many entries the intake's metrics count, 0 if they do not.
func (r *runner) ledger(ctx context.Context) int64 {
	res, err := r.do(ctx, http.MethodGet, "/metrics", r.run, nil)
	if err != nil {
		return 0
	}
	defer res.Body.Close() //nolint:errcheck // only read
	raw, err := io.ReadAll(io.LimitReader(res.Body, 1<<20))
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(raw)) {
		if v, ok := strings.CutPrefix(line, "clogwise_ledger_entries_total "); ok {
			n, _ := strconv.ParseFloat(strings.TrimSpace(v), 64)
			return int64(n)
		}
	}
	return 0
}
