package worker

import (
	"context"
	"fmt"
	"maps"
	"reflect"
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

// trendBack is how far back days are looked at, where values came late or a point
// was mapped since the last time.
const trendBack = 400 * 24 * time.Hour

// trends makes one reading of each day that is over, for each trend of a site.
// Values that come after their day's reading was made amend it, however late,
// unless somebody has corrected that reading or values of its day have been let
// go: then it stands.
func (p Posts) trends(ctx context.Context, site plant.Site, f Firing) (ledger.Batch, error) {
	_, known, err := p.book.Map(ctx)
	if err != nil {
		return ledger.Batch{}, err
	}
	came := &arrivals{posts: p, since: f.Last, days: map[plant.BankID][]time.Time{}}
	var b ledger.Batch
	for _, m := range known.Trends(site.ID) {
		days, err := p.trendDays(ctx, m, site.Location(), came)
		if err != nil {
			return b, err
		}
		from := midnight(p.Now(), site.Location())
		for _, day := range slices.SortedFunc(maps.Keys(days), time.Time.Compare) {
			if day.Before(from) {
				from = day
			}
			e, ok := p.trendDay(m, day, days[day])
			if !ok {
				continue
			}
			some, err := p.orAmend(ctx, e, m.Seq)
			if err != nil {
				return b, err
			}
			b.Entries = append(b.Entries, some...)
		}
		if err := p.letGo(ctx, m, from); err != nil {
			return b, err
		}
	}
	ran, err := p.runDays(ctx, site, known, came)
	b.Entries = append(b.Entries, ran...)
	return b, err
}

// trendDays are the values of the days that are over by now and were not at the last
// firing, or of which some came since; those of the point's whole past where it was
// mapped since.
func (p Posts) trendDays(ctx context.Context, m points.Mapping, loc *time.Location, came *arrivals) (map[time.Time][]entry.Entry, error) {
	today := midnight(p.Now(), loc)
	anew, err := came.anew(ctx, m)
	if err != nil {
		return nil, err
	}
	if anew {
		return p.samplesByDay(ctx, m.Place.AHU(), midnight(p.Now().Add(-trendBack), loc), today)
	}
	touched, err := came.before(ctx, m.Place.AHU(), today)
	if err != nil {
		return nil, err
	}
	days := map[time.Time][]entry.Entry{}
	for _, day := range touched {
		if days[day], err = came.of(ctx, m.Place.AHU(), day); err != nil {
			return nil, err
		}
	}
	return days, nil
}

// arrivals knows on which days the values lie that arrived since the last firing.
type arrivals struct {
	posts Posts
	since time.Time // zero: there was none
	after int64     // entries to it arrived before; 0: not looked up
	days  map[plant.BankID][]time.Time

	ahu  plant.BankID // whose values were read last
	read map[time.Time][]entry.Entry
}

// arrivedWithin is how far times of arrival may be off the order of the ledger: a
// request's entries bear the time at which it came, by the clock of the machine to
// which it came, and that may be an hour wrong.
const arrivedWithin = 2 * time.Hour

// sinceSeq is the number of an entry before all that arrived since the last firing.
func (c *arrivals) sinceSeq(ctx context.Context) (int64, error) {
	if c.after > 0 {
		return c.after, nil
	}
	var err error
	c.after, err = c.posts.arrivedBefore(ctx, c.since.Add(-arrivedWithin))
	return c.after, err
}

// anew reports whether a point was mapped since the last firing, or there was none.
func (c *arrivals) anew(ctx context.Context, m points.Mapping) (bool, error) {
	if c.since.IsZero() {
		return true, nil
	}
	mapped, err := c.posts.Store.Entry(ctx, m.Seq)
	if err != nil || mapped.Received.After(c.since) {
		return true, err
	}
	after, err := c.sinceSeq(ctx)
	return m.Seq > after, err
}

// before lists, in order, the days before a midnight, within trendBack, that were not
// over at the last firing or on which values of an AHU lie that arrived since.
func (c *arrivals) before(ctx context.Context, ahu plant.BankID, midnightOf time.Time) ([]time.Time, error) {
	all, seen := c.days[ahu]
	if !seen {
		after, err := c.sinceSeq(ctx)
		if err != nil {
			return nil, err
		}
		entries, err := c.posts.Store.Entries(ctx, ledger.Filter{
			Place: ahu, Exact: true, Kinds: pointbook.SampleKinds, AfterSeq: after, From: c.posts.Now().Add(-trendBack),
		})
		if err != nil {
			return nil, err
		}
		for _, x := range entries {
			if n := len(all); n == 0 || x.At.Before(all[n-1]) || !x.At.Before(dayAfter(all[n-1])) {
				all = append(all, midnight(x.At, midnightOf.Location()))
			}
		}
		for day := midnight(c.since, midnightOf.Location()); day.Before(midnightOf); day = dayAfter(day) {
			all = append(all, day)
		}
		slices.SortFunc(all, time.Time.Compare)
		all = slices.CompactFunc(all, time.Time.Equal)
		c.days[ahu] = all
	}
	n, _ := slices.BinarySearchFunc(all, midnightOf, time.Time.Compare)
	return all[:n], nil
}

// of are the values of a day of an AHU. Those of the AHU that was asked for last are
// kept, for its points one after another.
func (c *arrivals) of(ctx context.Context, ahu plant.BankID, day time.Time) ([]entry.Entry, error) {
	if c.ahu != ahu {
		c.ahu, c.read = ahu, map[time.Time][]entry.Entry{}
	}
	if all, seen := c.read[day]; seen {
		return all, nil
	}
	days, err := c.posts.samplesByDay(ctx, ahu, day, dayAfter(day))
	if err != nil {
		return nil, err
	}
	c.read[day] = days[day]
	return days[day], nil
}

// arrivedBefore is the number of an entry up to which all arrived before a time,
// give or take arrivedWithin: they are numbered in the order in which they came,
// without gaps, those brought in from aside by when they were.
func (p Posts) arrivedBefore(ctx context.Context, t time.Time) (int64, error) {
	head, err := p.Store.Head(ctx)
	if err != nil {
		return 0, err
	}
	low, high := int64(0), head // low arrived before t, high+1 did not
	for low < high {
		mid := (low + high + 1) / 2
		x, err := p.Store.Entry(ctx, mid)
		if err != nil {
			return 0, err
		}
		if x.Received.Before(t) {
			low = mid
		} else {
			high = mid - 1
		}
	}
	return low, nil
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

// samplesByDay are the values of an AHU in [begin, end), in order of time.
func (p Posts) samplesByDay(ctx context.Context, ahu plant.BankID, begin, end time.Time) (map[time.Time][]entry.Entry, error) {
	all, err := p.Store.Entries(ctx, ledger.Filter{Place: ahu, Exact: true, Kinds: pointbook.SampleKinds, From: begin, To: end})
	all = entry.Standing(all)
	slices.SortStableFunc(all, func(x, y entry.Entry) int { return x.At.Compare(y.At) })
	days := map[time.Time][]entry.Entry{}
	var day, next time.Time
	for _, x := range all {
		if !x.At.Before(next) {
			day = midnight(x.At, begin.Location())
			next = dayAfter(day)
		}
		days[day] = append(days[day], x)
	}
	return days, err
}

// trendDay is the reading of a day. There is none while the fan never ran
// steadily, nor once values of the day have been let go.
func (p Posts) trendDay(m points.Mapping, day time.Time, all []entry.Entry) (entry.Entry, bool) {
	var samples []trend.Sample
	by := ""
	status := statusOf(all)
	for _, x := range all {
		s, ok := x.Body.(entry.Sample)
		if !ok || !sameName(s.Point, m.Name) {
			continue
		}
		if s.Value == nil {
			return entry.Entry{}, false
		}
		if points.Quantity(s.Quantity) == points.Pressure {
			air := points.AirAt(around(all, x.At), x.At)
			air.Off = air.Off || trend.Stands(status, x.At)
			samples = append(samples, trend.Sample{At: x.At, Pa: *s.Value, Air: air, Suspect: s.Suspect})
			by = x.By
		}
	}
	at, r, ok := trend.Day(samples)
	return entry.Entry{
		Source: fmt.Sprintf("trend:%s:%s", strings.ToLower(m.Name), dateOf(day)), Kind: entry.KindReading, Place: m.Place,
		At: at, Received: p.Now(), By: by, Body: r,
	}, ok
}

// statusOf are what the run status of an AHU showed.
func statusOf(all []entry.Entry) []trend.Value {
	var out []trend.Value
	for _, x := range all {
		if s, ok := x.Body.(entry.Sample); ok && s.Value != nil && points.Quantity(s.Quantity) == points.RunStatus {
			out = append(out, trend.Value{At: x.At, V: *s.Value})
		}
	}
	return out
}

// around are those of some values, which are in order of time, that may tell of the
// air at a time.
func around(all []entry.Entry, at time.Time) []entry.Entry {
	by := func(x entry.Entry, t time.Time) int { return x.At.Compare(t) }
	from, _ := slices.BinarySearchFunc(all, at.Add(-points.Near), by)
	n, _ := slices.BinarySearchFunc(all[from:], at.Add(points.Near+1), by)
	return all[from : from+n]
}

// orAmend is a day's reading where there is none yet, or what amends it where it
// says something else by now. One that another mapping, of the number given, put at
// another place is taken back for it. What a person has corrected or taken back
// stands.
func (p Posts) orAmend(ctx context.Context, e entry.Entry, mapping int64) ([]entry.Entry, error) {
	made, err := p.Store.Entries(ctx, ledger.Filter{Source: e.Source})
	if err != nil {
		return nil, err
	}
	made = slices.DeleteFunc(made, func(x entry.Entry) bool {
		return x.Kind != e.Kind || x.Source != e.Source && !strings.HasPrefix(x.Source, e.Source+mapMark)
	})
	if len(made) == 0 {
		return []entry.Entry{e}, nil
	}
	var out []entry.Entry
	for _, was := range made {
		says, n, stands, byHand, err := p.saidBy(ctx, was, e.Source)
		switch {
		case err != nil:
			return nil, err
		case byHand:
			return nil, nil
		case !stands:
		case was.Place != e.Place:
			out = append(out, entry.Entry{
				Source: fmt.Sprintf("%s%soff:%d", e.Source, mapMark, was.Seq), Kind: entry.KindRetract, Place: was.Place, At: was.At, Received: e.Received, By: e.By,
				Body: entry.Retract{Target: was.Seq, Reason: "the point was mapped anew"},
			})
		case reflect.DeepEqual(says, e.Body):
			return nil, nil
		default:
			return []entry.Entry{{
				Source: fmt.Sprintf("%s%s%d", was.Source, lateMark, n+1), Kind: entry.KindAmend, Place: was.Place, At: was.At, Received: e.Received, By: e.By,
				Body: entry.Amend{Target: was.Seq, Body: e.Body},
			}}, nil
		}
	}
	e.Source = fmt.Sprintf("%s%s%d", e.Source, mapMark, mapping)
	return append(out, e), nil
}

// saidBy is what a reading says after n amendments by what came late, and whether
// it stands; byHand reports that a person has had a hand in it.
func (p Posts) saidBy(ctx context.Context, was entry.Entry, source string) (says entry.Body, n int, stands, byHand bool, err error) {
	acts, err := p.Store.Entries(ctx, ledger.Filter{
		Place: was.Place, Exact: true, Kinds: []entry.Kind{entry.KindAmend, entry.KindRetract}, AfterSeq: was.Seq,
	})
	says, stands = was.Body, true
	for _, x := range acts {
		ours := strings.HasPrefix(x.Source, source+":")
		switch b := x.Body.(type) {
		case entry.Retract:
			if b.Target == was.Seq {
				stands, byHand = false, byHand || !ours
			}
		case entry.Amend:
			if b.Target == was.Seq {
				says, n, byHand = b.Body, n+1, byHand || !ours
			}
		}
	}
	return says, n, stands, byHand, err
}

// mapMark parts, in the source of a reading, what it is of from the number of the
// mapping that moved it.
const mapMark = ":map:"

// lateMark parts, in the source of an amendment, the reading's own source from
// its number.
const lateMark = ":late:"

// sameName compares names of points.
func sameName(a, b string) bool { return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b)) }

func midnight(t time.Time, loc *time.Location) time.Time {
	y, mo, d := t.In(loc).Date()
	return time.Date(y, mo, d, 0, 0, 0, 0, loc)
}
