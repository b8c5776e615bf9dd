package faults_test

import (
	"testing"
	"time"
)

// lesson is a run: its faults, in an order of chance, and the rest after each.
type lesson struct {
	faults  []fault
	once    []fault // after the first round, however many follow
	rest    time.Duration
	atLeast time.Duration // the faults are gone through again until then
	patient bool          // wait for the outcome of a fault before the next
}

// Bounds of what is waited for, on a machine that does other things as well.
const (
	failoverIn = 15 * time.Second
	caughtUpIn = 90 * time.Second
	saidIn     = 90 * time.Second
)

// play loads an installation, hurts it, lets it come to rest and counts.
func play(t *testing.T, r *rig, l lesson) {
	r.patient = l.patient
	defer r.tell()
	r.book(time.Second, max(l.atLeast, 20*time.Second))
	r.begin()
	r.startWatch()
	defer r.watch.end()
	r.startLoad()
	defer r.load.stop()

	suffer := func(f fault) {
		start := time.Now()
		f.do(r)
		r.hurt++
		t.Logf("%6.1fs %s (%.1fs)", time.Since(r.begun).Seconds(), f.name, time.Since(start).Seconds())
		r.pass(l.rest)
		r.stillThere()
	}
	for round := 0; round == 0 || time.Since(r.begun) < l.atLeast; round++ {
		for _, i := range r.rng.Perm(len(l.faults)) {
			suffer(l.faults[i])
		}
		for _, f := range l.once {
			suffer(f)
		}
		l.once = nil
	}
	r.settle()
	r.count()
}

// stillThere checks that nothing has ended that was not made to.
func (r *rig) stillThere() {
	r.Helper()
	for _, p := range r.procs {
		if err := p.unwanted(); err != nil {
			r.Fatal(err)
		}
	}
}

// settle ends the load and waits until nothing is left to do; then it stops the
// processes.
func (r *rig) settle() {
	r.Helper()
	r.eased = time.Now()
	if err := r.load.end(r.ctx); err != nil {
		r.Error(err)
	}
	r.until(saidIn, "messages typed are not acknowledged", func() (int, error) { return r.slack.Unacked(), nil })
	r.until(caughtUpIn, "banks lag behind", func() (int, error) {
		lags, err := r.store.Lagging(r.ctx, 0)
		return len(lags), err
	})
	r.until(failoverIn, "nobody took over the clock", func() (int, error) {
		if _, _, _, vacant := r.watch.figures(); vacant {
			return 1, nil
		}
		return 0, nil
	})
	r.until(saidIn, "lists are owed", r.owed)
	r.until(saidIn, "digests are owed", r.digestsOwed)
	r.until(saidIn, "posts are not said", r.unsaid)
	r.watch.end()
	r.stillThere()
	for _, p := range r.procs {
		if err := p.stop(); err != nil {
			r.Errorf("%s ended badly when asked to: %v", p.name, err)
		}
	}
}

// until waits until nothing is left of something.
func (r *rig) until(most time.Duration, what string, left func() (int, error)) {
	r.Helper()
	for end := time.Now().Add(most); ; r.pass(lookEvery) {
		n, err := left()
		switch {
		case err == nil && n == 0:
			return
		case r.ctx.Err() != nil, time.Now().After(end):
			r.Errorf("%s after %s: %d left, %v", what, most, n, err)
			return
		}
	}
}
