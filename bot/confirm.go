package bot

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/locale"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// confirmAlone are words that confirm the change-out just spoken of, where one is in
// doubt.
var confirmAlone = wordSet("confirm confirmed bestätige bestätigt confirmo confirmado")

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

// bareConfirmation reads what confirms the change-out just spoken of without naming it.
func (t *talk) bareConfirmation(text string) bool {
	return t.scope.Here.Whole() && (changedIndeed[bare(text)] || confirmAlone[bare(text)])
}

// confirms reports whether a message confirms a change-out.
func (t *talk) confirms(text string) bool {
	_, ok := phrase.Confirmation(text, t.scope)
	return ok || t.bareConfirmation(text)
}

// confirmed takes a message that confirms the change-out just spoken of; handled is
// false when it says something else.
func (e *Engine) confirmed(ctx context.Context, t *talk) (handled bool, err error) {
	if !t.bareConfirmation(t.m.Text) {
		return false, nil
	}
	a, _, err := e.View.Assessment(ctx, t.scope.Here)
	if err != nil || a.DoubtedSwap == nil {
		return err != nil, err // "confirmed" alone is said of many things
	}
	return true, e.confirmSwap(ctx, t, a.DoubtedSwap.Seq)
}

// confirm takes a message that confirms a change-out by its number or its bank.
func (e *Engine) confirm(ctx context.Context, t *talk, q phrase.Query) error {
	if q.Seq > 0 {
		return e.confirmSwap(ctx, t, q.Seq)
	}
	a, _, err := e.View.Assessment(ctx, q.Places[0])
	if err != nil {
		return err
	}
	if a.DoubtedSwap == nil {
		return e.reply(ctx, t, channel.Post{Text: say.NoSwapInDoubt(t.in(), t.reg.Name(q.Places[0]))})
	}
	return e.confirmSwap(ctx, t, a.DoubtedSwap.Seq)
}

// deniable is for how long after it was recorded a change-out may be meant by "not
// changed"; what is said later tells of work left to do.
const deniable = 14 * 24 * time.Hour

// notChanged takes a message that says of a bank that it was not changed: the
// change-out on record lately is asked about, and nothing else is done.
func (e *Engine) notChanged(ctx context.Context, t *talk, bank plant.BankID, origin channel.Message) error {
	swaps, err := e.standing(ctx, bank, entry.KindSwap)
	if err != nil {
		return err
	}
	if len(swaps) == 0 || t.scope.Now.Sub(swaps[len(swaps)-1].Received) > deniable {
		if t.m.Direct || t.m.Mention {
			return e.hint(ctx, t, say.NoSwapLately(t.in(), t.reg.Name(bank)))
		}
		return nil
	}
	last := swaps[len(swaps)-1]
	in := say.At(t.siteOf(bank), t.scope.Now)
	back, stands := in.In.Text("Take it back"), in.In.Text("It was changed")
	undo := fmt.Sprintf("undo %d", last.Seq)
	return e.ask(ctx, t, phrase.Asking{
		Code: "not-changed", Text: say.NotChanged(in, t.reg.Name(bank), last),
		Choices: []phrase.Choice{
			{Keys: say.KeysFor(in.In, back, "take it back", "undo", "1", undo), Label: back, Means: undo},
			{Keys: say.KeysFor(in.In, stands, "it was changed", "keep", "2"), Label: stands, Means: fmt.Sprintf("confirm %d", last.Seq)},
		},
	}, origin)
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
