package ledger

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"clogwise/internal/entry"
)

// MaxKey bounds source and post keys, in bytes: long enough for any honest
// once-only key, short enough for every store's index.
const MaxKey = 1024

// Validate checks what every store relies on: entries have a source key, a body
// of their kind and a place (items' entries excepted); touched places are banks;
// posts have a key and a known state; firings have a name and a time; times lie
// in the years 1678 to 2261. The error wraps ErrInvalid and says which one.
func (b Batch) Validate() error {
	for i, e := range b.Entries {
		if err := validEntry(e); err != nil {
			return fmt.Errorf("%w: entry %d of %d (source %.80q): %w", ErrInvalid, i+1, len(b.Entries), e.Source, err)
		}
	}
	for _, id := range b.Touch {
		if !id.Whole() {
			return fmt.Errorf("%w: touched place %q is not a bank", ErrInvalid, id)
		}
	}
	for _, p := range b.Posts {
		if err := validPost(p); err != nil {
			return fmt.Errorf("%w: post %.80q: %w", ErrInvalid, p.Key, err)
		}
	}
	seen := map[Firing]bool{}
	for _, f := range b.Firings {
		id := Firing{Job: f.Job, Site: f.Site, Scheduled: f.Scheduled}
		switch {
		case f.Job == "" || f.Scheduled == "":
			return fmt.Errorf("%w: a firing needs a job and the time it was scheduled for", ErrInvalid)
		case seen[id]:
			return fmt.Errorf("%w: the firing of %s at %q, %s, is in the batch twice", ErrInvalid, f.Job, f.Site, f.Scheduled)
		}
		seen[id] = true
	}
	return nil
}

func validEntry(e entry.Entry) error {
	if err := validKey("source", e.Source); err != nil {
		return err
	}
	if err := validBody(e.Kind, e.Body); err != nil {
		return err
	}
	if e.Place == "" && !placeless(e) {
		return fmt.Errorf("a %s needs a place", e.Kind)
	}
	if !cleanText(string(e.Place)) {
		return fmt.Errorf("place %q is not plain text", e.Place)
	}
	return validTimes(e.At, e.Received)
}

func validBody(k entry.Kind, b entry.Body) error {
	if b == nil {
		return fmt.Errorf("a %s without a body", k)
	}
	if b.Kind() != k {
		return fmt.Errorf("kind %s with the body of a %s", k, b.Kind())
	}
	switch b := b.(type) {
	case entry.Amend:
		if b.Body == nil {
			return fmt.Errorf("an amendment of #%d without a new body", b.Target)
		}
	case *entry.Amend:
		return fmt.Errorf("the body of a %s must be a value, not a pointer", k)
	}
	return nil
}

// placeless entries speak of items: the register's, a store's or an order's.
func placeless(e entry.Entry) bool {
	switch e.Kind {
	case entry.KindRegister, entry.KindStock, entry.KindOrder, entry.KindAmend, entry.KindRetract:
		return true
	}
	return false
}

func validPost(p OutboxPost) error {
	if err := validKey("key", p.Key); err != nil {
		return err
	}
	switch p.State {
	case "", PostWaiting, PostReady, PostSent, PostParked, PostDropped:
	default:
		return fmt.Errorf("unknown state %q", p.State)
	}
	for id := range p.WaitsFor {
		if !id.Whole() {
			return fmt.Errorf("waits for %q, which is not a bank", id)
		}
	}
	return validTimes(p.Created, p.NotBefore)
}

func validKey(what, key string) error {
	switch {
	case key == "":
		return fmt.Errorf("no %s key: it could be recorded twice", what)
	case len(key) > MaxKey:
		return fmt.Errorf("%s key of %d bytes; at most %d", what, len(key), MaxKey)
	case !cleanText(key):
		return fmt.Errorf("%s key is not plain text", what)
	}
	return nil
}

func cleanText(s string) bool { return utf8.ValidString(s) && !strings.ContainsRune(s, 0) }

var (
	earliest = time.Unix(0, math.MinInt64+1)
	latest   = time.Unix(0, math.MaxInt64)
)

// validTimes keeps times within what a count of nanoseconds holds.
func validTimes(ts ...time.Time) error {
	for _, t := range ts {
		if !t.IsZero() && (t.Before(earliest) || t.After(latest)) {
			return fmt.Errorf("time %s is out of range", t.Format(time.RFC3339))
		}
	}
	return nil
}
