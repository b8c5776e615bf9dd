package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
)

// What a machine reads of a line: outcome and kinds, taking back and crew among them.
func TestParsePrintsKinds(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ line, outcome, want string }{
		{"undo 1040", "entry", `"kind":"retract"`},
		{"undo 1040", "entry", `"seq":1040`},
		{"undo", "entry", `"kind":"retract"`},
		{"book AHU-1 pre 3 Mar 09:00 with Tove", "entry", `"crew":["Tove"]`},
		{"AHU-1 pre 92 Pa", "entry", `"pa":92`},
		{"lunch anyone at 12?", "chatter", `"outcome":"chatter"`},
		{"due", "question", `"query":"due"`},
		{"confirm 1045", "entry", `"kind":"amend"`},
		{"confirm 1045", "entry", `"seq":1045`},
		{"confirm AHU-3 bag", "entry", `"bank":"secondary"`},
		{"pairs AHU-3", "question", `"places":["clinic/ahu-3"]`},
		{"AHU-3 bag not changed", "question", `"query":"not-changed"`},
		{"remove Tove's lock from AHU-1", "refused", `"code":"`},
	} {
		out, err := inFolder(t, filepath.Join(t.TempDir(), "none"), "parse", "--json", "--site", "clinic", tc.line)
		if err != nil {
			t.Fatal(err)
		}
		_, object, _ := strings.Cut(out, "{")
		var got struct{ Outcome string }
		if err := json.Unmarshal([]byte("{"+object), &got); err != nil {
			t.Fatalf("%s: %v in %s", tc.line, err, out)
		}
		if got.Outcome != tc.outcome || !strings.Contains(out, tc.want) {
			t.Errorf("%s: %s; want %s with %s", tc.line, out, tc.outcome, tc.want)
		}
	}
}
