package faults_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/plant"
)

// Bounds of the load: it is meant to be there all the time, not to be heavy.
const (
	senders     = 4
	sendEvery   = 200 * time.Millisecond // of one sender
	mostItems   = 3                      // in one request
	swapOneIn   = 40                     // requests that are change-outs
	answerIn    = 4 * time.Second        // an answer later than that counts as none
	typeEvery   = 700 * time.Millisecond
	deliveredIn = 90 * time.Second // what was begun must be acknowledged so long after the load has ended
)

// load sends readings and change-outs as integrators do: again under the same
// ids until they are acknowledged.
type load struct {
	bots    []string // addresses
	signed  *standardwebhooks.Webhook
	bearer  string
	lineage [2]string // key ids: of the bearer's and of the signer's sources
	banks   []plant.BankID
	changed []plant.BankID // those of them whose filters are changed: a change-out ends the job booked for it

	stop    context.CancelFunc
	done    sync.WaitGroup
	resent  atomic.Int64
	fromAll atomic.Int64 // acknowledgements so far

	mu    sync.Mutex
	acked map[string]int64 // by source: the number of its entry as answered
	said  []string         // keys of the messages typed
	odd   []string         // answers that should not be
}

// item is what the webhook takes.
type item struct {
	ID      string    `json:"id"`
	Bank    string    `json:"bank"`
	At      time.Time `json:"at"`
	Pa      float64   `json:"pa,omitempty"`
	Count   int       `json:"count,omitempty"`
	CleanPa float64   `json:"clean_pa,omitempty"`
}

func (r *rig) startLoad() {
	r.Helper()
	hook, err := standardwebhooks.NewWebhook(r.signed.Secret)
	if err != nil {
		r.Fatal(err)
	}
	l := &load{signed: hook, bearer: r.bearer.Secret, lineage: [2]string{r.bearer.ID, r.signed.ID}, acked: map[string]int64{}}
	for _, p := range r.with("bot") {
		l.bots = append(l.bots, p.addr)
	}
	reg := plant.NewRegister(r.plant)
	for _, id := range reg.Banks("") {
		if !strings.HasSuffix(string(id.AHU()), "/"+typedAt) {
			l.banks = append(l.banks, id)
			if id != bookedAt(reg, id.AHU()) {
				l.changed = append(l.changed, id)
			}
		}
	}
	begin, stop := context.WithCancel(r.ctx)
	l.stop = stop
	for i := range senders {
		l.done.Go(func() { l.send(begin, r.ctx, i) })
	}
	l.done.Go(func() { l.typing(begin, r) })
	r.load = l
}

// end stops the load and waits until everything begun is acknowledged.
func (l *load) end(ctx context.Context) error {
	l.stop()
	ended := make(chan struct{})
	go func() { l.done.Wait(); close(ended) }()
	select {
	case <-ended:
		return nil
	case <-time.After(deliveredIn):
		return fmt.Errorf("requests are still not acknowledged %s after everything was up again", deliveredIn)
	case <-ctx.Done():
		return ctx.Err()
	}
}

// send begins requests until begin is done.
func (l *load) send(begin, ctx context.Context, sender int) {
	rng := rand.New(rand.NewPCG(*seed, uint64(sender)+1))
	tick := time.NewTicker(sendEvery)
	defer tick.Stop()
	for n := 0; ; n++ {
		select {
		case <-begin.Done():
			return
		case <-tick.C:
		}
		id := fmt.Sprintf("r%d-%06d", sender, n)
		path, items := "/v1/readings", l.readings(rng, id)
		if rng.IntN(swapOneIn) == 0 {
			path, items = "/v1/swaps", []item{{ID: id, Bank: string(l.changed[rng.IntN(len(l.changed))]), At: time.Now(), Count: 4, CleanPa: 60 + rng.Float64()*20}}
		}
		l.deliver(ctx, rng, sender%2, path, id, items)
	}
}

func (l *load) readings(rng *rand.Rand, id string) []item {
	out := make([]item, 1+rng.IntN(mostItems))
	for i := range out {
		out[i] = item{
			ID: fmt.Sprintf("%s-%d", id, i), Bank: string(l.banks[rng.IntN(len(l.banks))]), At: time.Now(),
			Pa: 70 + float64(rng.IntN(80)),
		}
	}
	return out
}

// deliver sends a request until it is acknowledged.
func (l *load) deliver(ctx context.Context, rng *rand.Rand, scheme int, path, id string, items []item) {
	body, err := json.Marshal(items)
	if err != nil {
		l.strange("%v", err)
		return
	}
	for try := 0; ctx.Err() == nil; try++ {
		if try > 0 {
			l.resent.Add(1)
		}
		wait, err := l.try(ctx, l.bots[rng.IntN(len(l.bots))], scheme, path, id, body, items)
		if err == nil {
			return
		}
		select {
		case <-time.After(max(wait, time.Duration(50+rng.IntN(200))*time.Millisecond)):
		case <-ctx.Done():
		}
	}
}

func (l *load) try(ctx context.Context, bot string, scheme int, path, id string, body []byte, items []item) (wait time.Duration, err error) {
	ctx, cancel := context.WithTimeout(ctx, answerIn)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://"+bot+path, bytes.NewReader(body))
	if err != nil {
		return 0, err
	}
	req.Header.Set("Content-Type", "application/json")
	if err := l.prove(req, scheme, id, body); err != nil {
		return 0, err
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return 0, err
	}
	raw, err := io.ReadAll(resp.Body)
	if cerr := resp.Body.Close(); err != nil || cerr != nil {
		return 0, errors.Join(err, cerr)
	}
	switch {
	case resp.StatusCode/100 == 2:
		return 0, l.keep(scheme, raw, items)
	case resp.StatusCode == http.StatusTooManyRequests, resp.StatusCode >= 500:
		seconds, _ := strconv.Atoi(resp.Header.Get("Retry-After")) // absent: at once
		return min(time.Duration(seconds)*time.Second, 2*time.Second), errors.New(resp.Status)
	}
	l.strange("%s answered %s: %s", path, resp.Status, raw)
	return 0, errors.New(resp.Status)
}

// prove adds credentials: a bearer key or a signature.
func (l *load) prove(req *http.Request, scheme int, id string, body []byte) error {
	if scheme == 0 {
		req.Header.Set("Authorization", "Bearer "+l.bearer)
		return nil
	}
	now := time.Now()
	signature, err := l.signed.Sign(id, now, body)
	if err != nil {
		return err
	}
	req.Header.Set(standardwebhooks.HeaderWebhookID, id)
	req.Header.Set(standardwebhooks.HeaderWebhookTimestamp, strconv.FormatInt(now.Unix(), 10))
	req.Header.Set(standardwebhooks.HeaderWebhookSignature, signature)
	return nil
}

// keep notes what was acknowledged.
func (l *load) keep(scheme int, raw []byte, items []item) error {
	var rep struct {
		Results []struct {
			Index   int    `json:"index"`
			Outcome string `json:"outcome"`
			Seq     int64  `json:"seq"`
			Why     string `json:"why"`
		} `json:"results"`
	}
	if err := json.Unmarshal(raw, &rep); err != nil {
		return err
	}
	if len(rep.Results) != len(items) {
		l.strange("%d results for %d items: %s", len(rep.Results), len(items), raw)
		return nil
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, x := range rep.Results {
		if x.Outcome == "refused" || x.Seq == 0 {
			l.odd = append(l.odd, fmt.Sprintf("item %s was %s: %s", items[x.Index].ID, x.Outcome, x.Why))
			continue
		}
		l.acked["hook:"+l.lineage[scheme]+":item:"+items[x.Index].ID] = x.Seq
		l.fromAll.Add(1)
	}
	return nil
}

func (l *load) strange(format string, args ...any) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.odd = append(l.odd, fmt.Sprintf(format, args...))
}

// typedAt is the air handling unit of each site whose banks are read by people.
const typedAt = "ahu-1"

// typing has a technician type readings in the sites' channels. The platform
// sends a message again until the bot has acknowledged it.
func (l *load) typing(begin context.Context, r *rig) {
	tick := time.NewTicker(typeEvery)
	defer tick.Stop()
	for n := 0; ; n++ {
		select {
		case <-begin.Done():
			return
		case <-tick.C:
		}
		s := r.plant.Sites[n%len(r.plant.Sites)]
		ts := r.slack.Say(s.Channel, technicianID, fmt.Sprintf("AHU-1 secondary %d Pa", 120+n%7))
		l.mu.Lock()
		l.said = append(l.said, "slack:"+fakeslack.Team+":"+s.Channel+":"+ts)
		l.mu.Unlock()
	}
}

// kept is a copy of what was acknowledged and what was typed.
func (l *load) kept() (acked map[string]int64, said []string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return maps.Clone(l.acked), append([]string(nil), l.said...)
}
