// Package veil hides the names of people who asked for it from everything that
// is read out of a ledger, while the entries themselves stay.
//
// Whose name is hidden stands in the ledger as an edit of the register that names
// a hash, not the person.
package veil

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/register"
)

// lookEvery is how often a store asks for names newly hidden by another process.
const lookEvery = 5 * time.Second

// Hash is what stands in the ledger for a hidden name. Case does not matter.
func Hash(name string) string {
	sum := sha256.Sum256([]byte("clogwise person\n" + strings.ToLower(strings.TrimSpace(name))))
	return hex.EncodeToString(sum[:16])
}

// Alias is what is shown in place of the name with a hash: the same for the same
// person, so that what one person did can still be told from another's.
func Alias(hash string) string { return "person-" + hash[:4] }

// Erasure is the entry that hides a name from now on.
func Erasure(name string, at time.Time, by string) entry.Entry {
	body := entry.RegisterEdit{Object: register.ObjectPerson, ID: Hash(name), Removed: true}
	return entry.Entry{Source: "person:" + body.ID, Kind: body.Kind(), At: at, Received: at, By: by, Body: body}
}

// Store is a ledger whose entries are read without hidden names. What is written
// passes through as it is.
type Store struct {
	ledger.Store

	mu     sync.Mutex
	looked time.Time
	upTo   int64
	hidden hiding
}

// New veils a store.
func New(s ledger.Store) *Store { return &Store{Store: s, hidden: hiding{}} }

// look brings the hidden names up to date, now and then or when it must.
func (s *Store) look(ctx context.Context, now bool) (hiding, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !now && time.Since(s.looked) < lookEvery {
		return s.hidden, nil
	}
	edits, err := s.Store.Entries(ctx, ledger.Filter{Kinds: []entry.Kind{entry.KindRegister}, Source: "person:", AfterSeq: s.upTo})
	if err != nil {
		return nil, err
	}
	hidden := s.hidden
	for _, x := range edits {
		s.upTo = x.Seq
		if e, ok := x.Body.(entry.RegisterEdit); ok && e.Object == register.ObjectPerson {
			if len(hidden) == len(s.hidden) { // readers hold the old one
				hidden = clone(s.hidden)
			}
			hidden[e.ID] = x.Seq
		}
	}
	s.hidden, s.looked = hidden, time.Now()
	return hidden, nil
}

// hiding is the hidden names, by hash, each with the number of the entry that
// hid it last.
type hiding map[string]int64

func (h hiding) has(hash string) bool { _, ok := h[hash]; return ok }

// after are the names that were hidden after an entry. A name can only be hidden
// while the register does not hold it, so one that stands in a later edit is
// somebody else's, who must be known by it.
func (h hiding) after(seq int64) hiding {
	out := hiding{}
	for hash, at := range h {
		if at > seq {
			out[hash] = at
		}
	}
	return out
}

func clone(m hiding) hiding {
	out := make(hiding, len(m)+1)
	for k, v := range m {
		out[k] = v
	}
	return out
}

// Commit implements ledger.Store. A name hidden by it is hidden when it returns.
func (s *Store) Commit(ctx context.Context, b ledger.Batch) ([]ledger.Result, error) {
	res, err := s.Store.Commit(ctx, b)
	if err != nil || !slices.ContainsFunc(b.Entries, func(x entry.Entry) bool { return strings.HasPrefix(x.Source, "person:") }) {
		return res, err
	}
	_, err = s.look(ctx, true)
	return res, err
}

// Entries implements ledger.Store.
func (s *Store) Entries(ctx context.Context, f ledger.Filter) ([]entry.Entry, error) {
	hidden, err := s.look(ctx, false)
	if err != nil {
		return nil, err
	}
	all, err := s.Store.Entries(ctx, f)
	if err != nil || len(hidden) == 0 {
		return all, err
	}
	for i := range all {
		all[i] = veiled(all[i], hidden)
	}
	return all, nil
}

// Entry implements ledger.Store.
func (s *Store) Entry(ctx context.Context, seq int64) (entry.Entry, error) {
	hidden, err := s.look(ctx, false)
	if err != nil {
		return entry.Entry{}, err
	}
	x, err := s.Store.Entry(ctx, seq)
	if err != nil || len(hidden) == 0 {
		return x, err
	}
	return veiled(x, hidden), nil
}

func veiled(x entry.Entry, hidden hiding) entry.Entry {
	x.By = name(x.By, hidden)
	x.Line = text(x.Line, hidden)
	if x.Kind == entry.KindRegister {
		hidden = hidden.after(x.Seq)
	}
	x.Body = body(x.Body, hidden)
	return x
}

// name hides a person's name, also where an id stands behind it.
func name(n string, hidden hiding) string {
	bare, _, _ := strings.Cut(n, " (")
	for _, is := range []string{n, bare} {
		if h := Hash(is); n != "" && hidden.has(h) {
			return Alias(h)
		}
	}
	return n
}

func names(ns []string, hidden hiding) []string {
	var out []string
	for _, n := range ns {
		out = append(out, name(n, hidden))
	}
	return out
}

func body(b entry.Body, hidden hiding) entry.Body {
	switch b := b.(type) {
	case entry.Swap:
		b.Who = name(b.Who, hidden)
		return b
	case entry.Booking:
		b.Crew = names(b.Crew, hidden)
		return b
	case entry.StepsSent:
		b.To = names(b.To, hidden)
		return b
	case entry.Amend:
		b.Body = body(b.Body, hidden)
		return b
	case entry.Skip:
		b.Reason = text(b.Reason, hidden)
		return b
	case entry.Defect:
		b.Note = text(b.Note, hidden)
		return b
	case entry.Defer:
		b.Reason = text(b.Reason, hidden)
		return b
	case entry.Retract:
		b.Reason = text(b.Reason, hidden)
		return b
	case entry.FanOff:
		b.Reason = text(b.Reason, hidden)
		return b
	case entry.Event:
		b.What = text(b.What, hidden)
		return b
	case entry.Reading:
		b.Quality = text(b.Quality, hidden)
		return b
	case entry.RegisterEdit:
		b.Value = jsonText(b.Value, hidden)
		return b
	}
	return b
}

// jsonText hides names in a value of the register: among crew and supervisors,
// and in what was noted in running text. Other strings are ids and tags, which
// what refers to them must find unaltered. Numbers keep their digits, and a value
// without hidden names comes back as it was.
func jsonText(raw json.RawMessage, hidden hiding) json.RawMessage {
	in := json.NewDecoder(bytes.NewReader(raw))
	in.UseNumber()
	var v any
	if len(raw) == 0 || len(hidden) == 0 || in.Decode(&v) != nil {
		return raw
	}
	changed := false
	v = inValue(v, "", func(key, s string) string {
		t := s
		switch key {
		case "crew", "supervisors":
			t = name(s, hidden)
		case "serves", "plant_room", "source", "note", "notes":
			t = text(s, hidden)
		}
		changed = changed || t != s
		return t
	})
	if !changed {
		return raw
	}
	var out bytes.Buffer
	w := json.NewEncoder(&out)
	w.SetEscapeHTML(false)
	if w.Encode(v) != nil {
		return nil // what was decoded can be encoded; rather nothing than a name
	}
	return bytes.TrimSpace(out.Bytes())
}

// inValue puts do(key, s) in place of every string of a decoded JSON value, with
// the key it stands under.
func inValue(v any, key string, do func(key, s string) string) any {
	switch v := v.(type) {
	case string:
		return do(key, v)
	case []any:
		for i := range v {
			v[i] = inValue(v[i], key, do)
		}
	case map[string]any:
		for k := range v {
			v[k] = inValue(v[k], k, do)
		}
	}
	return v
}

// longestName bounds the words of a name that are looked for in running text.
const longestName = 4

// text hides names that stand among other words.
func text(s string, hidden hiding) string {
	if s == "" {
		return s
	}
	words := spans(s)
	var out strings.Builder
	at := 0
	for i := 0; i < len(words); i++ {
		for n := min(longestName, len(words)-i); n > 0; n-- {
			from, to := words[i][0], words[i+n-1][1]
			h := Hash(s[from:to])
			if !hidden.has(h) {
				continue
			}
			out.WriteString(s[at:from] + Alias(h))
			at, i = to, i+n-1
			break
		}
	}
	return out.String() + s[at:]
}

// spans are the words of a text, as from and to.
func spans(s string) (out [][2]int) {
	from := -1
	for i, r := range s + " " {
		inside := unicode.IsLetter(r) || unicode.IsDigit(r) || r == '-' || r == '\'' && from >= 0
		switch {
		case inside && from < 0:
			from = i
		case !inside && from >= 0:
			out = append(out, [2]int{from, i})
			from = -1
		}
	}
	return out
}

// Names reports whether an entry was made by a person or names them.
func Names(x entry.Entry, person string) bool {
	hidden := hiding{Hash(person): math.MaxInt64}
	v := veiled(x, hidden)
	return v.By != x.By || v.Line != x.Line || !reflect.DeepEqual(v.Body, x.Body)
}
