package say

import (
	"slices"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/digest"
	"clogwise/internal/duelist"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
)

// LastSeen is a bank's last reading and limit, beside the field of a round.
func LastSeen(a assess.Assessment, s Setting) string {
	var parts []string
	if a.Last != nil {
		parts = append(parts, s.In.Text("last %s on %s", s.pressure(a.Last.Pa), s.day(a.Last.At)))
	} else {
		parts = append(parts, s.In.Text("never read"))
	}
	if a.LimitPa > 0 {
		parts = append(parts, s.In.Text("limit %s", s.short(a.LimitPa)))
	}
	return strings.Join(parts, "; ")
}

// RoundIntro heads the form of a round.
func RoundIntro(in locale.Locale) string {
	return in.Text("Write what the gauges show; leave empty what you did not read. Words work too: `pegged`, `fan off`, `skip: room locked`.")
}

// SpeedHint stands beside the field for the fan of an AHU.
func SpeedHint(in locale.Locale) string {
	return in.Text("45 Hz, 90 %, 3.1 m3/s; empty if not known")
}

// SpeedUnit asks for the unit of a fan speed.
func SpeedUnit(in locale.Locale) string {
	return in.Text("Write the unit: `45 Hz`, `90 %` or `3.1 m3/s`.")
}

// NothingFilledIn refuses an empty round.
func NothingFilledIn(in locale.Locale) string {
	return in.Text("Nothing to record yet: write at least one reading.")
}

// FieldUnclear passes a question on beside a field. What the form cannot say,
// the channel can.
func FieldUnclear(in locale.Locale, question string) string {
	question = strings.TrimSpace(question)
	for _, said := range []string{"Nothing saved.", in.Text("Nothing saved.")} {
		question = strings.TrimSuffix(question, said)
	}
	return clip(strings.TrimSpace(question), 95) + " " + in.Text("If it is as written, say it in the channel.")
}

// NotALine is the question about a line that says nothing to record.
func NotALine(in locale.Locale, line string) string {
	return FieldUnclear(in, in.Text("%q is not understood.", line))
}

// AnotherBank is the question about a line that speaks of another bank than its field.
func AnotherBank(in locale.Locale) string {
	return FieldUnclear(in, in.Text("This names another bank."))
}

// ReasonMissing asks for the reason of a deferral.
func ReasonMissing(in locale.Locale) string { return in.Text("A reason, please.") }

// FormOffer goes with the button that opens a round.
func FormOffer(in locale.Locale, names []string) string {
	return in.Text("A round of %s, to fill in at once:", in.And(names))
}

// TooManyFields asks for less at once.
func TooManyFields(in locale.Locale, fields int) string {
	return in.Text("That is %d gauges and fans; name one AHU, or a few: `round AHU-1, AHU-2`", fields)
}

// BookIntro heads the form that books a change-out.
func BookIntro(in locale.Locale, name string) string {
	return in.Text("A change-out of %s. Safe-work steps go out the working day before and before the start.", name)
}

// DeferIntro heads the form that puts a date off.
func DeferIntro(in locale.Locale, name string) string {
	return in.Text("The limit of %s stays as it is; only the due list waits.", name)
}

// Bookings lists a person's jobs, for themselves or for whoever booked them: who
// of the crew has not read the steps stands by name.
func Bookings(in locale.Locale, jobs []digest.Job, reg *plant.Register, who string, now time.Time) string {
	var lines []string
	for _, j := range jobs {
		site, _ := reg.Site(j.Bank.Site())
		start := in.Moment(j.Start, site.Location())
		line := reg.Name(j.Bank) + ", " + start
		if len(j.Crew) > 0 {
			line = in.Text("%s, %s with %s", reg.Name(j.Bank), start, strings.Join(j.Crew, ", "))
		}
		lines = append(lines, line+"; "+stateOf(in, j, who, site.Location(), now))
	}
	if len(lines) == 0 {
		return in.Text("None.")
	}
	return strings.Join(lines, "\n")
}

func stateOf(in locale.Locale, j digest.Job, who string, loc *time.Location, now time.Time) string {
	switch {
	case duelist.Missed(j.Start, now, loc):
		return in.Text("not reported done")
	case !j.Begun.IsZero():
		return in.Text("begun")
	case len(j.Sent) == 0:
		return in.Text("steps not sent yet")
	}
	missing := j.Unread()
	mine := slices.IndexFunc(missing, func(m string) bool { return strings.EqualFold(m, who) })
	switch {
	case mine >= 0 && len(missing) == 1:
		return in.Text("steps not read by you")
	case mine >= 0:
		return in.Text("steps not read by you and %s", in.And(slices.Delete(missing, mine, mine+1)))
	case len(missing) > 0:
		return in.Text("steps not read by %s", in.And(missing))
	case len(j.Read) == 0:
		return in.Text("steps not read by anybody")
	case slices.ContainsFunc(j.Read, func(r digest.Steps) bool { return strings.EqualFold(r.By, who) }):
		return in.Text("you have read the steps")
	}
	return in.Text("the steps are read")
}

// NoPage answers somebody of no crew who looks for their own page.
func NoPage(in locale.Locale) string {
	return in.Text("You are in no crew of the register, so nothing is due for you. In a site's channel anybody may ask: `due`, `how AHU-3`, `help`.")
}

// clip shortens a text to so many characters.
func clip(s string, most int) string {
	r := []rune(s)
	if len(r) <= most {
		return s
	}
	return string(r[:most-1]) + "…"
}

// BookedBefore heads the form that books a bank which is booked.
func BookedBefore(at Setting, name string, start time.Time) string {
	return at.In.Text("%s is booked for %s already. Another day or crew moves that booking.", name, at.moment(start))
}

// BookedAlready answers a form that says what is booked.
func BookedAlready(at Setting, name string, start time.Time) string {
	return at.In.Text("%s is booked so already, for %s; nothing was changed.", name, at.moment(start))
}

// PutOffBefore heads the form that puts off what is put off.
func PutOffBefore(at Setting, name string, until time.Time) string {
	return at.In.Text("%s is put off until %s already. Another day takes the place of that one.", name, at.day(until))
}

// PutOffAlready answers a form that says what is put off.
func PutOffAlready(at Setting, name string, until time.Time) string {
	return at.In.Text("%s is put off so already, until %s; nothing was changed.", name, at.day(until))
}
