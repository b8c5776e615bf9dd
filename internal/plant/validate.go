package plant

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/shopspring/decimal"
)

// Validate lists every fault of the contents, ordered by object kind (sites,
// items, AHUs, banks) and id; none means that the register can be used. Each
// fault names the object, the field and what to write instead.
func Validate(c Contents) []Fault {
	v := validation{c: c, sites: map[string]Site{}, items: map[string]Item{}}
	for _, s := range c.Sites {
		v.sites[s.ID] = s
	}
	for _, it := range c.Items {
		v.items[it.Code] = it
	}
	v.allSites()
	v.allItems()
	v.allAHUs()
	v.allBanks()
	return v.faults
}

// validation gathers faults; object and id name the object being looked at.
type validation struct {
	c      Contents
	sites  map[string]Site
	items  map[string]Item
	object string
	id     string
	faults []Fault
}

func (v *validation) at(object, id string) { v.object, v.id = object, id }

func (v *validation) fault(field, format string, args ...any) {
	v.faults = append(v.faults, Fault{v.object, v.id, field, fmt.Sprintf(format, args...)})
}

// span is a field whose number has to lie within bounds.
type span struct {
	field    string
	value    float64
	from, to float64
	unit     string
}

// within faults numbers that are not finite or out of bounds.
func (v *validation) within(spans ...span) {
	for _, s := range spans {
		if s.value >= s.from && s.value <= s.to { // false for NaN
			continue
		}
		v.fault(s.field, "%s is not possible; write a number from %s to %s",
			measure(s.value, s.unit), measure(s.from, ""), measure(s.to, s.unit))
	}
}

func measure(x float64, unit string) string {
	if unit != "" {
		unit = " " + unit
	}
	return fmt.Sprintf("%.6g%s", x, unit)
}

// notNegative faults amounts of money below zero, and those that are no amount
// at all: printing or adding "1e999999999" digit by digit would take all memory.
func (v *validation) notNegative(field string, d decimal.Decimal) {
	switch {
	case !Amount(d):
		v.fault(field, "is no amount of money; write one such as 12.50")
	case d.IsNegative():
		v.fault(field, "%s is below zero; write the amount without a sign", d)
	}
}

// Amount reports whether d is of a size and fineness that money has: at most
// twelve decimals and below a billion billion.
func Amount(d decimal.Decimal) bool {
	return d.Exponent() >= -12 && d.Exponent() <= 18 && d.NumDigits() <= 30
}

// slug faults an id that is not in the form of Slug. From is what people would
// make it of.
func (v *validation) slug(id string) {
	if id == "" {
		v.fault("id", "missing; write a short name in lower case, digits and hyphens, such as %q", "ahu-3")
	} else if want := Slug(id); want != id {
		v.fault("id", "%q has other characters than lower case letters, digits and hyphens; write %q", id, cmp.Or(want, "ahu-3"))
	}
}

// oneOf faults a word that is not among those allowed. An empty word passes
// only when it is among them.
func oneOf[T ~string](v *validation, field string, got T, allowed ...T) {
	if !slices.Contains(allowed, got) {
		words := make([]string, 0, len(allowed))
		for _, a := range allowed {
			if a != "" {
				words = append(words, string(a))
			}
		}
		v.fault(field, "%s; write %s", unknown(string(got)), choice(words))
	}
}

func unknown(word string) string {
	if word == "" {
		return "missing"
	}
	return fmt.Sprintf("%q is unknown", word)
}

// choice joins words as "a, b or c".
func choice(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " or " + words[last]
}

// days faults a list of weekdays that cannot be read.
func (v *validation) days(field, s string) (set [7]bool, ok bool) {
	set, err := ParseDays(s)
	if err != nil {
		v.fault(field, "%v", err)
		return set, false
	}
	return set, true
}

// clock faults a time of day not written as 06:30; 24:00 is allowed as an end.
func (v *validation) clock(field, s string) {
	if s == "24:00" && strings.HasSuffix(field, "to") {
		return
	}
	if _, err := time.Parse("15:04", s); err != nil {
		v.fault(field, "%s; write a time of day such as 06:30", notA(s, "time of day"))
	}
}

func notA(s, what string) string {
	if s == "" {
		return "missing"
	}
	return fmt.Sprintf("%q is not a %s", s, what)
}

// schedule faults running hours that no week can have.
func (v *validation) schedule(field string, s Schedule) {
	var given [7]string
	for _, days := range sortedKeys(s.Hours) {
		v.within(span{field + ".hours " + days, s.Hours[days], 0, 24, "h"})
		set, ok := v.days(field+".hours", days)
		for d, on := range set {
			if !ok || !on {
				continue
			}
			if given[d] != "" {
				v.fault(field+".hours", "%s is in both %q and %q; give every weekday once", time.Weekday(d), given[d], days)
			}
			given[d] = days
		}
	}
	for _, d := range s.Holidays {
		if _, err := time.Parse(time.DateOnly, d); err != nil {
			v.fault(field+".holidays", "%q is not a date; write it as 2026-12-25", d)
		}
	}
	v.within(span{field + ".holiday_hours", s.OnHoliday, 0, 24, "h"})
}

// curve faults points that do not form a curve over rising airflow. Rising says
// that pressure rises with airflow (a filter); a fan's may do either.
func (v *validation) curve(field string, points []FlowPoint, rising bool) {
	for i, p := range points {
		v.within(
			span{fmt.Sprintf("%s[%d].flow_m3s", field, i+1), p.FlowM3s, 0, 1000, "m³/s"},
			span{fmt.Sprintf("%s[%d].pa", field, i+1), p.Pa, 0, 20000, "Pa"})
		if i == 0 {
			continue
		}
		if last := points[i-1]; p.FlowM3s <= last.FlowM3s {
			v.fault(field, "point %d is not at a higher airflow than the one before; list points by rising airflow", i+1)
		} else if rising && p.Pa <= last.Pa {
			v.fault(field, "point %d has more airflow and no more resistance than the one before; check both figures", i+1)
		}
	}
}

// names finds things that people could not tell apart by what they type.
type names map[string]string // key → owner's id

// claim notes that owner is called name and returns who had it first.
func (n names) claim(name, owner string) (other string, clash bool) {
	k := nameKey(name)
	if k == "" {
		return "", false
	}
	if had, ok := n[k]; ok && had != owner {
		return had, true
	}
	n[k] = owner
	return "", false
}

// nameKey is what is left of a name when case, punctuation and the leading
// zeros of numbers do not matter: "AHU-03" and "ahu 3" are one.
func nameKey(s string) string {
	var b strings.Builder
	inNumber := false
	for _, r := range strings.ToLower(s) {
		switch {
		case r == '0' && !inNumber:
			continue
		case r >= '0' && r <= '9':
			inNumber = true
		case r == ' ' || r == '-' || r == '_' || r == '.' || r == '/':
			continue
		default:
			inNumber = false
		}
		b.WriteRune(r)
	}
	return b.String()
}

func sortedKeys[K cmp.Ordered, V any](m map[K]V) []K {
	keys := make([]K, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
