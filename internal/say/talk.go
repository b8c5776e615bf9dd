package say

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/daytext"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Follows is the forecast of banks whose reply went without it.
func Follows(reg *plant.Register, as map[plant.BankID]assess.Assessment, now time.Time) string {
	var lines []string
	for _, id := range slices.Sorted(maps.Keys(as)) {
		a := as[id]
		site, _ := reg.Site(id.Site())
		line := reg.Name(id) + ": " + Outlook(a, site.Units, now, site.Location())
		if c := CostLine(a); c != "" {
			line += " " + c
		}
		lines = append(lines, line)
	}
	return "The forecast that was still to come:\n" + strings.Join(lines, "\n")
}

// LinesGone says that an edited message no longer holds some of its lines.
func LinesGone(gone []entry.Entry) string {
	var nos []string
	for _, x := range gone {
		nos = append(nos, fmt.Sprintf("#%d", x.Seq))
	}
	return "No longer in the message, so taken back: " + strings.Join(nos, ", ") + "."
}

// StaysInLedger answers an undo of something that no word in a channel takes back.
func StaysInLedger(x entry.Entry) string {
	return fmt.Sprintf("#%d is no line of a round (%s); it stays. Nothing was changed.", x.Seq, strings.ReplaceAll(string(x.Kind), "-", " "))
}

// StepsRead notes that a person has read the steps.
func StepsRead(who, when string) string {
	return fmt.Sprintf("Noted: %s has read the steps (%s). This says nothing about the plant.", who, strings.ReplaceAll(when, "-", " "))
}

// StepsReadBefore answers a second press of "steps read".
func StepsReadBefore(who, when string) string {
	return fmt.Sprintf("Already noted: %s has read the steps (%s).", who, strings.ReplaceAll(when, "-", " "))
}

// JobGone answers a button of a job that is closed or was moved.
func JobGone() string { return "That job is closed or was moved; nothing to note." }

// NoSwapInDoubt answers a confirmation where nothing is in doubt.
func NoSwapInDoubt(name string) string {
	return "No change-out of " + name + " is in doubt; nothing was changed."
}

// NoSuchSwap answers the confirmation of an unknown change-out.
func NoSuchSwap(seq int64) string {
	return fmt.Sprintf("#%d is no change-out of this channel; nothing was changed. Type confirm and the number that the doubt names.", seq)
}

// SwapTakenBack answers the confirmation of a change-out that no longer stands.
func SwapTakenBack(seq int64) string {
	return fmt.Sprintf("#%d was taken back; nothing was changed. If it was changed, say so again with the date.", seq)
}

// SwapConfirmedBefore answers a second confirmation.
func SwapConfirmedBefore(seq int64) string {
	return fmt.Sprintf("#%d is confirmed already.", seq)
}

// NothingToCorrect notes that a correction found no reading.
func NothingToCorrect() string { return "no earlier reading to correct, so kept as a new one" }

// WhichReading asks which reading a correction is of.
func WhichReading(name string, was, now float64, h units.Habit) string {
	return fmt.Sprintf("No reading of %s near %s to correct. Which one is to be %s?", name, units.Pressure(was, h), units.Pressure(now, h))
}

// ReadingOf names a reading by its value and time.
func ReadingOf(x entry.Entry, r entry.Reading, h units.Habit, loc *time.Location) string {
	return units.ShortPressure(r.Pa, h) + " of " + daytext.Moment(x.At, loc)
}
