package slack

import (
	"context"
	"sync"
)

// lanes runs jobs on a bounded number of goroutines, one after the other within
// a lane and in the order in which they were submitted. Goroutines live only
// while there is work.
type lanes struct {
	room chan struct{} // one token for each job submitted and not finished

	mu      sync.Mutex
	idle    int                 // goroutines that may still be started
	waiting map[string][]func() // jobs behind the lane's current one; a key exists while its lane is busy
	ready   []turn
}

// turn is the job a lane has next.
type turn struct {
	lane string
	job  func()
}

func newLanes(workers, queue int) *lanes {
	return &lanes{room: make(chan struct{}, queue), idle: workers, waiting: map[string][]func(){}}
}

// submit queues a job. With the queue full it waits for room or for ctx.
func (l *lanes) submit(ctx context.Context, lane string, job func()) error {
	select {
	case l.room <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if behind, busy := l.waiting[lane]; busy {
		l.waiting[lane] = append(behind, job)
		return nil
	}
	l.waiting[lane] = nil
	l.ready = append(l.ready, turn{lane, job})
	if l.idle > 0 {
		l.idle--
		go l.work()
	}
	return nil
}

func (l *lanes) work() {
	for {
		t, ok := l.take()
		if !ok {
			return
		}
		t.job()
		<-l.room
		l.finish(t.lane)
	}
}

func (l *lanes) take() (turn, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.ready) == 0 {
		l.idle++
		return turn{}, false
	}
	t := l.ready[0]
	l.ready = l.ready[1:]
	return t, true
}

// finish gives the lane's next job its turn, behind the other lanes.
func (l *lanes) finish(lane string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	behind := l.waiting[lane]
	if len(behind) == 0 {
		delete(l.waiting, lane)
		return
	}
	l.waiting[lane] = behind[1:]
	l.ready = append(l.ready, turn{lane, behind[0]})
}
