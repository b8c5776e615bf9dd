package faults_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/postgres"
	"clogwise/internal/ledger/postgres/postgrestest"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
	"clogwise/internal/queue/redistest"
)

// settings differ from the defaults where those would make a test wait: sweeps,
// claims and looks at the clock come sooner. The lease of leadership is the
// default, since the time of failover is measured.
const settings = `
http: {rate_per_second: 500, burst: 500}
worker: {claim_after: 3s, sweep_every: 3s}
cron: {tick: 500ms, lead: 10s}
outbox: {lease: 5s, reply_wait: 3s}
log: {level: info}
`

// rig is an installation: processes, servers, and the test's own look at them.
type rig struct {
	*testing.T
	ctx    context.Context
	dir    string
	path   string // of the program
	env    []string
	plant  plant.Contents
	rng    *rand.Rand // of the faults alone
	redis  *redistest.Server
	aof    string // where Redis keeps its data
	pg     *postgrestest.Server
	slack  *fakeslack.Server
	store  ledger.Store
	queue  *queue.Queue
	procs  []*process
	load   *load
	watch  *watch
	bearer key
	signed key
	begun  time.Time
	eased  time.Time // when the load ended

	volume  string      // of the data folder alone; empty: there is none
	leaps   []time.Time // when a clock was set an hour ahead
	patient bool        // wait for the outcome of a fault before the next
	hurt    int         // faults so far

	lost, doubled, digests, lists, repeats, marked, compared int // counted at the end
}

type key struct {
	ID     string `json:"id"`
	Secret string `json:"secret"`
}

// oneMachine is two processes that play every role on one data folder.
func oneMachine(t *testing.T, sites int) *rig {
	r := newRig(t, sites)
	r.mount()
	r.install("")
	r.add("one", "bot,worker,cron")
	r.add("two", "bot,worker,cron")
	return r
}

// manyMachines is two bots and three workers on a database.
func manyMachines(t *testing.T, sites int) *rig {
	pg, err := postgrestest.Start(t.Context())
	if errors.Is(err, postgrestest.ErrAbsent) {
		t.Skipf("this test of several machines is left out: %v (on Debian: apt-get install postgresql)", err)
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := pg.Stop(); err != nil {
			t.Error(err)
		}
	})
	r := newRig(t, sites)
	r.pg = pg
	r.install(pg.Schema(t))
	for _, name := range []string{"bot-1", "bot-2"} {
		r.add(name, "bot")
	}
	for _, name := range []string{"worker-1", "worker-2", "worker-3"} {
		r.add(name, "worker,cron")
	}
	return r
}

func newRig(t *testing.T, sites int) *rig {
	t.Helper()
	r := &rig{
		T: t, ctx: t.Context(), dir: t.TempDir(), plant: register(sites),
		rng: rand.New(rand.NewPCG(*seed, 0)),
	}
	r.aof = filepath.Join(r.dir, "redis")
	if err := os.Mkdir(r.aof, 0o700); err != nil {
		t.Fatal(err)
	}
	r.redis = redistest.Start(t, redistest.Options{Persist: true, Args: []string{"--dir", r.aof}})
	r.slack = fakeslack.Start(t, fakeslack.Options{})
	r.slack.AddUser(fakeslack.User{ID: technicianID, Name: technician, RealName: technician, DisplayName: technician})
	r.path = program(t)
	return r
}

// install makes the ledger with its register, keys, bookings and a digest that
// is due at once.
func (r *rig) install(db string) {
	r.Helper()
	config := filepath.Join(r.dir, "clogwise.yaml")
	if err := os.WriteFile(config, []byte(settings), 0o600); err != nil {
		r.Fatal(err)
	}
	r.env = append(os.Environ(),
		"CLOGWISE_DATA="+filepath.Join(r.dir, "data"), "CLOGWISE_LEDGER="+db, "CLOGWISE_REDIS="+r.redis.URL(),
		"CLOGWISE_SLACK_BOT_TOKEN="+fakeslack.BotToken, "CLOGWISE_SLACK_APP_TOKEN="+fakeslack.AppToken,
		"CLOGWISE_SLACK_API_URL="+r.slack.APIURL(), "CLOGWISE_SLACK_PEOPLE="+technician+" = "+technicianID,
		"CLOGWISE_OUTBOX_PER_SECOND=0", // the platform's own limits are met, not spared
	)
	r.run("import", writeRegister(r.T, r.dir, r.plant), "--save")
	r.bearer, r.signed = r.newKey("bearer"), r.newKey("signature")

	var err error
	if db == "" {
		r.store, err = sqlite.Open(r.ctx, filepath.Join(r.dir, "data", "ledger.db"), sqlite.Options{})
	} else {
		r.store, err = postgres.Open(r.ctx, db, postgres.Options{})
	}
	if err != nil {
		r.Fatal(err)
	}
	r.Cleanup(func() { _ = r.store.Close() })
	if r.queue, err = queue.Open(queue.Options{URL: r.redis.URL()}); err != nil {
		r.Fatal(err)
	}
	r.Cleanup(func() { _ = r.queue.Close() })
}

// run runs the program to its end and returns what it printed.
func (r *rig) run(args ...string) string {
	r.Helper()
	cmd := exec.CommandContext(r.ctx, r.path, append(args, "--config", filepath.Join(r.dir, "clogwise.yaml"))...)
	cmd.Env = r.env
	var says strings.Builder
	cmd.Stderr = &says
	out, err := cmd.Output()
	if err != nil {
		r.Fatalf("clogwise %v: %v\n%s%s", args, err, out, &says)
	}
	return string(out)
}

func (r *rig) newKey(scheme string) (k key) {
	r.Helper()
	if err := json.Unmarshal([]byte(r.run("key", "new", "load", "--scheme", scheme, "--json")), &k); err != nil {
		r.Fatal(err)
	}
	return k
}

// add makes a process; begin starts it.
func (r *rig) add(name, roles string) {
	r.Helper()
	f, err := os.Create(filepath.Join(r.dir, name+".log"))
	if err != nil {
		r.Fatal(err)
	}
	p := &process{
		name: name, roles: roles, path: r.path, log: f,
		hooks: filepath.Join(r.dir, name),
		args:  []string{"serve", "--config", filepath.Join(r.dir, "clogwise.yaml"), "--roles", roles},
	}
	if err := os.Mkdir(p.hooks, 0o700); err != nil {
		r.Fatal(err)
	}
	p.env = append(slices.Clone(r.env), "CLOGWISE_FAULTS="+p.hooks)
	if p.has("bot") {
		p.addr = freeAddr(r.T)
		p.args = append(p.args, "--http-listen", p.addr)
	}
	r.procs = append(r.procs, p)
}

// book books change-outs whose list before the start falls due at short
// intervals from now on: an hour before the start. The digests were last sent two
// minutes ago, so that they are due at once.
func (r *rig) book(every time.Duration, until time.Duration) {
	r.Helper()
	now := time.Now().UTC()
	reg := plant.NewRegister(r.plant)
	var b ledger.Batch
	for i, a := range slices.Sorted(ahus(r.plant)) {
		due := now.Add(every * time.Duration(i))
		if due.After(now.Add(until)) {
			break
		}
		b.Entries = append(b.Entries, entry.Entry{
			Source: fmt.Sprintf("faults:booking:%03d", i), Kind: entry.KindBooking, Place: bookedAt(reg, a), At: now, Received: now,
			By: "Maren", Body: entry.Booking{Start: due.Add(time.Hour), Crew: []string{technician}},
		})
	}
	for _, s := range r.plant.Sites {
		last := now.Add(-2 * time.Minute)
		b.Firings = append(b.Firings, ledger.Firing{
			Job: "digest", Site: s.ID, Scheduled: last.In(s.Location()).Format("2006-01-02T15:04"), At: last,
		})
	}
	if _, err := r.store.Commit(r.ctx, b); err != nil {
		r.Fatal(err)
	}
}

// bookedAt is the bank of an air handling unit for which a job is booked.
func bookedAt(reg *plant.Register, ahu plant.BankID) plant.BankID { return reg.Banks(ahu)[0] }

func ahus(c plant.Contents) func(func(plant.BankID) bool) {
	return func(yield func(plant.BankID) bool) {
		for id := range c.AHUs {
			if !yield(id) {
				return
			}
		}
	}
}

// begin starts every process.
func (r *rig) begin() {
	r.Helper()
	r.begun = time.Now()
	for _, p := range r.procs {
		if err := p.start(r.ctx); err != nil {
			r.Fatal(err)
		}
		r.Cleanup(p.kill)
	}
	bots := 0
	for _, p := range r.procs {
		if p.has("bot") {
			bots++
		}
	}
	ctx, cancel := context.WithTimeout(r.ctx, startWait)
	defer cancel()
	if err := r.slack.WaitConnected(ctx, bots); err != nil {
		r.Fatal(err)
	}
}

// with are the processes that play a role.
func (r *rig) with(role string) []*process {
	return slices.DeleteFunc(slices.Clone(r.procs), func(p *process) bool { return !p.has(role) })
}

// one is any process of a role.
func (r *rig) one(role string) *process {
	of := r.with(role)
	return of[r.rng.IntN(len(of))]
}

// again starts a process that was ended.
func (r *rig) again(p *process) {
	r.Helper()
	if err := p.start(r.ctx); err != nil {
		r.Fatal(err)
	}
}

// sometime lets a part of a second pass.
func (r *rig) sometime() { r.pass(time.Duration(100+r.rng.IntN(900)) * time.Millisecond) }

// pass lets time pass.
func (r *rig) pass(d time.Duration) {
	select {
	case <-time.After(d):
	case <-r.ctx.Done():
	}
}
