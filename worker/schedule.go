package worker

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"github.com/robfig/cron/v3"

	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
	"clogwise/internal/view"
)

// A Job is something done at set times of each site's own clock.
type Job struct {
	Name string
	Spec func(plant.Site) string // five-field cron expression, site time
	// Do does the work and returns what is to be recorded together with the
	// firing. It may be called again when recording fails.
	Do func(ctx context.Context, site plant.Site, f Firing) (ledger.Batch, error)
	// Owed is done however late it comes: what it makes is not news but records.
	Owed bool
}

// A Firing is one run of a job.
type Firing struct {
	Key       string    // of the job, site and scheduled local time; once-only
	Scheduled time.Time // when it should have run
	Late      bool
	Last      time.Time // the firing before, zero if none
}

// Scheduler fires jobs. Any number of replicas may run it: the one that leads
// looks at the clock, and the ledger takes each firing once.
type Scheduler struct {
	Store   ledger.Store
	View    *view.View
	Queue   *queue.Queue
	Now     func() time.Time
	Log     *slog.Logger
	Jobs    []Job
	Always  []func(ctx context.Context) error // done at every tick, each once-only by its own keys
	CatchUp time.Duration
	Tick    time.Duration
	Lead    time.Duration

	quiet map[quietKey]quiet
}

// quietKey is a job of a site.
type quietKey struct{ job, site string }

// quiet says that a job with a schedule has nothing to do before a time, so that the
// ledger is not asked at each tick. Others who fire it put that time off at most.
type quiet struct {
	spec, zone    string
	since, before time.Time
}

func (q quiet) holds(spec, zone string, now time.Time) bool {
	return q.spec == spec && q.zone == zone && !now.Before(q.since) && now.Before(q.before)
}

// lateAfter is how long after its time a firing says that it is late.
const lateAfter = 10 * time.Minute

// leadership is the name under which replicas agree on who looks at the clock.
const leadership = "cron"

// Run looks at the clock every Tick while this replica leads. When the queue is
// out of reach nobody can lead, and every replica looks: the ledger alone keeps
// firings once-only then.
func (s *Scheduler) Run(ctx context.Context) error {
	began := make(chan struct{}, 1)
	var leads atomic.Bool
	var striving sync.WaitGroup
	defer striving.Wait()
	striving.Go(func() {
		err := s.Queue.Lead(ctx, queue.Leadership{Name: leadership, TTL: s.Lead}, func(ctx context.Context, _ int64) error {
			leads.Store(true)
			defer leads.Store(false)
			select {
			case began <- struct{}{}:
			default:
			}
			<-ctx.Done()
			return ctx.Err()
		})
		if err != nil && ctx.Err() == nil {
			s.Log.Warn("no leadership for scheduled work; going by the ledger alone", "error", err)
		}
	})
	tick := time.NewTicker(s.Tick)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-began:
		case <-tick.C:
		}
		if leads.Load() || s.leaderless(ctx) {
			s.tick(ctx)
		}
	}
}

// leaderless reports whether the queue cannot say who leads.
func (s *Scheduler) leaderless(ctx context.Context) bool {
	short, cancel := context.WithTimeout(ctx, queueWait)
	defer cancel()
	_, err := s.Queue.Leader(short, leadership)
	return err != nil && ctx.Err() == nil
}

func (s *Scheduler) tick(ctx context.Context) {
	if err := s.Fire(ctx); err != nil && ctx.Err() == nil {
		s.Log.Warn("scheduled work failed; it will be tried again", "error", err)
	}
}

// Fire does everything that is due now. One failing job does not keep the others.
func (s *Scheduler) Fire(ctx context.Context) error {
	reg, err := s.View.Register(ctx)
	if err != nil {
		return err
	}
	var errs []error
	for _, site := range reg.Sites() {
		for _, j := range s.Jobs {
			if err := s.fire(ctx, site, j); err != nil {
				errs = append(errs, fmt.Errorf("%s at %s: %w", j.Name, site.ID, err))
			}
		}
	}
	for _, do := range s.Always {
		if err := do(ctx); err != nil {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}

func (s *Scheduler) fire(ctx context.Context, site plant.Site, j Job) error {
	now, loc, spec, key := s.Now(), site.Location(), j.Spec(site), quietKey{j.Name, site.ID}
	if s.quiet[key].holds(spec, loc.String(), now) {
		return nil
	}
	last, err := s.Store.LastFiring(ctx, j.Name, site.ID)
	if errors.Is(err, ledger.ErrNotFound) {
		// A new site has missed nothing: count from here.
		return s.record(ctx, ledger.Firing{Job: j.Name, Site: site.ID, Scheduled: wall(now, loc).Format(minute), At: now}, ledger.Batch{})
	}
	if err != nil {
		return err
	}
	when, next, ok, err := Missed(spec, loc, last.At, now)
	if err != nil {
		return err
	}
	if !ok {
		if s.quiet == nil {
			s.quiet = map[quietKey]quiet{}
		}
		s.quiet[key] = quiet{spec, loc.String(), now, next}
		return nil
	}
	scheduled := wall(when, loc).Format(minute)
	if scheduled <= last.Scheduled {
		return nil
	}
	f := Firing{
		Key: "cron:" + j.Name + ":" + site.ID + ":" + scheduled, Scheduled: when,
		Late: now.Sub(when) > lateAfter, Last: last.At,
	}
	var b ledger.Batch
	if j.Owed || now.Sub(when) <= s.CatchUp {
		if b, err = j.Do(ctx, site, f); err != nil {
			return err
		}
	}
	return s.record(ctx, ledger.Firing{Job: j.Name, Site: site.ID, Scheduled: scheduled, At: now, Late: f.Late}, b)
}

func (s *Scheduler) record(ctx context.Context, f ledger.Firing, b ledger.Batch) error {
	b.Firings = append(b.Firings, f)
	_, err := s.Store.Commit(ctx, b)
	if errors.Is(err, ledger.ErrFired) {
		return nil // another replica was quicker
	}
	if err == nil && len(b.Posts) > 0 {
		wake(ctx, s.Queue, s.Log)
	}
	return err
}

const minute = "2006-01-02T15:04"

// wall is the site's clock face as a time in UTC, where no hour is missing and
// none comes twice.
func wall(t time.Time, loc *time.Location) time.Time {
	y, mo, d := t.In(loc).Date()
	h, mi, s := t.In(loc).Clock()
	return time.Date(y, mo, d, h, mi, s, 0, time.UTC)
}

// Missed is the newest time after last and not after now at which a cron
// expression falls due on the clock of loc; ok is false when there is none. next is
// the first after now. The
// expression is followed on the clock face: a time that the spring change leaves
// out fires when the clock has jumped over it, and a time that the autumn change
// brings twice fires at the first.
func Missed(spec string, loc *time.Location, last, now time.Time) (when, next time.Time, ok bool, err error) {
	sched, err := cron.ParseStandard(spec)
	if err != nil {
		return when, next, false, fmt.Errorf("schedule %q: %w", spec, err)
	}
	face := wall(last, loc)
	const most = 100_000
	for range most {
		face = sched.Next(face)
		if face.IsZero() {
			break
		}
		next = instant(face, loc)
		if next.After(now) {
			break
		}
		if next.After(last) {
			when, ok = next, true
		}
	}
	return when, next, ok, nil
}

// instant is the moment at which the clock of loc first shows a face, or passes
// it by where the face is left out. (time.Date promises neither.)
func instant(face time.Time, loc *time.Location) time.Time {
	before, after := offset(face.Add(-dayAround), loc), offset(face.Add(dayAround), loc)
	early, late := face.Add(-max(before, after)).In(loc), face.Add(-min(before, after)).In(loc)
	switch {
	case wall(early, loc).Equal(face):
		return early
	case wall(late, loc).Equal(face):
		return late
	}
	jump, _ := late.ZoneBounds() // the face is left out: late is past the jump
	return jump
}

// dayAround is more than any zone is off UTC.
const dayAround = 26 * time.Hour

func offset(t time.Time, loc *time.Location) time.Duration {
	_, seconds := t.In(loc).Zone()
	return time.Duration(seconds) * time.Second
}
