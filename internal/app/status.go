package app

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"time"

	"clogwise/internal/duelist"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/veil"
	"clogwise/internal/realised"
)

// Status is how an installation stands, as a supervisor asks.
type Status struct {
	At     time.Time `json:"at"`
	Intake struct {
		Last24h int64     `json:"last_24_hours"` // entries of all kinds
		Total   int64     `json:"total"`
		Newest  time.Time `json:"newest,omitzero"`
	} `json:"intake"`
	Behind struct {
		Banks  int           `json:"banks"` // whose forecast does not cover their entries yet
		Oldest time.Duration `json:"oldest_wait_ns"`
	} `json:"forecasts_behind"`
	Outbox struct {
		Posts  int           `json:"posts"`
		Oldest time.Duration `json:"oldest_age_ns"`
	} `json:"outbox"`
	Parked   int                  `json:"parked"` // notices and posts
	Queue    string               `json:"queue"`  // "" : answers
	Chat     string               `json:"chat"`
	ChatOK   bool                 `json:"chat_ok"`
	Digests  map[string]time.Time `json:"last_digest"` // by site
	Doubtful int                  `json:"doubtful_banks"`
	Overdue  int                  `json:"overdue_banks"`
	Banks    int                  `json:"banks"`
	Bytes    int64                `json:"ledger_bytes"`
	Backup   time.Time            `json:"last_backup,omitzero"`
	Realised realised.Summary     `json:"forecast_30_days_before"` // against the change-outs of the last year
}

// What forecasts are held against: those made so long before a change-out, the
// change-outs of the last year, and so many banks at most.
const (
	realisedAhead = 30 * 24 * time.Hour
	realisedSince = 365 * 24 * time.Hour
	realisedMost  = 500
)

// Status asks every part. What cannot be asked is told, not failed on, unless it
// is the ledger.
func (a *App) Status(ctx context.Context) (Status, error) {
	now := a.Now()
	s := Status{At: now.UTC()}
	for _, ask := range []func(context.Context, time.Time, *Status) error{
		a.askIntake, a.askBehind, a.askOutbox, a.askBanks, a.askUpkeep,
	} {
		if err := ask(ctx, now, &s); err != nil {
			return s, err
		}
	}
	a.askQueue(ctx, &s)
	a.askChat(ctx, &s)
	return s, nil
}

// askIntake finds the first entry of the last day by halving, since numbers and
// times of receipt grow together: it costs the same in a ledger of any size.
func (a *App) askIntake(ctx context.Context, now time.Time, s *Status) error {
	head, err := a.Store.Head(ctx)
	if err != nil {
		return err
	}
	received := func(after int64) (time.Time, bool) {
		next, eerr := a.Store.Entries(ctx, ledger.Filter{AfterSeq: after, Limit: 1})
		if eerr != nil || len(next) == 0 {
			err = errors.Join(err, eerr)
			return time.Time{}, false
		}
		return next[0].Received, true
	}
	before := sort.Search(int(head), func(n int) bool {
		at, ok := received(int64(n))
		return !ok || at.After(now.Add(-24*time.Hour))
	})
	s.Intake.Total, s.Intake.Last24h = head, head-int64(before)
	if head > 0 {
		s.Intake.Newest, _ = received(head - 1)
	}
	return err
}

func (a *App) askBehind(ctx context.Context, now time.Time, s *Status) error {
	lags, err := a.Store.Lagging(ctx, 0)
	if err != nil || len(lags) == 0 {
		return err
	}
	s.Behind.Banks = len(lags)
	first, err := a.Store.Entries(ctx, ledger.Filter{Place: lags[0].Bank, AfterSeq: lags[0].Done, Limit: 1})
	if len(first) > 0 {
		s.Behind.Oldest = max(0, now.Sub(first[0].Received))
	}
	return err
}

func (a *App) askOutbox(ctx context.Context, now time.Time, s *Status) error {
	for _, state := range []ledger.PostState{ledger.PostReady, ledger.PostWaiting} {
		posts, err := a.Store.Posts(ctx, state, 0)
		if err != nil {
			return err
		}
		s.Outbox.Posts += len(posts)
		if len(posts) > 0 {
			s.Outbox.Oldest = max(s.Outbox.Oldest, now.Sub(posts[0].Created))
		}
	}
	parked, err := a.Store.Posts(ctx, ledger.PostParked, 0)
	s.Parked += len(parked)
	return err
}

func (a *App) askBanks(ctx context.Context, now time.Time, s *Status) error {
	all, err := a.View.Assessments(ctx, "", now)
	if err != nil {
		return err
	}
	s.Banks = len(all)
	for _, x := range all {
		switch x.Condition {
		case duelist.Doubtful:
			s.Doubtful++
		case duelist.Overdue:
			s.Overdue++
		}
	}
	outcomes, err := a.View.Realised(ctx, now.Add(-realisedSince), now, realisedAhead, realisedMost)
	s.Realised = realised.Sum(outcomes)
	return err
}

func (a *App) askUpkeep(ctx context.Context, _ time.Time, s *Status) error {
	reg, err := a.View.Register(ctx)
	if err != nil {
		return err
	}
	s.Digests = map[string]time.Time{}
	for _, site := range reg.Sites() {
		f, err := a.Store.LastFiring(ctx, "digest", site.ID)
		if err != nil && !errors.Is(err, ledger.ErrNotFound) {
			return err
		}
		s.Digests[site.ID] = f.At
	}
	f, err := a.Store.LastFiring(ctx, backupJob, "")
	if err != nil && !errors.Is(err, ledger.ErrNotFound) {
		return err
	}
	s.Backup = f.At
	s.Bytes, err = sizeOf(ctx, a.Store)
	return err
}

func (a *App) askQueue(ctx context.Context, s *Status) {
	ctx, cancel := context.WithTimeout(ctx, checkWait)
	defer cancel()
	parked, err := a.Queue.Parked(ctx)
	if err != nil {
		s.Queue = err.Error()
		return
	}
	s.Parked += len(parked)
}

func (a *App) askChat(ctx context.Context, s *Status) {
	if a.slack == nil {
		s.Chat, s.ChatOK = "not connected; the terminal channel serves", true
		return
	}
	ctx, cancel := context.WithTimeout(ctx, checkWait)
	defer cancel()
	s.Chat, s.ChatOK = "reachable", true
	for _, f := range a.slack.Check(ctx) {
		if !f.OK {
			s.Chat, s.ChatOK = fmt.Sprintf("%s: %s", f.What, f.Detail), false
			return
		}
	}
}

// sizeOf is how many bytes a ledger takes, whatever stands before the store.
func sizeOf(ctx context.Context, s ledger.Store) (int64, error) {
	for {
		switch x := s.(type) {
		case told:
			s = x.Store
		case *veil.Store:
			s = x.Store
		case interface {
			Size(context.Context) (int64, error)
		}:
			return x.Size(ctx)
		default:
			return 0, nil
		}
	}
}
