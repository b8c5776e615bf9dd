package say

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
	"clogwise/internal/safework"
)

// Follows is the forecast of banks whose reply went without it.
func Follows(reg *plant.Register, as map[plant.BankID]assess.Assessment, now time.Time) string {
	var lines []string
	var in locale.Locale
	for i, id := range slices.Sorted(maps.Keys(as)) {
		a, s := as[id], atPlace(reg, id, now)
		if i == 0 {
			in = s.In
		}
		line := reg.Name(id) + ": " + Outlook(a, s)
		if c := CostLine(a, s.In); c != "" {
			line += " " + c
		}
		lines = append(lines, line)
	}
	return in.Text("The forecast that was still to come:") + "\n" + strings.Join(lines, "\n")
}

// LinesGone says that an edited message no longer holds some of its lines.
func LinesGone(in locale.Locale, gone []entry.Entry) string {
	var nos []string
	for _, x := range gone {
		nos = append(nos, fmt.Sprintf("#%d", x.Seq))
	}
	return in.Text("No longer in the message, so taken back: %s.", strings.Join(nos, ", "))
}

// StaysInLedger answers an undo of something that no word in a channel takes back.
func StaysInLedger(in locale.Locale, x entry.Entry) string {
	return in.Text("#%d is no line of a round (%s); it stays. Nothing was changed.", x.Seq, kindName(x.Kind, in))
}

// StepsRead notes that a person has read the steps of a moment, or of several with
// commas between.
func StepsRead(in locale.Locale, who, when string) string {
	var moments []string
	for _, w := range strings.Split(when, ", ") {
		moments = append(moments, occasion(w, in))
	}
	return in.Text("Noted: %s has read the steps (%s). This says nothing about the plant.", who, strings.Join(moments, ", "))
}

// StepsReadBefore answers a second press of "steps read".
func StepsReadBefore(in locale.Locale, who, when string) string {
	return in.Text("Already noted: %s has read the steps (%s).", who, occasion(when, in))
}

// JobGone answers a button of a job that is closed or was moved.
func JobGone(in locale.Locale) string {
	return in.Text("That job is closed or was moved; nothing to note.")
}

// NoSwapInDoubt answers a confirmation where nothing is in doubt.
func NoSwapInDoubt(in locale.Locale, name string) string {
	return in.Text("No change-out of %s is in doubt; nothing was changed.", name)
}

// NoSuchSwap answers the confirmation of an unknown change-out.
func NoSuchSwap(in locale.Locale, seq int64) string {
	return in.Text("#%d is no change-out of this channel; nothing was changed. Type `confirm` and the number that the doubt names.", seq)
}

// SwapTakenBack answers the confirmation of a change-out that no longer stands.
func SwapTakenBack(in locale.Locale, seq int64) string {
	return in.Text("#%d was taken back; nothing was changed. If it was changed, say so again with the date.", seq)
}

// SwapConfirmedBefore answers a second confirmation.
func SwapConfirmedBefore(in locale.Locale, seq int64) string {
	return in.Text("#%d is confirmed already.", seq)
}

// NothingToCorrect notes that a correction found no reading.
func NothingToCorrect(in locale.Locale) string {
	return in.Text("no earlier reading to correct, so kept as a new one")
}

// WhichReading asks which reading a correction is of.
func WhichReading(s Setting, name string, was, now float64) string {
	return s.In.Text("No reading of %s near %s to correct. Which one is to be %s?", name, s.pressure(was), s.pressure(now))
}

// ReadingOf names a reading by its value and time.
func ReadingOf(s Setting, x entry.Entry, r entry.Reading) string {
	return s.short(r.Pa) + s.In.Text(" of %s", s.moment(x.At))
}

// occasion names the moment of a list of steps, as the ledger keeps it.
func occasion(when string, in locale.Locale) string {
	switch safework.When(when) {
	case safework.DayBefore:
		return in.Text("day before")
	case safework.BeforeStart:
		return in.Text("before start")
	case safework.During:
		return in.Text("during")
	case safework.After:
		return in.Text("after")
	}
	return strings.ReplaceAll(when, "-", " ")
}

// NoStepsToRead answers "steps read" where no list waits to be read by the person.
func NoStepsToRead(in locale.Locale) string {
	return in.Text("Nothing was noted: you are marked as having read steps only where they were sent for a job, and none such wait for you. Steps that you ask for yourself need no receipt.")
}

// WhichSteps asks whose steps were read.
func WhichSteps(in locale.Locale, ahus []string) string {
	return in.Text("Steps of which? Nothing noted yet. Type for example: `steps read %s`. Waiting: %s.", ahus[0], strings.Join(ahus, ", "))
}

// WhichChanged asks which filters were changed at the end of work; begun tells
// whether a job was known of.
func WhichChanged(in locale.Locale, names []string, begun bool) string {
	switch {
	case begun && len(names) == 1:
		return in.Text("Were the filters of %s changed? Nothing saved yet.", names[0])
	case begun:
		return in.Text("Which filters were changed: %s, all or none? Nothing saved yet.", strings.Join(names, ", "))
	}
	return in.Text("No job was begun there. Were filters changed: %s, or none? Nothing saved yet.", strings.Join(names, ", "))
}

// NothingChanged notes the end of work in which no filter was changed, where no
// job was open.
func NothingChanged(in locale.Locale) string {
	return in.Text("Good: no filter was changed, so nothing is recorded. What is booked stays booked.")
}

// BegunAlready says that the start of a job is on record.
func BegunAlready(at Setting, name string, begun time.Time) string {
	return at.In.Text("%s: job started already, %s; recorded once.", name, at.moment(begun))
}

// NothingOpen answers the end of work where no job is open; closed names what was
// closed last, empty when nothing was.
func NothingOpen(at Setting, closed []string, by string, when time.Time) string {
	if len(closed) == 0 {
		return at.In.Text("No job is open here; nothing was changed.")
	}
	return at.In.Text("No job is open here any more: %s closed by %s, %s. Nothing was changed.", at.In.And(closed), by, at.moment(when))
}

// SaidWrong asks about what a person just recorded and calls wrong.
func SaidWrong(in locale.Locale, seq int64, name string) string {
	return in.Text("Take #%d (%s) back? Or type the right value, for example: `should be 135 Pa`", seq, name) + "."
}

// StillOpen repeats the next of the questions that a person has not answered.
func StillOpen(in locale.Locale, n int, question string) string {
	return in.Count(n, "%d more question is open:", "%d more questions are open; the next:") + " " + NothingSaved(in, question)
}

// AskedBefore shows a question again to which an answer came late.
func AskedBefore(in locale.Locale, typed, question string) string {
	return in.Text("Is that the answer to this, asked a while ago about “%s”?", typed) + " " + NothingSaved(in, question)
}

// QuestionDropped answers an undo right after a question.
func QuestionDropped(in locale.Locale, typed string) string {
	return in.Text("The question about “%s” is dropped; nothing of it was saved, and nothing else was taken back.", typed)
}

// NothingPlanned answers the cancelling of what was not booked or put off.
func NothingPlanned(in locale.Locale, name string, deferral bool) string {
	if deferral {
		return in.Text("%s is not put off; nothing was changed.", name)
	}
	return in.Text("No change-out of %s is booked; nothing was changed.", name)
}

// NeverRunning is said of a change-out reported with the fan running.
func NeverRunning(in locale.Locale) string {
	return in.Text("Nobody opens a unit with the fan running: stop, isolate, and speak to your supervisor before any more work.")
}

// NameOne answers an "ok" to a question that has several answers.
func NameOne(in locale.Locale, question string) string {
	return in.Text("That does not say which.") + " " + NothingSaved(in, question)
}

// NotChanged asks about the newest change-out of a bank that is said not to have
// been changed.
func NotChanged(at Setting, name string, swap entry.Entry) string {
	return at.In.Text("%s: a change-out on %s is on record (#%d). Take it back?", name, at.moment(swap.At), swap.Seq)
}

// NoSwapLately says that there is no change-out to deny.
func NoSwapLately(in locale.Locale, name string) string {
	return in.Text("No change-out of %s was recorded lately, so there is nothing to take back.", name)
}

// HelpAtOnce is the line of the help about forms, pages and tables.
func HelpAtOnce(in locale.Locale) string {
	return in.Text("At once: `round AHU-3` (a form) · `home` (my day) · `due csv` · `digest xlsx` · `chart AHU-3 bag xlsx`")
}
