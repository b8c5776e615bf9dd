package phrase

import (
	"fmt"
	"strings"

	"clogwise/internal/units"
)

// Every sentence that people read stands in this file, so that it can be put
// into another language in one place.

// Help lists what can be typed.
func Help() string {
	return strings.Join([]string{
		"Readings: AHU-3 pre 112 Pa, bag 205 Pa at 42 Hz (or 0.45 in wc, 1.1 mbar; one AHU a line, as many lines as you like)",
		"Change-outs: AHU-3 bags changed, 12 off, clean 95 Pa 42 Hz",
		"No reading: skip AHU-10: plant room locked · AHU-3 fan off · AHU-8 bag pegged · AHU-3 pre zero check ok",
		"Faults and dust: EF-4 belt squealing · building work near AHU-1,2",
		"Put right: correction AHU-3 pre should be 0.54 not 0.45 in wc · undo · undo 4127",
		"Jobs: book AHU-6 bag 3 Mar 09:00 with Nadia · cancel AHU-6 bag · on site AHU-6, starting · AHU-6 back on, clean 92 Pa 40 Hz zero ok",
		"Parts: stock BAG-592 14 · ordered 24 PNL-592 · need 20 PNL-592 for AHU-1 wk 32",
		"Put off (supervisor): defer AHU-2 bag to 12 Mar: theatre week",
		"Ask: due · due next 14 days · how is AHU-3 · chart AHU-3 bag · cost AHU-3 · why AHU-3 bag · steps AHU-6",
		"Ask: stock · orders · visits · readings owed · compare BAG-592 BAG-593 for AHU-3 bag · digest · status",
	}, "\n")
}

// sayEmergency answers a report of fire, smoke, gas or an injury.
func sayEmergency(d danger, numbers, told bool) string {
	s := "Call the local emergency number first; I cannot call anybody. Make the area safe only if that is safe for you, and keep others away." + sayTold(told)
	if numbers {
		s += " Nothing of this message was saved; send readings again later, by themselves."
	}
	if d == dangerFire {
		s += " If it is only smoke from outdoors, write for example: wildfire smoke AHU-1."
	}
	return s
}

// sayTold says that a supervisor hears of it, where there is one but the speaker.
func sayTold(told bool) string {
	if told {
		return " Your supervisor is told."
	}
	return ""
}

func sayRefused(code string, numbers, told bool) string {
	unsaved := ""
	if numbers {
		unsaved = " Nothing of that line was saved; send a reading by itself."
	}
	switch code {
	case RefuseRunning:
		return "No. Nobody works in a unit or opens it with the fan running, and I give no steps for it. Isolate it first, or ask the person responsible for the ventilation." + sayTold(told) + unsaved
	case RefuseEnter:
		return "I can't say that: I don't see the plant. Whether it is isolated, proved dead and safe to enter only an authorised person at the unit can say. For the steps, write for example: steps AHU-3." + sayTold(told) + unsaved
	case RefuseLock:
		return "No. A lock is taken off only by the person who put it on, or by the site's own procedure." + sayTold(told)
	case RefuseShorten:
		return "No. The list stays whole. Read all of it, and ask your supervisor if a step does not fit the plant."
	case RefuseOverride:
		return "I can't invent readings or move limits. A supervisor can put one date off with a reason: defer AHU-2 bag to 12 Mar: reason."
	case RefuseCopy:
		return "I can't copy readings. Send today's numbers, or: skip AHU-3: reason."
	case RefuseRegister:
		return "Limits and other register figures aren't changed in chat. A supervisor changes the register file and imports it."
	}
	return "Not done."
}

func sayTooLong() string {
	return fmt.Sprintf("That message is longer than %d characters; nothing was saved. Send it in parts.", MaxLength)
}

func sayLetterO() string   { return "letter O read as zero" }
func sayNoAirflow() string { return "airflow not given" }
func sayAirIgnored() string {
	return "the airflow or fan figure is out of range and was left out"
}

func sayClock(note string) string {
	if note == "dst-gap" {
		return "the clocks went forward at that time: taken an hour later"
	}
	return "the clocks went back at that time: it came twice, and the latest one that fits was taken"
}

// joinOr lists words: "a", "a or b", "a, b or c".
func joinOr(words []string) string { return join(words, " or ") }

// joinAnd lists words: "a, b and c".
func joinAnd(words []string) string { return join(words, " and ") }

func join(words []string, last string) string {
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + last + words[n-1]
	}
}

// sayOneByOne is a question of which a message holds several, so that no one
// choice answers it.
func sayOneByOne(text string) string {
	return text + " The message holds more such questions: correct it and send it again."
}

func sayUnknownTag(typed string, near []string) string {
	if len(near) == 0 {
		return fmt.Sprintf("No %s here. Nothing saved; check the tag, or name the site in full.", typed)
	}
	return fmt.Sprintf("No %s here. Did you mean %s? Nothing saved.", typed, joinOr(near))
}

func sayWhichAHU() string { return "Which AHU? Nothing saved yet." }

func sayOneAHU() string {
	return "Which AHU is that for? Send one AHU a line. Nothing saved."
}

func saySite(tag string, sites []string) string {
	return fmt.Sprintf("%s is at %s. Which site? Nothing saved yet.", tag, joinAnd(sites))
}

func sayReadAs(label string) string { return fmt.Sprintf("I read: %s.", label) }

func sayWhichSite(sites []string) string {
	return fmt.Sprintf("Which site: %s? Nothing saved yet.", joinOr(sites))
}

func sayBank(ahu, typed string, banks []string) string {
	if typed != "" && len(banks) == 1 {
		return fmt.Sprintf("%s has no %q, only its %s bank. Is that meant? Nothing saved yet.", ahu, typed, banks[0])
	}
	if typed != "" {
		return fmt.Sprintf("%s has no one bank called %q. Which: %s? Nothing saved yet.", ahu, typed, joinOr(banks))
	}
	return fmt.Sprintf("Which bank of %s: %s? Nothing saved yet.", ahu, joinOr(banks))
}

func sayUnit(bank, typed string, choices []string, last float64, h units.Habit) string {
	s := fmt.Sprintf("%s %s: %s?", bank, typed, joinOr(choices))
	if last > 0 {
		s += fmt.Sprintf(" Last was %s.", units.Pressure(last, h))
	}
	return s + " Nothing saved yet."
}

func saySlip(bank, typed string) string {
	return fmt.Sprintf("%s %s is next to nothing. Which unit? Nothing saved yet.", bank, typed)
}

func sayGarbled(bank, typed string) string {
	return fmt.Sprintf("%s: I can't read %q as a number. Send it again. Nothing saved.", bank, typed)
}

func sayNoUnitFits(bank, typed string) string {
	return fmt.Sprintf("%s: %s fits no unit I would expect there. Send it again with its unit. Nothing saved.", bank, typed)
}

func sayMixed(as string) string {
	return fmt.Sprintf("The units differ. Did you mean %s? Reply ok, or send it again. Nothing saved yet.", as)
}

func saySign(bank, pa string) string {
	return fmt.Sprintf("%s: minus %s (ports swapped?), or just a dash before the number? Nothing saved yet.", bank, pa)
}

func sayZero(bank string) string {
	return fmt.Sprintf("%s reads 0: fan off, a zero check, or really 0 with the fan running? Nothing saved yet.", bank)
}

func sayNegative(bank, pa string) string {
	return fmt.Sprintf("%s %s: a gauge that reads backwards has its ports swapped. Reply minus or plus. Nothing saved yet.", bank, pa)
}

func sayHigh(bank string, pa, limit float64, top bool, h units.Habit) string {
	switch {
	case top:
		return fmt.Sprintf("%s %s is over the top of its gauge, %s. Reply ok, or send it again. Nothing saved yet.", bank, units.Pressure(pa, h), units.ShortPressure(limit, h))
	case limit > 0:
		return fmt.Sprintf("%s %s is twice its limit of %s or more. Reply ok, or send it again. Nothing saved yet.", bank, units.Pressure(pa, h), units.ShortPressure(limit, h))
	}
	return fmt.Sprintf("%s %s is very high. Reply ok, or send it again. Nothing saved yet.", bank, units.Pressure(pa, h))
}

func sayImpossible(bank, typed string) string {
	return fmt.Sprintf("%s %s is not a pressure a filter gauge can show. Nothing saved; send it again with its unit.", bank, typed)
}

func sayUnder(bank, typed string) string {
	return fmt.Sprintf("%s %s: I need a number, not a bound from above. Nothing saved.", bank, typed)
}

func sayOrder(ahu, asRead string) string {
	return fmt.Sprintf("%s: I read %s. Reply ok, or the other way round. Nothing saved yet.", ahu, asRead)
}

func sayOver(bank, typed string, choices []string) string {
	if len(choices) == 0 {
		return fmt.Sprintf("%s %s: past the top of which dial? Send the number with its unit. Nothing saved.", bank, typed)
	}
	return fmt.Sprintf("%s %s: past the top of the dial? Which unit: %s? Nothing saved yet.", bank, typed, joinOr(choices))
}

func sayRange(bank, typed string) string {
	return fmt.Sprintf("%s %s: bouncing between the two? If they are two banks, name each. Nothing saved yet.", bank, typed)
}

func sayNoNumber(ahu string) string {
	return fmt.Sprintf("%s: I see a unit and no number. What does the gauge read? Nothing saved.", ahu)
}

func sayTwiceRead(bank string) string {
	return fmt.Sprintf("%s is there twice with different values. Send the right one. Nothing saved.", bank)
}

func sayTwoValues(place, typed string) string {
	return fmt.Sprintf("%s: %q holds more values than I can place. Name the bank before each. Nothing saved.", place, typed)
}

func sayWhichRight(bank string) string {
	return fmt.Sprintf("What should %s be? For example: correction %s should be 135 Pa not 112 Pa. Nothing changed.", bank, bank)
}

func sayFuture() string {
	return "That time is still to come. When was it? Nothing saved yet."
}

func sayNoSuchDate() string {
	return "There is no such date. Send it again with the right one. Nothing saved."
}

func sayWhen(place string) string {
	return fmt.Sprintf("When is %s to be done? Give a day ahead and a time. Nothing booked yet.", place)
}

func sayDeferWhen(bank string) string {
	return fmt.Sprintf("Until which day? For example: defer %s to 12 Mar: reason. Nothing changed.", bank)
}

func sayDeferReason(bank string) string {
	return fmt.Sprintf("Why is %s put off? Send it again with the reason after a colon. Nothing changed.", bank)
}

func saySkipReason(ahu string) string {
	return fmt.Sprintf("Why was %s not read? Nothing saved yet.", ahu)
}

func sayWhichJob(names []string) string {
	return fmt.Sprintf("Which job: %s? Nothing closed or changed yet.", joinOr(names))
}

func sayItem(size string, codes []string) string {
	if size == "" {
		return "Which filter? Send its reorder code. Nothing saved."
	}
	if len(codes) == 0 {
		return fmt.Sprintf("No item of %s mm in the register. Send the reorder code. Nothing saved.", size)
	}
	return fmt.Sprintf("Which item of %s mm: %s? Nothing saved yet.", size, joinOr(codes))
}

func sayHowMany(code string) string {
	return fmt.Sprintf("How many %s? Nothing saved.", code)
}

func sayChange(ahu string) string {
	return fmt.Sprintf("%s: changed already, or to be booked? Nothing saved yet.", ahu)
}

func sayBiological() string {
	return "droppings, mould and dead animals can make people ill: keep out, do not brush or vacuum them dry; the supervisor arranges cleaning"
}

func sayDeferralGone() string { return "deferral taken back" }

func sayUsed(code string) string {
	return fmt.Sprintf("How many %s are left in the store? Write for example: stock %s 14. Nothing saved.", code, code)
}

func sayMoved() string {
	return "I can't move what is saved to another AHU. Take it back with undo, then send it again with the right tag. Nothing saved."
}

func sayTornChanged(ahu string) string {
	return fmt.Sprintf("%s: were all its filters changed, or only the bad one? Nothing saved yet.", ahu)
}

func sayDifference(bank, typed string) string {
	return fmt.Sprintf("%s: is %s a change? I need what the gauge reads now. Nothing saved.", bank, typed)
}

func sayUnsure(ahu string) string {
	return fmt.Sprintf("%s: were its filters changed for certain? Nothing saved yet.", ahu)
}

func sayPiecesAlone(ahu, typed string) string {
	return fmt.Sprintf("%s: %s, and were they changed? Nothing saved yet.", ahu, typed)
}

func sayPieces(ahu, typed string) string {
	return fmt.Sprintf("%s: %s beside a reading. Were the filters changed, or only read? Nothing saved yet.", ahu, typed)
}

func sayFanOff(ahu, typed string) string {
	return fmt.Sprintf("%s: fan off, and yet %s? Nothing saved yet.", ahu, typed)
}
