package phrase_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"testing"

	"clogwise/internal/entry"
	"clogwise/internal/locale"
	"clogwise/internal/phrase"
	"clogwise/internal/units"
)

// Every answer offered is a message of its own that settles what was asked:
// following any chain of answers never meets the same question twice and ends in
// something to record or to answer, or in a question that only typing can settle.
func TestChoicesSettleWhatWasAsked(t *testing.T) {
	t.Parallel()
	asks, settled := 0, 0
	for _, r := range conversation(t) {
		sc := scopeNamed(r.scope)
		m := phrase.Understand(r.message, sc)
		if m.Outcome != phrase.Ask {
			continue
		}
		asks++
		settled += follow(t, r, sc, m, nil)
	}
	if asks < 60 || settled < 100 {
		t.Errorf("only %d questions and %d settled answers in the table", asks, settled)
	}
}

// follow tries every choice of m and counts those that end well.
func follow(t *testing.T, r row, sc phrase.Scope, m phrase.Meaning, seen []string) int {
	t.Helper()
	if len(m.Ask.Choices) > 3 {
		t.Errorf("%q: %d choices", r.message, len(m.Ask.Choices))
	}
	if m.Ask.Text == "" || strings.Contains(m.Ask.Text, "\n") {
		t.Errorf("%q: not one line to ask: %q", r.message, m.Ask.Text)
	}
	n := 0
	seen = append(seen, m.Ask.Code)
	for i, c := range m.Ask.Choices {
		checkAnswers(t, r, *m.Ask, i)
		next := phrase.Understand(c.Means, sc)
		switch {
		case next.Outcome == phrase.Entry, next.Outcome == phrase.Question:
			n++
		case next.Outcome == phrase.Ask && !slices.Contains(seen, next.Ask.Code):
			n += follow(t, r, sc, next, seen)
		default:
			t.Errorf("%q asked %v; %q then means: %s", r.message, seen, c.Means, summary(next))
		}
	}
	return n
}

// checkAnswers sees that choice i is picked by its number, label and keys.
func checkAnswers(t *testing.T, r row, a phrase.Asking, i int) {
	t.Helper()
	for _, answer := range append([]string{fmt.Sprint(i + 1), fmt.Sprintf("%d.", i+1), a.Choices[i].Label, strings.ToUpper(a.Choices[i].Label) + " please"}, a.Choices[i].Keys...) {
		got := phrase.Complete(answer, a)
		if got == i {
			continue
		}
		if got >= 0 && slices.Contains(a.Choices[got].Keys, answer) { // the literal reading owns a shared key ("in")
			continue
		}
		t.Errorf("%q: %q picks %d, want %d of %v", r.message, answer, got, i, a.Choices)
	}
}

// The parts of a message that were clear stay as they were in every answer.
func TestChoicesKeepTheRest(t *testing.T) {
	t.Parallel()
	cases := []struct{ message, keeps string }{
		{"AHU-33 pre 120 bag 230 pa 42hz yesterday 14:30", "42 Hz at 2026-03-08 14:30"},
		{"ahu 3 pre 45 3.1 m3/s at 7am", "3.1 m3/s at 2026-03-09 07:00"},
		{"ahu 4 pre -60 pa 88% on Friday", "88 %"},
		{"AHU-7 secondary 0.5 kPa 42 Hz 08:10", "42 Hz at 2026-03-09 08:10"},
	}
	for _, c := range cases {
		t.Run(c.message, func(t *testing.T) {
			t.Parallel()
			sc := scopeNamed("north")
			m := phrase.Understand(c.message, sc)
			if m.Outcome != phrase.Ask || len(m.Ask.Choices) == 0 {
				t.Fatalf("means %s", summary(m))
			}
			for _, ch := range m.Ask.Choices {
				if got := summary(phrase.Understand(ch.Means, sc)); !strings.Contains(got, c.keeps) {
					t.Errorf("%q means %s, want %q kept", ch.Means, got, c.keeps)
				}
			}
		})
	}
}

var blanks = regexp.MustCompile(`\s+`)

func TestCaseAndSpacingDoNotMatter(t *testing.T) {
	t.Parallel()
	norm := func(s string) string { return strings.ToLower(blanks.ReplaceAllString(s, " ")) }
	for _, r := range conversation(t) {
		if strings.Contains(r.message, ":thumbs") || strings.Contains(r.message, "<@") || strings.Contains(r.message, "&gt;") {
			continue // chat markup is written one way
		}
		sc := scopeNamed(r.scope)
		want := norm(r.meaning)
		for how, text := range map[string]string{
			"upper": strings.ToUpper(r.message), "lower": strings.ToLower(r.message),
			"wide": strings.ReplaceAll(r.message, " ", "  "), "tabs": strings.ReplaceAll(r.message, " ", "\t"),
			"around": "  " + r.message + " \n", "crlf": strings.ReplaceAll(r.message, "\n", "\r\n"),
		} {
			if how == "upper" && strings.ContainsAny(r.message, "ßēé") {
				continue
			}
			if got := norm(summary(phrase.Understand(text, sc))); got != want {
				t.Errorf("%s %q\n got %s\nwant %s", how, text, got, want)
			}
		}
	}
}

// The same pressure typed in any unit is the same reading.
func TestUnitSystemsAgree(t *testing.T) {
	t.Parallel()
	sc := scopeNamed("north")
	rnd := rand.New(rand.NewPCG(1, 2))
	forms := map[string]units.PressureUnit{
		"Pa": units.Pa, "kPa": units.KPa, "hPa": units.HPa, "mbar": units.Mbar, "mmH2O": units.MmH2O,
		"in wc": units.InH2O, "\" w.g.": units.InH2O, "inH2O": units.InH2O, "iwc": units.InH2O, "psi": units.Psi,
	}
	for range 200 {
		pa := 20 + rnd.Float64()*500
		for name, u := range forms {
			text := fmt.Sprintf("AHU-3 bag %.6f %s", u.FromPa(pa), name)
			m := phrase.Understand(text, sc)
			if m.Outcome != phrase.Entry || len(m.Items) != 1 {
				t.Fatalf("%q means %s", text, summary(m))
			}
			// Six decimals of the coarsest unit, psi, are 0.0035 Pa.
			if got := m.Items[0].Body.(entry.Reading).Pa; math.Abs(got-pa) > 0.004 {
				t.Errorf("%q is %v Pa, want %v", text, got, pa)
			}
		}
	}
}

// The order in which a line is said does not change what it says.
func TestOrderOfStatements(t *testing.T) {
	t.Parallel()
	groups := [][]string{
		{"AHU-3 pre 112 pa bag 205 pa", "AHU-3 bag 205 pa pre 112 pa", "pre 112 pa bag 205 pa AHU-3", "112 pa pre, 205 pa bag, AHU-3", "bag 205 pa, pre 112 pa at AHU-3"},
		{"AHU-3 bag 205 pa 42 hz", "AHU-3 42 hz bag 205 pa", "42 hz AHU-3 bag 205 pa", "bag 205 pa 42 hz AHU-3"},
		{"AHU-2 pre changed 24 off clean 62 pa 42 hz", "changed AHU-2 pre 24 off 42 hz clean 62 pa", "24 off AHU-2 pre changed, clean 62 pa at 42 hz", "clean 62 pa AHU-2 pre changed 24 off 42 hz"},
		{"book AHU-6 bag 12 Mar 09:00 with Nadia", "12 Mar 09:00 book AHU-6 bag with Nadia", "AHU-6 bag book with Nadia 09:00 12 Mar"},
		{"stock BAG-592 14", "14 BAG-592 stock", "BAG-592 stock 14"},
		{"AHU-3 bag 205 pa yesterday 14:30", "yesterday 14:30 AHU-3 bag 205 pa", "AHU-3 yesterday bag 205 pa 14:30", "14:30 yesterday AHU-3 bag 205 pa"},
	}
	sc := scopeNamed("north")
	for _, g := range groups {
		want := parts(phrase.Understand(g[0], sc))
		for _, text := range g[1:] {
			if got := parts(phrase.Understand(text, sc)); got != want {
				t.Errorf("%q\n got %s\nwant %s", text, got, want)
			}
		}
	}
}

func parts(m phrase.Meaning) string {
	p := strings.Split(summary(m), "; ")
	slices.Sort(p)
	return strings.Join(p, "; ")
}

// Reading takes a number of steps that grows with the length of the message and
// no faster, whatever it holds.
func TestLinearSteps(t *testing.T) { // counts allocations, so not beside others
	sc := scopeNamed("north")
	for _, unit := range []string{
		"AHU-3 ", "pre ", "AHU-3 pre 112 pa ", "1,2,", "AHU-1,2,3,", "9 ", "9.9.", "- ", "<", "<@", ":a", "in. w. c. ", "0.5 in w c ", "12 x ",
		"n/", "not ", "on ", "how do i ", "AHU-", "AHU-99 ", "7 ", "7:", "7 mar ", "oO", "O", "0O", "''", "\"", "1/2 ", "aaaaaaaa", "é", "\n", "> a\n", "&gt;", "with N ", "AHU-6 bag tomorrow ",
		"no fire ", "cut the ", "fell ", "burning money ", "12 mm ", "chnaged ", "fan running ", "14.12. ", "stage 2 ", "xy-4 bag ",
	} {
		short := strings.Repeat(unit, 1000/len(unit))
		long := strings.Repeat(unit, 8000/len(unit))
		a, b := phrase.Steps(short, sc), phrase.Steps(long, sc)
		if b > 9*a+200 || b > 120*len(long) {
			t.Errorf("%q: %d steps for %d bytes, %d for %d", unit, a, len(short), b, len(long))
		}
		small := testing.AllocsPerRun(1, func() { phrase.Understand(short, sc) })
		large := testing.AllocsPerRun(1, func() { phrase.Understand(long, sc) })
		if large > 12*small+500 {
			t.Errorf("%q: %.0f allocations for %d bytes, %.0f for %d", unit, small, len(short), large, len(long))
		}
	}
}

func TestTooLong(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("AHU-3 bag 205 pa\n", 1000)
	if m := phrase.Understand(long, scopeNamed("north")); m.Outcome != phrase.Refused || m.Code != phrase.RefuseLong || len(m.Items) != 0 {
		t.Errorf("a long round means %s", summary(m))
	}
	if m := phrase.Understand(strings.Repeat("lorem ipsum ", 2000), scopeNamed("north")); m.Outcome != phrase.Chatter {
		t.Errorf("long talk means %s", summary(m))
	}
}

func TestWithoutRegister(t *testing.T) {
	t.Parallel()
	if m := phrase.Understand("AHU-3 bag 205 pa", phrase.Scope{}); m.Outcome != phrase.Chatter {
		t.Errorf("without a register: %s", summary(m))
	}
	sc := scopeNamed("north")
	sc.Index = nil
	if m := phrase.Understand("AHU-3 bag 205 pa", sc); m.Outcome != phrase.Entry {
		t.Errorf("without an index: %s", summary(m))
	}
}

func TestHelpIsShort(t *testing.T) {
	t.Parallel()
	lines := strings.Split(phrase.Help(locale.Locale{}), "\n")
	if len(lines) < 6 || len(lines) > 12 {
		t.Errorf("help has %d lines", len(lines))
	}
}
