package bot_test

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/leonelquinteros/gotext"

	"clogwise/internal/locale"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// hinted is what a text of the catalogue tells people to type.
var hinted = regexp.MustCompile("`([^`]+)`")

// frames complete hints that are part of a message, by the English one.
var frames = map[string]string{
	"wet": "AHU-3 bag 120 Pa %s", "zero ok": "AHU-3 bag %s", "pegged": "AHU-3 bag %s", "fan off": "AHU-3 %s", "skip: room locked": "AHU-3 %s",
	"45 Hz": "AHU-3 bag 120 Pa %s", "90 %": "AHU-3 bag 120 Pa %s", "3.1 m3/s": "AHU-3 bag 120 Pa %s", "confirm": "%s 4127",
}

// asking are messages that lead to the questions whose answers a text names.
var asking = map[string]string{
	"over the top of its gauge": "AHU-3 bag 600 Pa", "twice its limit": "AHU-3 bag 450 Pa", "is very high": "AHU-3 bag 450 Pa",
	"reads backwards": "AHU-3 bag -150 Pa", "the other way round": "AHU-3 80 150 Pa", "or type them with the word": "AHU-3 80 150 Pa",
	"The units differ": "AHU-3 pre 118 Pa, bag 0.8",
}

// TestWhatAnswersTellToType takes every command that any text of the catalogue quotes,
// in each language, and holds the grammar to it: it is understood, and means what the
// English one in its place means.
func TestWhatAnswersTellToType(t *testing.T) {
	t.Parallel()
	texts := map[string]map[string]string{}
	for _, tag := range locale.Languages()[1:] {
		raw, err := os.ReadFile(filepath.Join("..", "internal", "locale", tag+".po"))
		must(t, err)
		po := gotext.NewPo()
		po.Parse(raw)
		texts[tag] = map[string]string{}
		for english, tr := range po.GetDomain().GetTranslations() {
			texts[tag][english] = tr.Get()
		}
	}
	rigs := map[string]*rig{"en": newRig(t), "de": newRigIn(t, "de"), "es": newRigIn(t, "es")}
	n := 0
	for _, english := range slices.Sorted(maps.Keys(texts["de"])) {
		if tells.MatchString(english) && !strings.Contains(english, "`") && !says(english, instead) {
			t.Errorf("what to type is not marked in %q", english)
		}
		for i, hint := range hinted.FindAllStringSubmatch(english, -1) {
			n++
			if answersQuestion(english) {
				for tag, r := range rigs {
					h := hintAt(english, texts[tag], i)
					if !r.answers(tag, english, h) {
						t.Errorf("%s: %q of %q answers no question", tag, h, english)
					}
				}
				continue
			}
			fill, want := rigs["en"].fillFor(hint[1])
			if want == "" {
				t.Errorf("%q of %q is not understood", hint[1], english)
				continue
			}
			for tag := range texts {
				h := hintAt(english, texts[tag], i)
				typed := rigs[tag].filled(tag, hint[1], h, fill)
				if got := rigs[tag].meaningOf(tag, typed); got != want {
					t.Errorf("%s: %q of %q means %s; %q means %s", tag, typed, texts[tag][english], got, hint[1], want)
				}
			}
		}
	}
	if n < 60 {
		t.Errorf("only %d hints found", n)
	}
}

// tells finds texts that tell what to type; instead are those that name no command.
var tells = regexp.MustCompile(`(?i)\b(type|write for example|reply (?:ok|minus)|for example)\b`)

var instead = []string{
	"filter type", "respirator type", "Type what", "type it again", "Type it again", "Type /", "Type: %s", "type: %s", "Type for example: %s", "Write for example: %s", "type its value",
	"write for example ISO", "reply is late", "for example 6000", "The number stands",
}

func says(text string, parts []string) bool {
	return slices.ContainsFunc(parts, func(p string) bool { return strings.Contains(text, p) })
}

func answersQuestion(english string) bool {
	return says(english, slices.Collect(maps.Keys(asking)))
}

// answers reports whether a word picks a choice of the question that a text is.
func (r *rig) answers(tag, english, word string) bool {
	for part, message := range asking {
		if strings.Contains(english, part) {
			if m := phrase.Understand(message, r.scope(tag)); m.Ask != nil && phrase.Complete(word, *m.Ask) >= 0 {
				return true
			}
		}
	}
	return false
}

// hintAt is the hint of a text in a language; nil texts are English.
func hintAt(english string, texts map[string]string, i int) string {
	text := english
	if texts != nil {
		text = texts[english]
	}
	if all := hinted.FindAllStringSubmatch(text, -1); i < len(all) {
		return all[i][1]
	}
	return ""
}

// scope is what is known when somebody types at the clinic, in a talk about a bank
// that is booked.
func (r *rig) scope(tag string) phrase.Scope {
	reg, err := r.view.Register(r.t.Context())
	must(r.t, err)
	bank := plant.BankID("clinic/ahu-3/secondary")
	return phrase.Scope{Register: reg, Index: phrase.NewIndex(reg), Sites: []string{"clinic"}, HomeSite: "clinic", Here: bank, Booked: []plant.BankID{bank}, Now: r.now, By: maren, In: locale.Of(tag)}
}

// values are what stands for a verb of a hint: a bank, a code, a day, a command.
func (r *rig) values(tag string) []string {
	bank := r.scope(tag).Register.Name("clinic/ahu-3/secondary")
	return append([]string{"AHU-3", bank, "QC-B600"}, map[string][]string{
		"en": {"12 Mar 09:00", "why"}, "de": {"12. Mär 09:00", "warum"}, "es": {"12 mar 09:00", "por qué"},
	}[tag]...)
}

var places = regexp.MustCompile(`%(?:\[\d+\])?[sd]`)

// codes are items of the clinic in place of those that texts name.
var codes = strings.NewReplacer("BAG-F7", "QC-B600", "BAG-E60", "QC-P48", "CODE", "QC-B600")

// fillFor finds values with which an English hint is understood, and what it means.
func (r *rig) fillFor(hint string) (fill []int, means string) {
	n := len(places.FindAllString(hint, -1))
	of := len(r.values("en"))
	for pick := range pow(of, n) {
		fill = fill[:0]
		for range n {
			fill = append(fill, pick%of)
			pick /= of
		}
		if m := r.meaningOf("en", r.filled("en", hint, hint, fill)); m != "" {
			return fill, m
		}
	}
	return nil, ""
}

func pow(a, n int) int {
	out := 1
	for range n {
		out *= a
	}
	return out
}

// filled is a hint with values in place of its verbs, within its frame.
func (r *rig) filled(tag, english, hint string, fill []int) string {
	i := -1
	hint = places.ReplaceAllStringFunc(hint, func(verb string) string {
		i++
		if strings.HasSuffix(verb, "d") {
			return "4127"
		}
		return r.values(tag)[fill[min(i, len(fill)-1)]]
	})
	if frame, ok := frames[english]; ok {
		hint = fmt.Sprintf(frame, hint)
	}
	return codes.Replace(hint)
}

// meaningOf is what a message comes to, empty when it is not understood or leads to a
// question.
func (r *rig) meaningOf(tag, text string) string {
	m := phrase.Understand(text, r.scope(tag))
	switch m.Outcome {
	case phrase.Entry:
		var out []string
		for _, it := range m.Items {
			out = append(out, fmt.Sprint(it.Body.Kind(), " ", it.Place, " ", it.CorrectsLast))
		}
		return strings.Join(out, ", ")
	case phrase.Question:
		return fmt.Sprint("query ", m.Query.Kind, " ", m.Query.Places, m.Query.Seq)
	case phrase.Chatter: // forms, pages and tables are the engine's own
		before := r.count()
		msg := r.message(maren, text)
		msg.Mention = true
		r.hear(msg)
		p, err := r.store.Post(r.t.Context(), "re:"+msg.Key())
		if err != nil || p.Post.Text == "" || strings.HasPrefix(p.Post.Text, say.NotUnderstood(locale.Of(tag))[:20]) || r.count() != before {
			return ""
		}
		actions := map[string]bool{}
		for _, c := range p.Post.Choices {
			actions[c.Action] = true
		}
		return fmt.Sprint("page with ", len(p.Post.Files), " files and ", slices.Sorted(maps.Keys(actions)))
	}
	return ""
}
