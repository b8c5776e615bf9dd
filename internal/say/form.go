package say

import (
	"fmt"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/daytext"
	"clogwise/internal/digest"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// LastSeen is a bank's last reading and limit, beside the field of a round.
func LastSeen(a assess.Assessment, h units.Habit, now time.Time, loc *time.Location) string {
	var parts []string
	if a.Last != nil {
		parts = append(parts, "last "+units.Pressure(a.Last.Pa, h)+" on "+daytext.Day(a.Last.At, now, loc))
	} else {
		parts = append(parts, "never read")
	}
	if a.LimitPa > 0 {
		parts = append(parts, "limit "+units.ShortPressure(a.LimitPa, h))
	}
	return strings.Join(parts, "; ")
}

// RoundIntro heads the form of a round.
func RoundIntro() string {
	return "Write what the gauges show; leave empty what you did not read. Words work too: pegged, fan off, skip: room locked."
}

// SpeedHint stands beside the field for the fan of an AHU.
func SpeedHint() string { return "45 Hz, 90 %, 3.1 m3/s; empty if not known" }

// SpeedUnit asks for the unit of a fan speed.
func SpeedUnit() string { return "Write the unit: 45 Hz, 90 % or 3.1 m3/s." }

// NothingFilledIn refuses an empty round.
func NothingFilledIn() string { return "Nothing to record yet: write at least one reading." }

// FieldUnclear passes a question on beside a field. What the form cannot say,
// the channel can.
func FieldUnclear(question string) string {
	question = strings.TrimSuffix(strings.TrimSpace(question), "Nothing saved.")
	return clip(strings.TrimSpace(question), 95) + " If it is as written, say it in the channel."
}

// FormOffer goes with the button that opens a round.
func FormOffer(names []string) string {
	return "A round of " + join(names) + ", to fill in at once:"
}

// TooManyFields asks for less at once.
func TooManyFields(fields int) string {
	return fmt.Sprintf("That is %d gauges and fans; name one AHU, or a few: round AHU-1, AHU-2", fields)
}

// BookIntro and DeferIntro head the forms of a supervisor.
func BookIntro(name string) string {
	return "A change-out of " + name + ". Safe-work steps go out the working day before and before the start."
}

// DeferIntro heads the form that puts a date off.
func DeferIntro(name string) string {
	return "The limit of " + name + " stays as it is; only the due list waits."
}

// Bookings lists a person's jobs.
func Bookings(jobs []digest.Job, reg *plant.Register, who string) string {
	var lines []string
	for _, j := range jobs {
		site, _ := reg.Site(j.Bank.Site())
		line := reg.Name(j.Bank) + ", " + daytext.Moment(j.Start, site.Location())
		if len(j.Crew) > 0 {
			line += " with " + strings.Join(j.Crew, ", ")
		}
		switch {
		case !j.Begun.IsZero():
			line += "; begun"
		case len(j.Sent) == 0:
			line += "; steps not sent yet"
		case readIt(j, who):
			line += "; you have read the steps"
		default:
			line += "; steps not read by you"
		}
		lines = append(lines, line)
	}
	if len(lines) == 0 {
		return "None."
	}
	return strings.Join(lines, "\n")
}

func readIt(j digest.Job, who string) bool {
	for _, r := range j.Read {
		if r.By == who {
			return true
		}
	}
	return false
}

// NoPage answers somebody of no crew who looks for their own page.
func NoPage() string {
	return "You are in no crew of the register, so nothing is due for you. In a site's channel anybody may ask: due, how AHU-3, help."
}

// clip shortens a text to so many characters.
func clip(s string, most int) string {
	r := []rune(s)
	if len(r) <= most {
		return s
	}
	return string(r[:most-1]) + "…"
}
