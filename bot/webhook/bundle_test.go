package webhook_test

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"clogwise/bot/webhook"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/ledgertest"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
	"clogwise/internal/register"
	"clogwise/internal/view"
)

// noon is the present of every test.
var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// portfolio is two invented sites. The secondary bank has a gauge to 500 Pa and
// a limit of 200 Pa; the primary neither.
func portfolio() plant.Contents {
	return plant.Contents{
		Sites: []plant.Site{
			{ID: "north", Name: "North", Zone: "Europe/London", Currency: "GBP"},
			{ID: "south", Name: "South", Zone: "America/Chicago", Currency: "USD"},
		},
		AHUs: map[plant.BankID]plant.AHU{
			"north/ahu-1": {ID: "ahu-1", Tag: "AHU-1", DesignFlowM3s: 3},
			"south/ahu-1": {ID: "ahu-1", Tag: "AHU-1", DesignFlowM3s: 3},
		},
		Banks: map[plant.BankID]plant.Bank{
			"north/ahu-1/primary":   {ID: "primary", Stage: plant.Primary, Fronts: []plant.Front{{WidthMM: 592, HeightMM: 592, DepthMM: 48, Count: 4}}},
			"north/ahu-1/secondary": {ID: "secondary", Stage: plant.Secondary, Points: []string{"N.AHU1.SecDP"}, Gauge: plant.Gauge{TopPa: 500, StepPa: 5}, CleanPa: 80, LimitPa: 200, Item: "XB-1"},
			"south/ahu-1/primary":   {ID: "primary", Stage: plant.Primary, Points: []string{"S.AHU1.PriDP"}},
		},
		Items: []plant.Item{{Code: "XB-1", FinalPa: 250}},
	}
}

// bundle is a running intake on a ledger of its own.
type bundle struct {
	*testing.T
	server webhook.Server
	store  *ledgertest.Faulty
	queue  *switchQueue
	logs   *lockedBuffer
	url    string
	head   int64 // of the register's entries
}

func start(t *testing.T, change ...func(*webhook.Server)) *bundle {
	t.Helper()
	ctx := context.Background()
	db, err := sqlite.Open(ctx, filepath.Join(t.TempDir(), "ledger.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close() })
	q, err := queue.OpenEmbedded(queue.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = q.Close() })
	b := &bundle{T: t, store: ledgertest.NewFaulty(db), queue: &switchQueue{Queue: q}, logs: &lockedBuffer{}}
	b.fill(ctx)
	b.server = webhook.Server{
		Store: b.store, View: view.New(b.store), Queue: b.queue, Now: func() time.Time { return noon },
		Log:     slog.New(slog.NewTextHandler(b.logs, &slog.HandlerOptions{Level: slog.LevelDebug})),
		MaxBody: 1 << 20, Rate: 1000, Burst: 1000, KeysFor: time.Nanosecond, PlantFor: time.Nanosecond,
	}
	for _, c := range change {
		c(&b.server)
	}
	srv := httptest.NewServer(b.server.Handler())
	t.Cleanup(srv.Close)
	b.url = srv.URL
	return b
}

func (b *bundle) fill(ctx context.Context) {
	b.Helper()
	var batch ledger.Batch
	for i, e := range register.Diff(plant.NewRegister(plant.Contents{}), portfolio()) {
		place := plant.BankID(e.ID)
		if e.Object == register.ObjectItem {
			place = ""
		}
		batch.Entries = append(batch.Entries, entry.Entry{
			Source: fmt.Sprint("register:", i), Kind: entry.KindRegister, Place: place,
			At: noon.AddDate(-1, 0, 0), Received: noon.AddDate(-1, 0, 0), Body: e,
		})
	}
	batch.Entries = append(batch.Entries, entry.Entry{
		Source: "point:1", Kind: entry.KindPoint, Place: "north/ahu-1", At: noon, Received: noon, Body: entry.Point{Name: "N.AHU1.SFHz", Quantity: "fan-hz", Unit: "Hz"},
	})
	res, err := b.store.Commit(ctx, batch)
	if err != nil {
		b.Fatal(err)
	}
	b.head = res[len(res)-1].Seq
}

// in is the bundle reporting to a subtest.
func (b *bundle) in(t *testing.T) *bundle {
	c := *b
	c.T = t
	return &c
}

// in is the sender reporting to a subtest.
func (s *sender) in(t *testing.T) *sender { return &sender{s.bundle.in(t), s.key, s.secret} }

// sender is an integrator with a key.
type sender struct {
	*bundle
	key    ledger.Key
	secret string
}

func (b *bundle) sender(scheme string, sites, points []string) *sender {
	b.Helper()
	k, secret, err := webhook.NewKey("hall automation", scheme, sites, points, noon)
	if err != nil {
		b.Fatal(err)
	}
	b.putKey(k)
	return &sender{b, k, secret}
}

func (b *bundle) putKey(k ledger.Key) {
	b.Helper()
	if err := b.store.PutKey(context.Background(), k); err != nil {
		b.Fatal(err)
	}
}

// call is one request; zero fields take what is usual.
type call struct {
	method, path, id, kind, body string
	at                           time.Time
	header                       map[string]string
}

func (s *sender) request(c call) *http.Request {
	s.Helper()
	r, err := http.NewRequest(or(c.method, "POST"), s.url+or(c.path, "/v1/readings"), strings.NewReader(c.body))
	if err != nil {
		s.Fatal(err)
	}
	r.Header.Set("Content-Type", or(c.kind, "application/json"))
	if c.id != "" {
		r.Header.Set("webhook-id", c.id)
	}
	if s.key.Scheme == webhook.Bearer {
		r.Header.Set("Authorization", "Bearer "+s.secret)
	} else {
		at := or(c.at, noon)
		r.Header.Set("webhook-timestamp", fmt.Sprint(at.Unix()))
		r.Header.Set("webhook-signature", sign(s.T, s.secret, c.id, at, c.body))
	}
	for k, v := range c.header {
		r.Header.Set(k, v)
	}
	return r
}

func sign(t *testing.T, secret, id string, at time.Time, body string) string {
	t.Helper()
	hook, err := standardwebhooks.NewWebhook(secret)
	if err != nil {
		t.Fatal(err)
	}
	signature, err := hook.Sign(id, at, []byte(body))
	if err != nil {
		t.Fatal(err)
	}
	return signature
}

func or[T comparable](v, fallback T) T {
	var zero T
	if v == zero {
		return fallback
	}
	return v
}

// reply is an answer, with the fields of reports and of problem details.
type reply struct {
	code   int
	header http.Header
	raw    string

	Recorded, Held, Aside, Duplicate, Refused int
	Results                                   []struct {
		Index              int
		Outcome, Bank, Why string
		Seq                int64
	}
	Type, Title, Detail string
	Status              int
}

func (b *bundle) send(r *http.Request) reply {
	b.Helper()
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		b.Fatal(err)
	}
	return b.read(res)
}

func (b *bundle) read(res *http.Response) reply {
	b.Helper()
	defer res.Body.Close() //nolint:errcheck // only read
	raw, err := io.ReadAll(res.Body)
	if err != nil {
		b.Fatal(err)
	}
	out := reply{code: res.StatusCode, header: res.Header, raw: string(raw)}
	if res.Request.Method == http.MethodHead {
		return out
	}
	if strings.Contains(res.Header.Get("Content-Type"), "json") {
		if err := json.Unmarshal(raw, &out); err != nil {
			b.Fatalf("answer %q: %v", raw, err)
		}
	}
	return out
}

func (s *sender) post(c call) reply {
	s.Helper()
	return s.send(s.request(c))
}

// problem checks that an answer is problem details of a status, saying something.
func (b *bundle) problem(r reply, status int, says ...string) {
	b.Helper()
	if r.code != status || r.Status != status || r.Title != http.StatusText(status) || r.Type != "about:blank" ||
		r.header.Get("Content-Type") != "application/problem+json" {
		b.Errorf("got %d %s %s, want problem details of %d", r.code, r.header.Get("Content-Type"), r.raw, status)
	}
	for _, want := range says {
		if !strings.Contains(r.raw, want) {
			b.Errorf("%s\ndoes not say %q", r.raw, want)
		}
	}
}

// entries are those recorded since the register.
func (b *bundle) entries() []entry.Entry {
	b.Helper()
	es, err := b.store.Entries(context.Background(), ledger.Filter{AfterSeq: b.head})
	if err != nil {
		b.Fatal(err)
	}
	return es
}

// count checks how many entries were recorded.
func (b *bundle) count(want int) {
	b.Helper()
	if es := b.entries(); len(es) != want {
		b.Errorf("%d entries in the ledger, want %d: %+v", len(es), want, es)
	}
}

// switchQueue is the embedded queue with a failure switch; it notes what it was
// told.
type switchQueue struct {
	*queue.Queue
	down atomic.Bool

	mu    sync.Mutex
	told  []queue.Notice
	asked int
}

var errSwitched = errors.New("switched off by the test")

func (q *switchQueue) Notify(ctx context.Context, n ...queue.Notice) error {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.asked++
	if q.down.Load() {
		return errSwitched
	}
	q.told = append(q.told, n...)
	return q.Queue.Notify(ctx, n...)
}

func (q *switchQueue) Take(ctx context.Context, key string, rate float64, burst, most int) (int, time.Duration, error) {
	q.mu.Lock()
	q.asked++
	q.mu.Unlock()
	if q.down.Load() {
		return 0, 0, errSwitched
	}
	return q.Queue.Take(ctx, key, rate, burst, most)
}

func (q *switchQueue) Ping(ctx context.Context) error {
	if q.down.Load() {
		return errSwitched
	}
	return q.Queue.Ping(ctx)
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// raw is a signature secret as bytes.
func raw(t *testing.T, secret string) []byte {
	t.Helper()
	b, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(secret, "whsec_"))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// edit changes the register.
func (b *bundle) edit(next plant.Contents) {
	b.Helper()
	reg, err := b.server.View.Register(context.Background())
	if err != nil {
		b.Fatal(err)
	}
	var batch ledger.Batch
	for i, e := range register.Diff(reg, next) {
		batch.Entries = append(batch.Entries, entry.Entry{
			Source: fmt.Sprint("edit:", i), Kind: entry.KindRegister, Place: plant.BankID(e.ID), At: noon, Received: noon, Body: e,
		})
	}
	if _, err := b.store.Commit(context.Background(), batch); err != nil {
		b.Fatal(err)
	}
}
