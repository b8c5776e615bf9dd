// Package row turns what a ledger keeps into the columns of a table and back, so
// that every SQL store writes the same bytes and a ledger can be moved from one
// to another without loss.
package row

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// zero stands for the zero time, which a count of nanoseconds cannot hold.
const zero = math.MinInt64

// Nanos is a time as nanoseconds since 1970 UTC.
func Nanos(t time.Time) int64 {
	if t.IsZero() {
		return zero
	}
	return t.UnixNano()
}

// Time is the time Nanos counted, in UTC.
func Time(n int64) time.Time {
	if n == zero {
		return time.Time{}
	}
	return time.Unix(0, n).UTC()
}

// NanosPtr is Nanos of a time that may be missing.
func NanosPtr(t *time.Time) *int64 {
	if t == nil {
		return nil
	}
	n := Nanos(*t)
	return &n
}

// TimePtr is the time NanosPtr counted.
func TimePtr(n *int64) *time.Time {
	if n == nil {
		return nil
	}
	t := Time(*n)
	return &t
}

// Below bounds the ids below a place in byte order: lo ≤ id < hi. The place
// itself is not among them; "site/ahu-10" is not below "site/ahu-1".
func Below(place plant.BankID) (lo, hi string) {
	return string(place) + "/", string(place) + string('/'+1)
}

// Prefix bounds the strings that begin with p in byte order: lo ≤ s < hi. An
// empty hi means no upper bound.
func Prefix(p string) (lo, hi string) {
	for i := len(p) - 1; i >= 0; i-- {
		if p[i] < 0xff {
			return p, p[:i] + string([]byte{p[i] + 1})
		}
	}
	return p, ""
}

// Entry is an entry as columns, without its Seq.
type Entry struct {
	Source, Kind, Place string
	At, Received        int64
	By, Line            string
	Body                string // JSON
}

// FromEntry encodes a validated entry. Evidence that is not plain text is made
// so; a body that JSON cannot hold (NaN) is an ErrInvalid.
func FromEntry(e entry.Entry) (Entry, error) {
	body, err := json.Marshal(e.Body)
	if err != nil {
		return Entry{}, fmt.Errorf("%w: %s entry (source %.80q): %w", ledger.ErrInvalid, e.Kind, e.Source, err)
	}
	return Entry{
		Source: e.Source, Kind: string(e.Kind), Place: string(e.Place),
		At: Nanos(e.At), Received: Nanos(e.Received),
		By: Plain(e.By), Line: Plain(e.Line), Body: string(body),
	}, nil
}

// Entry decodes the columns of the entry with this Seq.
func (r Entry) Entry(seq int64) (entry.Entry, error) {
	body, err := entry.DecodeBody(entry.Kind(r.Kind), []byte(r.Body))
	if err != nil {
		return entry.Entry{}, fmt.Errorf("entry %d: %w", seq, err)
	}
	return entry.Entry{
		Seq: seq, Source: r.Source, Kind: entry.Kind(r.Kind), Place: plant.BankID(r.Place),
		At: Time(r.At), Received: Time(r.Received), By: r.By, Line: r.Line, Body: body,
	}, nil
}

// Post is an outbox row as columns.
type Post struct {
	Key, Site, State          string
	Platform, Channel, Thread string
	Post                      string  // JSON, without the files' data
	Files                     *string // JSON array of the files' data; nil when there is none
	Rendered                  bool    // the content is final
	Recipe                    *string // JSON
	Waits                     *string // JSON of WaitsFor
	Created, NotBefore        int64
	LeaseUntil                *int64 // nil when nobody is sending it
	Attempts                  int
	LastError, PostID         string
	Uncertain                 bool

	WaitsFor map[plant.BankID]int64 // when encoding: the banks a waiting post is found by
}

// FromPost encodes a validated outbox row.
func FromPost(p ledger.OutboxPost) (Post, error) {
	if p.State == "" {
		p.State = ledger.PostReady
	}
	r := Post{
		Key: p.Key, Site: Plain(p.Site), State: string(p.State),
		Rendered: p.State != ledger.PostWaiting,
		Created:  Nanos(p.Created), NotBefore: Nanos(p.NotBefore),
		Attempts: p.Attempts, LastError: Plain(p.LastError), PostID: Plain(p.PostID), Uncertain: p.Uncertain,
		WaitsFor: p.WaitsFor,
	}
	if err := r.SetContent(p.Post); err != nil {
		return Post{}, err
	}
	if len(p.Recipe) > 0 {
		if !json.Valid(p.Recipe) {
			return Post{}, fmt.Errorf("%w: post %.80q: its recipe is not JSON", ledger.ErrInvalid, p.Key)
		}
		s := string(p.Recipe)
		r.Recipe = &s
	}
	if len(p.WaitsFor) > 0 {
		raw, err := json.Marshal(p.WaitsFor)
		if err != nil {
			return Post{}, fmt.Errorf("%w: post %.80q: %w", ledger.ErrInvalid, p.Key, err)
		}
		s := string(raw)
		r.Waits = &s
	}
	return r, nil
}

// SetContent replaces what the post says and where it goes. The files' data is
// kept apart from the rest, so that it can be let go once sent.
func (r *Post) SetContent(p channel.Post) error {
	r.Platform, r.Channel, r.Thread, r.Files = Plain(p.To.Platform), Plain(p.To.Channel), Plain(p.To.Thread), nil
	if len(p.Files) > 0 {
		data := make([][]byte, len(p.Files))
		named := make([]channel.File, len(p.Files))
		for i, f := range p.Files {
			data[i] = f.Data
			named[i] = channel.File{Name: f.Name, Title: f.Title}
		}
		raw, err := json.Marshal(data)
		if err != nil {
			return fmt.Errorf("%w: post %.80q: %w", ledger.ErrInvalid, r.Key, err)
		}
		s := string(raw)
		r.Files, p.Files = &s, named
	}
	raw, err := json.Marshal(p)
	if err != nil {
		return fmt.Errorf("%w: post %.80q: %w", ledger.ErrInvalid, r.Key, err)
	}
	r.Post = string(raw)
	return nil
}

// OutboxPost decodes the columns.
func (r Post) OutboxPost() (ledger.OutboxPost, error) {
	p := ledger.OutboxPost{
		Key: r.Key, Site: r.Site, State: ledger.PostState(r.State),
		Created: Time(r.Created), NotBefore: Time(r.NotBefore),
		Attempts: r.Attempts, LastError: r.LastError, PostID: r.PostID, Uncertain: r.Uncertain,
	}
	err := json.Unmarshal([]byte(r.Post), &p.Post)
	if err == nil && r.Files != nil {
		err = r.files(&p.Post)
	}
	if err == nil && r.Waits != nil {
		err = json.Unmarshal([]byte(*r.Waits), &p.WaitsFor)
	}
	if err != nil {
		return p, fmt.Errorf("post %q: %w", r.Key, err)
	}
	if r.Recipe != nil {
		p.Recipe = json.RawMessage(*r.Recipe)
	}
	return p, nil
}

func (r Post) files(p *channel.Post) error {
	var data [][]byte
	if err := json.Unmarshal([]byte(*r.Files), &data); err != nil {
		return err
	}
	for i := range min(len(data), len(p.Files)) {
		p.Files[i].Data = data[i]
	}
	return nil
}

// Plain makes text that every database takes: valid UTF-8 without NUL.
func Plain(s string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\x00", "\uFFFD")
}

// CheckProjections refuses what is no projection of a bank.
func CheckProjections(ps []ledger.Projection) error {
	for _, p := range ps {
		if !p.Bank.Whole() || !json.Valid(p.Data) {
			return fmt.Errorf("%w: a projection needs a bank (not %q) and JSON", ledger.ErrInvalid, p.Bank)
		}
	}
	return nil
}
