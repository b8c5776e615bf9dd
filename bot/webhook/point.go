package webhook

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"

	"clogwise/bot/webhook/wire"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/pointbook"
	"clogwise/internal/points"
)

// whyAside is told of every value kept aside alike, whatever the reason: a key
// must not learn of points beyond its sites.
const whyAside = "nobody has said what this point measures; the value is kept and counts once a supervisor maps it (clogwise points)"

// saidOfPoint is what a value of a building system's point says: a reading of
// the bank it is mapped to, a sample at an AHU, or something to keep aside.
func (t *taking) saidOfPoint(now known, it wire.Item) (plant.BankID, entry.Body, string, error) {
	if !coversPoint(t.key, it.Point) {
		return "", nil, "", fmt.Errorf("%w: point %s", errScope, wire.Clip(it.Point))
	}
	if err := checkSample(it); err != nil {
		return "", nil, "", err
	}
	s := sampleOf(it)
	m, ok := now.points.Find(it.Point)
	if !ok || !coversSite(t.key, m.Place.Site()) {
		s.Sites = t.key.Sites
		return entry.Aside(it.Point), s, whyAside, nil
	}
	body, held, err := pointbook.Entry(now.Register, m, s)
	return m.Recorded(), body, held, err
}

// checkSample refuses what no mapping could make sense of.
func checkSample(it wire.Item) error {
	if err := cmp.Or(
		none("a change-out's; send it to POST /v1/swaps", it.Count != nil, it.CleanPa != nil, it.BeforePa != nil, it.Item != "", it.Who != ""),
		it.CheckAir(),
	); err != nil {
		return err
	}
	switch {
	case it.Pa != nil && it.Value != nil:
		return errors.New("give pa, or value with unit, not both")
	case it.Pa == nil && it.Value == nil && !it.OverRange:
		return errors.New("no value: give value, with unit where it has one, or pa of a pressure")
	}
	return nil
}

func sampleOf(it wire.Item) entry.Sample {
	return entry.Sample{
		Point: it.Point, Value: it.Value, Unit: it.Unit, Pa: it.Pa, FlowM3s: it.FlowM3s, FanHz: it.FanHz, FanPct: it.FanPct,
		OverRange: it.OverRange, Wet: it.Wet, Suspect: it.Suspect,
	}
}

// air tells readings of points what other points of their AHU say of its air,
// in the same request or shortly before.
func (t *taking) air(ctx context.Context, now known, items []wire.Parsed) error {
	for n := range t.batch.Entries {
		x := &t.batch.Entries[n]
		if !x.Place.Whole() || items[t.index[n]].Point == "" || !now.points.Air(x.Place.AHU()) {
			continue
		}
		near, err := t.book.Near(ctx, now.points, x.Place.AHU(), x.At)
		if err != nil {
			return err
		}
		for _, y := range t.batch.Entries {
			if y.Kind == entry.KindSample && y.Place == x.Place.AHU() {
				near = append(near, y)
			}
		}
		body, why := points.With(x.Body, points.AirAt(near, x.At))
		x.Body = body
		if res := &t.results[t.index[n]]; why != "" && res.Outcome == recorded {
			res.Outcome, res.Why = held, why
		}
	}
	return nil
}

// mappedMeanwhile brings in values whose point was mapped while they were being
// recorded as unknown: whoever mapped it may have looked before they were there.
func (t *taking) mappedMeanwhile(ctx context.Context, items []wire.Parsed) error {
	names := map[string]bool{}
	for i, r := range t.results {
		if r.Outcome == aside {
			names[items[i].Point] = true
		}
	}
	if len(names) == 0 {
		return nil
	}
	now, err := t.plant.fresh(ctx)
	if err != nil {
		return err
	}
	for name := range names {
		if m, ok := now.points.Find(name); ok && coversSite(t.key, m.Place.Site()) {
			if _, err := t.book.BringIn(ctx, name, t.now); err != nil {
				return err
			}
		}
	}
	return nil
}

// pointRow is a mapped point as it is told.
type pointRow struct {
	Name     string  `json:"name"`
	Place    string  `json:"place"`
	Quantity string  `json:"quantity"`
	Unit     string  `json:"unit,omitempty"`
	Scale    float64 `json:"scale,omitempty"`
	Offset   float64 `json:"offset,omitempty"`
}

// pointsKnown tells the mapped points of the key's sites, and what the key
// itself sent of points that are not mapped.
func (s *api) pointsKnown(w http.ResponseWriter, r *http.Request) error {
	k, _, err := s.admit(w, r)
	if err != nil {
		return err
	}
	_, of, err := s.book.Map(r.Context())
	if err != nil {
		return err
	}
	mapped := []pointRow{}
	for _, m := range of.All() {
		if covers(k, m.Place, m.Name) {
			mapped = append(mapped, pointRow{m.Name, string(m.Place), m.Quantity, m.Unit, m.Scale, m.Offset})
		}
	}
	all, err := s.book.Unknown(r.Context())
	if err != nil {
		return err
	}
	unknown := []pointbook.Unknown{}
	for _, u := range all {
		if u.By == k.Name && coversPoint(k, u.Point) {
			u.Why = whyAside // the same whatever the reason
			unknown = append(unknown, u)
		}
	}
	s.answer(w, http.StatusOK, map[string]any{"mapped": mapped, "unknown": unknown})
	return nil
}
