// Package pointbook keeps, in the ledger, what the points of building systems
// measure, and the values of points that nobody has mapped yet.
package pointbook

import (
	"cmp"
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"sync"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/points"
	"clogwise/internal/view"
)

// Book reads and writes mappings. It is safe for concurrent use.
type Book struct {
	Store ledger.Store
	View  *view.View

	mu    sync.Mutex
	seen  int64         // of the newest mapping read
	edits []entry.Entry // mappings so far
	reg   *plant.Register
	known points.Map // of reg and edits
}

// Map is what is known of every point now, with the register it fits.
func (b *Book) Map(ctx context.Context) (*plant.Register, points.Map, error) {
	reg, err := b.View.Register(ctx)
	if err != nil {
		return nil, points.Map{}, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	fresh, err := b.Store.Entries(ctx, ledger.Filter{Kinds: []entry.Kind{entry.KindPoint}, AfterSeq: b.seen})
	if err != nil {
		return nil, points.Map{}, err
	}
	if n := len(fresh); n > 0 {
		b.edits, b.seen = append(b.edits, fresh...), fresh[n-1].Seq
	}
	if len(fresh) > 0 || reg != b.reg {
		b.reg, b.known = reg, points.Fold(reg, b.edits)
	}
	return reg, b.known, nil
}

// Assign records what a point measures and brings in the values kept of it. It
// returns how many were.
func (b *Book) Assign(ctx context.Context, place plant.BankID, p entry.Point, by string, now time.Time) (int, error) {
	reg, known, err := b.Map(ctx)
	if err != nil {
		return 0, err
	}
	if p.Removed {
		was, ok := known.Find(p.Name)
		if !ok {
			return 0, fmt.Errorf("point %q is not mapped", p.Name)
		}
		place = was.Place
	}
	if err := points.Check(reg, place, p); err != nil {
		return 0, err
	}
	head, err := b.Store.Head(ctx)
	if err != nil {
		return 0, err
	}
	_, err = b.Store.Commit(ctx, ledger.Batch{Entries: []entry.Entry{{
		Source: fmt.Sprintf("point:%d:%s", head, strings.ToLower(p.Name)), Kind: entry.KindPoint, Place: place, At: now, Received: now, By: by, Body: p,
	}}})
	if err != nil || p.Removed {
		return 0, err
	}
	return b.BringIn(ctx, p.Name, now)
}

// atOnce is how many samples are read or recorded at a time.
const atOnce = 2000

// BringIn records the values kept of a point that is mapped now and returns how
// many were new or said something else before. Each counts once, however often and
// by whomever it is done. What was brought in by another mapping, to the wrong bank
// or in the wrong unit, is taken back for what this one makes of it, unless
// somebody has corrected it. They arrive now, whenever they were measured.
func (b *Book) BringIn(ctx context.Context, name string, now time.Time) (int, error) {
	reg, known, err := b.Map(ctx)
	if err != nil {
		return 0, err
	}
	m, ok := known.Find(name)
	if !ok {
		return 0, nil
	}
	fresh := 0
	err = b.kept(ctx, entry.Aside(name), func(batch []entry.Entry) error {
		var out ledger.Batch
		for _, x := range batch {
			in, ok, err := b.bringOne(ctx, reg, known, m, x)
			if err != nil {
				return err
			}
			if ok {
				in.Received = now
				out.Entries = append(out.Entries, in)
			}
		}
		done, err := b.Store.Commit(ctx, out)
		if err != nil {
			return err
		}
		var anew ledger.Batch
		for i, d := range done {
			if !d.Duplicate {
				fresh++
				continue
			}
			some, err := b.anew(ctx, out.Entries[i], m)
			if err != nil {
				return err
			}
			if len(some) > 0 {
				fresh++
				anew.Entries = append(anew.Entries, some...)
			}
		}
		_, err = b.Store.Commit(ctx, anew)
		return err
	})
	return fresh, err
}

// anew is what puts right a value that was brought in before: it is taken back and
// recorded as the present mapping has it. Nothing where it says the same, or where
// a person has had a hand in it.
func (b *Book) anew(ctx context.Context, in entry.Entry, m points.Mapping) ([]entry.Entry, error) {
	made, err := b.Store.Entries(ctx, ledger.Filter{Source: in.Source})
	if err != nil {
		return nil, err
	}
	made = slices.DeleteFunc(made, func(x entry.Entry) bool { return x.Source != in.Source && !strings.HasPrefix(x.Source, in.Source+":") })
	all := slices.Clone(made)
	for _, x := range made {
		if x.Kind == entry.KindRetract {
			continue
		}
		acts, err := b.Store.Entries(ctx, ledger.Filter{Place: x.Place, Exact: true, Kinds: []entry.Kind{entry.KindRetract, entry.KindAmend}, AfterSeq: x.Seq})
		if err != nil {
			return nil, err
		}
		for _, a := range acts {
			if targets(a, x.Seq) {
				if !strings.HasPrefix(a.Source, in.Source+":") {
					return nil, nil
				}
				all = append(all, a)
			}
		}
	}
	var out []entry.Entry
	for _, x := range entry.Standing(all) {
		if x.Place == in.Place && x.Kind == in.Kind && reflect.DeepEqual(x.Body, in.Body) {
			return nil, nil
		}
		out = append(out, entry.Entry{
			Source: fmt.Sprintf("%s:off:%d:%d", in.Source, m.Seq, x.Seq), Kind: entry.KindRetract, Place: x.Place, At: x.At, Received: in.Received, By: in.By,
			Body: entry.Retract{Target: x.Seq, Reason: "the point " + m.Name + " was mapped anew"},
		})
	}
	in.Source = fmt.Sprintf("%s:%d", in.Source, m.Seq)
	return append(out, in), nil
}

// targets reports whether an entry takes back or amends the one of a number.
func targets(x entry.Entry, seq int64) bool {
	switch b := x.Body.(type) {
	case entry.Retract:
		return b.Target == seq
	case entry.Amend:
		return b.Target == seq
	}
	return false
}

// bringOne makes the entry of a kept value. Values that do not fit the mapping,
// and those of a key that may not write to its site, stay aside.
func (b *Book) bringOne(ctx context.Context, reg *plant.Register, known points.Map, m points.Mapping, x entry.Entry) (entry.Entry, bool, error) {
	s, ok := x.Body.(entry.Sample)
	if !ok || !strings.EqualFold(s.Point, m.Name) || !mayWrite(s, m) {
		return x, false, nil
	}
	body, _, err := Entry(reg, m, s)
	if err != nil {
		return x, false, nil //nolint:nilerr // it stays aside, where Unknown tells of it
	}
	if m.Of() == points.Pressure && !m.Trend {
		near, err := b.Near(ctx, known, m.Place.AHU(), x.At)
		if err != nil {
			return x, false, err
		}
		body, _ = points.With(body, points.AirAt(near, x.At))
	}
	in := x
	in.Source, in.Place, in.Kind, in.Body = fmt.Sprintf("sample:%d", x.Seq), m.Recorded(), body.Kind(), body
	return in, true, nil
}

func mayWrite(s entry.Sample, m points.Mapping) bool {
	return len(s.Sites) == 0 || slices.Contains(s.Sites, m.Place.Site())
}

// Entry is what a value of a mapped point is recorded as: a reading of its bank,
// or a sample in SI at its AHU. held says why a reading is kept out of the trend.
func Entry(reg *plant.Register, m points.Mapping, s entry.Sample) (body entry.Body, held string, err error) {
	if m.Of() == points.Pressure && !m.Trend {
		bank, ok := reg.Bank(m.Place)
		if !ok {
			return nil, "", fmt.Errorf("bank %s is not in the register any more", m.Place)
		}
		return points.Reading(m, s, bank, points.Limit(reg, bank))
	}
	v, err := m.Value(s)
	if err != nil {
		return nil, "", err
	}
	return entry.Sample{Point: m.Name, Quantity: m.Quantity, Value: &v, Unit: s.Unit, Suspect: s.Suspect}, "", nil
}

// Near are the samples of an AHU that may say what its air was at a time. An AHU
// without points of it costs nothing.
func (b *Book) Near(ctx context.Context, known points.Map, ahu plant.BankID, at time.Time) ([]entry.Entry, error) {
	if !known.Air(ahu) {
		return nil, nil
	}
	near, err := b.Store.Entries(ctx, ledger.Filter{
		Place: ahu, Exact: true, Kinds: SampleKinds, From: at.Add(-points.Near), To: at.Add(points.Near + 1),
	})
	return entry.Standing(near), err
}

// SampleKinds are the kinds to be read where the samples of an AHU that stand are
// wanted: one that was taken back has its retraction at the same time.
var SampleKinds = []entry.Kind{entry.KindSample, entry.KindRetract}

// kept hands on the samples of a place aside, and below it, some at a time.
func (b *Book) kept(ctx context.Context, place plant.BankID, do func([]entry.Entry) error) error {
	for after := int64(0); ; {
		batch, err := b.Store.Entries(ctx, ledger.Filter{Place: place, Kinds: []entry.Kind{entry.KindSample}, AfterSeq: after, Limit: atOnce})
		if err != nil || len(batch) == 0 {
			return err
		}
		if err := do(batch); err != nil {
			return err
		}
		after = batch[len(batch)-1].Seq
	}
}

// Unknown is a point of which values are kept aside.
type Unknown struct {
	Point string    `json:"point"`
	Count int       `json:"count"`
	First time.Time `json:"first"` // when it happened, as its sender says
	Last  time.Time `json:"last"`
	New   time.Time `json:"new"` // when its first value arrived
	Value *float64  `json:"value,omitempty"`
	Unit  string    `json:"unit,omitempty"`
	By    string    `json:"by"`
	Sites []string  `json:"sites,omitempty"` // that its sender may write to; empty: all
	Why   string    `json:"why"`
}

// Unknown lists the points whose values wait for somebody to say what they are,
// the most frequent first.
func (b *Book) Unknown(ctx context.Context) ([]Unknown, error) {
	reg, known, err := b.Map(ctx)
	if err != nil {
		return nil, err
	}
	by := map[string]*Unknown{}
	err = b.kept(ctx, entry.AsidePlace, func(batch []entry.Entry) error {
		for _, x := range batch {
			if s, ok := x.Body.(entry.Sample); ok {
				if why := waits(reg, known, s); why != "" {
					note(by, x, s, why)
				}
			}
		}
		return nil
	})
	out := make([]Unknown, 0, len(by))
	for _, u := range by {
		out = append(out, *u)
	}
	slices.SortFunc(out, func(a, b Unknown) int { return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Point, b.Point)) })
	return out, err
}

// waits says why a kept value has not been brought in; empty when it has.
func waits(reg *plant.Register, known points.Map, s entry.Sample) string {
	m, ok := known.Find(s.Point)
	switch {
	case !ok:
		return "not mapped"
	case !mayWrite(s, m):
		return fmt.Sprintf("mapped to %s, where its sender's key may not write", m.Place)
	}
	if _, _, err := Entry(reg, m, s); err != nil {
		return fmt.Sprintf("mapped to %s, but %v", m.Place, err)
	}
	return ""
}

func note(by map[string]*Unknown, x entry.Entry, s entry.Sample, why string) {
	name := strings.ToLower(s.Point)
	u, ok := by[name]
	if !ok {
		u = &Unknown{Point: s.Point, First: x.At, Last: x.At, New: x.Received}
		by[name] = u
	}
	u.Count++
	if x.At.Before(u.First) {
		u.First = x.At
	}
	if !x.At.Before(u.Last) {
		u.Last, u.Value, u.Unit, u.By, u.Sites, u.Why = x.At, s.Value, s.Unit, x.By, s.Sites, why
		if s.Pa != nil {
			u.Value, u.Unit = s.Pa, "Pa"
		}
	}
}
