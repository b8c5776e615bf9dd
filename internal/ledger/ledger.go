// Package ledger keeps entries for good, and beside them what can be made again
// from them (projections) and what is still to be said (the outbox).
package ledger

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// Errors of a Store. Test with errors.Is.
var (
	// ErrUnavailable: nothing was committed; the caller may try again.
	ErrUnavailable = errors.New("ledger unavailable")
	// ErrUncertain: whether the batch was committed is not known: the caller
	// gave up while it was being written, or the medium failed at the very end.
	// Commit the same batch again: source and post keys make that harmless, and
	// the Results of the second try tell (Duplicate: the first one went in).
	ErrUncertain = errors.New("not known whether the ledger took it; send it again")
	// ErrInvalid: the batch breaks a rule of Batch.Validate; nothing was committed.
	ErrInvalid = errors.New("not fit for the ledger")
	// ErrFired: the batch's firing has been recorded before; nothing was committed.
	ErrFired = errors.New("this scheduled job has already fired")
	// ErrNotFound: no such entry, post, projection or firing.
	ErrNotFound = errors.New("not in the ledger")
	// ErrPostState: the post is in a state in which that cannot be done to it.
	ErrPostState = errors.New("not possible in the post's state")
	// ErrDamaged: the medium's integrity check failed.
	ErrDamaged = errors.New("ledger damaged")
	// ErrNewer: the ledger was written by a newer clogwise; nothing was touched.
	ErrNewer = errors.New("ledger made by a newer clogwise")
)

// Result says what became of one appended entry.
type Result struct {
	Seq       int64 // of the entry, old or new
	Duplicate bool  // its source key was already there; nothing was written
}

// Filter chooses entries; zero fields do not restrict.
type Filter struct {
	Place    plant.BankID   // this place and everything below it ("site/ahu" gives its banks' entries too)
	Exact    bool           // only entries of Place itself
	Places   []plant.BankID // entries of each of these itself; read together they cost far less than one by one
	Kinds    []entry.Kind
	AfterSeq int64
	From, To time.Time // by At: From ≤ At < To
	Source   string    // sources beginning with this
	Limit    int       // at most so many, in order of Seq; 0 or less: all
	Newest   bool      // with Limit: the last ones instead of the first (still returned in order of Seq)
}

// Projection is the latest assessment of one bank, made from its entries up to
// UpTo. Of two, the one with the greater UpTo is newer, then the later At.
type Projection struct {
	Bank plant.BankID
	UpTo int64
	At   time.Time       // "now" of the recompute
	Data json.RawMessage // opaque here
}

// Lag is a bank whose projection does not cover its entries.
type Lag struct {
	Bank plant.BankID
	Head int64 // newest entry that touches the bank (its own, its AHU's or its site's events and register edits do not count unless Touch said so)
	Done int64 // projection's UpTo
}

// PostState is the life of an outbox row.
type PostState string

// Post states.
const (
	PostWaiting PostState = "waiting" // its text needs projections that are not there yet
	PostReady   PostState = "ready"
	PostSent    PostState = "sent"
	PostParked  PostState = "parked"  // refused, or failed too often
	PostDropped PostState = "dropped" // taken out by a person; its key stays used
)

// OutboxPost is a row of the outbox.
type OutboxPost struct {
	Key       string // once-only: a second Put with the same key changes nothing
	Site      string
	State     PostState              // empty when put: ready
	Post      channel.Post           // once sent, its files' data is dropped
	Recipe    json.RawMessage        // of a waiting post: how to render it, opaque here
	WaitsFor  map[plant.BankID]int64 // of a waiting post: projections must reach these
	Created   time.Time
	NotBefore time.Time // earliest next attempt
	Attempts  int       // sends begun since it was put or last retried by hand
	LastError string
	PostID    string // the platform's id once sent
	Uncertain bool   // a crash fell between sending and recording, or no answer came: it may have been sent twice
}

// Batch is what is committed together or not at all.
type Batch struct {
	Entries []entry.Entry  // their Seq is ignored
	Touch   []plant.BankID // further banks whose projections are out of date through these entries; nothing if all are duplicates
	Posts   []OutboxPost
	Firings []Firing
}

// Firing identifies one run of a scheduled job: permanent and once-only.
type Firing struct {
	Job       string
	Site      string
	Scheduled string    // site-local time, "2026-03-02T07:00"
	At        time.Time // when it really ran
	Late      bool
}

// Key is an integrator's key. Secret is nil where the scheme allows keeping
// only a hash.
type Key struct {
	ID      string
	Name    string   // integrator
	Scheme  string   // "bearer" or "signature"
	Hash    []byte   // of a bearer key
	Secret  []byte   // of a signature key: needed to check signatures
	Sites   []string // allowed sites; empty = all
	Points  []string // allowed point-name prefixes; empty = all
	Created time.Time
	Revoked *time.Time
	Expires *time.Time // during rotation the old key ends here
}

// How long a post that failed is put off at most, and how far off its next attempt
// may seem, with room for clocks that differ, to be believed.
const (
	LongRetry   = 30 * time.Minute
	MostBackOff = 40 * time.Minute
)

// Store is a ledger. All methods are safe for concurrent use; all honour ctx
// and return an error wrapping ErrUnavailable when the medium is out of reach.
// A method that writes and whose ctx ends returns an error wrapping ctx.Err():
// nothing was written unless it wraps ErrUncertain as well. Times come back in
// UTC, to the nanosecond.
type Store interface {
	// Commit appends entries with growing Seq, in order, and writes the posts
	// and firings, all in one durable transaction: when it returns nil, a power
	// cut loses nothing of it. An entry whose Source is known, from before or
	// from earlier in the batch, is not written again and reported as
	// Duplicate; the rest of the batch still is. Results are one per entry.
	//
	// Seq counts from 1 without gaps and becomes visible in order: a reader who
	// has seen n never sees a smaller one appear later.
	//
	// A Firing that exists already makes the whole batch a no-op with ErrFired.
	// A batch that Validate refuses is a no-op with ErrInvalid.
	Commit(ctx context.Context, b Batch) ([]Result, error)

	// Entries returns the entries that match, in order of Seq.
	Entries(ctx context.Context, f Filter) ([]entry.Entry, error)
	// Entry finds one by Seq, or ErrNotFound.
	Entry(ctx context.Context, seq int64) (entry.Entry, error)
	// Head is the Seq of the newest entry, 0 for an empty ledger.
	Head(ctx context.Context) (int64, error)
	// Counts tells how many entries there are of each kind.
	Counts(ctx context.Context) (map[entry.Kind]int64, error)

	// PutProjection keeps p unless a newer one is there.
	PutProjection(ctx context.Context, p Projection) error
	// PutProjections is PutProjection of several banks, each at most once: all or
	// none, at the price of little more than one.
	PutProjections(ctx context.Context, ps []Projection) error
	// Projection finds a bank's, or ErrNotFound.
	Projection(ctx context.Context, bank plant.BankID) (Projection, error)
	// ProjectionsOf lists those of some banks, by bank id.
	ProjectionsOf(ctx context.Context, banks []plant.BankID) ([]Projection, error)
	// Projections lists those of a place and everything below it, by bank id
	// ("" = all).
	Projections(ctx context.Context, place plant.BankID) ([]Projection, error)
	// DropProjections forgets all of them: every bank with entries lags then.
	DropProjections(ctx context.Context) error
	// Lagging lists banks whose projection is behind, the longest behind first,
	// at most limit of them (0 or less: all). Its cost grows with the banks
	// listed, not with banks or entries kept.
	Lagging(ctx context.Context, limit int) ([]Lag, error)

	// Waiting lists waiting posts that wait for one of the banks (nil = all),
	// oldest first.
	Waiting(ctx context.Context, banks []plant.BankID) ([]OutboxPost, error)
	// Render turns a waiting post into a ready one with its final content; a
	// post that is no longer waiting is left alone. ErrNotFound if there is none.
	Render(ctx context.Context, key string, p channel.Post) error
	// Claim leases up to limit ready posts of a platform that are due at now,
	// oldest first and counts the attempt. An expired lease marks the post
	// Uncertain when it is claimed again. A post that failed and is put off
	// further than MostBackOff is due: whoever put it off had a clock that was
	// ahead. A lease is believed whatever the clock, or a post would go twice.
	//
	// Posts to one thread (platform, channel and a thread id) go out one at a
	// time and in order: one is not given out while an earlier one is waiting,
	// leased, or backing off after a failure. A post that is put for a later
	// time (NotBefore) and has not been tried holds nobody up, nor does a
	// parked one.
	Claim(ctx context.Context, platform string, now time.Time, lease time.Duration, limit int) ([]OutboxPost, error)
	// MarkSent records the platform's id of a ready post. Marked again with
	// another id, the first one stays and the post is Uncertain.
	MarkSent(ctx context.Context, key, postID string, at time.Time) error
	// MarkFailed ends the lease: the post is due again at next, or parked. A
	// waiting post that cannot be rendered may be parked too. One that has been
	// sent or dropped meanwhile is left alone.
	MarkFailed(ctx context.Context, key, reason string, next time.Time, park bool) error
	// MarkUncertain says of a post that is not marked as sent that it may have
	// been sent all the same. One that has been sent or dropped is left alone.
	MarkUncertain(ctx context.Context, key string) error
	// Post finds one by key, PostBySent by the platform's id once sent, or
	// ErrNotFound.
	Post(ctx context.Context, key string) (OutboxPost, error)
	PostBySent(ctx context.Context, platform, channel, postID string) (OutboxPost, error)
	// Posts lists those in a state ("" = any), oldest first, at most limit (0
	// or less: all).
	Posts(ctx context.Context, state PostState, limit int) ([]OutboxPost, error)
	// RetryPost makes a parked post ready again, due at now (waiting, if it was
	// parked before it was rendered); ErrPostState if it is not parked.
	RetryPost(ctx context.Context, key string, now time.Time) error
	// DropPost gives up a post that has not been sent; ErrPostState if it has.
	DropPost(ctx context.Context, key string) error
	// ForgetPosts takes text, buttons and recipe out of posts that were sent or
	// dropped and put before a time; with naming, only of those that hold these
	// words. Their keys stay used. It returns how many lost something.
	ForgetPosts(ctx context.Context, before time.Time, naming string) (int64, error)
	// ForgetSamples takes the values out of the samples of one point at a place
	// that lie before a time, for those who keep what was made of them and not
	// every value for ever. The entries stay, with number, source, time and point.
	// It returns how many lost something.
	ForgetSamples(ctx context.Context, place plant.BankID, point string, before time.Time) (int64, error)

	// LastFiring is the newest firing (by Scheduled) of a job at a site, or
	// ErrNotFound.
	LastFiring(ctx context.Context, job, site string) (Firing, error)

	// PutKey adds a key, or replaces the one with its ID.
	PutKey(ctx context.Context, k Key) error
	// Keys lists all, revoked and expired ones too, oldest first.
	Keys(ctx context.Context) ([]Key, error)

	// Backup writes a consistent, verified copy to a path while the store is in
	// use. It refuses to overwrite (fs.ErrExist).
	Backup(ctx context.Context, path string) error
	// Check verifies the medium's integrity in full; ErrDamaged says what is wrong.
	Check(ctx context.Context) error
	// Ping says whether the ledger can be reached.
	Ping(ctx context.Context) error
	// Close finishes what was accepted and lets go of the medium. Further calls
	// fail with ErrUnavailable; closing twice is harmless.
	Close() error
}
