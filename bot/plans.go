package bot

import (
	"context"
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
