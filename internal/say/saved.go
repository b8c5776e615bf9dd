// Package say holds what the bot says: every sentence about readings, change-outs
// and dates, in one place. It is pure: facts in, text out.
package say

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"clogwise/internal/assess"
	"clogwise/internal/channel"
	"clogwise/internal/daytext"
	"clogwise/internal/doubt"
	"clogwise/internal/duelist"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Recipe says how a waiting reply is to be made once the banks are recomputed.
// It is kept in the outbox as JSON.
type Recipe struct {
	Source    string                    `json:"source"`              // prefix of the entries' source keys
	Notes     []string                  `json:"notes,omitempty"`     // asides to echo
	Unstated  map[plant.BankID][]string `json:"unstated,omitempty"`  // what a change-out still lacks
	Retracted []entry.Entry             `json:"retracted,omitempty"` // what was taken back
	Old       []entry.Entry             `json:"old,omitempty"`       // what corrections take the place of
	Warnings  []string                  `json:"warnings,omitempty"`  // what speaks against a booking or a deferral
	NoSteps   []plant.BankID            `json:"no_steps,omitempty"`  // booked, but for specialists only
	Edited    bool                      `json:"edited,omitempty"`
	Barred    string                    `json:"barred,omitempty"` // what was not saved for want of a role
	Also      string                    `json:"also,omitempty"`   // a hint to add
	Undo      string                    `json:"undo,omitempty"`   // key for the undo button
}

// SavedInput is what a reply to recorded lines is made from.
type SavedInput struct {
	Recipe
	Register    *plant.Register
	Entries     []entry.Entry // made by the message
	Assessments map[plant.BankID]assess.Assessment
	Behind      bool // some bank is not recomputed yet
	Now         time.Time
	Site        string
}

// detailed is the largest number of banks in a message that are told one by one.
const detailed = 4

// Saved answers a message whose lines were recorded: what was understood, in
// both unit systems, what it means, and how to take it back.
func Saved(in SavedInput) channel.Post {
	var lines []string
	switch banks := in.banks(); {
	case len(in.Retracted) > 0:
		lines = append(lines, in.takenBack())
		if len(banks) == 1 {
			lines = append(lines, in.outlook(banks[0])...)
		}
	case len(banks) == 1 && in.single(banks[0]):
		lines = append(lines, in.echo(banks[0])...)
		lines = append(lines, in.outlook(banks[0])...)
	case len(banks) <= detailed:
		for _, b := range banks {
			lines = append(lines, strings.Join(in.echo(b), " ")+in.shortOutlook(b))
		}
	default:
		lines = append(lines, in.summary(banks)...)
	}
	if len(in.Warnings) > 0 {
		lines = append(lines, "Mind: "+strings.Join(in.Warnings, " "))
	}
	lines = append(lines, in.asides()...)
	lines = append(lines, in.asking()...)
	if in.Barred != "" {
		lines = append(lines, in.Barred)
	}
	if in.Also != "" {
		lines = append(lines, in.Also)
	}
	if n := in.numbers(); n != "" && len(in.Retracted) == 0 {
		lines = append(lines, n)
	}
	p := channel.Post{Text: strings.Join(lines, "\n")}
	if in.Undo != "" && len(in.Retracted) == 0 {
		p.Choices = append(p.Choices, channel.Choice{Label: "Undo", Action: "undo", Value: in.Undo, Keys: []string{"undo"}})
	}
	for _, b := range in.banks() {
		if s := in.Assessments[b].DoubtedSwap; s != nil {
			typed := fmt.Sprintf("confirm %d", s.Seq)
			p.Choices = append(p.Choices, channel.Choice{Label: "It was changed", Action: "confirm", Value: fmt.Sprint(s.Seq), Keys: []string{typed}})
		}
	}
	return p
}

// banks lists the places spoken of, in order of first mention.
func (in SavedInput) banks() []plant.BankID {
	var out []plant.BankID
	for _, x := range in.Entries {
		if !slices.Contains(out, x.Place) {
			out = append(out, x.Place)
		}
	}
	return out
}

// single reports whether a place has room for a reply with details.
func (in SavedInput) single(place plant.BankID) bool { return place.Whole() }

func (in SavedInput) habit(place plant.BankID) units.Habit {
	s, _ := in.Register.Site(place.Site())
	return s.Units
}

func (in SavedInput) loc(place plant.BankID) *time.Location {
	s, _ := in.Register.Site(place.Site())
	return s.Location()
}

// echo says what was recorded for one place.
func (in SavedInput) echo(place plant.BankID) []string {
	var out []string
	name := in.Register.Name(place)
	for _, x := range in.Entries {
		if x.Place != place {
			continue
		}
		s := in.sentence(x)
		if s == "" {
			continue
		}
		if len(out) == 0 {
			s = name + ": " + s
		} else {
			s = capital(s)
		}
		out = append(out, s)
	}
	return out
}

// sentence says what one entry records.
func (in SavedInput) sentence(x entry.Entry) string {
	h, loc := in.habit(x.Place), in.loc(x.Place)
	switch b := x.Body.(type) {
	case entry.Reading:
		return in.readingSentence(x, b)
	case entry.Amend:
		amended := x
		amended.Body, amended.Kind = b.Body, b.Body.Kind()
		if r, ok := b.Body.(entry.Reading); ok {
			return in.correctedSentence(x, b.Target, r)
		}
		if s, ok := b.Body.(entry.Swap); ok && s.Sure {
			return fmt.Sprintf("change-out of %s confirmed (#%d); the new filters count from then.", daytext.Moment(x.At, loc), b.Target)
		}
		return "corrected: " + in.sentence(amended)
	case entry.Swap:
		return swapSentence(b, x.At, in.Now, h, loc) + in.speaksAgainst(x)
	case entry.ZeroCheck:
		if b.OffsetPa == 0 {
			return "gauge zero checked, good."
		}
		return fmt.Sprintf("gauge zero is off by %s.", units.Pressure(b.OffsetPa, h))
	case entry.OverRange:
		return fmt.Sprintf("at or past the gauge's top, %s. Urgent: read it again with a larger gauge.", units.Pressure(b.TopPa, h))
	case entry.Range:
		return fmt.Sprintf("unstable, %s to %s. Kept, not trended. Fan hunting, wind or tube? Read again when steady.",
			units.Pressure(b.LowPa, h), units.Pressure(b.HighPa, h))
	case entry.Skip:
		return "no reading: " + b.Reason + ". It stays owed."
	case entry.FanOff:
		return "fan off, nothing to read. It stays owed."
	case entry.Defect:
		if b.Fixed {
			return "fault put right: " + b.Note + ". Earlier readings that fit the fault are marked suspect."
		}
		return "note for the supervisor: " + b.Note + "."
	case entry.Event:
		until := ""
		if b.Until != nil {
			until = " until " + daytext.Day(*b.Until, in.Now, loc)
		}
		return b.What + " noted" + until + ". Filters may load faster: two readings a week would tell."
	case entry.Booking:
		if b.Cancelled {
			return "booking cancelled."
		}
		crew := ""
		if len(b.Crew) > 0 {
			crew = " with " + strings.Join(b.Crew, ", ")
		}
		s := "change-out booked for " + daytext.Moment(b.Start, loc) + crew + "."
		if slices.Contains(in.NoSteps, x.Place) {
			return s + " Specialists only: no steps go out, the supervisors were told."
		}
		return s + " Steps go out the working day before and before start."
	case entry.JobStart:
		return "job started; steps below are a reminder, not a permit."
	case entry.JobDone:
		if b.CleanPa != nil {
			return "job closed, clean " + units.Pressure(*b.CleanPa, h) + "."
		}
		return "job closed."
	case entry.Stock:
		return fmt.Sprintf("stock of %s counted: %d.", b.Item, b.Count)
	case entry.Order:
		switch {
		case b.Received:
			return fmt.Sprintf("%d of %s received.", b.Count, b.Item)
		case b.Requested:
			return "order asked for: " + orderWords(b) + ". It stands in the order list (type orders) until it is ordered."
		}
		return "order noted: " + orderWords(b) + "."
	case entry.Defer:
		return fmt.Sprintf("put off until %s: %s. The limit stays as it is.", daytext.Day(b.Until, in.Now, loc), b.Reason)
	case entry.StepsRead:
		return "noted that you have read the steps (" + strings.ReplaceAll(b.When, "-", " ") + ")."
	}
	return ""
}

func orderWords(b entry.Order) string {
	if b.Item == "" {
		return fmt.Sprintf("%d filters", b.Count)
	}
	if b.Count == 0 {
		return b.Item
	}
	return fmt.Sprintf("%d × %s", b.Count, b.Item)
}

func swapSentence(b entry.Swap, at, now time.Time, h units.Habit, loc *time.Location) string {
	s := "filters changed " + daytext.Moment(at, loc)
	if b.Count != nil {
		s += fmt.Sprintf(", %d off", *b.Count)
	}
	if b.Item != "" {
		s += ", now " + b.Item
	}
	if b.BeforePa != nil {
		s += ", before " + units.Pressure(*b.BeforePa, h)
	}
	if b.CleanPa != nil {
		s += ", clean " + units.Pressure(*b.CleanPa, h)
	}
	return s + "."
}

// readingSentence echoes a reading in both unit systems, with what it amounts
// to at design airflow when that differs.
func (in SavedInput) readingSentence(x entry.Entry, r entry.Reading) string {
	h := in.habit(x.Place)
	s := units.Pressure(r.Pa, h)
	if r.FanHz != nil {
		s += fmt.Sprintf(" at %s Hz", number(*r.FanHz))
	}
	if r.FanPct != nil {
		s += fmt.Sprintf(" at %s %% fan speed", number(*r.FanPct))
	}
	if r.FlowM3s != nil {
		s += " at " + units.Flow(*r.FlowM3s, h)
	}
	if a, ok := in.Assessments[x.Place]; ok && a.Last != nil && a.Last.Seq == x.Seq && math.Abs(a.Last.DesignPa-r.Pa) >= 1 {
		s += "; " + units.ShortPressure(a.Last.DesignPa, h) + " at design airflow"
	}
	if in.Now.Sub(x.At) > 90*time.Minute {
		s += ", read " + daytext.Moment(x.At, in.loc(x.Place))
	}
	s += "."
	if r.Wet {
		s += " Wet: kept out of the trend."
	}
	if r.Assumed && r.Unit != "" {
		s += " Unit not given: taken as " + r.Unit + "."
	}
	if a, ok := in.Assessments[x.Place]; ok && a.Last != nil && a.Last.Seq == x.Seq && strings.HasPrefix(a.Last.Basis, "airflow not given") {
		s += " Airflow not given."
	}
	if x.Place.Whole() {
		if a, ok := in.Assessments[x.Place]; ok {
			for _, f := range a.Findings {
				if f.Seq == x.Seq {
					s += " Does not fit: " + f.Text + " " + f.Check
					break
				}
			}
		}
	}
	return s
}

// correctedSentence names what was read and when, and what it is now.
func (in SavedInput) correctedSentence(x entry.Entry, target int64, now entry.Reading) string {
	h := in.habit(x.Place)
	for _, o := range in.Old {
		if was, ok := o.Body.(entry.Reading); ok && o.Seq == target {
			return fmt.Sprintf("%s of %s corrected to %s; #%d keeps the old value.",
				units.Pressure(was.Pa, h), daytext.Moment(o.At, in.loc(x.Place)), units.Pressure(now.Pa, h), target)
		}
	}
	return fmt.Sprintf("corrected to %s; #%d keeps the old value.", units.Pressure(now.Pa, h), target)
}

// speaksAgainst is what readings say against a change-out, with what to type.
func (in SavedInput) speaksAgainst(x entry.Entry) string {
	a, ok := in.Assessments[x.Place]
	if !ok || a.DoubtedSwap == nil || a.DoubtedSwap.Seq != x.Seq {
		return ""
	}
	return " " + doubted(a)
}

// doubted is the finding that puts a change-out in doubt.
func doubted(a assess.Assessment) string {
	for _, f := range a.Findings {
		if f.Code == string(doubt.SwapNoDrop) && f.Open {
			return f.Text + " " + f.Check
		}
	}
	return ""
}

func number(x float64) string {
	return strings.TrimSuffix(strings.TrimSuffix(fmt.Sprintf("%.2f", x), "0"), ".0")
}

// outlook says what the bank's forecast and cost are after this, in at most two
// lines.
func (in SavedInput) outlook(place plant.BankID) []string {
	a, ok := in.Assessments[place]
	if !ok {
		if in.Behind && place.Whole() {
			return []string{"Recorded, forecast to follow."}
		}
		return nil
	}
	loc, h := in.loc(place), in.habit(place)
	lines := []string{Outlook(a, h, in.Now, loc)}
	if c := CostLine(a); c != "" && len(in.Warnings) == 0 { // five lines at most
		lines = append(lines, c)
	}
	return lines
}

func (in SavedInput) shortOutlook(place plant.BankID) string {
	a, ok := in.Assessments[place]
	if !ok {
		if in.Behind && place.Whole() {
			return " Forecast to follow."
		}
		return ""
	}
	return " " + ShortOutlook(a, in.habit(place), in.Now, in.loc(place))
}

// Outlook says when a bank reaches what governs it.
func Outlook(a assess.Assessment, h units.Habit, now time.Time, loc *time.Location) string {
	limit := a.Governing
	if limit == "" {
		limit = units.ShortPressure(a.LimitPa, h)
	}
	d := a.Dates
	var s string
	switch {
	case a.Condition == duelist.Overdue && d.Median.After(now):
		s = fmt.Sprintf("Overdue: read past %s.", limit)
	case a.Condition == duelist.Overdue:
		s = fmt.Sprintf("Overdue: past %s since about %s.", limit, daytext.Day(d.Median, now, loc))
	case a.Condition == duelist.Doubtful && a.DoubtedSwap != nil:
		s = fmt.Sprintf("Change-out of %s in doubt; until it is confirmed the forecast goes on without it: %s",
			daytext.Day(a.DoubtedSwap.At, now, loc), ShortOutlookOf(d, now, loc))
	case a.Condition == duelist.Doubtful:
		s = "Doubtful until it is checked; the forecast stays as it was: " + strings.TrimSuffix(ShortOutlookOf(d, now, loc), ".") + "."
	case a.Condition == duelist.Due:
		s = fmt.Sprintf("Due now: at or near %s.", limit)
	case d.Median.IsZero():
		s = fmt.Sprintf("Not expected to reach %s within years.", limit)
	case a.CapGoverns && !a.NoGauge && d.P10.Before(d.Median):
		s = fmt.Sprintf("Reaches %s on %s; %s may come first, from %s (1 in 10).", limit, daytext.Day(d.Median, now, loc),
			units.ShortPressure(a.LimitPa, h), daytext.Day(d.P10, now, loc))
	case sameDay(d.P10, d.P90, loc):
		s = fmt.Sprintf("Reaches %s on %s.", limit, daytext.Day(d.Median, now, loc))
	default:
		s = fmt.Sprintf("Reaches %s %s, most likely %s.", limit, daytext.Span(d.P10, d.P90, now, loc), daytext.Day(d.Median, now, loc))
	}
	if !a.LeastCost.IsZero() && a.Condition != duelist.Overdue && a.Condition != duelist.Due && a.LeastCost.Before(latest(d.Median, a.LeastCost)) {
		s += " Cheapest date " + daytext.Day(a.LeastCost, now, loc) + "."
	}
	return s
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func sameDay(a, b time.Time, loc *time.Location) bool {
	return !a.IsZero() && a.In(loc).Format(time.DateOnly) == b.In(loc).Format(time.DateOnly)
}

// ShortOutlookOf is a range of dates in a few words.
func ShortOutlookOf(d assess.Dates, now time.Time, loc *time.Location) string {
	if d.Median.IsZero() {
		return "not due for years."
	}
	return "due " + daytext.Span(d.P10, d.P90, now, loc) + ", likely " + daytext.Day(d.Median, now, loc) + "."
}

// ShortOutlook is Outlook in a few words, for a list.
func ShortOutlook(a assess.Assessment, h units.Habit, now time.Time, loc *time.Location) string {
	switch {
	case a.Condition == duelist.Overdue && a.Dates.Median.After(now):
		return "Overdue: read past its limit."
	case a.Condition == duelist.Overdue:
		return "Overdue since about " + daytext.Day(a.Dates.Median, now, loc) + "."
	case a.Condition == duelist.Due:
		return "Due now."
	case a.Dates.Median.IsZero():
		return "Not due for years."
	}
	return "Due " + daytext.Span(a.Dates.P10, a.Dates.P90, now, loc) + ", likely " + daytext.Day(a.Dates.Median, now, loc) + "."
}

// CostLine says what the dirt costs a day, or what a speed-held fan loses.
func CostLine(a assess.Assessment) string {
	e := a.Energy
	switch {
	case e.Held == string(plant.SpeedHeld) && e.AirLostPct >= 0.5:
		return fmt.Sprintf("The rooms get about %.0f %% less air than with clean filters.", e.AirLostPct)
	case e.Note != "" && (e.Held == string(plant.SpeedHeld) || e.KWhPerDay == 0):
		return capital(strings.TrimSuffix(e.Note, ".")) + "."
	case e.Held == string(plant.SpeedHeld):
		return ""
	case e.KWhPerDay < 0.05:
		return ""
	case e.Held != string(plant.FlowHeld):
		return fmt.Sprintf("If the fan holds its airflow, dirt costs %s a day (%.1f kWh).", e.MoneyPerDay, e.KWhPerDay)
	}
	return fmt.Sprintf("Dirt costs %s a day now (%.1f kWh).", e.MoneyPerDay, e.KWhPerDay)
}

// summary tells a long round by what needs a look.
func (in SavedInput) summary(banks []plant.BankID) []string {
	lines := []string{fmt.Sprintf("%d lines for %d banks recorded.", len(in.Entries), len(banks))}
	var look []string
	for _, b := range banks {
		a, ok := in.Assessments[b]
		if !ok {
			continue
		}
		switch a.Condition {
		case duelist.Overdue, duelist.Due, duelist.DueSoon, duelist.Doubtful:
			look = append(look, a.Name+" "+string(a.Condition))
		}
	}
	if len(look) > 0 {
		lines = append(lines, "Look at: "+strings.Join(look[:min(len(look), 6)], "; ")+".")
	} else if !in.Behind {
		lines = append(lines, "None of them is due soon.")
	}
	if in.Behind {
		lines = append(lines, "Some forecasts are still to follow.")
	}
	return lines
}

func (in SavedInput) takenBack() string {
	var what []string
	for _, x := range in.Retracted {
		what = append(what, fmt.Sprintf("#%d %s %s", x.Seq, in.Register.Name(x.Place), bodyWords(x.Body, in.habit(x.Place))))
	}
	if len(what) > 3 {
		what = append(what[:3], fmt.Sprintf("and %d more", len(what)-3))
	}
	return "Taken back: " + strings.Join(what, "; ") + ". They stay in the ledger, struck out."
}

func bodyWords(b entry.Body, h units.Habit) string {
	switch b := b.(type) {
	case entry.Reading:
		return units.ShortPressure(b.Pa, h)
	case entry.Swap:
		return "change-out"
	case entry.Amend:
		return "correction"
	case entry.Booking:
		return "booking"
	}
	return strings.ReplaceAll(string(b.Kind()), "-", " ")
}

func (in SavedInput) asides() []string {
	if len(in.Notes) == 0 {
		return nil
	}
	var out []string
	for _, n := range in.Notes {
		if len(out) == 2 || strings.HasPrefix(n, "airflow not given") { // said with the reading
			continue
		}
		out = append(out, capital(strings.TrimSuffix(n, "."))+".")
	}
	if len(out) == 0 {
		return nil
	}
	return []string{strings.Join(out, " ")}
}

// asking asks once for what a change-out lacks.
func (in SavedInput) asking() []string {
	var out []string
	for _, b := range in.banks() {
		lacks := in.Unstated[b]
		if len(lacks) == 0 {
			continue
		}
		var words []string
		for _, l := range lacks {
			switch l {
			case "count":
				words = append(words, "how many filters")
			case "clean_pa":
				words = append(words, "the clean reading")
			case "fan":
				words = append(words, "fan speed or airflow")
			case "bank":
				words = append(words, "which bank")
			}
		}
		if len(words) == 0 {
			continue
		}
		out = append(out, fmt.Sprintf("Unconfirmed until you add %s. Type for example: %s", join(words), in.swapExample(b, lacks)))
	}
	return out
}

// swapExample is what to type for the particulars that a change-out lacks, with
// figures of that bank.
func (in SavedInput) swapExample(place plant.BankID, lacks []string) string {
	parts := []string{in.Register.Name(place) + " changed"}
	bank, _ := in.Register.Bank(place)
	for _, l := range lacks {
		switch l {
		case "count":
			parts = append(parts, fmt.Sprintf("%d off", max(bank.Count(), 1)))
		case "clean_pa":
			clean := in.Assessments[place].CleanPa
			if clean <= 0 {
				clean = usualClean
			}
			parts = append(parts, "clean "+units.ShortPressure(clean, in.habit(place)))
		case "fan":
			parts = append(parts, "45 Hz")
		}
	}
	return strings.Join(parts, ", ")
}

// usualClean stands in an example where nothing is known of a bank, Pa.
const usualClean = 80

func join(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

// numbers tells under which numbers the lines are kept.
func (in SavedInput) numbers() string {
	if len(in.Entries) == 0 {
		return ""
	}
	first, last := in.Entries[0].Seq, in.Entries[len(in.Entries)-1].Seq
	if len(in.Entries) == 1 {
		return fmt.Sprintf("Saved as #%d; undo takes it back.", first)
	}
	return fmt.Sprintf("Saved as #%d–%d; undo takes them back.", first, last)
}

func capital(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[size:]
}
