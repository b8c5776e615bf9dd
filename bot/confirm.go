package bot

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/locale"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// confirmWords begin a message that confirms a change-out which readings speak
// against: "confirm 1045", "confirm AHU-3 bag".
var confirmWords = wordSet("confirm confirmed bestätige bestätigt confirmo confirmado")

// changedIndeed are the words that answer a doubt of the change-out just spoken
// of: its button's, and what people say in place of it.
var changedIndeed = func() map[string]bool {
	out := wordSet("1 yes ja si sí")
	for _, said := range []string{"it was changed", "it was", "was changed", "they were changed", "it has been changed",
		"es wurde gewechselt", "wurde gewechselt", "sie wurden gewechselt", "se cambió", "se cambio", "sí se cambió", "si se cambio"} {
		out[said], out["yes "+said], out["ja "+said], out["sí "+said], out["si "+said] = true, true, true, true, true
	}
	for _, tag := range locale.Languages() {
		out[strings.ToLower(locale.Of(tag).Text("It was changed"))] = true
	}
	return out
}()

// bare is a text in small letters, without punctuation.
func bare(text string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }), " ")
}

// confirmation reads a message as that, and nothing else. Seq is the entry it
// names, 0 for that of the bank named; ok is false when it is something else.
func (t *talk) confirmation(text string) (seq int64, bank plant.BankID, ok bool) {
	if t.scope.Here.Whole() && changedIndeed[bare(text)] {
		return 0, t.scope.Here, true
	}
	first, rest, _ := strings.Cut(strings.TrimSpace(text), " ")
	if !confirmWords[strings.ToLower(strings.Trim(first, ".,:!"))] {
		return 0, "", false
	}
	rest = strings.TrimSpace(rest)
	if rest == "" {
		return 0, t.scope.Here, t.scope.Here.Whole()
	}
	if n, err := strconv.ParseInt(strings.TrimPrefix(rest, "#"), 10, 64); err == nil && n > 0 {
		return n, "", true
	}
	m := phrase.Understand(rest, t.scope)
	if m.Outcome != phrase.Question || m.Query.Kind != phrase.QueryHow || len(m.Query.Places) != 1 || !m.Query.Places[0].Whole() {
		return 0, "", false
	}
	return 0, m.Query.Places[0], true
}

// confirmed takes a message that confirms a change-out; handled is false when it
// says something else.
func (e *Engine) confirmed(ctx context.Context, t *talk) (handled bool, err error) {
	seq, bank, ok := t.confirmation(t.m.Text)
	if !ok {
		return false, nil
	}
	if seq == 0 {
		a, _, err := e.View.Assessment(ctx, bank)
		if err != nil {
			return true, err
		}
		if a.DoubtedSwap == nil {
			if bank == t.scope.Here && (changedIndeed[bare(t.m.Text)] || !strings.Contains(strings.TrimSpace(t.m.Text), " ")) {
				return false, nil // "confirmed" alone is said of many things
			}
			return true, e.reply(ctx, t, channel.Post{Text: say.NoSwapInDoubt(t.in(), t.reg.Name(bank))})
		}
		seq = a.DoubtedSwap.Seq
	}
	return true, e.confirmSwap(ctx, t, seq)
}

// confirmSwap records that a change-out was made, though readings did not fall:
// from then on it begins a new life.
func (e *Engine) confirmSwap(ctx context.Context, t *talk, seq int64) error {
	x, err := e.Store.Entry(ctx, seq)
	if err != nil && !errors.Is(err, ledger.ErrNotFound) {
		return err
	}
	if err != nil || x.Kind != entry.KindSwap || !slices.Contains(t.scope.Sites, x.Place.Site()) {
		return e.reply(ctx, t, channel.Post{Text: say.NoSuchSwap(t.in(), seq)})
	}
	if _, barred := t.permitted([]phrase.Item{{Place: x.Place, Body: x.Body}}); len(barred) > 0 {
		return e.reply(ctx, t, channel.Post{Text: say.NotAllowed(x.Kind, t.siteOf(x.Place))})
	}
	standing, err := e.standing(ctx, x.Place, entry.KindSwap)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(standing, func(s entry.Entry) bool { return s.Seq == seq })
	if i < 0 {
		return e.reply(ctx, t, channel.Post{Text: say.SwapTakenBack(t.in(), seq)})
	}
	swap, _ := standing[i].Body.(entry.Swap)
	if swap.Sure {
		return e.reply(ctx, t, channel.Post{Text: say.SwapConfirmedBefore(t.in(), seq)})
	}
	swap.Sure = true
	d := draft{engine: e, talk: t, key: t.m.Key(), line: t.m.Text}
	d.amend(standing[i], phrase.Item{}, swap)
	recipe := say.Recipe{Source: t.m.Key() + ":", Undo: t.m.Key()}
	return e.commitWithReply(ctx, t, ledger.Batch{Entries: d.entries}, recipe)
}
