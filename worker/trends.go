package worker

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/pointbook"
	"clogwise/internal/points"
	"clogwise/internal/trend"
)

// How far back trends are looked at: values come late, and of a point that was
// mapped since the last time all that was kept is new.
const (
	trendLate = 48 * time.Hour
	trendBack = 400 * 24 * time.Hour
)

// trends makes one reading of each day that is over, for each trend of a site.
// A day's reading is made once: values that come later still are kept, and do
// not alter it.
func (p Posts) trends(ctx context.Context, site plant.Site, f Firing) (ledger.Batch, error) {
	book := &pointbook.Book{Store: p.Store, View: p.View}
	_, known, err := book.Map(ctx)
	if err != nil {
		return ledger.Batch{}, err
	}
	var b ledger.Batch
	for _, m := range known.All() {
		if !m.Trend || m.Place.Site() != site.ID {
			continue
		}
		from, err := p.trendFrom(ctx, m, f)
		if err != nil {
			return b, err
		}
		made, err := p.trendDays(ctx, m, site.Location(), from)
		if err != nil {
			return b, err
		}
		b.Entries = append(b.Entries, made...)
		if err := p.letGo(ctx, m, from); err != nil {
			return b, err
		}
	}
	return b, nil
}

// letGo takes the old values out of a trend that is not kept for good. What is
// being looked at this time stays: its readings are not recorded yet.
func (p Posts) letGo(ctx context.Context, m points.Mapping, from time.Time) error {
	before := p.Now().AddDate(0, 0, -m.KeepDays)
	if m.KeepDays == 0 || !before.Before(from) {
		return nil
	}
	_, err := p.Store.ForgetSamples(ctx, m.Place.AHU(), m.Name, before)
	return err
}

func (p Posts) trendFrom(ctx context.Context, m points.Mapping, f Firing) (time.Time, error) {
	mapped, err := p.Store.Entry(ctx, m.Seq)
	if err != nil {
		return time.Time{}, err
	}
	if f.Last.IsZero() || mapped.Received.After(f.Last) {
		return p.Now().Add(-trendBack), nil
	}
	return f.Last.Add(-trendLate), nil
}

// trendDays are the readings of the days that lie whole between from and today.
func (p Posts) trendDays(ctx context.Context, m points.Mapping, loc *time.Location, from time.Time) ([]entry.Entry, error) {
	today := midnight(p.Now(), loc)
	begin := midnight(from, loc)
	all, err := p.Store.Entries(ctx, ledger.Filter{
		Place: m.Place.AHU(), Exact: true, Kinds: []entry.Kind{entry.KindSample}, From: begin.Add(-points.Near), To: today.Add(points.Near),
	})
	if err != nil {
		return nil, err
	}
	days := map[time.Time][]entry.Entry{}
	for _, x := range all {
		days[midnight(x.At, loc)] = append(days[midnight(x.At, loc)], x)
	}
	var out []entry.Entry
	for _, day := range slices.SortedFunc(maps.Keys(days), time.Time.Compare) {
		if day.Before(begin) || !day.Before(today) {
			continue
		}
		if e, ok := p.trendDay(m, day, days[day]); ok {
			out = append(out, e)
		}
	}
	return out, nil
}

func (p Posts) trendDay(m points.Mapping, day time.Time, all []entry.Entry) (entry.Entry, bool) {
	var samples []trend.Sample
	by := ""
	for _, x := range all {
		s, ok := x.Body.(entry.Sample)
		if ok && s.Value != nil && points.Quantity(s.Quantity) == points.Pressure && strings.EqualFold(s.Point, m.Name) {
			samples = append(samples, trend.Sample{At: x.At, Pa: *s.Value, Air: points.AirAt(all, x.At), Suspect: s.Suspect})
			by = x.By
		}
	}
	at, r, ok := trend.Day(samples)
	return entry.Entry{
		Source: fmt.Sprintf("trend:%s:%s", strings.ToLower(m.Name), day.Format("2006-01-02")), Kind: entry.KindReading, Place: m.Place,
		At: at, Received: p.Now(), By: by, Body: r,
	}, ok
}

func midnight(t time.Time, loc *time.Location) time.Time {
	y, mo, d := t.In(loc).Date()
	return time.Date(y, mo, d, 0, 0, 0, 0, loc)
}
