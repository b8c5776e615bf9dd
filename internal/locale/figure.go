package locale

import (
	"strconv"
	"strings"

	"clogwise/internal/units"
)

// Number prints v with a fixed number of decimals and the language's decimal sign.
// Thousands are not parted: a figure is often typed back.
func (l Locale) Number(v float64, decimals int) string {
	return l.Figures(strconv.FormatFloat(v, 'f', decimals, 64))
}

// Figures gives every decimal point between two digits of a text the language's
// sign: "0.58 in wc" is "0,58 in wc" in German. For texts made of figures and
// units, not for sentences.
func (l Locale) Figures(s string) string {
	if l.texts == nil {
		return s
	}
	b := []byte(s)
	for i := 1; i+1 < len(b); i++ {
		if b[i] == '.' && digit(b[i-1]) && digit(b[i+1]) {
			b[i] = ','
		}
	}
	return string(b)
}

func digit(c byte) bool { return '0' <= c && c <= '9' }

// Money prints an amount: "£2.10" in English, "2,10 £" in German and Spanish.
func (l Locale) Money(m units.Money) string {
	s := m.String()
	if l.texts == nil {
		return s
	}
	sign := ""
	if rest, ok := strings.CutPrefix(s, "-"); ok {
		sign, s = "-", rest
	}
	at := strings.IndexFunc(s, func(r rune) bool { return '0' <= r && r <= '9' })
	if at <= 0 {
		return sign + l.Figures(s)
	}
	return sign + l.Figures(s[at:]) + "\u00a0" + strings.TrimSpace(s[:at])
}

// Pressure prints pa in both unit systems, the site's habit first.
func (l Locale) Pressure(pa float64, h units.Habit) string {
	return l.Figures(units.Pressure(pa, h))
}

// ShortPressure prints pa in the site's habit alone.
func (l Locale) ShortPressure(pa float64, h units.Habit) string {
	return l.Figures(units.ShortPressure(pa, h))
}

// Flow prints an airflow in m³/s in both unit systems, the site's habit first.
func (l Locale) Flow(m3s float64, h units.Habit) string {
	return l.Figures(units.Flow(m3s, h))
}
