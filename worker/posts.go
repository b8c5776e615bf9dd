package worker

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/digest"
	"clogwise/internal/ledger"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
	"clogwise/internal/pointbook"
	"clogwise/internal/safework"
	"clogwise/internal/view"
)

// Posts makes what is said unasked: the weekly digest, the safe-work reminders
// and the word to the supervisor when nobody has read them.
type Posts struct {
	View      *view.View
	Store     ledger.Store
	Steps     safework.Catalogue
	Now       func() time.Time
	Platform  func() string // where unasked posts go
	Recompute *Recomputer

	book   *pointbook.Book // of all jobs: each point is read once, not once a site
	lesson *lesson         // of all nights
}

// lesson remembers when the fleet's priors were last learnt. Learning reads every
// bank, so sites whose nights fall due together share it: nobody's filters end
// enough lives in the meantime to alter what all of them teach.
type lesson struct {
	mu sync.Mutex
	at time.Time
}

// lessonHolds is how long what was learnt serves the nights of further sites.
const lessonHolds = 20 * time.Minute

// learn learns at a time unless that was done just before.
func (l *lesson) learn(now time.Time, learn func() error) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if since := now.Sub(l.at); !l.at.IsZero() && since >= 0 && since < lessonHolds {
		return nil
	}
	if err := learn(); err != nil {
		return err
	}
	l.at = now
	return nil
}

// Jobs are the scheduled ones, in each site's own time.
func (p Posts) Jobs() []Job {
	p.book, p.lesson = &pointbook.Book{Store: p.Store, View: p.View}, &lesson{}
	return []Job{
		{Name: "nightly", Spec: func(plant.Site) string { return "30 2 * * *" }, Do: p.nightly},
		{Name: "digest", Spec: func(s plant.Site) string { return cmp.Or(s.DigestAt, "0 7 * * 1") }, Do: p.digest},
		{Name: "reminders", Spec: func(s plant.Site) string { return cmp.Or(s.ReminderAt, "0 15 * * 1-5") }, Do: p.dayBefore},
		{Name: "points", Spec: func(plant.Site) string { return "45 7 * * *" }, Do: p.unmapped},
		{Name: "trends", Spec: func(plant.Site) string { return "40 0 * * *" }, Do: p.trends, Owed: true},
	}
}

// Always are looked at on every tick; each is once-only by its own key.
func (p Posts) Always() []func(context.Context) error {
	return []func(context.Context) error{p.beforeStart}
}

// nightly learns the fleet's priors and brings a site's forecasts to the new day.
func (p Posts) nightly(ctx context.Context, site plant.Site, _ Firing) (ledger.Batch, error) {
	now := p.Now()
	if err := p.lesson.learn(now, func() error { return p.View.LearnPriors(ctx, now) }); err != nil {
		return ledger.Batch{}, err
	}
	if err := p.Recompute.toToday(ctx, plant.BankID(site.ID)); err != nil {
		return ledger.Batch{}, err
	}
	orders, err := p.Recompute.Events.Orders(ctx, site)
	return ledger.Batch{Posts: orders}, err
}

// digest is the weekly post to the site's channel.
func (p Posts) digest(ctx context.Context, site plant.Site, f Firing) (ledger.Batch, error) {
	reg, err := p.View.Register(ctx)
	if err != nil {
		return ledger.Batch{}, err
	}
	since, err := p.View.Since(ctx, site, f.Last, p.Now())
	if err != nil {
		return ledger.Batch{}, err
	}
	board, err := p.View.Board(ctx, site, p.Now())
	if err != nil {
		return ledger.Batch{}, err
	}
	text := digest.Weekly(board, reg, since)
	if f.Late {
		in := locale.Of(site.Language)
		text = in.Text("Late: this was due %s.", in.Moment(f.Scheduled, site.Location())) + "\n" + text
	}
	file, err := digestFile(board, reg, since)
	if err != nil {
		return ledger.Batch{}, err
	}
	b := ledger.Batch{Posts: []ledger.OutboxPost{p.post(f.Key, site, channel.Post{Text: text, Files: append(p.charts(ctx, board), file)})}}
	for _, m := range digest.Missed(board) {
		b.Posts = append(b.Posts, p.post(m.Key, site, m.Post))
	}
	return b, nil
}

func (p Posts) post(key string, site plant.Site, post channel.Post) ledger.OutboxPost {
	if post.To.Channel == "" {
		post.To.Channel = strings.TrimPrefix(site.Channel, p.Platform()+":")
	}
	post.To.Platform = p.Platform()
	return ledger.OutboxPost{Key: key, Site: site.ID, State: ledger.PostReady, Post: post, Created: p.Now()}
}

// dayBefore sends the steps for what is booked on the next working day.
func (p Posts) dayBefore(ctx context.Context, site plant.Site, _ Firing) (ledger.Batch, error) {
	return p.remind(ctx, site, digest.DayBefore)
}

// beforeStart sends what is owed shortly before a booked start, and tells the
// supervisors of steps nobody has read by then.
func (p Posts) beforeStart(ctx context.Context) error {
	reg, err := p.View.Register(ctx)
	if err != nil {
		return err
	}
	var errs []error
	for _, site := range reg.Sites() {
		if err := p.beforeStartAt(ctx, site); err != nil {
			errs = append(errs, fmt.Errorf("reminders at %s: %w", site.ID, err))
		}
	}
	return errors.Join(errs...)
}

func (p Posts) beforeStartAt(ctx context.Context, site plant.Site) error {
	b, err := p.remind(ctx, site, digest.Shortly)
	if err != nil || len(b.Posts)+len(b.Entries) == 0 {
		return err
	}
	if _, err := p.Store.Commit(ctx, b); err != nil {
		return err
	}
	wake(ctx, p.Recompute.Queue, p.Recompute.Log)
	return nil
}

// remind turns the reminders that are owed now into posts and entries.
func (p Posts) remind(ctx context.Context, site plant.Site, occasion digest.Occasion) (ledger.Batch, error) {
	reg, err := p.View.Register(ctx)
	if err != nil {
		return ledger.Batch{}, err
	}
	jobs, err := p.View.OpenJobs(ctx)
	if err != nil {
		return ledger.Batch{}, err
	}
	var b ledger.Batch
	for _, r := range digest.Reminders(jobs, reg, site, p.Steps, occasion, p.Now()) {
		for _, post := range r.Posts {
			b.Posts = append(b.Posts, p.post(post.Key, site, post.Post))
		}
		b.Entries = append(b.Entries, r.Sent(p.Now())...)
	}
	return b, nil
}
