package phrase_test

import (
	"flag"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"clogwise/internal/entry"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
)

var scopes = []string{"north", "clinic", "both", "home", "thread", "jobs", "job", "berlin", "all",
	"demo", "demo-works", "demo-hall", "demo-both", "demo-thread", "demo-jobs", "demo-job"}

// seeds are the rows that a fuzzer starts from: all as a test, each 16th when it
// fuzzes. Each is run under slow instruments before the first new input, which
// with all of them takes longer than CI fuzzes.
func seeds(f *testing.F) []row {
	all := conversation(f)
	if fuzzing := flag.Lookup("test.fuzz"); fuzzing == nil || fuzzing.Value.String() == "" {
		return all
	}
	var some []row
	for i := 0; i < len(all); i += 16 {
		some = append(some, all[i])
	}
	return some
}

func FuzzUnderstand(f *testing.F) {
	for _, r := range seeds(f) {
		for i, s := range scopes {
			if s == r.scope {
				f.Add(r.message, uint8(i))
			}
		}
	}
	f.Fuzz(func(t *testing.T, text string, scope uint8) {
		sc := scopeNamed(scopes[int(scope)%len(scopes)])
		m := phrase.Understand(text, sc)
		if again := phrase.Understand(text, sc); summary(again) != summary(m) {
			t.Errorf("%q means two things: %s, and %s", text, summary(m), summary(again))
		}
		if steps := phrase.Steps(text[:min(len(text), phrase.MaxLength)], sc); steps > 120*(min(len(text), phrase.MaxLength)+10) {
			t.Errorf("%q takes %d steps", text, steps)
		}
		checkMeaning(t, text, sc, m)
	})
}

func checkMeaning(t *testing.T, text string, sc phrase.Scope, m phrase.Meaning) {
	t.Helper()
	switch m.Outcome {
	case phrase.Entry:
		if len(m.Items) == 0 {
			t.Errorf("%q: an entry with nothing to record", text)
		}
	case phrase.Question:
		if m.Query == nil || len(m.Items) > 0 {
			t.Errorf("%q: a question without a query", text)
		}
	case phrase.Ask:
		if m.Ask == nil || m.Ask.Code == "" || m.Ask.Text == "" || len(m.Ask.Choices) > 3 || len(m.Items) > 0 {
			t.Errorf("%q: a bad question back", text)
		}
		for _, c := range m.Ask.Choices {
			if c.Label == "" || c.Means == "" || len(c.Keys) == 0 {
				t.Errorf("%q: an empty choice", text)
			}
			if !ends(c.Means, sc) {
				t.Errorf("%q: %q is asked about without end", text, c.Means)
			}
		}
	case phrase.Refused:
		if m.Code == "" || m.Reply == "" {
			t.Errorf("%q: refused without a word", text)
		}
	case phrase.Chatter:
		if len(m.Items) > 0 || m.Query != nil {
			t.Errorf("%q: chatter with content", text)
		}
	default:
		t.Errorf("%q: outcome %q", text, m.Outcome)
	}
	for _, it := range m.Items {
		checkItem(t, text, sc, it)
	}
}

// ends reports whether answering every question with its first choice comes to
// an end. A strange message may hold several faults, each asked about in turn.
func ends(text string, sc phrase.Scope) bool {
	for range 12 {
		m := phrase.Understand(text, sc)
		if m.Ask == nil || len(m.Ask.Choices) == 0 || len(text) > phrase.MaxLength {
			return true
		}
		text = m.Ask.Choices[0].Means
	}
	return false
}

func checkItem(t *testing.T, text string, sc phrase.Scope, it phrase.Item) {
	t.Helper()
	if !known(sc.Register, it.Place) {
		t.Errorf("%q: item at unknown place %q", text, it.Place)
	}
	if it.At.After(sc.Now) {
		t.Errorf("%q: item at %v, in the future", text, it.At)
	}
	if it.At.IsZero() {
		t.Errorf("%q: item without a time", text)
	}
	pressure := func(name string, v *float64) {
		if v != nil && !(*v >= phrase.LowestPa && *v <= phrase.HighestPa) {
			t.Errorf("%q: %s %v Pa", text, name, *v)
		}
	}
	air := func(flow, hz, pct *float64) {
		for _, v := range []*float64{flow, hz, pct} {
			if v != nil && !(*v > 0 && *v <= 1000) {
				t.Errorf("%q: airflow figure %v", text, *v)
			}
		}
	}
	bank := false
	switch b := it.Body.(type) {
	case entry.Reading:
		bank = true
		pressure("reading", &b.Pa)
		air(b.FlowM3s, b.FanHz, b.FanPct)
		if !(b.StepPa > 0) || math.IsInf(b.StepPa, 0) {
			t.Errorf("%q: step %v", text, b.StepPa)
		}
	case entry.Swap:
		bank = true
		pressure("clean", b.CleanPa)
		pressure("before", b.BeforePa)
		air(b.FlowM3s, b.FanHz, b.FanPct)
		if b.Count != nil && (*b.Count < 1 || *b.Count > 500) {
			t.Errorf("%q: %d filters", text, *b.Count)
		}
	case entry.Range:
		bank = true
		pressure("low", &b.LowPa)
		pressure("high", &b.HighPa)
		if b.LowPa > b.HighPa {
			t.Errorf("%q: range %v to %v", text, b.LowPa, b.HighPa)
		}
	case entry.OverRange:
		bank = true
		pressure("top", &b.TopPa)
	case entry.ZeroCheck:
		bank = true
		pressure("offset", &b.OffsetPa)
	case entry.JobDone:
		pressure("clean", b.CleanPa)
	case entry.Defer:
		bank = true
		if b.Until.Before(sc.Now) || b.Reason == "" {
			t.Errorf("%q: deferred to %v for %q", text, b.Until, b.Reason)
		}
	case entry.Booking:
		if !b.Cancelled && !b.Start.After(sc.Now) {
			t.Errorf("%q: booked for %v", text, b.Start)
		}
	case entry.Order:
		if b.Count < 1 || b.Item == "" {
			t.Errorf("%q: order of %d %q", text, b.Count, b.Item)
		}
	case entry.Stock:
		if b.Count < 0 || b.Item == "" {
			t.Errorf("%q: stock of %d %q", text, b.Count, b.Item)
		}
	case entry.Skip:
		if b.Reason == "" {
			t.Errorf("%q: skipped without a reason", text)
		}
	case entry.Defect:
		if b.Note == "" {
			t.Errorf("%q: defect without a note", text)
		}
	case entry.Event:
		if b.What == "" {
			t.Errorf("%q: event without a name", text)
		}
	case entry.FanOff, entry.JobStart:
	default:
		t.Errorf("%q: %T is not typed by people", text, it.Body)
	}
	if bank && !it.Place.Whole() {
		t.Errorf("%q: %T at %s, which is no bank", text, it.Body, it.Place)
	}
	if !utf8.ValidString(it.Line) || strings.ContainsRune(it.Line, 0) || it.Line == "" {
		t.Errorf("%q: kept as %q", text, it.Line)
	}
}

func known(r *plant.Register, id plant.BankID) bool {
	if id.Whole() {
		_, ok := r.Bank(id)
		return ok
	}
	if id == plant.BankID(id.Site()) {
		_, ok := r.Site(id.Site())
		return ok
	}
	_, ok := r.AHU(id)
	return ok
}

func FuzzComplete(f *testing.F) {
	for _, r := range seeds(f) {
		f.Add("1", r.message)
		f.Add("pa", r.message)
		f.Add("northgate ok", r.message)
	}
	f.Fuzz(func(t *testing.T, answer, message string) {
		m := phrase.Understand(message, scopeNamed("both"))
		if m.Ask == nil {
			return
		}
		got := phrase.Complete(answer, *m.Ask)
		if got < -1 || got >= len(m.Ask.Choices) {
			t.Errorf("%q to %q picks %d of %d", answer, m.Ask.Text, got, len(m.Ask.Choices))
		}
		if phrase.Complete(answer, *m.Ask) != got {
			t.Errorf("%q picks differently the second time", answer)
		}
	})
}
