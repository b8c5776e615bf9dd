package faults_test

import (
	"context"
	"strconv"
	"strings"
	"sync"
	"time"

	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
)

// watch looks at an installation from outside: how far forecasts lag behind the
// ledger, and who leads.
type watch struct {
	store ledger.Store
	queue *queue.Queue
	stop  context.CancelFunc
	done  sync.WaitGroup

	mu     sync.Mutex
	behind map[plant.BankID][]head // entries not covered yet, oldest first
	lag    time.Duration           // the longest so far
	lagOf  plant.BankID

	vacant   time.Time // since when the leader is dead; zero: it is not
	deadPID  int
	failover []time.Duration
	changed  chan struct{}
}

type head struct {
	seq  int64
	seen time.Time
}

const lookEvery = 100 * time.Millisecond

func (r *rig) startWatch() {
	ctx, stop := context.WithCancel(r.ctx)
	w := &watch{store: r.store, queue: r.queue, stop: stop, behind: map[plant.BankID][]head{}, changed: make(chan struct{})}
	w.done.Go(func() { repeat(ctx, w.lookAtLag) })
	w.done.Go(func() { repeat(ctx, w.lookAtLeader) })
	r.watch = w
}

func (w *watch) end() {
	w.stop()
	w.done.Wait()
}

func repeat(ctx context.Context, do func(context.Context)) {
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			do(ctx)
		}
	}
}

// lookAtLag notes heads that appear and heads that are covered. While the ledger
// is out of reach the clock of those that wait goes on.
func (w *watch) lookAtLag(ctx context.Context) {
	short, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	lags, err := w.store.Lagging(short, 0)
	if err != nil {
		return
	}
	now := time.Now()
	w.mu.Lock()
	defer w.mu.Unlock()
	listed := map[plant.BankID]bool{}
	for _, l := range lags {
		listed[l.Bank] = true
		w.covered(l.Bank, l.Done, now)
		if q := w.behind[l.Bank]; len(q) == 0 || q[len(q)-1].seq < l.Head {
			w.behind[l.Bank] = append(q, head{l.Head, now})
		}
	}
	for bank, q := range w.behind {
		if !listed[bank] {
			w.covered(bank, q[len(q)-1].seq, now)
			delete(w.behind, bank)
		}
	}
}

func (w *watch) covered(bank plant.BankID, upTo int64, now time.Time) {
	q := w.behind[bank]
	for len(q) > 0 && q[0].seq <= upTo {
		if d := now.Sub(q[0].seen); d > w.lag {
			w.lag, w.lagOf = d, bank
		}
		q = q[1:]
	}
	w.behind[bank] = q
}

// lookAtLeader notes who leads and, after a leader's death, when another began.
func (w *watch) lookAtLeader(ctx context.Context) {
	short, cancel := context.WithTimeout(ctx, time.Second)
	defer cancel()
	holder, err := w.queue.Leader(short, "cron")
	if err != nil {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if leader := pidOf(holder); !w.vacant.IsZero() && leader != 0 && leader != w.deadPID {
		w.failover = append(w.failover, time.Since(w.vacant))
		w.vacant = time.Time{}
		close(w.changed)
		w.changed = make(chan struct{})
	}
}

// pidOf is the process id in a holder's name, "host-pid-chance".
func pidOf(holder string) int {
	parts := strings.Split(holder, "-")
	if len(parts) < 3 {
		return 0
	}
	pid, err := strconv.Atoi(parts[len(parts)-2])
	if err != nil {
		return 0
	}
	return pid
}

// died begins the measurement of a failover.
func (w *watch) died(pid int) (changed <-chan struct{}) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.vacant, w.deadPID = time.Now(), pid
	return w.changed
}

// figures are the longest lag and the failovers seen.
func (w *watch) figures() (lag time.Duration, of plant.BankID, failover []time.Duration, vacant bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.lag, w.lagOf, append([]time.Duration(nil), w.failover...), !w.vacant.IsZero()
}
