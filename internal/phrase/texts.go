package phrase

import (
	"strings"

	"clogwise/internal/locale"
	"clogwise/internal/units"
)

// Every sentence that people read stands in this file, said in the language of the
// Scope; only the labels of choices stand where the choice is made.

// Help lists what can be typed. The examples stay in the grammar's English.
func Help(in locale.Locale) string {
	return strings.Join([]string{
		in.Text("Readings: AHU-3 pre 112 Pa, bag 205 Pa at 42 Hz (or 0.45 in wc, 1.1 mbar; one AHU a line, as many lines as you like)"),
		in.Text("Change-outs: AHU-3 bags changed, 12 off, clean 95 Pa 42 Hz"),
		in.Text("No reading: skip AHU-10: plant room locked · AHU-3 fan off · AHU-8 bag pegged · AHU-3 pre zero check ok"),
		in.Text("Faults and dust: EF-4 belt squealing · building work near AHU-1,2"),
		in.Text("Put right: correction AHU-3 pre should be 0.54 not 0.45 in wc · undo · undo 4127 · confirm 4127"),
		in.Text("Jobs: book AHU-6 bag 3 Mar 09:00 with Nadia · cancel AHU-6 bag · on site AHU-6, starting · AHU-6 back on, clean 92 Pa 40 Hz zero ok"),
		in.Text("Parts: stock BAG-592 14 · ordered 24 PNL-592 · need 20 PNL-592 for AHU-1 wk 32"),
		in.Text("Put off (supervisor): defer AHU-2 bag to 12 Mar: theatre week"),
		in.Text("Ask: due · due next 14 days · how is AHU-3 · chart AHU-3 bag · cost AHU-3 · why AHU-3 bag · steps AHU-6"),
		in.Text("Ask: stock · orders · visits · readings owed · compare BAG-592 BAG-593 for AHU-3 bag · pairs AHU-3 · digest · status"),
	}, "\n")
}

// sayEmergency answers a report of fire, smoke, gas or an injury.
func sayEmergency(in locale.Locale, d danger, numbers, told bool) string {
	s := in.Text("Call the local emergency number first; I cannot call anybody. Make the area safe only if that is safe for you, and keep others away.") + sayTold(in, told)
	if numbers {
		s += " " + in.Text("Nothing of this message was saved; send readings again later, by themselves.")
	}
	if d == dangerFire {
		s += " " + in.Text("If it is only smoke from outdoors, write for example: `wildfire smoke AHU-1`.")
	}
	return s
}

// sayTold says that a supervisor hears of it, where there is one but the speaker.
func sayTold(in locale.Locale, told bool) string {
	if told {
		return " " + in.Text("Your supervisor is told.")
	}
	return ""
}

func sayRefused(in locale.Locale, code string, numbers, told bool) string {
	unsaved := ""
	if numbers {
		unsaved = " " + in.Text("Nothing of that line was saved; send a reading by itself.")
	}
	switch code {
	case RefuseRunning:
		return in.Text("No. Nobody works in a unit or opens it with the fan running, and I give no steps for it. Isolate it first, or ask the person responsible for the ventilation.") + sayTold(in, told) + unsaved
	case RefuseEnter:
		return in.Text("I can't say that: I don't see the plant. Whether it is isolated, proved dead and safe to enter only an authorised person at the unit can say. For the steps, write for example: `steps AHU-3`.") + sayTold(in, told) + unsaved
	case RefuseLock:
		return in.Text("No. A lock is taken off only by the person who put it on, or by the site's own procedure.") + sayTold(in, told)
	case RefuseShorten:
		return in.Text("No. The list stays whole. Read all of it, and ask your supervisor if a step does not fit the plant.")
	case RefuseOverride:
		return in.Text("I can't invent readings or move limits. A supervisor can put one date off with a reason: `defer AHU-2 bag to 12 Mar: reason`.")
	case RefuseCopy:
		return in.Text("I can't copy readings. Send today's numbers, or: `skip AHU-3: reason`.")
	case RefuseRegister:
		return in.Text("Limits and other register figures aren't changed in chat. A supervisor changes the register file and imports it.")
	}
	return in.Text("Not done.")
}

func sayTooLong(in locale.Locale) string {
	return in.Text("That message is longer than %d characters; nothing was saved. Send it in parts.", MaxLength)
}

func sayLetterO(in locale.Locale) string   { return in.Text("letter O read as zero") }
func sayNoAirflow(in locale.Locale) string { return in.Text("airflow not given") }
func sayAirIgnored(in locale.Locale) string {
	return in.Text("the airflow or fan figure is out of range and was left out")
}

func saySameUnread(in locale.Locale, bank string) string {
	return in.Text("%s: nothing recorded of it, since \"same\" is no reading. Read the gauge and type its value.", bank)
}

func sayTwoUnits(in locale.Locale, place, one, other string) string {
	return in.Text("%s: %s and %s are not the same pressure. Which is right? Nothing saved yet.", place, one, other)
}

func sayWet(in locale.Locale) string {
	return in.Text("A wet filter reads high: type its reading with the word, for example `AHU-3 pre 120 Pa wet`.")
}

func sayClock(in locale.Locale, note string) string {
	if note == "dst-gap" {
		return in.Text("the clocks went forward at that time: taken an hour later")
	}
	return in.Text("the clocks went back at that time: it came twice, and the latest one that fits was taken")
}

// sayOneByOne is a question of which a message holds several, so that no one
// choice answers it.
func sayOneByOne(in locale.Locale, text string) string {
	return text + " " + in.Text("The message holds more such questions: correct it and send it again.")
}

func sayUnknownTag(in locale.Locale, typed string, near []string) string {
	if len(near) == 0 {
		return in.Text("No %s here. Nothing saved; check the tag, or name the site in full.", typed)
	}
	return in.Text("No %s here. Did you mean %s? Nothing saved.", typed, in.Or(near))
}

func sayWhichAHU(in locale.Locale) string { return in.Text("Which AHU? Nothing saved yet.") }

func sayOneAHU(in locale.Locale) string {
	return in.Text("Which AHU is that for? Send one AHU a line. Nothing saved.")
}

func saySite(in locale.Locale, tag string, sites []string) string {
	return in.Text("%s is at %s. Which site? Nothing saved yet.", tag, in.And(sites))
}

func sayReadAs(in locale.Locale, label string) string { return in.Text("I read: %s.", label) }

func sayWhichSite(in locale.Locale, sites []string) string {
	return in.Text("Which site: %s? Nothing saved yet.", in.Or(sites))
}

func sayBank(in locale.Locale, ahu, typed string, banks []string) string {
	if typed != "" && len(banks) == 1 {
		return in.Text("%s has no %q, only its %s bank. Is that meant? Nothing saved yet.", ahu, typed, banks[0])
	}
	if typed != "" {
		return in.Text("%s has no one bank called %q. Which: %s? Nothing saved yet.", ahu, typed, in.Or(banks))
	}
	return in.Text("Which bank of %s: %s? Nothing saved yet.", ahu, in.Or(banks))
}

func sayUnit(in locale.Locale, bank, typed string, choices []string, last float64, h units.Habit) string {
	s := in.Text("%s %s: %s?", bank, typed, in.Or(choices))
	if last > 0 {
		s += " " + in.Text("Last was %s.", in.Pressure(last, h))
	}
	return s + " " + in.Text("Nothing saved yet.")
}

func saySlip(in locale.Locale, bank, typed string) string {
	return in.Text("%s %s is next to nothing. Which unit? Nothing saved yet.", bank, typed)
}

func sayGarbled(in locale.Locale, bank, typed string) string {
	return in.Text("%s: I can't read %q as a number. Send it again. Nothing saved.", bank, typed)
}

func sayNoUnitFits(in locale.Locale, bank, typed string) string {
	return in.Text("%s: %s fits no unit I would expect there. Send it again with its unit. Nothing saved.", bank, typed)
}

func sayMixed(in locale.Locale, as string) string {
	return in.Text("The units differ. Did you mean %s? Reply `ok`, or send it again. Nothing saved yet.", as)
}

func saySign(in locale.Locale, bank, pa string) string {
	return in.Text("%s: minus %s (ports swapped?), or just a dash before the number? Nothing saved yet.", bank, pa)
}

func sayZero(in locale.Locale, bank string) string {
	return in.Text("%s reads 0: fan off, a zero check, or really 0 with the fan running? Nothing saved yet.", bank)
}

func sayNegative(in locale.Locale, bank, pa string) string {
	return in.Text("%s %s: a gauge that reads backwards has its ports swapped. Reply `minus` or `plus`. Nothing saved yet.", bank, pa)
}

func sayHigh(in locale.Locale, bank string, pa, limit float64, top bool, h units.Habit) string {
	switch {
	case top:
		return in.Text("%s %s is over the top of its gauge, %s. Reply `ok`, or send it again. Nothing saved yet.", bank, in.Pressure(pa, h), in.ShortPressure(limit, h))
	case limit > 0:
		return in.Text("%s %s is twice its limit of %s or more. Reply `ok`, or send it again. Nothing saved yet.", bank, in.Pressure(pa, h), in.ShortPressure(limit, h))
	}
	return in.Text("%s %s is very high. Reply `ok`, or send it again. Nothing saved yet.", bank, in.Pressure(pa, h))
}

func sayImpossible(in locale.Locale, bank, typed string) string {
	return in.Text("%s %s is not a pressure a filter gauge can show. Nothing saved; send it again with its unit.", bank, typed)
}

func sayUnder(in locale.Locale, bank, typed string) string {
	return in.Text("%s %s: I need a number, not a bound from above. Nothing saved.", bank, typed)
}

func sayOrder(in locale.Locale, ahu, asRead string, n int) string {
	if n != 2 {
		return in.Text("%s: I read %s. Reply `ok`, or type them with the word for each bank. Nothing saved yet.", ahu, asRead)
	}
	return in.Text("%s: I read %s. Reply `ok`, or `the other way round`. Nothing saved yet.", ahu, asRead)
}

func sayOver(in locale.Locale, bank, typed string, choices []string) string {
	if len(choices) == 0 {
		return in.Text("%s %s: past the top of which dial? Send the number with its unit. Nothing saved.", bank, typed)
	}
	return in.Text("%s %s: past the top of the dial? Which unit: %s? Nothing saved yet.", bank, typed, in.Or(choices))
}

func sayRange(in locale.Locale, bank, typed string) string {
	return in.Text("%s %s: bouncing between the two? If they are two banks, name each. Nothing saved yet.", bank, typed)
}

func sayNoNumber(in locale.Locale, ahu string) string {
	return in.Text("%s: I see a unit and no number. What does the gauge read? Nothing saved.", ahu)
}

func sayTwiceRead(in locale.Locale, bank string) string {
	return in.Text("%s is there twice with different values. Send the right one. Nothing saved.", bank)
}

func sayTwoValues(in locale.Locale, place, typed string) string {
	return in.Text("%s: %q holds more values than I can place. Name the bank before each. Nothing saved.", place, typed)
}

func sayWhichRight(in locale.Locale, bank string) string {
	return in.Text("What should %s be? For example: `correction %s should be 135 Pa not 112 Pa`. Nothing changed.", bank, bank)
}

func sayFuture(in locale.Locale) string {
	return in.Text("That time is still to come. When was it? Nothing saved yet.")
}

func sayNoSuchDate(in locale.Locale) string {
	return in.Text("There is no such date. Send it again with the right one. Nothing saved.")
}

func sayWhen(in locale.Locale, place string) string {
	return in.Text("When is %s to be done? Give a day ahead and a time. Nothing booked yet.", place)
}

func sayDeferWhen(in locale.Locale, bank string) string {
	return in.Text("Until which day? For example: `defer %s to 12 Mar: reason`. Nothing changed.", bank)
}

func sayDeferPast(in locale.Locale, bank string) string {
	return in.Text("That day is past. Until which day to come? For example: `defer %s to 12 Mar: reason`. Nothing changed.", bank)
}

func sayDeferReason(in locale.Locale, bank string) string {
	return in.Text("Why is %s put off? Send it again with the reason after a colon. Nothing changed.", bank)
}

func saySkipReason(in locale.Locale, ahu string) string {
	return in.Text("Why was %s not read? Nothing saved yet.", ahu)
}

func sayWhichJob(in locale.Locale, names []string) string {
	return in.Text("Which job: %s? Nothing closed or changed yet.", in.Or(names))
}

func sayItem(in locale.Locale, size string, codes []string) string {
	if size == "" {
		return in.Text("Which filter? Send its reorder code. Nothing saved.")
	}
	if len(codes) == 0 {
		return in.Text("No item of %s mm in the register. Send the reorder code. Nothing saved.", size)
	}
	return in.Text("Which item of %s mm: %s? Nothing saved yet.", size, in.Or(codes))
}

func sayNoItem(in locale.Locale, typed string, codes []string) string {
	return in.Text("No item %s in the register. Did you mean %s? Nothing saved.", typed, in.Or(codes))
}

func sayWhichItem(in locale.Locale, codes []string) string {
	return in.Text("Which item: %s? Nothing saved yet.", in.Or(codes))
}

func sayHowMany(in locale.Locale, code string) string {
	return in.Text("How many %s? Nothing saved.", code)
}

func sayChange(in locale.Locale, ahu string) string {
	return in.Text("%s: changed already, or to be booked? Nothing saved yet.", ahu)
}

func sayBiological(in locale.Locale) string {
	return in.Text("droppings, mould and dead animals can make people ill: keep out, do not brush or vacuum them dry; the supervisor arranges cleaning")
}

// sayDeferralGone is recorded as the reason; what is recorded stays in English.
func sayDeferralGone() string { return "deferral taken back" }

func sayUsed(in locale.Locale, code string) string {
	return in.Text("How many %s are left in the store? Write for example: `stock %s 14`. Nothing saved.", code, code)
}

func sayMoved(in locale.Locale) string {
	return in.Text("I can't move what is saved to another AHU. Take it back with `undo`, then send it again with the right tag. Nothing saved.")
}

func sayTornChanged(in locale.Locale, ahu string) string {
	return in.Text("%s: were all its filters changed, or only the bad one? Nothing saved yet.", ahu)
}

func sayDifference(in locale.Locale, bank, typed string) string {
	return in.Text("%s: is %s a change? I need what the gauge reads now. Nothing saved.", bank, typed)
}

func sayUnsure(in locale.Locale, ahu string) string {
	return in.Text("%s: were its filters changed for certain? Nothing saved yet.", ahu)
}

func sayPiecesAlone(in locale.Locale, ahu, typed string) string {
	return in.Text("%s: %s, and were they changed? Nothing saved yet.", ahu, typed)
}

func sayPieces(in locale.Locale, ahu, typed string) string {
	return in.Text("%s: %s beside a reading. Were the filters changed, or only read? Nothing saved yet.", ahu, typed)
}

func sayFanOff(in locale.Locale, ahu, typed string) string {
	return in.Text("%s: fan off, and yet %s? Nothing saved yet.", ahu, typed)
}
