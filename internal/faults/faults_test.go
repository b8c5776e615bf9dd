// Package faults starts real processes of the built program beside a real Redis
// and a real ledger, loads them, hurts them in every way that is at hand, and
// then counts: what was acknowledged is in the ledger once, every forecast is
// what the entries say, and what was due was said once.
//
// The ordinary tests take about half a minute. The long one is run by hand:
//
//	go test ./internal/faults -run TestLong -long 10m -timeout 30m -v
//
// -seed repeats an order of faults.
package faults_test

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/redis/go-redis/v9/logging"
)

var (
	long = flag.Duration("long", 0, "how long TestLong keeps up load and faults on each kind of ledger; 0 leaves it out")
	seed = flag.Uint64("seed", 1, "seed of the order of faults and of the load")
)

func TestMain(m *testing.M) {
	flag.Parse()
	redis.SetLogger(&logging.VoidLogger{}) // outages are what is tested
	code := m.Run()
	if dir := builtIn(); dir != "" {
		_ = os.RemoveAll(dir)
	}
	os.Exit(code)
}

// program builds the command once for all tests and returns its path.
func program(t *testing.T) string {
	t.Helper()
	path, err := build()
	if err != nil {
		t.Fatal(err)
	}
	return path
}

var (
	builtAt string
	build   = sync.OnceValues(func() (string, error) {
		dir, err := os.MkdirTemp("", "clogwise-faults")
		if err != nil {
			return "", err
		}
		builtAt = dir
		path := filepath.Join(dir, "clogwise")
		if out, err := exec.Command("go", "build", "-buildvcs=false", "-tags", "faults", "-o", path, "clogwise/cmd/clogwise").CombinedOutput(); err != nil {
			return "", fmt.Errorf("go build: %w\n%s", err, out)
		}
		return path, nil
	})
)

func builtIn() string { return builtAt }

// One machine: two processes that do everything, on one data folder.
func TestOneMachine(t *testing.T) {
	if testing.Short() {
		t.Skip("real processes for half a minute: left out by -short")
	}
	t.Parallel()
	play(t, oneMachine(t, 3), lesson{faults: []fault{
		killBot, killLeader, redisBackWithData, redisBackEmpty, flushRedis, redisGone(3 * time.Second), rollingRestart, diskFull, volumeFull, slowDisk, chatGone(3 * time.Second),
	}, rest: 400 * time.Millisecond})
}

// Several machines: two bots and three workers share a database.
func TestManyMachines(t *testing.T) {
	if testing.Short() {
		t.Skip("real processes for half a minute: left out by -short")
	}
	t.Parallel()
	play(t, manyMachines(t, 3), lesson{faults: []fault{
		killBot, killWorker, killLeader, flushRedis, redisBackEmpty, databaseCrash, databaseRestart, workerPaused, chatTrouble, chatCut, clockStep,
	}, rest: 400 * time.Millisecond})
}

// TestLong repeats every fault for as long as asked, on both kinds of ledger. Once
// on each, after the first round, Redis is gone for minutes.
func TestLong(t *testing.T) {
	if *long == 0 {
		t.Skip("left out; run it with -long 10m")
	}
	once := []fault{redisLongGone(150 * time.Second)}
	t.Run("one machine", func(t *testing.T) {
		play(t, oneMachine(t, 20), lesson{faults: append([]fault{diskFull, volumeFull}, everywhere...), once: once, rest: 3 * time.Second, atLeast: *long, patient: true})
	})
	t.Run("many machines", func(t *testing.T) {
		all := append([]fault{databaseCrash, databaseRestart, databaseGone(25 * time.Second), clockStep}, everywhere...)
		play(t, manyMachines(t, 20), lesson{faults: all, once: once, rest: 3 * time.Second, atLeast: *long, patient: true})
	})
}

var everywhere = []fault{
	killBot, killWorker, killLeader, redisBackWithData, redisBackEmpty, flushRedis, redisGone(20 * time.Second),
	redisHangs, rollingRestart, workerPaused, botPaused, chatTrouble, chatCut, socketDropped, slowDisk, chatGone(20 * time.Second),
}
