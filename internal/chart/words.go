package chart

import (
	"strings"
	"time"
)

// date prints t by a layout with the words' names of months.
func (w Words) date(t time.Time, layout string) string {
	before, after, named := strings.Cut(layout, "Jan")
	name := w.Months[t.Month()-1]
	if !named || name == "" {
		return t.Format(layout)
	}
	out := name
	if before != "" {
		out = t.Format(before) + out
	}
	if after != "" {
		out += t.Format(after)
	}
	return out
}

// figures gives a figure the words' decimal sign.
func (w Words) figures(s string) string {
	if w.Decimal == "" {
		return s
	}
	return strings.ReplaceAll(s, ".", w.Decimal)
}
