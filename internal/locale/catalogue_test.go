package locale_test

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/leonelquinteros/gotext"
)

var update = flag.Bool("update", false, "write messages.pot anew and add texts that are missing to the PO files, untranslated")

// TestEveryTextIsTranslated holds the catalogue to the program: the template lists
// every text, each language has each of them with the same arguments, and none that
// the program no longer says.
func TestEveryTextIsTranslated(t *testing.T) {
	texts := extract(t)
	if len(texts) < 2 {
		t.Fatalf("only %d texts found: the extraction is broken", len(texts))
	}
	if *update {
		if err := os.WriteFile("messages.pot", []byte(template(texts)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if readFile(t, "messages.pot") != template(texts) {
		t.Error("messages.pot is not what the program says; run: go test ./internal/locale -update")
	}
	for _, tag := range []string{"de", "es"} {
		t.Run(tag, func(t *testing.T) { checkLanguage(t, tag, texts) })
	}
}

func checkLanguage(t *testing.T, tag string, texts map[string]source) {
	data := readFile(t, tag+".po")
	po := gotext.NewPo()
	po.Parse([]byte(data))
	have := po.GetDomain().GetTranslations()
	delete(have, "")
	var missing strings.Builder
	for _, id := range slices.Sorted(maps.Keys(texts)) {
		s := texts[id]
		tr := have[id]
		delete(have, id)
		if tr == nil {
			t.Errorf("not in %s.po: %q", tag, id)
			if s.many != "" {
				fmt.Fprintf(&missing, "\nmsgid %s\nmsgid_plural %s\nmsgstr[0] \"\"\nmsgstr[1] \"\"\n", quote(s.one), quote(s.many))
			} else {
				fmt.Fprintf(&missing, "\nmsgid %s\nmsgstr \"\"\n", quote(s.one))
			}
			continue
		}
		forms := map[int]string{0: s.one}
		if s.many != "" {
			forms[1] = s.many
		}
		for n, english := range forms {
			if strings.TrimSpace(tr.Trs[n]) == "" {
				t.Errorf("%s.po: not translated: %q", tag, english)
			} else if got, want := verbs(tr.Trs[n]), verbs(english); !slices.Equal(got, want) {
				t.Errorf("%s.po: %q takes %v, its translation %q %v", tag, english, want, tr.Trs[n], got)
			}
		}
	}
	for id := range have {
		t.Errorf("%s.po: no longer said: %q", tag, id)
	}
	if *update && missing.Len() > 0 {
		if err := os.WriteFile(tag+".po", []byte(strings.TrimRight(data, "\n")+"\n"+missing.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

var verb = regexp.MustCompile(`%(\[(\d+)\])?([-+# 0]*[\d.]*)([a-zA-Z%])`)

// verbs lists the arguments that a format takes as "number:verb", in their order.
func verbs(format string) []string {
	var out []string
	next := 1
	for _, m := range verb.FindAllStringSubmatch(format, -1) {
		if m[4] == "%" {
			continue
		}
		if m[2] != "" {
			fmt.Sscan(m[2], &next)
		}
		out = append(out, fmt.Sprintf("%02d:%s%s", next, m[3], m[4]))
		next++
	}
	slices.Sort(out)
	return out
}

func TestVerbsFollowIndexes(t *testing.T) {
	t.Parallel()
	if got, want := verbs("%[2]s am %[1]d., 100 %%"), verbs("%d on %s, 100 %%"); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if slices.Equal(verbs("%d and %s"), verbs("%s and %d")) {
		t.Error("arguments in the wrong order pass")
	}
}
