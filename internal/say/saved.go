// Package say holds what the bot says: every sentence about readings, change-outs
// and dates, in one place. It is pure: facts in, text out.
package say

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"clogwise/internal/assess"
	"clogwise/internal/channel"
	"clogwise/internal/duelist"
	"clogwise/internal/entry"
	"clogwise/internal/locale"
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
	StepsOut  []plant.BankID            `json:"steps_out,omitempty"` // begun where steps went out for another bank
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
	tongue := in.tongue()
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
		lines = append(lines, tongue.Text("Mind: %s", strings.Join(in.Warnings, " ")))
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
		p.Choices = append(p.Choices, UndoButton(tongue, in.Undo))
	}
	for _, b := range in.banks() {
		if s := in.Assessments[b].DoubtedSwap; s != nil {
			label, typed := tongue.Text("It was changed"), fmt.Sprintf("confirm %d", s.Seq)
			p.Choices = append(p.Choices, channel.Choice{Label: label, Action: "confirm", Value: fmt.Sprint(s.Seq), Keys: KeysFor(tongue, label, typed)})
		}
	}
	return p
}

// UndoButton takes back what a message recorded, by its key.
func UndoButton(in locale.Locale, key string) channel.Choice {
	label := in.Text("Undo")
	return channel.Choice{Label: label, Action: "undo", Value: key, Keys: KeysFor(in, label, "undo")}
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

// voice is the setting of a place's site.
func (in SavedInput) voice(place plant.BankID) Setting { return atPlace(in.Register, place, in.Now) }

// tongue is the language of what is said of the whole message: that of the site it
// is answered at, else of the first place it names.
func (in SavedInput) tongue() locale.Locale {
	if s, ok := in.Register.Site(in.Site); ok {
		return locale.Of(s.Language)
	}
	if len(in.Entries) > 0 {
		return in.voice(in.Entries[0].Place).In
	}
	return locale.Locale{}
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

// outlook says what the bank's forecast and cost are after this, in at most two
// lines.
func (in SavedInput) outlook(place plant.BankID) []string {
	a, ok := in.Assessments[place]
	if !ok {
		if in.Behind && place.Whole() {
			return []string{in.voice(place).In.Text("Recorded, forecast to follow.")}
		}
		return nil
	}
	v := in.voice(place)
	lines := []string{Outlook(a, v)}
	if c := CostLine(a, v.In); c != "" && len(in.Warnings) == 0 { // five lines at most
		lines = append(lines, c)
	}
	return lines
}

func (in SavedInput) shortOutlook(place plant.BankID) string {
	a, ok := in.Assessments[place]
	if !ok {
		if in.Behind && place.Whole() {
			return " " + in.voice(place).In.Text("Forecast to follow.")
		}
		return ""
	}
	return " " + ShortOutlook(a, in.voice(place))
}

// summary tells a long round by what needs a look.
func (in SavedInput) summary(banks []plant.BankID) []string {
	tongue := in.tongue()
	lines := []string{tongue.Text("%d lines for %d banks recorded.", len(in.Entries), len(banks))}
	var look []string
	for _, b := range banks {
		a, ok := in.Assessments[b]
		if !ok {
			continue
		}
		switch a.Condition {
		case duelist.Overdue, duelist.Due, duelist.DueSoon, duelist.Doubtful:
			look = append(look, a.Name+" "+a.Condition.Words(tongue))
		}
	}
	if len(look) > 0 {
		lines = append(lines, tongue.Text("Look at: %s.", strings.Join(look[:min(len(look), 6)], "; ")))
	} else if !in.Behind {
		lines = append(lines, tongue.Text("None of them is due soon."))
	}
	if in.Behind {
		lines = append(lines, tongue.Text("Some forecasts are still to follow."))
	}
	return lines
}

func (in SavedInput) takenBack() string {
	tongue := in.tongue()
	var what []string
	for _, x := range in.Retracted {
		what = append(what, fmt.Sprintf("#%d %s %s", x.Seq, in.Register.Name(x.Place), bodyWords(x.Body, in.voice(x.Place))))
	}
	if len(what) > 3 {
		what = append(what[:3], tongue.Text("and %d more", len(what)-3))
	}
	return tongue.Text("Taken back: %s. They stay in the ledger, struck out.", strings.Join(what, "; "))
}

func (in SavedInput) asides() []string {
	if len(in.Notes) == 0 {
		return nil
	}
	var out []string
	for _, n := range in.Notes {
		if len(out) == 2 {
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
		tongue := in.voice(b).In
		var words []string
		for _, l := range lacks {
			switch l {
			case "count":
				words = append(words, tongue.Text("how many filters"))
			case "clean_pa":
				words = append(words, tongue.Text("the clean reading"))
			case "fan":
				words = append(words, tongue.Text("fan speed or airflow"))
			case "bank":
				words = append(words, tongue.Text("which bank"))
			}
		}
		if len(words) == 0 {
			continue
		}
		out = append(out, tongue.Text("Unconfirmed until you add %s. Type for example: %s", tongue.And(words), in.swapExample(b, lacks)))
	}
	return out
}

// swapExample is what to type for the particulars that a change-out lacks, with
// figures of that bank.
func (in SavedInput) swapExample(place plant.BankID, lacks []string) string {
	tongue := in.voice(place).In
	parts := []string{tongue.Text("%s changed", in.Register.Name(place))}
	bank, _ := in.Register.Bank(place)
	for _, l := range lacks {
		switch l {
		case "count":
			parts = append(parts, tongue.Text("%d off", max(bank.Count(), 1)))
		case "clean_pa":
			clean := in.Assessments[place].CleanPa
			if clean <= 0 {
				clean = usualClean
			}
			parts = append(parts, tongue.Text("clean %s", tongue.Figures(units.ShortPressure(clean, in.voice(place).Units))))
		case "fan":
			parts = append(parts, "45 Hz")
		}
	}
	return strings.Join(parts, ", ")
}

// usualClean stands in an example where nothing is known of a bank, Pa.
const usualClean = 80

// numbers tells under which numbers the lines are kept.
func (in SavedInput) numbers() string {
	if len(in.Entries) == 0 {
		return ""
	}
	first, last := in.Entries[0].Seq, in.Entries[len(in.Entries)-1].Seq
	if len(in.Entries) == 1 {
		return in.tongue().Text("Saved as #%d; `undo` takes it back.", first)
	}
	return in.tongue().Text("Saved as #%d–%d; `undo` takes them back.", first, last)
}

func capital(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[size:]
}
