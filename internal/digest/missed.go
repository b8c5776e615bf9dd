package digest

import (
	"fmt"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/channel"
	"clogwise/internal/duelist"
	"clogwise/internal/locale"
)

// missed are the banks whose booking has passed without a change-out reported.
func (b Board) missed() []assess.Assessment {
	var out []assess.Assessment
	for _, a := range b.Assessed {
		if a.Booking != nil && duelist.Missed(a.Booking.Start, b.Now, b.Site.Location()) {
			out = append(out, a)
		}
	}
	return out
}

// Missed tells the supervisors, once each booking, of change-outs whose day has
// passed without their being reported done, with what to type in either case.
func Missed(b Board) []KeyedPost {
	var out []KeyedPost
	in, loc := locale.Of(b.Site.Language), b.Site.Location()
	for _, a := range b.missed() {
		text := in.Text("%s was booked for %s and is not reported done.", a.Name, in.Moment(a.Booking.Start, loc))
		if len(a.Booking.Crew) > 0 {
			text = in.Text("%s was booked for %s with %s and is not reported done.", a.Name, in.Moment(a.Booking.Start, loc), in.And(a.Booking.Crew))
		}
		text += "\n" + in.Text("If it was changed, type: `%s changed`. If not: `book %s %s`, or: `cancel booking %s`.",
			a.Name, a.Name, typedStart(in, b, a.Booking.Start), a.Name)
		for _, sup := range b.Site.Supervisors {
			out = append(out, KeyedPost{
				Key:  fmt.Sprintf("missed:%s:%d:%s", a.Bank, a.Booking.Seq, sup),
				Post: channel.Post{To: channel.Address{Channel: sup}, Text: text},
			})
		}
	}
	return out
}

// typedStart is a new start as it can be typed: the next working day, at the hour
// that was booked.
func typedStart(in locale.Locale, b Board, start time.Time) string {
	return in.Date(NextWorkingDay(b.Site, b.Now), "2 Jan") + " " + start.In(b.Site.Location()).Format("15:04")
}

// missed lists them in the digest.
func (w weekly) missed() []string {
	var lines []string
	for _, a := range w.b.missed() {
		s := "- " + a.Name + ", " + w.in.Date(a.Booking.Start.In(w.loc), "Mon 2 Jan")
		if len(a.Booking.Crew) > 0 {
			s += ", " + strings.Join(a.Booking.Crew, ", ")
		}
		lines = append(lines, s)
	}
	return w.under(w.in.Text("Was booked, not reported done:"), lines, w.half(), w.in.Text("type `due`"))
}

// Lacks says which filters an urgent or booked change-out lacks and from which day
// it can be done.
func Lacks(in locale.Locale, f duelist.Fetch, day string) string {
	var parts []string
	for _, p := range f.Missing {
		parts = append(parts, fmt.Sprintf("%d × %s", p.Count, p.Item))
	}
	return in.Text("(parts missing: %s; hurry, can be done from %s)", strings.Join(parts, ", "), day)
}
