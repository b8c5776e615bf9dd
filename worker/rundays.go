package worker

import (
	"context"
	"slices"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/pointbook"
	"clogwise/internal/points"
	"clogwise/internal/trend"
)

// aroundDay is how far beyond a day values are looked at that tell what a meter
// showed at its midnights.
const aroundDay = 36 * time.Hour

// runDays are the counted run hours of days that are over, of each AHU of a site
// that has a run-hour meter or a run status among its points. The meter goes
// before the status; of several the one that counted most, since the filters load
// while any fan runs. What arrives late amends its day.
func (p Posts) runDays(ctx context.Context, site plant.Site, known points.Map, came *arrivals) ([]entry.Entry, error) {
	var out []entry.Entry
	for _, m := range counters(known, site.ID) {
		days, err := p.runDaysToCount(ctx, m, site.Location(), came)
		if err != nil {
			return nil, err
		}
		made, err := p.runDaysOf(ctx, m, days)
		if err != nil {
			return nil, err
		}
		out = append(out, made...)
	}
	return out, nil
}

// counters are a site's points of run hours and run status, by AHU in order.
func counters(known points.Map, site string) [][]points.Mapping {
	var out [][]points.Mapping
	for _, m := range known.Runs(site) {
		if n := len(out); n > 0 && out[n-1][0].Place == m.Place {
			out[n-1] = append(out[n-1], m)
			continue
		}
		out = append(out, []points.Mapping{m})
	}
	return out
}

// runDaysToCount are the days that are over and whose hours may be others by what came
// since the last firing, in order.
func (p Posts) runDaysToCount(ctx context.Context, ms []points.Mapping, loc *time.Location, came *arrivals) ([]time.Time, error) {
	today := midnight(p.Now(), loc)
	var days []time.Time
	for _, m := range ms {
		anew, err := came.anew(ctx, m)
		if err != nil {
			return nil, err
		}
		if !anew {
			continue
		}
		for day := midnight(p.Now().Add(-trendBack), loc); day.Before(today); day = dayAfter(day) {
			days = append(days, day)
		}
		return days, nil
	}
	touched, err := came.before(ctx, ms[0].Place, dayAfter(today))
	if err != nil {
		return nil, err
	}
	for _, day := range touched { // values near midnight bear on the day beside too
		days = append(days, dayBefore(day), day, dayAfter(day))
	}
	slices.SortFunc(days, time.Time.Compare)
	days = slices.CompactFunc(days, time.Time.Equal)
	return slices.DeleteFunc(days, func(day time.Time) bool { return !day.Before(today) }), nil
}

func (p Posts) runDaysOf(ctx context.Context, ms []points.Mapping, days []time.Time) ([]entry.Entry, error) {
	if len(days) == 0 {
		return nil, nil
	}
	ahu := ms[0].Place
	var out []entry.Entry
	for _, stretch := range stretches(days) {
		all, err := p.Store.Entries(ctx, ledger.Filter{
			Place: ahu, Exact: true, Kinds: pointbook.SampleKinds,
			From: stretch[0].Add(-aroundDay), To: stretch[len(stretch)-1].Add(dayAround + aroundDay),
		})
		if err != nil {
			return nil, err
		}
		values, by := valuesOf(entry.Standing(all), ms)
		for _, day := range stretch {
			e, ok := runDay(ms, values, day)
			if !ok {
				continue
			}
			e.Place, e.Received, e.By = ahu, p.Now(), by
			e.Source = "run:" + string(ahu) + ":" + dateOf(day)
			some, err := p.orAmend(ctx, e, 0)
			if err != nil {
				return nil, err
			}
			out = append(out, some...)
		}
	}
	return out, nil
}

// stretches parts sorted days where they lie far apart, to be read by themselves.
func stretches(days []time.Time) [][]time.Time {
	out := [][]time.Time{days[:1:1]}
	for i, day := range days[1:] {
		if day.Sub(days[i]) > 2*aroundDay {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], day)
	}
	return out
}

// valuesOf are the values of each mapped point, and who sent the last.
func valuesOf(all []entry.Entry, ms []points.Mapping) (of [][]trend.Value, by string) {
	of = make([][]trend.Value, len(ms))
	for _, x := range all {
		s, ok := x.Body.(entry.Sample)
		if !ok || s.Value == nil || s.Suspect {
			continue
		}
		for i, m := range ms {
			if s.Quantity == m.Quantity && sameName(s.Point, m.Name) {
				of[i], by = append(of[i], trend.Value{At: x.At, V: *s.Value}), x.By
			}
		}
	}
	return of, by
}

func runDay(ms []points.Mapping, values [][]trend.Value, day time.Time) (entry.Entry, bool) {
	end := dayAfter(day)
	for _, q := range []points.Quantity{points.RunHours, points.RunStatus} {
		most, found := 0.0, false
		for i, m := range ms {
			count := trend.Metered
			if q == points.RunStatus {
				count = trend.Ran
			}
			if m.Of() != q {
				continue
			}
			if h, ok := count(values[i], day, end); ok {
				most, found = max(most, h), true
			}
		}
		if found {
			return entry.Entry{Kind: entry.KindRunDay, At: day, Body: entry.RunDay{Day: dateOf(day), Hours: most}}, true
		}
	}
	return entry.Entry{}, false
}

// dateOf is the date of a day that begins where midnight says, which may be the
// evening before where clocks skip midnight.
func dateOf(day time.Time) string { return day.Add(12 * time.Hour).Format(time.DateOnly) }

func dayAfter(day time.Time) time.Time { return midnight(day.Add(36*time.Hour), day.Location()) }

func dayBefore(day time.Time) time.Time { return midnight(day.Add(-12*time.Hour), day.Location()) }
