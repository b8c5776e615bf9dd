package phrase_test

import (
	"bytes"
	"flag"
	"os"
	"strings"
	"testing"

	"clogwise/internal/phrase"
)

var update = flag.Bool("update", false, "rewrite the meanings in testdata/messages.tsv")

// row is one line of the conversation table.
type row struct{ scope, message, meaning string }

func conversation(t testing.TB) []row {
	t.Helper()
	raw, err := os.ReadFile("testdata/messages.tsv")
	if err != nil {
		t.Fatal(err)
	}
	var out []row
	for _, l := range strings.Split(string(raw), "\n") {
		if r, ok := parseRow(l); ok {
			out = append(out, r)
		}
	}
	return out
}

// parseRow cuts a line at its first and last tab, so that a message may hold
// tabs of its own.
func parseRow(l string) (row, bool) {
	first, last := strings.Index(l, "\t"), strings.LastIndex(l, "\t")
	if strings.HasPrefix(l, "#") || first < 0 || first == last {
		return row{}, false
	}
	return row{l[:first], strings.ReplaceAll(l[first+1:last], "⏎", "\n"), l[last+1:]}, true
}

func TestConversation(t *testing.T) {
	t.Parallel()
	if *update {
		rewrite(t)
	}
	rows := conversation(t)
	if len(rows) < 196 {
		t.Errorf("the table has shrunk to %d rows", len(rows))
	}
	for _, r := range rows {
		t.Run(r.scope+": "+r.message, func(t *testing.T) {
			t.Parallel()
			if got := summary(phrase.Understand(r.message, scopeNamed(r.scope))); got != r.meaning {
				t.Errorf("%q\n got %s\nwant %s", r.message, got, r.meaning)
			}
		})
	}
}

func rewrite(t *testing.T) {
	t.Helper()
	raw, err := os.ReadFile("testdata/messages.tsv")
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	for _, l := range strings.SplitAfter(string(raw), "\n") {
		r, ok := parseRow(strings.TrimSuffix(l, "\n"))
		if !ok {
			out.WriteString(l)
			continue
		}
		out.WriteString(l[:strings.LastIndex(l, "\t")+1])
		out.WriteString(summary(phrase.Understand(r.message, scopeNamed(r.scope))) + "\n")
	}
	if err := os.WriteFile("testdata/messages.tsv", out.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}
