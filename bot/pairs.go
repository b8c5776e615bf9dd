package bot

import (
	"context"

	"clogwise/internal/channel"
	"clogwise/internal/digest"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// pairs answers how many primaries to use up for each secondary.
func (e *Engine) pairs(ctx context.Context, t *talk, places []plant.BankID) error {
	if len(places) == 0 {
		for _, s := range t.sites {
			places = append(places, plant.BankID(s.ID))
		}
	}
	var pairs []digest.Pair
	for _, ahu := range t.ahusOf(places) {
		p, ok, err := e.View.Pair(ctx, ahu, e.Now())
		if err != nil {
			return err
		}
		if ok {
			pairs = append(pairs, p)
		}
	}
	return e.reply(ctx, t, channel.Post{Text: say.Pairs(t.in(), pairs)})
}

// ahusOf lists the AHUs of places, each once.
func (t *talk) ahusOf(places []plant.BankID) (out []plant.BankID) {
	seen := map[plant.BankID]bool{}
	for _, p := range places {
		for _, b := range t.reg.Banks(p) {
			if ahu := b.AHU(); !seen[ahu] {
				seen[ahu] = true
				out = append(out, ahu)
			}
		}
	}
	return out
}
