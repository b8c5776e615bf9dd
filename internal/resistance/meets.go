package resistance

import "fmt"

// A Verdict says whether a filter is good enough for what a bank requires.
type Verdict struct {
	OK         bool
	Comparable bool   // the classes can be held against each other at all
	Guidance   bool   // only by a guidance table between systems, not by test
	Reason     string // one line for people
}

// Meets compares a filter's class with the class required. Within one system the
// classes decide. Between EN 779 and ISO 16890 only the published guidance tables
// do, and the verdict says so: Eurovent states that no conversion by calculation
// exists. Between other systems nothing is comparable. A verdict is never OK on a
// doubt.
func Meets(item, required string) Verdict {
	have, err := ParseClass(item)
	if err != nil {
		return Verdict{Reason: fmt.Sprintf("the item's class cannot be read: %v", err)}
	}
	want, err := ParseClass(required)
	if err != nil {
		return Verdict{Reason: fmt.Sprintf("the required class cannot be read: %v", err)}
	}
	switch {
	case have.System == want.System && have.System == ISO16890:
		return meetsISO(have, want)
	case have.System == want.System:
		return verdict(have.Rank >= want.Rank, have, want)
	case have.System == EN1822 && want.System == EN779:
		return Verdict{OK: true, Comparable: true, Reason: fmt.Sprintf("%s stands above every EN 779 class", have)}
	case want.System == EN1822:
		return Verdict{Comparable: true, Reason: fmt.Sprintf("%s is no EN 1822 class, %s is required", have, want)}
	case have.System == EN779 && want.System == ISO16890:
		return byTable(have, want, enGivesISO(have, want), fmt.Sprintf("lowest ISO 16890 figures of %s", have.Group))
	case have.System == ISO16890 && want.System == EN779:
		return byTable(have, want, isoGivesEN(have, want), fmt.Sprintf("ISO 16890 figures asked in place of %s", want.Group))
	}
	return Verdict{Reason: fmt.Sprintf("%s (%s) and %s (%s) cannot be compared: ask the manufacturer for the %s class", have, have.System, want, want.System, want.System)}
}

func verdict(ok bool, have, want Class) Verdict {
	reason := fmt.Sprintf("%s is at least %s", have, want)
	if !ok {
		reason = fmt.Sprintf("%s is below %s", have, want)
	}
	return Verdict{OK: ok, Comparable: true, Reason: reason}
}

// meetsISO compares within ISO 16890. Efficiency grows with particle size, so a
// figure for finer dust holds for coarser dust too; the other way round a label
// says nothing.
func meetsISO(have, want Class) Verdict {
	switch {
	case have.Rank < want.Rank:
		return Verdict{Comparable: true, Reason: fmt.Sprintf("%s is a coarser group than %s", have, want)}
	case have.Rank == want.Rank:
		return verdict(have.Pct >= want.Pct, have, want)
	case want.Group == Coarse:
		return verdict(true, have, want)
	case have.Pct >= want.Pct:
		return Verdict{OK: true, Comparable: true, Reason: fmt.Sprintf("%s holds finer dust and at least as much of it as %s asks", have, want)}
	}
	return Verdict{Reason: fmt.Sprintf("%s does not state its %s figure: ask the manufacturer whether it reaches %d %%", have, want.Group, want.Pct)}
}

func byTable(have, want Class, ok bool, table string) Verdict {
	v := verdict(ok, have, want)
	v.Guidance = true
	v.Reason = fmt.Sprintf("%s, by guidance only (%s): have the manufacturer confirm it", v.Reason, table)
	return v
}

// enFigures are the lowest ISO 16890 figures of EN 779 classes in the overlap
// table of Eurovent 4/23 (guidance): ePM1, ePM2.5, ePM10.
var enFigures = map[string][3]int{
	"M5": {5, 10, 40}, "M6": {10, 20, 60}, "F7": {40, 65, 80}, "F8": {65, 75, 90}, "F9": {80, 85, 90},
}

func enGivesISO(have, want Class) bool {
	f, ok := enFigures[have.Group]
	switch {
	case want.Group == Coarse && want.Pct == 0:
		return true
	case !ok || want.Group == Coarse:
		return ok
	}
	return f[map[string]int{EPM1: 0, EPM25: 1, EPM10: 2}[want.Group]] >= max(want.Pct, 50)
}

// isoInPlace are ISO 16890 classes that stand in for an EN 779 class, any of them
// enough: M5, F7 and F9 as grouped after VDI 6022, M6 and F8 from the lower end of
// the Eurovent 4/23 overlap (guidance).
var isoInPlace = map[string][]Class{
	"M5": {newISO(EPM10, 50)},
	"M6": {newISO(EPM10, 60)},
	"F7": {newISO(EPM25, 65), newISO(EPM1, 50)},
	"F8": {newISO(EPM1, 65)},
	"F9": {newISO(EPM1, 80)},
}

func isoGivesEN(have, want Class) bool {
	if want.Rank <= 4 { // G1 to G4: any fine filter stands above them
		return have.Group != Coarse
	}
	for _, c := range isoInPlace[want.Group] {
		if meetsISO(have, c).OK {
			return true
		}
	}
	return false
}
