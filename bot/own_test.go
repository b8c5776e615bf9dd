package bot_test

import (
	"strings"
	"testing"

	"clogwise/internal/locale"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// Help and examples name AHUs, items and people of the site that they are shown at:
// each can be typed as it stands, and none asks for what is not there.
func TestHelpNamesWhatIsThere(t *testing.T) {
	t.Parallel()
	for _, tag := range locale.Languages() {
		for _, site := range []struct{ id, who string }{{"clinic", maren}, {"hall", "Anselm"}, {"works", "Dolores"}} {
			r := newRigIn(t, tag)
			m := r.message(site.who, "help")
			m.Channel = site.id
			r.hear(m)
			p, err := r.store.Post(t.Context(), "re:"+m.Key())
			must(t, err)
			reg, err := r.view.Register(t.Context())
			must(t, err)
			sc := phrase.Scope{Register: reg, Index: phrase.NewIndex(reg), Sites: []string{site.id}, Now: r.now, By: site.who, In: locale.Of(tag)}
			for _, id := range reg.AHUs(site.id) {
				banks := reg.Banks(id)
				sc.Booked = append(sc.Booked, banks[:min(1, len(banks))]...)
			}
			n := 0
			for _, line := range strings.Split(p.Post.Text, "\n") {
				if line == say.HelpAtOnce(locale.Of(tag)) || strings.Contains(line, "xlsx") { // read by the engine itself
					continue
				}
				_, examples, _ := strings.Cut(line, ": ")
				if i := strings.Index(examples, " (o"); i >= 0 {
					examples = examples[:i]
				}
				for _, e := range strings.Split(examples, " · ") {
					n++
					got := phrase.Understand(e, sc)
					if got.Outcome == phrase.Chatter || got.Outcome == phrase.Refused || got.Outcome == phrase.Ask && (got.Ask.Code == phrase.AskAHU || got.Ask.Code == phrase.AskBank) {
						t.Errorf("%s at %s: %q comes to %s %+v", tag, site.id, e, got.Outcome, got.Ask)
					}
					for _, it := range got.Items {
						if !known(reg, it.Place) || it.Place.Site() != site.id {
							t.Errorf("%s at %s: %q is about %s", tag, site.id, e, it.Place)
						}
					}
				}
			}
			if n < 25 {
				t.Errorf("%s at %s: only %d examples", tag, site.id, n)
			}
		}
	}
}

func known(reg *plant.Register, place plant.BankID) bool {
	_, ahu := reg.AHU(place)
	_, site := reg.Site(string(place))
	return ahu || site
}
