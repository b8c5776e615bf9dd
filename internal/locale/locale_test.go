package locale_test

import (
	"testing"
	"time"

	"github.com/shopspring/decimal"

	"clogwise/internal/locale"
	"clogwise/internal/units"
)

func TestOf(t *testing.T) {
	t.Parallel()
	for tag, want := range map[string]string{"": "en", "en": "en", "en-GB": "en", "de": "de", "de-AT": "de", "es-MX": "es", " ES ": "es", "fr": "en", "%%": "en"} {
		if got := locale.Of(tag).Tag(); got != want {
			t.Errorf("Of(%q) speaks %s, want %s", tag, got, want)
		}
	}
	if locale.Known("fr") || locale.Known("") || !locale.Known("en") || !locale.Known("de-CH") {
		t.Error("Known is wrong about fr, the empty tag, en or de-CH")
	}
}

// Decimal comma and the place of the currency follow CLDR for de and es.
func TestFigures(t *testing.T) {
	t.Parallel()
	money := func(s, c string) units.Money { return units.Money{Amount: decimal.RequireFromString(s), Currency: c} }
	for _, tc := range []struct{ name, got, want string }{
		{"english money", locale.Of("en").Money(money("2.1", "GBP")), "£2.10"},
		{"german money", locale.Of("de").Money(money("2.1", "EUR")), "2,10\u00a0€"},
		{"spanish debt", locale.Of("es").Money(money("-2.1", "EUR")), "-2,10\u00a0€"},
		{"code", locale.Of("de").Money(money("3.5", "CHF")), "3,50\u00a0CHF"},
		{"no currency", locale.Of("de").Money(money("3.5", "")), "3,50"},
		{"english pressure", locale.Of("").Pressure(145, units.SI), "145 Pa (0.58 in wc)"},
		{"german pressure", locale.Of("de").Pressure(145, units.SI), "145 Pa (0,58 in wc)"},
		{"number", locale.Of("es").Number(1234.56, 1), "1234,6"},
		{"a stop that ends a sentence stays", locale.Of("de").Figures("12.5 Pa. 3."), "12,5 Pa. 3."},
	} {
		if tc.got != tc.want {
			t.Errorf("%s: %q, want %q", tc.name, tc.got, tc.want)
		}
	}
}

func TestDates(t *testing.T) {
	t.Parallel()
	utc := time.UTC
	day := func(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 9, 0, 0, 0, utc) }
	now := day(2026, 3, 2)
	for _, tc := range []struct{ tag, got, want string }{
		{"en", locale.Of("en").Span(day(2026, 3, 9), day(2026, 3, 31), now, utc), "9–31 Mar"},
		{"de", locale.Of("de").Span(day(2026, 3, 9), day(2026, 3, 31), now, utc), "9.–31. Mär"},
		{"es", locale.Of("es").Span(day(2026, 3, 9), day(2026, 3, 31), now, utc), "9–31 mar"},
		{"de", locale.Of("de").Span(day(2026, 2, 28), day(2026, 3, 9), now, utc), "28. Feb–9. Mär"},
		{"de", locale.Of("de").Span(day(2026, 12, 20), day(2027, 3, 9), now, utc), "Dez 2026–Mär 2027"},
		{"de", locale.Of("de").Moment(day(2026, 11, 26), utc), "Do 26. Nov 09:00"},
		{"es", locale.Of("es").Moment(day(2026, 11, 26), utc), "jue 26 nov 09:00"},
		{"de", locale.Of("de").Day(day(2027, 5, 26), now, utc), "26. Mai 2027"},
	} {
		if tc.got != tc.want {
			t.Errorf("%s: %q, want %q", tc.tag, tc.got, tc.want)
		}
	}
}
