// Package locale turns texts, numbers, money and dates into the language of a site.
//
// Texts are written in English where they are used, so that the code reads as what
// it says; their translations lie in the PO files of this folder, the open format of
// GNU gettext that translators' tools read. messages.pot lists every text of the
// program: a test extracts them from the source and compares.
//
// It is pure: the files are part of the program and never change.
package locale

import (
	"embed"
	"slices"
	"strings"
	"sync"

	"github.com/leonelquinteros/gotext"
	"golang.org/x/text/language"
)

//go:embed *.po
var files embed.FS

// tags are the languages beside English, each with a PO file of its name.
var tags = []string{"de", "es"}

// Locale is a language to speak in. The zero value is English.
type Locale struct {
	tag   string
	texts map[string]*gotext.Translation // by the English text; nil: English
}

// Of returns the locale of a BCP 47 tag: "de", "de-AT", "es". Whatever is not
// translated is English, like the empty tag.
func Of(tag string) Locale {
	base := baseOf(tag)
	texts, ok := load()[base]
	if !ok {
		return Locale{}
	}
	return Locale{tag: base, texts: texts}
}

// Known reports whether texts exist in the language of a tag.
func Known(tag string) bool {
	base := baseOf(tag)
	return base == "en" || slices.Contains(tags, base)
}

// Languages lists the languages that texts exist in: "en", "de", "es".
func Languages() []string { return append([]string{"en"}, tags...) }

// Tag is the language spoken: "en", "de" or "es".
func (l Locale) Tag() string {
	if l.tag == "" {
		return "en"
	}
	return l.tag
}

func baseOf(tag string) string {
	t, err := language.Parse(strings.TrimSpace(tag))
	if err != nil {
		return ""
	}
	base, _ := t.Base()
	return base.String()
}

// load reads the PO files once.
var load = sync.OnceValue(func() map[string]map[string]*gotext.Translation {
	out := make(map[string]map[string]*gotext.Translation, len(tags))
	for _, tag := range tags {
		data, err := files.ReadFile(tag + ".po")
		if err != nil {
			continue // the tests refuse a program without its texts
		}
		po := gotext.NewPo()
		po.Parse(data)
		out[tag] = po.GetDomain().GetTranslations()
	}
	return out
})
