package demo

import (
	"cmp"
	"math/rand/v2"
	"slices"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// Span is how far back the readings of the demo go.
const Span = 182 * 24 * time.Hour

// History is half a year of the portfolio up to now, as it would stand in the
// ledger: readings, change-outs and what else people of the sites told. The same
// contents, moment and seed give the same entries; another seed gives another
// chance. Contents without a story of ours have no history.
//
// Entries are ordered by At; Seq is 0 and Source begins with "demo:". Change-outs
// of sets already running half a year ago are older than that: they are taken
// from the log book, so to speak.
func History(c plant.Contents, now time.Time, seed uint64) []entry.Entry {
	h := &history{reg: plant.NewRegister(c), now: now, start: now.Add(-Span), seed: seed, banks: map[plant.BankID]*bank{}}
	h.simulate()
	for _, known := range h.reg.Sites() {
		cu, ok := customs[known.ID]
		if !ok {
			continue
		}
		s, _ := h.site(known.ID)
		h.swaps(s)
		h.rounds(s, cu)
		h.trend(s)
	}
	h.extras()
	h.entries = slices.DeleteFunc(h.entries, func(e entry.Entry) bool { return e.Received.After(now) })
	slices.SortFunc(h.entries, func(a, b entry.Entry) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Source, b.Source))
	})
	return h.entries
}

type history struct {
	reg        *plant.Register
	now, start time.Time
	seed       uint64
	banks      map[plant.BankID]*bank
	entries    []entry.Entry
}

// longest is how far back a set still running may have been fitted, in days.
const longest = 430

// simulate gives every bank of the stories its lives. Banks come in the order
// of the air, so that a secondary can feel its primary.
func (h *history) simulate() {
	told := map[plant.BankID]story{}
	for _, s := range stories {
		told[s.bank] = s
	}
	for _, id := range h.reg.Banks("") {
		s, ok := told[id]
		if !ok {
			continue
		}
		pb, _ := h.reg.Bank(id)
		a, _ := h.reg.AHU(id)
		site, _ := h.site(id.Site())
		item, _ := h.reg.Item(pb.Item)
		b := &bank{id: id, plant: pb, ahu: a, site: site, growth: growthOf(pb.Stage), rng: newRand(h.seed, string(id))}
		var cleanPa float64
		cleanPa, b.exponent = clean(h.reg, pb, a)
		b.limitPa = cmp.Or(pb.LimitPa, item.FinalPa, 2*cleanPa)
		b.axis = newAxis(h.reg.ScheduleOf(id).Runner(site.loc), site.loc,
			h.now.AddDate(0, 0, -longest), h.now, h.dust(b))
		b.live(s, cleanPa, h.start, h.now)
		h.banks[id] = b
	}
}

// dust is how fast a bank loads on a day against the site's average: the month,
// smoke outside, and a primary past its limit that lets dust by.
func (h *history) dust(b *bank) func(time.Time) float64 {
	byMonth := customs[b.site.ID].dust
	primary := h.banks[plant.MakeBankID(b.site.ID, b.ahu.ID, string(plant.Primary))]
	return func(day time.Time) float64 {
		rate := byMonth[day.Month()-1]
		if smoke.hits(plant.BankID(b.site.ID), h.back(b.site, day)) {
			rate *= 2.5
		}
		if primary != nil && b.plant.Stage == plant.Secondary {
			rate *= 1 + 1.8*max(0, min(primary.rise(day)-1, 0.5))
		}
		return rate
	}
}

// back is how many calendar days before now a time is, by the site's clock.
func (h *history) back(s site, t time.Time) int {
	return int(noon(h.now, s.loc).Sub(noon(t, s.loc)).Hours() / 24)
}

// noon of a day, in UTC so that every day is 24 hours from the next.
func noon(t time.Time, loc *time.Location) time.Time {
	y, m, d := t.In(loc).Date()
	return time.Date(y, m, d, 12, 0, 0, 0, time.UTC)
}

// say adds an entry that arrived a little after it happened. Nothing is said of
// places that the register does not have.
func (h *history) say(rng *rand.Rand, at time.Time, key string, place plant.BankID, by, line string, body entry.Body) {
	if _, ok := h.reg.Bank(place); place.Whole() && !ok {
		return
	}
	h.entries = append(h.entries, entry.Entry{
		Source:   "demo:" + key + ":" + at.UTC().Format("20060102T150405"),
		Kind:     body.Kind(),
		Place:    place,
		At:       at,
		Received: at.Add(time.Duration(15+rng.IntN(75)) * time.Second),
		By:       by,
		Line:     line,
		Body:     body,
	})
}

// atWork is a time of day, site time, on the last working day before now that is
// at least so many days back.
func (h *history) atWork(s site, daysBack, hour, minute int) time.Time {
	y, m, d := h.now.In(s.loc).Date()
	at := time.Date(y, m, d-daysBack, hour, minute, 0, 0, s.loc)
	for !s.works(at) || at.After(h.now) {
		at = at.AddDate(0, 0, -1)
	}
	return at
}
