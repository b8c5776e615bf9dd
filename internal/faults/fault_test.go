package faults_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"

	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/plant"
)

// fault hurts an installation and mends it again.
type fault struct {
	name string
	do   func(r *rig)
}

var killBot = fault{"kill -9 of a bot", func(r *rig) { r.killAndStart(r.one("bot")) }}

var killWorker = fault{"kill -9 of a worker", func(r *rig) { r.killAndStart(r.one("worker")) }}

func (r *rig) killAndStart(p *process) {
	p.kill()
	r.sometime()
	r.again(p)
}

// The leader comes back when another leads, or after a moment where that one is
// waited for by the end of the test.
var killLeader = fault{"kill -9 of the leader", func(r *rig) {
	var p *process
	for end := time.Now().Add(failoverIn); p == nil && time.Now().Before(end); {
		if p = r.leads(); p == nil {
			r.pass(lookEvery)
		}
	}
	if p == nil {
		r.Errorf("nobody has led the clock for %s", failoverIn)
		return
	}
	changed := r.watch.died(p.pid())
	p.kill()
	if r.patient {
		select {
		case <-changed:
		case <-time.After(failoverIn):
		}
	}
	r.sometime()
	r.again(p)
}}

// leads is the process that leads now, nil when there is none.
func (r *rig) leads() *process {
	short, cancel := context.WithTimeout(r.ctx, time.Second)
	defer cancel()
	holder, err := r.queue.Leader(short, "cron")
	if err != nil {
		return nil
	}
	for _, p := range r.with("cron") {
		if p.pid() == pidOf(holder) {
			return p
		}
	}
	return nil
}

var redisBackWithData = fault{"kill -9 of Redis, back with its data", func(r *rig) {
	r.redis.Kill()
	r.sometime()
	r.redis.Restart()
}}

var redisBackEmpty = fault{"kill -9 of Redis, back empty", func(r *rig) {
	r.redis.Kill()
	if err := os.RemoveAll(filepath.Join(r.aof, "appendonlydir")); err != nil {
		r.Error(err)
	}
	r.sometime()
	r.redis.Restart()
}}

var flushRedis = fault{"FLUSHALL", func(r *rig) {
	client := redis.NewClient(&redis.Options{Addr: r.redis.Addr})
	if err := errors.Join(client.FlushAll(r.ctx).Err(), client.Close()); err != nil {
		r.Errorf("FLUSHALL: %v", err)
	}
}}

// redisGone checks besides that intake goes on without Redis and that readiness
// says so.
func redisGone(d time.Duration) fault {
	return fault{fmt.Sprintf("Redis gone for %s", d), func(r *rig) {
		r.redis.Kill()
		defer r.redis.Restart()
		r.withoutRedis(d)
	}}
}

// withoutRedis lets time pass in two halves, in each of which intake must go on.
func (r *rig) withoutRedis(d time.Duration) {
	bot := r.one("bot")
	before := r.load.fromAll.Load()
	r.pass(d / 2)
	if says := readiness(r.ctx, bot); !strings.HasPrefix(says["queue"], "out of reach") || says["ledger"] != "ready" {
		r.Errorf("/readyz of %s while Redis was gone: %v", bot.name, says)
	}
	r.pass(d / 2)
	if r.load.fromAll.Load() == before {
		r.Errorf("nothing was acknowledged in the %s that Redis was gone", d)
	}
}

// redisLongGone is an outage of minutes. Besides, what was typed in its first half
// is answered before its end, and what lags at its end catches up.
func redisLongGone(d time.Duration) fault {
	return fault{fmt.Sprintf("Redis gone for %s, all that time answered without", d), func(r *rig) {
		_, already := r.load.kept()
		r.redis.Kill()
		r.withoutRedis(d / 2)
		_, said := r.load.kept()
		r.withoutRedis(d / 2)
		typed := said[len(already):]
		if silent := r.unanswered(typed); len(typed) == 0 || len(silent) > 0 {
			r.Errorf("of %d messages typed in the first %s without Redis %d have no reply at the end of %s: %v", len(typed), d/2, len(silent), d, silent)
		}
		r.redis.Restart()
		r.catchesUp()
	}}
}

// unanswered are those of the messages typed in whose thread nothing is said.
func (r *rig) unanswered(typed []string) (silent []string) {
	threads := map[string]bool{}
	for _, p := range r.slack.Posts() {
		threads[p.Thread] = true
	}
	for _, key := range typed {
		if !threads[key[strings.LastIndexByte(key, ':')+1:]] {
			silent = append(silent, key)
		}
	}
	return silent
}

// catchesUp waits until forecasts cover all that they lag behind now. The load goes
// on, so that others lag by then.
func (r *rig) catchesUp() {
	lags, err := r.store.Lagging(r.ctx, 0)
	if err != nil {
		r.Error(err)
		return
	}
	owed := map[plant.BankID]int64{}
	for _, l := range lags {
		owed[l.Bank] = l.Head
	}
	r.until(caughtUpIn, "banks lag behind since Redis was gone", func() (n int, err error) {
		lags, err := r.store.Lagging(r.ctx, 0)
		for _, l := range lags {
			if l.Done < owed[l.Bank] {
				n++
			}
		}
		return n, err
	})
}

// readiness is what /readyz says.
func readiness(ctx context.Context, p *process) map[string]string {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+p.addr+"/readyz", nil)
	if err != nil {
		return map[string]string{"error": err.Error()}
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return map[string]string{"error": err.Error()}
	}
	defer resp.Body.Close() //nolint:errcheck // read to its end
	says := map[string]string{}
	if err := json.NewDecoder(resp.Body).Decode(&says); err != nil {
		return map[string]string{"error": err.Error()}
	}
	return says
}

var redisHangs = fault{"Redis hangs for 5 s", func(r *rig) {
	r.redis.Pause()
	r.pass(5 * time.Second)
	r.redis.Resume()
}}

var rollingRestart = fault{"rolling restart", func(r *rig) {
	for _, p := range r.procs {
		if err := p.stop(); err != nil {
			r.Errorf("%s ended badly when asked to: %v", p.name, err)
		}
		r.again(p)
	}
}}

var databaseRestart = fault{"restart of the database", func(r *rig) { r.database(r.pg.Shutdown, 0) }}

var databaseCrash = fault{"crash of the database", func(r *rig) { r.database(r.pg.Crash, 0) }}

func databaseGone(d time.Duration) fault {
	return fault{fmt.Sprintf("database gone for %s", d), func(r *rig) { r.database(r.pg.Shutdown, d) }}
}

func (r *rig) database(stop func() error, away time.Duration) {
	if err := stop(); err != nil {
		r.Error(err)
	}
	r.pass(away)
	r.sometime()
	if err := r.pg.Restart(r.ctx); err != nil {
		r.Fatal(err)
	}
}

// claimAfter is the setting of that name.
const claimAfter = 3 * time.Second

// The pause is long enough for the others to take over what the worker holds.
var workerPaused = fault{"a worker hangs until its notices are taken over", func(r *rig) { r.hang(r.one("worker"), claimAfter*5/3) }}

var botPaused = fault{"a bot hangs", func(r *rig) { r.hang(r.one("bot"), 2*answerIn) }}

func (r *rig) hang(p *process, d time.Duration) {
	p.pause(true)
	r.pass(d)
	p.pause(false)
}

var chatTrouble = fault{"chat answers with errors", func(r *rig) {
	r.slack.Fail("chat.postMessage", fakeslack.Fault{Status: http.StatusServiceUnavailable, Times: 4})
	r.slack.Fail("chat.postMessage", fakeslack.Fault{Status: http.StatusTooManyRequests, RetryAfter: time.Second, Times: 2})
	r.slack.Fail("chat.postMessage", fakeslack.Fault{Cut: true, Times: 2})
}}

// What was asked is done and the answer is lost: only a post sent again can tell.
var chatCut = fault{"chat's answers are lost", func(r *rig) {
	r.slack.Fail("chat.postMessage", fakeslack.Fault{CutAfter: true, Times: 3})
}}

var socketDropped = fault{"chat's socket breaks", func(r *rig) {
	r.slack.LoseAcks(2)
	r.slack.DropSocket()
}}

// diskFull lets no file of the processes grow for a while, as far as the kernel
// can be made to do that to a running process: the write fails in its midst.
var diskFull = fault{"disk full", func(r *rig) {
	prlimit, err := exec.LookPath("prlimit")
	if err != nil {
		r.Log("disk full: left out, prlimit is not installed")
		return
	}
	limit := func(of string) {
		for _, p := range r.with("bot") {
			if out, err := exec.CommandContext(r.ctx, prlimit, "--pid", strconv.Itoa(p.pid()), "--fsize="+of).CombinedOutput(); err != nil {
				r.Logf("disk full: %v: %s", err, out)
			}
		}
	}
	limit("4096:unlimited")
	before := r.load.fromAll.Load()
	r.pass(2 * time.Second)
	after := r.load.fromAll.Load()
	limit("unlimited:unlimited")
	r.Logf("disk full: %d items acknowledged meanwhile", after-before)
	if r.pg == nil && after-before > 2*senders*mostItems {
		r.Errorf("%d items were acknowledged with the disk full", after-before)
	}
}}

// slowDisk makes every commit of one process take so long, by the store's hook.
var slowDisk = fault{"slow disk", func(r *rig) {
	p := r.one("bot")
	r.tamper(p, "disk", "300ms")
	r.pass(3 * time.Second)
	r.tamper(p, "disk", "")
}}

// clockStep moves the clock of one machine on and back. It is a worker's: a bot
// whose clock is wrong refuses what is signed by a right one, as it should.
var clockStep = fault{"clock step of +1 h, then -1 h", func(r *rig) {
	p := r.one("worker")
	r.leaps = append(r.leaps, time.Now())
	for _, step := range []string{"1h", "-1h", ""} {
		r.tamper(p, "clock", step)
		r.pass(2 * time.Second)
	}
}}

// chatGone is the chat platform away: nothing posted, nothing lost.
func chatGone(d time.Duration) fault {
	return fault{fmt.Sprintf("chat API down for %s", d), func(r *rig) {
		r.slack.Fail("chat.postMessage", fakeslack.Fault{Status: http.StatusServiceUnavailable, Times: 1 << 30})
		r.pass(d)
		r.slack.Mend("chat.postMessage")
	}}
}

// tamper writes what the hooks of a process built for these tests read.
func (r *rig) tamper(p *process, what, value string) {
	if err := os.WriteFile(filepath.Join(p.hooks, what), []byte(value), 0o600); err != nil {
		r.Error(err)
	}
}

// volumeFull leaves no byte free where the ledger lies. Reading goes on, nothing
// is acknowledged that is not written, and all goes on when there is room again.
var volumeFull = fault{"volume full", func(r *rig) {
	if r.volume == "" {
		r.Log("volume full: left out, no volume of its own could be mounted (it takes root)")
		return
	}
	filler := filepath.Join(r.volume, "filler")
	f, err := os.Create(filler)
	if err != nil {
		r.Fatal(err)
	}
	for block := make([]byte, 64<<10); len(block) > 0; {
		if _, err := f.Write(block); err != nil { // full: to the last byte with ever smaller pieces
			block = block[:len(block)/2]
		}
	}
	before := r.load.fromAll.Load()
	r.pass(3 * time.Second)
	taken := r.load.fromAll.Load() - before
	if err := errors.Join(f.Close(), os.Remove(filler)); err != nil {
		r.Fatal(err)
	}
	r.Logf("volume full: %d items acknowledged meanwhile", taken)
}}

// volumeSize holds the ledger of the longest run with room to spare.
const volumeSize = "size=192m"

// mount gives the data folder a small volume of its own, where that is allowed.
func (r *rig) mount() {
	r.Helper()
	dir := filepath.Join(r.dir, "data")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		r.Fatal(err)
	}
	if err := exec.CommandContext(r.ctx, "mount", "-t", "tmpfs", "-o", volumeSize, "tmpfs", dir).Run(); err != nil {
		return
	}
	r.volume = dir
	r.Cleanup(func() {
		if err := exec.Command("umount", "--lazy", dir).Run(); err != nil {
			r.Error(err)
		}
	})
}
