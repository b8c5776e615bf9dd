package plant

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Class is a filtration class read from its name.
type Class struct {
	System string // classes of different systems are never compared: "ISO ePM1", "EN 779", "EN 1822", "MERV"
	Rank   int    // higher is finer, within the system
}

var (
	isoClass  = regexp.MustCompile(`^(?:iso(?:16890)?)?(coarse|epm10|epm2[.,]?5|epm1)(?:>?=?(\d{1,2}))?%?$`)
	mervClass = regexp.MustCompile(`^merv(\d{1,2})a?$`)
)

// EN 779:2012 and EN 1822-1 classes, from coarse to fine.
var (
	en779Classes  = []string{"g1", "g2", "g3", "g4", "m5", "m6", "f7", "f8", "f9"}
	en1822Classes = []string{"e10", "e11", "e12", "h13", "h14", "u15", "u16", "u17"}
)

// ParseClass reads a class as written on a filter's label: "ISO ePM1 60%", "F7",
// "MERV 13", "H13". Case and blanks do not matter. Each ISO 16890 group is a
// system of its own, ranked by its percentage.
func ParseClass(s string) (Class, bool) {
	t := strings.ToLower(strings.Join(strings.Fields(s), ""))
	if m := isoClass.FindStringSubmatch(t); m != nil {
		rank, _ := strconv.Atoi(m[2]) // empty is 0: the group alone
		group := map[string]string{"coarse": "coarse", "epm10": "ePM10", "epm1": "ePM1"}[m[1]]
		if group == "" {
			group = "ePM2.5"
		}
		return Class{"ISO " + group, rank}, true
	}
	if m := mervClass.FindStringSubmatch(t); m != nil {
		rank, _ := strconv.Atoi(m[1])
		return Class{"MERV", rank}, rank >= 1 && rank <= 16
	}
	if i := slices.Index(en779Classes, t); i >= 0 {
		return Class{"EN 779", i}, true
	}
	if i := slices.Index(en1822Classes, t); i >= 0 {
		return Class{"EN 1822", i}, true
	}
	return Class{}, false
}
