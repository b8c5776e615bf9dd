package bot

import (
	"context"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// farAhead is how far ahead a date without its year is asked about: a day of this
// year that has gone by is taken for next year's.
const farAhead = 320 * 24 * time.Hour

// farOff asks whether a bank is to be put off for most of a year, when the message
// does not give the year.
func (t *talk) farOff(meaning phrase.Meaning) (phrase.Asking, bool) {
	for _, it := range meaning.Items {
		b, ok := it.Body.(entry.Defer)
		if !ok || b.Until.Sub(t.scope.Now) < farAhead {
			continue
		}
		name, at := t.reg.Name(it.Place), say.At(t.siteOf(it.Place), t.scope.Now)
		until := b.Until.In(at.Loc)
		if saysYear(it.Line, until.Year()) {
			continue
		}
		a := phrase.Asking{Code: phrase.AskDate, Text: say.FarAhead(at, name, until)}
		if len(meaning.Items) == 1 {
			day := until.Format("2 Jan 2006")
			a.Choices = []phrase.Choice{{Keys: []string{"yes", "y", "ja", "si", day}, Label: at.In.Date(until, "2 Jan 2006"), Means: "defer " + name + " to " + day + ": " + b.Reason}}
		}
		return a, true
	}
	return phrase.Asking{}, false
}

// saysYear reports whether a line gives a year, in four figures or two.
func saysYear(line string, year int) bool {
	long := strconv.Itoa(year)
	short := long[2:]
	for _, w := range strings.FieldsFunc(line, func(r rune) bool { return r < '0' || r > '9' }) {
		if w == long {
			return true
		}
	}
	return strings.Contains(line, "/"+short) || strings.Contains(line, "."+short) || strings.Contains(line, "-"+short) || strings.Contains(line, "'"+short)
}

// spelled gives people the names that the register has for them.
func spelled(site plant.Site, crew []string) []string {
	out := slices.Clone(crew)
	known := slices.Concat(site.Crew, site.Supervisors)
	for i, who := range out {
		if k := slices.IndexFunc(known, func(n string) bool { return strings.EqualFold(n, strings.TrimPrefix(who, "@")) }); k >= 0 {
			out[i] = known[k]
		}
	}
	return out
}

// warnings are what speaks against the bookings and deferrals among entries.
func (e *Engine) warnings(ctx context.Context, t *talk, entries []entry.Entry) ([]string, error) {
	var out []string
	for _, x := range entries {
		x.Body = bodySaid(x)
		if k := x.Body.Kind(); k != entry.KindBooking && k != entry.KindDefer {
			continue
		}
		for _, bank := range t.reg.Banks(x.Place) {
			p, err := e.plan(ctx, t, x, bank)
			if err != nil {
				return nil, err
			}
			for _, w := range p.Warnings() {
				if !slices.Contains(out, w) {
					out = append(out, w)
				}
			}
		}
	}
	return out, nil
}

// bodySaid is what an entry says: of an amendment, the new body.
func bodySaid(x entry.Entry) entry.Body {
	if a, ok := x.Body.(entry.Amend); ok {
		return a.Body
	}
	return x.Body
}

func (e *Engine) plan(ctx context.Context, t *talk, x entry.Entry, bank plant.BankID) (say.Plan, error) {
	x.Place = bank
	p := say.Plan{Entry: x, Site: t.siteOf(bank), Register: t.reg, Now: e.Now()}
	for _, j := range t.jobs {
		if j.Bank.Site() == bank.Site() {
			p.Jobs = append(p.Jobs, j)
		}
	}
	a, ok, err := e.View.Assessment(ctx, bank)
	if err != nil || !ok {
		return p, err
	}
	p.Bank = a.AsOf(e.Now())
	return p, nil
}

// planned drops the items that cancel what is not booked, or take back a deferral
// that is none, and says so of each.
func (e *Engine) planned(ctx context.Context, t *talk, items []phrase.Item) (left []phrase.Item, said []string, err error) {
	for _, it := range items {
		none, deferral := false, false
		switch b := it.Body.(type) {
		case entry.Booking:
			none = b.Cancelled && !slices.ContainsFunc(t.reg.Banks(it.Place), func(bank plant.BankID) bool { _, open := t.openJob(bank); return open })
		case entry.Defer:
			if deferral = !b.Until.After(it.At); !deferral {
				break
			}
			all, err := e.standing(ctx, it.Place, entry.KindDefer)
			if err != nil {
				return nil, nil, err
			}
			none = true
			for _, x := range all {
				if d, ok := x.Body.(entry.Defer); ok {
					none = !d.Until.After(e.Now())
				}
			}
		}
		if none {
			said = append(said, say.NothingPlanned(t.in(), t.reg.Name(it.Place), deferral))
			continue
		}
		left = append(left, it)
	}
	return left, said, nil
}

var (
	moveWord  = regexp.MustCompile(`(?i)^\s*(?:please\s+)?(?:move|reschedule|rebook|shift|verschieb\w*|verleg\w*|mueve|mover|reprogram\w*)\b`)
	clockTime = regexp.MustCompile(`(?i)\b\d{1,2}[:.h]\d{2}\b|\b\d{1,2}\s?(?:am|pm|uhr)\b|\b(?:noon|morning|afternoon|mittags?|vormittags?|nachmittags?|mediod[ií]a)\b`)
)

// moved keeps of a booking what a message that moves it does not give anew: the
// time of day and the crew.
func (t *talk) moved(bank plant.BankID, line string, b entry.Booking) entry.Booking {
	j, open := t.openJob(bank)
	if !open || b.Cancelled || !moveWord.MatchString(line) {
		return b
	}
	if len(b.Crew) == 0 {
		b.Crew = j.Crew
	}
	if !clockTime.MatchString(line) {
		loc := t.siteOf(bank).Location()
		was, day := j.Start.In(loc), b.Start.In(loc)
		b.Start = time.Date(day.Year(), day.Month(), day.Day(), was.Hour(), was.Minute(), 0, 0, loc).In(b.Start.Location())
	}
	return b
}
