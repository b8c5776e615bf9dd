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
	// ErrNotFound: no such entry, post or key.
	ErrNotFound = errors.New("not in the ledger")
	// ErrDamaged: the integrity check on open failed.
	ErrDamaged = errors.New("ledger damaged")
)

// Result says what became of one appended entry.
type Result struct {
	Seq       int64 // of the entry, old or new
	Duplicate bool  // its source key was already there; nothing was written
}

// Filter chooses entries; zero fields do not restrict.
type Filter struct {
	Place    plant.BankID // this place and everything below it ("site/ahu" gives its banks' entries too)
	Exact    bool         // only entries of Place itself
	Kinds    []entry.Kind
	AfterSeq int64
	From, To time.Time // by At: From ≤ At < To
	Source   string    // sources beginning with this
	Limit    int       // at most so many, in order of Seq
	Newest   bool      // with Limit: the last ones instead of the first (still returned in order of Seq)
}

// Projection is the latest assessment of one bank, made from its entries up to UpTo.
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
	PostParked  PostState = "parked" // refused, or failed too often
)

// OutboxPost is a row of the outbox.
type OutboxPost struct {
	Key       string // once-only: a second Put with the same key changes nothing
	Site      string
	State     PostState
	Post      channel.Post
	Recipe    json.RawMessage        // of a waiting post: how to render it, opaque here
	WaitsFor  map[plant.BankID]int64 // of a waiting post: projections must reach these
	Created   time.Time
	NotBefore time.Time // earliest next attempt
	Attempts  int
	LastError string
	PostID    string // the platform's id once sent
	Uncertain bool   // a crash fell between sending and recording: it may have been sent twice
}

// Batch is what is committed together or not at all.
type Batch struct {
	Entries []entry.Entry
	Touch   []plant.BankID // further banks whose projections are out of date through these entries
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

// Store is a ledger. All methods are safe for concurrent use; all honour ctx
// and return an error wrapping ErrUnavailable when the medium is out of reach.
type Store interface {
	// Commit appends entries with growing Seq, in order, and writes the posts
	// and firings, all in one durable transaction: when it returns nil, a power
	// cut loses nothing of it. An entry whose Source is known is not written
	// again and reported as Duplicate; the rest of the batch still is. Results
	// are one per entry. A Firing that exists already makes the whole batch a
	// no-op with ErrFired.
	Commit(ctx context.Context, b Batch) ([]Result, error)

	// Entries returns the entries that match, in order of Seq.
	Entries(ctx context.Context, f Filter) ([]entry.Entry, error)
	// Entry finds one by Seq, or ErrNotFound.
	Entry(ctx context.Context, seq int64) (entry.Entry, error)
	// Head is the Seq of the newest entry, 0 for an empty ledger.
	Head(ctx context.Context) (int64, error)
	// Counts tells how many entries there are of each kind.
	Counts(ctx context.Context) (map[entry.Kind]int64, error)

	PutProjection(ctx context.Context, p Projection) error // an older UpTo never replaces a newer one
	Projection(ctx context.Context, bank plant.BankID) (Projection, error)
	Projections(ctx context.Context, place plant.BankID) ([]Projection, error)
	DropProjections(ctx context.Context) error
	// Lagging lists banks whose projection is behind, at most limit of them.
	Lagging(ctx context.Context, limit int) ([]Lag, error)

	// Waiting lists waiting posts that wait for one of the banks (nil = all).
	Waiting(ctx context.Context, banks []plant.BankID) ([]OutboxPost, error)
	// Render turns a waiting post into a ready one with its final content; a
	// post that is no longer waiting is left alone.
	Render(ctx context.Context, key string, p channel.Post) error
	// Claim leases up to limit ready posts of a platform that are due at now,
	// oldest first and, within one thread, never a later one before an earlier
	// one. An expired lease marks the post Uncertain when it is claimed again.
	Claim(ctx context.Context, platform string, now time.Time, lease time.Duration, limit int) ([]OutboxPost, error)
	MarkSent(ctx context.Context, key, postID string, at time.Time) error
	MarkFailed(ctx context.Context, key, reason string, next time.Time, park bool) error
	// Post finds one by key; PostBySent by platform, channel and platform id.
	Post(ctx context.Context, key string) (OutboxPost, error)
	Posts(ctx context.Context, state PostState, limit int) ([]OutboxPost, error)
	RetryPost(ctx context.Context, key string, now time.Time) error // parked → ready
	DropPost(ctx context.Context, key string) error

	// LastFiring is the newest firing of a job at a site, or ErrNotFound.
	LastFiring(ctx context.Context, job, site string) (Firing, error)

	PutKey(ctx context.Context, k Key) error
	Keys(ctx context.Context) ([]Key, error)

	// Backup writes a consistent copy to a path while the store is in use.
	Backup(ctx context.Context, path string) error
	// Check verifies the medium's integrity.
	Check(ctx context.Context) error
	Ping(ctx context.Context) error
	Close() error
}

// ErrFired says that a batch's firing has been recorded before.
var ErrFired = errors.New("this scheduled job has already fired")
