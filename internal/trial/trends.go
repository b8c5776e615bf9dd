package trial

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"clogwise/internal/app"
	"clogwise/internal/config"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/points"
)

// Trends is what a building system sends: a differential pressure of each bank
// every 15 minutes of a clock that runs faster.
type Trends struct {
	Dir      string // empty folder for its data
	Redis    string // as in the configuration
	Banks    int
	Days     int     // simulated
	History  int     // days before them with one reading each
	Speed    float64 // simulated time by real time
	Batch    int     // values a request
	Parallel int     // senders

	Worker config.Worker // as in the configuration
	Log    *slog.Logger
	Tell   func(TrendDay) // of each day whose forecasts are there; nil: nobody
}

// Bounds of a trial of trends.
const (
	everyValue   = 15 * time.Minute
	valuesOfDay  = int(24 * time.Hour / everyValue)
	mostTrended  = 1_000_000 // banks
	mostTrendDay = 400
)

// TrendDay is one simulated day. Memory is that of the whole process: intake,
// worker, senders and, without Redis, the server in its place.
type TrendDay struct {
	Day       int     `json:"day"`
	Values    int64   `json:"values"`
	Seconds   float64 `json:"seconds"`           // real ones
	BehindS   float64 `json:"behind_s"`          // of them beyond what the speed allows
	PerSecond float64 `json:"values_per_second"` // while they were sent
	P50Ms     float64 `json:"p50_ms"`            // of answers
	P99Ms     float64 `json:"p99_ms"`
	LagS      float64 `json:"lag_s"`      // real ones from the day's end to its last forecast, the wait for the hour of thinning included
	CPUS      float64 `json:"cpu_s"`      // processor time of the process from one such forecast to the next
	RSS       int64   `json:"rss_bytes"`  // at that time; 0: not told by this system
	Heap      uint64  `json:"heap_bytes"` // in use
	Ledger    int64   `json:"ledger_bytes"`
	Entries   int64   `json:"entries"` // in the ledger

	PerValue   float64 `json:"bytes_per_value"`   // by which the ledger grew, since the first day began
	PerReading float64 `json:"bytes_per_reading"` // one for each bank and day
}

// TrendReport is what was measured.
type TrendReport struct {
	Banks   int        `json:"banks"`
	Speed   float64    `json:"speed"`   // asked for
	Reached float64    `json:"reached"` // while values were sent
	BehindS float64    `json:"behind_s"`
	Days    []TrendDay `json:"days"`

	Values   int64 `json:"values"`   // sent
	Recorded int64 `json:"recorded"` // acknowledged
	Refused  int64 `json:"refused"`
	Again    int64 `json:"again"`    // requests sent again, under their id
	Kept     int64 `json:"kept"`     // values in the ledger, by its count of entries
	Readings int64 `json:"readings"` // made of them
	Missing  int64 `json:"missing"`  // days of banks without a reading
	Uneven   int64 `json:"uneven"`   // readings of more or fewer values than a day has
	Lagging  int   `json:"lagging"`  // banks without a forecast from their last reading
}

// Sound reports whether every value is in the ledger once and every day of every
// bank has become one reading, from all its values, and a forecast.
func (r TrendReport) Sound() bool {
	return r.Values > 0 && r.Recorded == r.Values && r.Kept == r.Values && r.Readings == int64(r.Banks*len(r.Days)) &&
		r.Refused+r.Missing+r.Uneven == 0 && r.Lagging == 0
}

func (o Trends) check() error {
	for _, b := range []struct {
		name    string
		n, most int
	}{
		{"banks", o.Banks, mostTrended}, {"days", o.Days, mostTrendDay}, {"days of history", o.History + 1, mostTrendDay + 1},
		{"batch", o.Batch, 10_000}, {"parallel", o.Parallel, 256}, {"speed", int(min(o.Speed, 1e9)), 1_000_000},
	} {
		if b.n < 1 || b.n > b.most {
			return fmt.Errorf("%s: %d is not between 1 and %d", b.name, b.n, b.most)
		}
	}
	return nil
}

// firstDay is an arbitrary Monday: digests are due in the week that follows.
var firstDay = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// RunTrends builds an installation, sends it days of values and counts what
// became of them.
func RunTrends(ctx context.Context, o Trends) (rep TrendReport, err error) {
	if err := o.check(); err != nil {
		return rep, err
	}
	cfg, err := config.Load("", nil)
	if err != nil {
		return rep, err
	}
	cfg.Worker = o.Worker
	cfg.Data, cfg.Ledger, cfg.Redis = o.Dir, filepath.Join(o.Dir, "ledger.db"), o.Redis
	cfg.HTTP.Listen, cfg.HTTP.RatePerSec, cfg.HTTP.Burst = "127.0.0.1:0", unlimited, unlimited
	// What is done now and then is done as often by the simulated clock.
	cfg.Cron.Tick, cfg.Worker.SweepEvery = o.faster(cfg.Cron.Tick), o.faster(cfg.Worker.SweepEvery)
	t := &trending{Trends: o, clock: stopped(firstDay, o.Speed), client: &http.Client{
		Transport: &http.Transport{MaxIdleConnsPerHost: o.Parallel}, Timeout: time.Minute,
	}}
	defer t.client.CloseIdleConnections()
	if t.app, err = app.Open(ctx, cfg, app.Options{Log: o.Log, Now: t.clock.Now}); err != nil {
		return rep, err
	}
	defer func() { err = errors.Join(err, t.app.Close()) }()
	if err := t.build(ctx); err != nil {
		return rep, fmt.Errorf("invented register: %w", err)
	}
	if _, t.secret, err = t.app.NewKey(ctx, "trial", "bearer", nil, nil); err != nil { // a signature's window of five minutes passes too fast
		return rep, err
	}
	services, addr, err := t.app.Webhook(ctx)
	if err != nil {
		return rep, err
	}
	t.url = "http://" + addr + "/v1/readings"
	run, stop := context.WithCancel(ctx)
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- app.Run(run, t.app.Log, append(t.app.WorkerServices(), services...)...) }()
	rep, err = t.run(ctx)
	stop()
	return rep, errors.Join(err, <-ended)
}

// leastPause keeps what is done now and then from doing nothing else.
const leastPause = 100 * time.Millisecond

func (o Trends) faster(d time.Duration) time.Duration {
	return max(time.Duration(float64(d)/o.Speed), leastPause)
}

// trending is one trial under way.
type trending struct {
	Trends
	app    *app.App
	clock  *clock
	client *http.Client
	url    string
	secret string

	recorded, refused, again atomic.Int64
	mu                       sync.Mutex
	took                     []time.Duration // of the day's answers
}

func point(i int) string { return string(bank(i)) + "/dp" }

// build records the register, the points and the history, and makes the
// projections.
func (t *trending) build(ctx context.Context) error {
	began := firstDay.AddDate(0, 0, -t.History-1)
	if _, err := t.app.ApplyRegister(ctx, fleet(t.Banks), "trial", "trial", began.Add(-time.Hour)); err != nil {
		return err
	}
	record := func(one func(i int) entry.Entry) error {
		all := make([]entry.Entry, t.Banks)
		for i := range all {
			all[i] = one(i)
		}
		_, _, err := t.app.Record(ctx, all)
		return err
	}
	if _, _, err := t.app.Record(ctx, changed(t.Banks, began)); err != nil {
		return err
	}
	if err := record(func(i int) entry.Entry {
		return entry.Entry{
			Source: "trial:point:" + point(i), Kind: entry.KindPoint, Place: bank(i), At: began, Received: began, By: "trial",
			Body: entry.Point{Name: point(i), Quantity: string(points.Pressure), Unit: "Pa", Trend: true, KeepDays: points.LeastKept},
		}
	}); err != nil {
		return err
	}
	for day := range t.History {
		at := began.Add(time.Duration(day)*24*time.Hour + 12*time.Hour)
		if err := record(func(i int) entry.Entry {
			return entry.Entry{
				Source: fmt.Sprintf("trial:history:%d:%d", day, i), Kind: entry.KindReading, Place: bank(i), At: at, Received: at, By: "trial",
				Body: entry.Reading{Pa: t.pa(i, at), StepPa: 1},
			}
		}); err != nil {
			return err
		}
	}
	_, err := t.app.View.Rebuild(ctx, t.clock.Now(), nil)
	return err
}

// pa is the invented pressure of a bank: lives of 150 to 249 days, with a wobble.
func (t *trending) pa(i int, at time.Time) float64 {
	age := at.Sub(firstDay.AddDate(0, 0, -t.History-1)).Hours() / 24
	wobble := float64((i*7919+int(at.Unix()/900)*104_729)%11-5) / 2
	return 60 + 140*age/float64(150+i%100) + wobble
}

func (t *trending) run(ctx context.Context) (TrendReport, error) {
	rep := TrendReport{Banks: t.Banks, Speed: t.Speed}
	before, err := t.app.Store.Head(ctx)
	if err != nil {
		return rep, err
	}
	size := t.size()
	last := processorSeconds()
	began := time.Now()
	ends := make(chan TrendDay, t.Days)
	watched := make(chan error, 1)
	go func() { // lags are seen while the next day goes on
		var err error
		for d := range ends {
			ended := time.Now()
			if err == nil {
				ended, err = t.forecast(ctx, d.Day)
			}
			d.LagS = ended.Sub(began).Seconds() - d.LagS
			now := processorSeconds()
			d.CPUS, last = now-last, now
			t.measure(ctx, &d, before, size)
			rep.Days = append(rep.Days, d)
			if t.Tell != nil && err == nil {
				t.Tell(d)
			}
		}
		watched <- err
	}()
	for day := range t.Days {
		d, err := t.day(ctx, day, began)
		if err != nil {
			close(ends)
			return rep, errors.Join(err, <-watched)
		}
		rep.Values += d.Values
		ends <- d
	}
	took := time.Since(began).Seconds()
	simulated := float64(t.Days) * 24 * 3600
	rep.Reached, rep.BehindS = simulated/took, max(0, took-simulated/t.Speed)
	t.clock.upTo(firstDay.AddDate(0, 0, t.Days).Add(time.Hour)) // past the hour of thinning
	close(ends)
	if err := <-watched; err != nil {
		return rep, err
	}
	rep.Recorded, rep.Refused, rep.Again = t.recorded.Load(), t.refused.Load(), t.again.Load()
	return rep, t.count(ctx, &rep, before)
}

// day sends a day's values, each time's when the clock shows it; the clock does
// not pass the next time before all are acknowledged. LagS of what it returns is
// the moment of the day's end.
func (t *trending) day(ctx context.Context, day int, began time.Time) (TrendDay, error) {
	t.took = nil
	first := firstDay.AddDate(0, 0, day)
	start := time.Now()
	d := TrendDay{Day: day + 1}
	for k := range valuesOfDay {
		at := first.Add(time.Duration(k) * everyValue)
		t.clock.upTo(at.Add(everyValue - time.Nanosecond)) // or a day would be over whose last values are on their way
		if err := t.sendAll(ctx, at); err != nil {
			return d, err
		}
		t.clock.upTo(at.Add(everyValue))
		d.Values += int64(t.Banks)
		if err := t.clock.until(ctx, at.Add(everyValue)); err != nil {
			return d, err
		}
	}
	d.Seconds, d.LagS = time.Since(start).Seconds(), time.Since(began).Seconds()
	d.PerSecond = float64(d.Values) / d.Seconds
	d.BehindS = max(0, d.Seconds-24*3600/t.Speed)
	slices.Sort(t.took)
	d.P50Ms, d.P99Ms = t.quantile(0.5), t.quantile(0.99)
	return d, nil
}

func (t *trending) quantile(q float64) float64 {
	return float64(t.took[int(q*float64(len(t.took)-1))]) / float64(time.Millisecond)
}

func (t *trending) sendAll(ctx context.Context, at time.Time) error {
	var next atomic.Int64
	var all sync.WaitGroup
	errs := make([]error, t.Parallel)
	for n := range errs {
		all.Go(func() {
			for errs[n] == nil {
				from := int(next.Add(1)-1) * t.Batch
				if from >= t.Banks {
					return
				}
				errs[n] = t.send(ctx, at, from, min(from+t.Batch, t.Banks))
			}
		})
	}
	all.Wait()
	return errors.Join(errs...)
}

// send sends the values of some banks until they are acknowledged.
func (t *trending) send(ctx context.Context, at time.Time, from, to int) error {
	type value struct {
		Point string    `json:"point"`
		At    time.Time `json:"at"`
		Value float64   `json:"value"`
		Unit  string    `json:"unit"`
	}
	items := make([]value, 0, to-from)
	for i := from; i < to; i++ {
		items = append(items, value{point(i), at, t.pa(i, at), "Pa"})
	}
	body, err := json.Marshal(items)
	if err != nil {
		return err
	}
	id := fmt.Sprintf("trend-%d-%d", at.Unix(), from)
	for tries := 1; ; tries++ {
		began := time.Now()
		status, done, err := t.post(ctx, id, body)
		if err == nil && (status == http.StatusAccepted || status == http.StatusOK) {
			t.mu.Lock()
			t.took = append(t.took, time.Since(began))
			t.mu.Unlock()
			t.recorded.Add(int64(done.Recorded + done.Duplicate))
			t.refused.Add(int64(done.Refused + done.Held + done.Aside))
			return nil
		}
		lasting := status != 0 && status != http.StatusTooManyRequests && status < http.StatusInternalServerError
		if lasting || tries == sendTries || ctx.Err() != nil {
			return errors.Join(fmt.Errorf("request %s of %d values: answered %d after %d tries", id, to-from, status, tries), err, ctx.Err())
		}
		t.again.Add(1)
		time.Sleep(100 * time.Millisecond)
	}
}

// sendTries is how often one request is sent before the trial ends.
const sendTries = 100

type answered struct{ Recorded, Held, Aside, Duplicate, Refused int }

func (t *trending) post(ctx context.Context, id string, body []byte) (status int, done answered, err error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, t.url, bytes.NewReader(body))
	if err != nil {
		return 0, done, err
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Authorization", "Bearer "+t.secret)
	req.Header.Set("Webhook-Id", id)
	res, err := t.client.Do(req)
	if err != nil {
		return 0, done, err
	}
	defer res.Body.Close() //nolint:errcheck // only read
	raw, err := io.ReadAll(res.Body)
	if err == nil {
		err = json.Unmarshal(raw, &done)
	}
	return res.StatusCode, done, err
}

// forecast waits until a day's readings are made at every site and no bank's
// projection lags, and returns when that was seen.
func (t *trending) forecast(ctx context.Context, day int) (time.Time, error) {
	due := firstDay.AddDate(0, 0, day).Format("2006-01-02") // the night after it
	for site := range (t.Banks + banksOfSite - 1) / banksOfSite {
		id := bank(site * banksOfSite).Site()
		if err := t.look(ctx, func() (bool, error) {
			f, err := t.app.Store.LastFiring(ctx, "trends", id)
			if errors.Is(err, ledger.ErrNotFound) {
				return false, nil
			}
			return err == nil && f.Scheduled > due+"T00:39", err
		}); err != nil {
			return time.Now(), err
		}
	}
	err := t.look(ctx, func() (bool, error) {
		lags, err := t.app.Store.Lagging(ctx, 1)
		return len(lags) == 0, err
	})
	return time.Now(), err
}

// look asks again and again until something is so.
func (t *trending) look(ctx context.Context, so func() (bool, error)) error {
	for {
		if ok, err := so(); ok || err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(20 * time.Millisecond):
		}
	}
}

func (t *trending) size() int64 {
	var bytes int64
	for _, name := range []string{"ledger.db", "ledger.db-wal"} {
		if st, err := os.Stat(filepath.Join(t.Dir, name)); err == nil {
			bytes += st.Size()
		}
	}
	return bytes
}

func (t *trending) measure(ctx context.Context, d *TrendDay, before, size int64) {
	d.RSS, d.Heap, d.Ledger = residentBytes(), heapBytes(), t.size()
	if head, err := t.app.Store.Head(ctx); err == nil {
		d.Entries = head
		// Days that overlap are told by what is there.
		if values := float64(head-before) * float64(valuesOfDay) / float64(valuesOfDay+1); values > 0 {
			d.PerValue = float64(d.Ledger-size) / values
			d.PerReading = d.PerValue * float64(valuesOfDay)
		}
	}
}

// count looks into the ledger for what became of the values.
func (t *trending) count(ctx context.Context, rep *TrendReport, before int64) error {
	head, err := t.app.Store.Head(ctx)
	if err != nil {
		return err
	}
	for i := range t.Banks {
		days := map[string]bool{}
		all, err := t.app.Store.Entries(ctx, ledger.Filter{Place: bank(i), Exact: true, Kinds: []entry.Kind{entry.KindReading}, AfterSeq: before})
		if err != nil {
			return err
		}
		for _, x := range all {
			r, ok := x.Body.(entry.Reading)
			if !ok || r.Window == nil || r.Window.Count != valuesOfDay {
				rep.Uneven++
			}
			days[x.At.Format(time.DateOnly)] = true
		}
		rep.Readings += int64(len(all))
		rep.Missing += int64(t.Days - len(days))
	}
	rep.Kept = head - before - rep.Readings
	lags, err := t.app.Store.Lagging(ctx, 0)
	rep.Lagging = len(lags)
	return err
}
