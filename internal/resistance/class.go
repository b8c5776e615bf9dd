package resistance

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// A System is a standard that sorts filters into classes.
type System string

// Systems.
const (
	ISO16890   System = "ISO 16890"
	EN779      System = "EN 779"
	EN1822     System = "EN 1822"
	ASHRAE52_2 System = "ASHRAE 52.2"
)

// Groups of ISO 16890, from the coarsest.
const (
	Coarse = "coarse"
	EPM10  = "ePM10"
	EPM25  = "ePM2.5"
	EPM1   = "ePM1"
)

// ErrClass is returned for a text that is no filter class.
var ErrClass = errors.New("not a filter class")

// A Class is a filter class in one system.
type Class struct {
	System System
	Group  string // ISO 16890: "coarse", "ePM10", "ePM2.5", "ePM1"; EN: "G4", "F7", "H13"; ASHRAE: "MERV 13"
	Pct    int    // ISO 16890: efficiency in steps of 5, 100 standing for "> 95 %"; else 0
	Rank   int    // place in its system, or in ISO 16890 of its group, growing
}

// String is the class as standards write it: "ISO ePM1 60%", "F7", "MERV 13".
func (c Class) String() string {
	switch {
	case c.System != ISO16890:
		return c.Group
	case c.Pct > 95:
		return "ISO " + c.Group + " >95%"
	case c.Pct == 0:
		return "ISO " + c.Group
	}
	return fmt.Sprintf("ISO %s %d%%", c.Group, c.Pct)
}

var (
	isoRE  = regexp.MustCompile(`^(?:ISO)?(?:16890)?:?(EPM10|EPM2[.,]5|EPM25|EPM1|PM10|PM2[.,]5|PM1|COARSE)(>|≥|>=)?(\d{1,3})?%?$`)
	en     = []string{"G1", "G2", "G3", "G4", "M5", "M6", "F7", "F8", "F9"}
	epa    = []string{"E10", "E11", "E12", "H13", "H14", "U15", "U16", "U17"}
	oldEN  = map[string]string{"EU1": "G1", "EU2": "G2", "EU3": "G3", "EU4": "G4", "EU5": "M5", "EU6": "M6", "EU7": "F7", "EU8": "F8", "EU9": "F9", "F5": "M5", "F6": "M6", "H10": "E10", "H11": "E11", "H12": "E12"}
	spaces = strings.NewReplacer(" ", "", "\t", "", "\u00a0", "", "-", "", "_", "", "₁", "1", "₂", "2", "₅", "5", "₀", "0")
)

// ParseClass reads a filter class as people write it: "ISO ePM1 60%", "ePM10 50",
// "coarse 60%", "G4", "F7", "F5" (now M5), "H13", "MERV 13", "merv13A". An ISO
// 16890 figure between steps of five is rounded down as the standard does. It
// returns ErrClass otherwise.
func ParseClass(s string) (Class, error) {
	t := spaces.Replace(strings.ToUpper(strings.TrimSpace(s)))
	t = strings.TrimPrefix(t, "CLASS")
	if m, ok := strings.CutPrefix(t, "MERV"); ok {
		return merv(s, strings.TrimSuffix(m, "A")) // "A": conditioned by appendix J
	}
	if now, ok := oldEN[t]; ok {
		t = now
	}
	if c, ok := ranked(EN779, en, t); ok {
		return c, nil
	}
	if c, ok := ranked(EN1822, epa, t); ok {
		return c, nil
	}
	return iso(s, t)
}

func ranked(sys System, names []string, t string) (Class, bool) {
	for i, n := range names {
		if t == n {
			return Class{System: sys, Group: n, Rank: i + 1}, true
		}
	}
	return Class{}, false
}

func merv(typed, digits string) (Class, error) {
	n, err := strconv.Atoi(digits)
	if err != nil || n < 1 || n > 16 {
		return Class{}, fmt.Errorf("%q: %w; MERV goes from 1 to 16", typed, ErrClass)
	}
	return Class{System: ASHRAE52_2, Group: "MERV " + strconv.Itoa(n), Rank: n}, nil
}

func iso(typed, t string) (Class, error) {
	m := isoRE.FindStringSubmatch(t)
	if m == nil {
		return Class{}, fmt.Errorf("%q: %w; write for example ISO ePM1 60%%, G4, F7 or MERV 13", typed, ErrClass)
	}
	group, floor := isoGroup(m[1])
	if m[3] == "" {
		return newISO(group, 0), nil
	}
	pct, _ := strconv.Atoi(m[3]) // at most three digits
	switch {
	case pct > 100 || pct < 5:
		return Class{}, fmt.Errorf("%q: %w; an efficiency of %d %%", typed, ErrClass, pct)
	case pct < floor:
		return Class{}, fmt.Errorf("%q: %w; ISO 16890 wants at least %d %% for %s", typed, ErrClass, floor, group)
	}
	if m[2] == ">" && pct == 95 {
		return newISO(group, 100), nil
	}
	return newISO(group, RoundDown5(float64(pct))), nil
}

func isoGroup(t string) (group string, floor int) {
	switch {
	case t == "COARSE":
		return Coarse, 0
	case strings.HasSuffix(t, "10"):
		return EPM10, 50
	case strings.HasSuffix(t, "5"):
		return EPM25, 50
	}
	return EPM1, 50
}

func newISO(group string, pct int) Class {
	rank := map[string]int{Coarse: 1, EPM10: 2, EPM25: 3, EPM1: 4}[group]
	return Class{System: ISO16890, Group: group, Pct: pct, Rank: rank}
}

// RoundDown5 rounds an efficiency in per cent down to a step of five, and one
// above 95 % to 100, which is written "> 95 %" (ISO 16890-1).
func RoundDown5(pct float64) int {
	if pct > 95 {
		return 100
	}
	return int(max(pct, 0)/5+1e-9) * 5
}

// IsCoarse reports whether a class counts as coarse where rules tell coarse from
// fine filters: ISO coarse, G1 to G4, MERV 1 to 8.
func (c Class) IsCoarse() bool {
	switch c.System {
	case ISO16890:
		return c.Group == Coarse
	case EN779:
		return c.Rank <= 4
	case ASHRAE52_2:
		return c.Rank <= 8
	}
	return false
}
