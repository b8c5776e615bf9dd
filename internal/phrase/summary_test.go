package phrase_test

import (
	"fmt"
	"sort"
	"strconv"
	"strings"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
)

// summary writes a meaning on one line, as the conversation table holds it.
func summary(m phrase.Meaning) string {
	var parts []string
	for _, it := range m.Items {
		parts = append(parts, itemSummary(it))
	}
	if m.Query != nil {
		parts = append(parts, querySummary(*m.Query))
	}
	switch m.Outcome {
	case phrase.Ask:
		var labels []string
		for _, c := range m.Ask.Choices {
			labels = append(labels, c.Label)
		}
		parts = append(parts, fmt.Sprintf("ask %s: %s", m.Ask.Code, strings.Join(labels, " | ")))
	case phrase.Refused:
		parts = append(parts, "refused "+m.Code)
	case phrase.Chatter:
		parts = append(parts, "chatter")
	case phrase.Entry, phrase.Question:
	}
	return strings.Join(parts, "; ")
}

func place(id plant.BankID) string {
	return strings.TrimPrefix(string(id), "northgate/")
}

func pascal(v float64) string { return strconv.FormatFloat(v, 'f', 0, 64) + " Pa" }

func itemSummary(it phrase.Item) string {
	var w []string
	add := func(format string, a ...any) { w = append(w, fmt.Sprintf(format, a...)) }
	air := func(flow, hz, pct *float64) {
		if flow != nil {
			add("%.3g m3/s", *flow)
		}
		if hz != nil {
			add("%g Hz", *hz)
		}
		if pct != nil {
			add("%g %%", *pct)
		}
	}
	add("%s %s", it.Body.Kind(), place(it.Place))
	switch b := it.Body.(type) {
	case entry.Reading:
		add("%s", pascal(b.Pa))
		air(b.FlowM3s, b.FanHz, b.FanPct)
		if b.Wet {
			add("wet")
		}
	case entry.Swap:
		if b.Count != nil {
			add("%d off", *b.Count)
		}
		if b.BeforePa != nil {
			add("before %s", pascal(*b.BeforePa))
		}
		if b.CleanPa != nil {
			add("clean %s", pascal(*b.CleanPa))
		}
		air(b.FlowM3s, b.FanHz, b.FanPct)
		if b.Item != "" {
			add("with %s", b.Item)
		}
		if b.Who != "" {
			add("by %s", b.Who)
		}
		if b.Confirmed {
			add("confirmed")
		}
	case entry.ZeroCheck:
		add("offset %s", pascal(b.OffsetPa))
	case entry.OverRange:
		add(">%s", pascal(b.TopPa))
		air(b.FlowM3s, b.FanHz, b.FanPct)
	case entry.Range:
		add("%s-%s", pascal(b.LowPa), pascal(b.HighPa))
	case entry.Skip:
		add("%q", b.Reason)
	case entry.FanOff:
		if b.Reason != "" {
			add("%q", b.Reason)
		}
	case entry.Defect:
		add("%q", b.Note)
		if b.Fixed {
			add("fixed")
		}
	case entry.Event:
		add("%q", b.What)
	case entry.Booking:
		if b.Cancelled {
			add("cancelled")
		} else {
			add("%s", b.Start.Format("2006-01-02 15:04 MST"))
		}
		if len(b.Crew) > 0 {
			add("with %s", strings.Join(b.Crew, "+"))
		}
	case entry.JobDone:
		if b.CleanPa != nil {
			add("clean %s", pascal(*b.CleanPa))
		}
		air(nil, b.FanHz, nil)
		if b.ZeroOK {
			add("zero ok")
		}
	case entry.Stock:
		add("%s %d", b.Item, b.Count)
	case entry.Order:
		add("%s %d", b.Item, b.Count)
		if b.Requested {
			add("wanted")
		}
		if b.Received {
			add("received")
		}
		if b.Due != nil {
			add("due %s", b.Due.Format(time.DateOnly))
		}
	case entry.Defer:
		add("until %s %q", b.Until.Format(time.DateOnly), b.Reason)
	}
	if it.CorrectsLast {
		add("corrects")
	}
	if it.Was != nil {
		add("was %s", pascal(*it.Was))
	}
	if !it.At.Equal(now) {
		add("at %s", it.At.Format("2006-01-02 15:04 MST"))
	}
	if len(it.Unstated) > 0 {
		add("lacks %s", strings.Join(it.Unstated, "+"))
	}
	flags := append([]string(nil), it.Flags...)
	sort.Strings(flags)
	if len(flags) > 0 {
		add("[%s]", strings.Join(flags, " "))
	}
	return strings.Join(w, " ")
}

func querySummary(q phrase.Query) string {
	w := []string{"query", string(q.Kind)}
	for _, p := range q.Places {
		w = append(w, place(p))
	}
	w = append(w, q.Items...)
	if q.Seq != 0 {
		w = append(w, "#"+strconv.FormatInt(q.Seq, 10))
	}
	if q.Within != 0 {
		w = append(w, "within "+strconv.Itoa(int(q.Within/(24*time.Hour)))+" days")
	}
	return strings.Join(w, " ")
}
