package slack

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

func TestSplit(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		text  string
		limit int
		want  []string
	}{
		"fits":                         {"ab\ncd", 5, []string{"ab\ncd"}},
		"at line ends":                 {"ab\ncd\nef", 5, []string{"ab\ncd", "ef"}},
		"long line at words":           {"ab cd ef", 5, []string{"ab cd", "ef"}},
		"long word anywhere":           {"abcdefg", 3, []string{"abc", "def", "g"}},
		"escaped characters count":     {"<<<\n<", 12, []string{"<<<", "<"}},
		"entity is not cut":            {"&&&", 12, []string{"&&", "&"}},
		"blank line at the cut goes":   {"abc\n\ndef", 4, []string{"abc", "def"}},
		"characters outside the plane": {"😀😀😀", 4, []string{"😀😀", "😀"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := split(c.text, c.limit)
			if strings.Join(got, "|") != strings.Join(c.want, "|") {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// The longest digest there is a sample of goes out in messages that the platform takes,
// each of whole rows, and nothing of it is lost.
func TestDigestIsCutBetweenRows(t *testing.T) {
	t.Parallel()
	samples, err := filepath.Glob(filepath.Join("..", "..", "internal", "digest", "testdata", "weekly-*.txt"))
	if err != nil || len(samples) == 0 {
		t.Fatalf("no sample of a digest: %v", err)
	}
	cut := false
	for _, sample := range samples {
		raw, err := os.ReadFile(sample)
		if err != nil {
			t.Fatal(err)
		}
		for _, limit := range []int{textLimit, sectionLimit, 700} {
			rows := nonBlank(string(raw))
			var got []string
			pieces := split(strings.TrimSpace(string(raw)), limit)
			cut = cut || len(pieces) > 1
			for _, p := range pieces {
				if width(p) > limit {
					t.Errorf("%s: a message of %d characters, limit %d", sample, width(p), limit)
				}
				got = append(got, nonBlank(p)...)
			}
			if !slices.Equal(got, rows) {
				t.Errorf("%s cut at %d: %d rows became %d", sample, limit, len(rows), len(got))
			}
		}
	}
	if !cut {
		t.Error("no sample is long enough to be cut")
	}
}

func nonBlank(text string) (out []string) {
	for line := range strings.SplitSeq(text, "\n") {
		if strings.TrimSpace(line) != "" {
			out = append(out, strings.TrimRight(line, " "))
		}
	}
	return out
}

func FuzzSplit(f *testing.F) {
	f.Add("AHU-3: 145 Pa\nAHU-4: 150 Pa", 20)
	f.Add("&<>\xff 😀", 7)
	f.Fuzz(func(t *testing.T, text string, limit int) {
		if limit < 6 || limit > 4000 || !utf8.ValidString(text) {
			t.Skip()
		}
		squeeze := func(s string) string { return strings.Join(strings.Fields(s), "") }
		pieces := split(text, limit)
		for _, p := range pieces {
			if width(p) > limit {
				t.Errorf("piece of %d characters, limit %d", width(p), limit)
			}
		}
		if squeeze(strings.Join(pieces, "")) != squeeze(text) {
			t.Errorf("%q became %q", text, pieces)
		}
	})
}

// Whatever comes, reading markup ends, and what we escape reads back as it was.
func FuzzPlain(f *testing.F) {
	f.Add("<@U1> *ahu3* _bag_ `145` &amp;lt; <http://a|b> <#C|>")
	f.Add("<<>>|*_`*_` ``` &")
	f.Fuzz(func(t *testing.T, text string) {
		plain(text, "U1", func(user string) string { return user })
		if strings.ContainsAny(text, "*_`•◦▪") || text != strings.TrimSpace(text) {
			t.Skip()
		}
		if got := plain(escape(text), "U1", func(user string) string { return user }); got != text {
			t.Errorf("%q came back as %q", text, got)
		}
	})
}

func TestActionSurvives(t *testing.T) {
	t.Parallel()
	for _, action := range []string{"answer", "dismiss#all", "a#1#2", "#"} {
		if got := actionOf(actionID(action, 12)); got != action {
			t.Errorf("%q became %q", action, got)
		}
	}
}
