package say

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"clogwise/internal/locale"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Setting is what a text is worded for: the language and the units of a site, its
// time zone, and the time it is.
type Setting struct {
	In    locale.Locale
	Units units.Habit
	Loc   *time.Location
	Now   time.Time
}

// At is the setting of a site.
func At(site plant.Site, now time.Time) Setting {
	return Setting{In: locale.Of(site.Language), Units: site.Units, Loc: site.Location(), Now: now}
}

// atPlace is the setting of the site that a place belongs to.
func atPlace(reg *plant.Register, place plant.BankID, now time.Time) Setting {
	site, _ := reg.Site(place.Site())
	return At(site, now)
}

func (s Setting) day(t time.Time) string { return s.In.Day(t, s.Now, s.Loc) }

func (s Setting) span(from, to time.Time) string { return s.In.Span(from, to, s.Now, s.Loc) }

func (s Setting) moment(t time.Time) string { return s.In.Moment(t, s.Loc) }

func (s Setting) weekday(t time.Time) string { return s.In.Date(t.In(s.Loc), "Mon 2 Jan") }

func (s Setting) pressure(pa float64) string { return s.In.Pressure(pa, s.Units) }

func (s Setting) short(pa float64) string { return s.In.ShortPressure(pa, s.Units) }

var wholePa = regexp.MustCompile(`(^|[^\d.,])(\d+) Pa\b`)

// inHabit turns whole figures in Pa of a text that the core has said into the units
// of a site that reads in inches.
func (s Setting) inHabit(text string) string {
	if s.Units != units.IP {
		return text
	}
	return wholePa.ReplaceAllStringFunc(text, func(found string) string {
		m := wholePa.FindStringSubmatch(found)
		pa, err := strconv.ParseFloat(m[2], 64)
		if err != nil {
			return found
		}
		return m[1] + s.short(pa)
	})
}

// governing words what a forecast runs to: the limit, or an age cap, which an
// assessment names as "its age cap (12 months)".
func (s Setting) governing(words string, limitPa float64) string {
	if words == "" {
		return s.short(limitPa)
	}
	return s.In.Figures(s.In.Retell(words))
}

// KeysFor are the words that stand for a button: those given, and its label where
// that is not English.
func KeysFor(in locale.Locale, label string, words ...string) []string {
	if in.Tag() != "en" {
		words = append(words, strings.ToLower(label))
	}
	return words
}
