package say

import (
	"regexp"
	"slices"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/digest"
	"clogwise/internal/duelist"
	"clogwise/internal/entry"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
)

// Plan is a booking or a deferral of one bank, with what it is held against.
type Plan struct {
	Entry    entry.Entry
	Bank     assess.Assessment // as it stood before; zero: nothing known
	Jobs     []digest.Job      // open ones of the site
	Site     plant.Site
	Register *plant.Register
	Now      time.Time
}

// Warnings are what speaks against a plan that is recorded all the same.
func (p Plan) Warnings() []string {
	switch b := p.Entry.Body.(type) {
	case entry.Booking:
		if b.Cancelled {
			return nil
		}
		return slices.Concat(p.tooLate(b.Start), p.closedOn(b.Start), p.strangers(b.Crew), p.bookedBefore(b), p.elsewhere(b), p.putOffBefore(b.Start))
	case entry.Defer:
		return slices.Concat(p.overdue(), p.tooLate(b.Until), p.stillBooked(b.Until))
	}
	return nil
}

// at is the setting of the plan's site.
func (p Plan) at() Setting { return At(p.Site, p.Now) }

func (p Plan) in() locale.Locale { return p.at().In }

func (p Plan) day(t time.Time) string { return p.at().day(t) }

func (p Plan) moment(t time.Time) string { return p.at().moment(t) }

func (p Plan) name() string { return p.Register.Name(p.Entry.Place) }

// job is the open job of the bank.
func (p Plan) job() (digest.Job, bool) {
	i := slices.IndexFunc(p.Jobs, func(j digest.Job) bool { return j.Bank == p.Entry.Place })
	if i < 0 {
		return digest.Job{}, false
	}
	return p.Jobs[i], true
}

// tooLate holds a date against the age cap and the forecast.
func (p Plan) tooLate(on time.Time) []string {
	a, d := p.Bank, p.Bank.Dates
	if c := a.Evidence.CapAt; !c.IsZero() && c.After(p.Now) && on.After(c) {
		return []string{p.in().Text("That is after its age cap, %s.", p.day(c))}
	}
	if d.Median.IsZero() || !d.Median.After(p.Now) || !on.After(d.Median) {
		return nil
	}
	limit := p.at().governing(a.Governing, a.LimitPa)
	if !d.P90.IsZero() && on.After(d.P90) {
		return []string{p.in().Text("By then it is past %s, 9 to 1: likely %s, by %s at the latest.", limit, p.day(d.Median), p.day(d.P90))}
	}
	return []string{p.in().Text("By then it is more likely than not past %s: likely %s.", limit, p.day(d.Median))}
}

// overdue says of a bank that is put off that it is late already.
func (p Plan) overdue() []string {
	switch p.Bank.Condition {
	case duelist.Overdue:
		return []string{p.in().Text("It is overdue already.")}
	case duelist.Due:
		return []string{p.in().Text("It is due already.")}
	}
	return nil
}

// closedOn holds a start against the site's working days.
func (p Plan) closedOn(start time.Time) []string {
	day := p.at().weekday(start)
	if slices.Contains(p.Site.Schedule.Holidays, start.In(p.Site.Location()).Format(time.DateOnly)) {
		return []string{p.in().Text("%s is a day off at %s.", day, p.Site.Name)}
	}
	if !digest.WorksOn(p.Site, start) {
		return []string{p.in().Text("No crew works at %s on %s.", p.Site.Name, day)}
	}
	return nil
}

// chatID is the form of a person's id on a chat platform: it tells nothing about
// names.
var chatID = regexp.MustCompile(`^[A-Z][A-Z0-9]{6,}$`)

// strangers names people who are not of the site's crew. Where the register holds
// platform ids, names cannot be told.
func (p Plan) strangers(crew []string) []string {
	known := append(slices.Clone(p.Site.Crew), p.Site.Supervisors...)
	if slices.ContainsFunc(known, chatID.MatchString) {
		return nil
	}
	var not []string
	for _, who := range crew {
		who = strings.TrimPrefix(who, "@")
		if !slices.ContainsFunc(known, func(k string) bool { return samePerson(k, who) }) {
			not = append(not, who)
		}
	}
	switch len(not) {
	case 0:
		return nil
	case 1:
		return []string{p.in().Text("%s is not in the crew of %s: %s.", not[0], p.Site.Name, p.in().And(p.Site.Crew))}
	}
	return []string{p.in().Text("%s are not in the crew of %s: %s.", p.in().And(not), p.Site.Name, p.in().And(p.Site.Crew))}
}

// samePerson allows for a first name in place of the whole.
func samePerson(known, said string) bool {
	first, _, _ := strings.Cut(known, " ")
	return strings.EqualFold(known, said) || strings.EqualFold(first, said)
}

func (p Plan) bookedBefore(b entry.Booking) []string {
	j, open := p.job()
	switch {
	case !open || j.Start.Equal(b.Start):
		return nil
	case !j.Begun.IsZero():
		return []string{p.in().Text("Work on it began %s and is not closed.", p.moment(j.Begun))}
	}
	return []string{p.in().Text("This takes the place of its booking for %s.", p.moment(j.Start))}
}

// together is how near two starts must be for one person not to manage both.
const together = 2 * time.Hour

// elsewhere names those who are booked for another AHU at the same time.
func (p Plan) elsewhere(b entry.Booking) []string {
	for _, j := range p.Jobs {
		if j.Bank.AHU() == p.Entry.Place.AHU() || j.Start.Sub(b.Start).Abs() >= together {
			continue
		}
		for _, who := range b.Crew {
			if slices.ContainsFunc(j.Crew, func(c string) bool { return strings.EqualFold(c, who) }) {
				return []string{p.in().Text("%s is booked for %s, %s, too.", who, p.Register.Name(j.Bank), p.moment(j.Start))}
			}
		}
	}
	return nil
}

func (p Plan) putOffBefore(start time.Time) []string {
	d := p.Bank.Deferred
	if d == nil || !d.Until.After(p.Now) || !d.Until.After(start) {
		return nil
	}
	return []string{p.in().Text("It is put off until %s (%s); the booking is before that.", p.day(d.Until), d.Reason)}
}

// stillBooked says that a deferral moves no booking, and how to.
func (p Plan) stillBooked(until time.Time) []string {
	j, open := p.job()
	if !open || !j.Begun.IsZero() || !j.Start.Before(until) {
		return nil
	}
	loc := p.Site.Location()
	return []string{p.in().Text("It stays booked for %s. Move it: `book %s %s`. Or: `cancel booking %s`.",
		p.moment(j.Start), p.name(), p.in().Date(until.In(loc), "2 Jan")+" "+j.Start.In(loc).Format("15:04"), p.name())}
}

// FarAhead asks whether a date that the year was not given of, and that lies most
// of a year ahead, is meant.
func FarAhead(s Setting, name string, until time.Time) string {
	return s.In.Text("%s: until %s? That is most of a year ahead. Give the day with its year.", name, s.In.Date(until.In(s.Loc), "2 Jan 2006"))
}
