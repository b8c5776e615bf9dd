package bot_test

import (
	"bytes"
	"regexp"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
)

// englishWords are such as neither German nor Spanish has: those of sentences, of banks
// and of commands.
var englishWords = regexp.MustCompile(`(?i)\b(the|of|is|are|were|not|and|since|from|has|have|your|this|it|by|changed|missing|reading|limit|` +
	`primary|secondary|third|return|undo|due|owed|orders|visits|steps|stock|home|round|skip|book|defer|cancel|pairs|help|why|how|clean|bag|pre)\b`)

// typed are words that are the same in every language: commands of a shell, codes, ids
// of banks, and what the register says of its own figures.
var typed = regexp.MustCompile(`(?i)(BAG-\w+|clogwise [a-z -]+|\(invented[^)]*\)|invented for the demo|[a-z0-9-]+/[a-z0-9-]+/[a-z0-9-]+)`)

// TestNoEnglishIsLeft has a crew of a site that speaks another language say and ask
// what there is to say and ask. Names of places and sources of figures are the
// register's own; no sentence, bank or command is English.
func TestNoEnglishIsLeft(t *testing.T) {
	t.Parallel()
	for _, tag := range []string{"de", "es"} {
		t.Run(tag, func(t *testing.T) {
			t.Parallel()
			r := newRigIn(t, tag)
			r.aged()
			seen := map[string]bool{}
			for _, x := range []struct{ who, text string }{
				{tove, "AHU-3 bag 145 Pa at 45 Hz"}, {tove, "ahu3 prim 92pa sec 150pa @ 48Hz"}, {tove, "AHU-3 bag 60 Pa"}, {tove, "AHU-3 bag pegged"},
				{tove, "AHU-2 bags changed"}, {tove, "undo"}, {tove, "AHU-2 pre changed, 24 off, clean 62 Pa"}, {tove, "skip AHU-10: locked"},
				{tove, "AHU-3 fan off"}, {tove, "AHU-3 pre zero check ok"}, {tove, "AHU-4 belt squealing"}, {tove, "building work near AHU-1,2"},
				{tove, "AHU-3 150 Pa"}, {tove, "AHU-3 bag 0"}, {tove, "AHU-3 bag 1500 Pa"}, {tove, "AHU-99 bag 100 Pa"}, {tove, "same as last week all"},
				{tove, "stock QC-B600 4"}, {tove, "why AHU-3 bag"}, {tove, "why AHU-2 pre"}, {tove, "how AHU-3"}, {tove, "cost AHU-3"},
				{tove, "chart AHU-3 bag"}, {tove, "steps AHU-3"}, {tove, "steps EF-9"}, {tove, "owed"}, {tove, "home"}, {tove, "round AHU-3"},
				{maren, "due"}, {maren, "visits"}, {maren, "orders"}, {maren, "stock"}, {maren, "digest"}, {maren, "pairs"}, {maren, "pairs AHU-3"},
				{maren, "compare QC-B600 PNL-592 for AHU-3 bag"}, {maren, "compare QC-B600 QC-P48 for AHU-3 bag"}, {maren, "book AHU-3 bag 12 May 09:00 with Tove"}, {maren, "book AHU-3 bag 20 May 09:00 with Tove"},
				{maren, "defer AHU-2 bag to 12 Jun: Probe"}, {maren, "ordered 24 QC-B600"}, {maren, "confirm 99999"}, {maren, "status"}, {maren, "AHU-4 back on, clean 60 Pa 45 Hz"},
				{guest, "AHU-3 bag 100 Pa"}, {guest, "home"}, {maren, "due xlsx"},
				{maren, "help"}, {maren, "digest xlsx"}, {maren, "chart AHU-3 bag xlsx"}, {tove, "steps read"}, {tove, "on site AHU-3 pre, about to start"},
				{tove, "on site AHU-3 bag, about to start"}, {tove, "done"}, {tove, "none"}, {tove, "done"}, {tove, "same"}, {tove, "AHU-3 -150"}, {tove, "AHU-3 80 150"},
				{maren, "defer AHU-2 bag"}, {maren, "book AHU-2 bag"}, {maren, "cancel AHU-3 bag"}, {maren, "confirm AHU-3 bag"}, {maren, "compare"}, {maren, "chart"}, {maren, "cost"}, {maren, "why"},
				{tove, "correction AHU-3 bag"}, {tove, "AHU-3 bag not changed"}, {tove, "zero AHU-3 bag 12 Pa"}, {tove, "AHU-3 bag 120 Pa wet"},
			} {
				r.says(x.who, x.text)
				posts, err := r.store.Posts(t.Context(), ledger.PostReady, 0)
				must(t, err)
				for _, made := range posts {
					if seen[made.Key] {
						continue
					}
					seen[made.Key] = true
					p := made.Post
					text := p.Text
					for _, c := range p.Choices {
						text += "\n" + c.Label
					}
					for _, f := range p.Files {
						text += "\n" + f.Title + "\n" + cellsOf(t, f)
					}
					for line := range strings.SplitSeq(text, "\n") {
						if found := englishWords.FindString(typed.ReplaceAllString(line, "")); found != "" {
							t.Errorf("%q is answered with %q in\n%s", x.text, found, line)
						}
					}
				}
			}
			if len(seen) < 40 {
				t.Errorf("only %d answers were looked at", len(seen))
			}
		})
	}
}

// cellsOf is the text of a workbook.
func cellsOf(t *testing.T, f channel.File) string {
	t.Helper()
	if !strings.HasSuffix(f.Name, ".xlsx") {
		return ""
	}
	book, err := excelize.OpenReader(bytes.NewReader(f.Data))
	must(t, err)
	var b strings.Builder
	for _, sheet := range book.GetSheetList() {
		b.WriteString(sheet + "\n")
		rows, err := book.GetRows(sheet)
		must(t, err)
		for _, row := range rows {
			b.WriteString(strings.Join(row, "\n") + "\n")
		}
	}
	return b.String()
}
