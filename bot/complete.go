package bot

import (
	"context"
	"slices"
	"strings"
	"unicode"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
)

// understand reads a message. What completes a change-out that was reported
// shortly before is taken for that: "12 off, clean 95" after "AHU-3 bags
// changed" is no reading of its own.
func (e *Engine) understand(ctx context.Context, t *talk, m channel.Message) (phrase.Meaning, error) {
	if meaning, ok := t.endOfWork(m.Text); ok {
		return meaning, nil
	}
	meaning := phrase.Understand(m.Text, t.scope)
	switch meaning.Outcome {
	case phrase.Entry:
		for i, it := range meaning.Items {
			r, reading := it.Body.(entry.Reading)
			if !reading || it.CorrectsLast || r.Wet || !particulars(it.Line, true) {
				continue
			}
			swap, ok, err := e.completing(ctx, t, it.Place, it.Line+" changed", it.Line)
			if err != nil {
				return meaning, err
			}
			if ok {
				meaning.Items[i] = swap
			}
		}
	case phrase.Chatter, phrase.Ask:
		if !t.scope.Here.Whole() || !particulars(m.Text, false) {
			return meaning, nil
		}
		swap, ok, err := e.completing(ctx, t, t.scope.Here, m.Text)
		if err != nil || !ok {
			return meaning, err
		}
		return phrase.Meaning{Outcome: phrase.Entry, Items: []phrase.Item{swap}, About: []plant.BankID{t.scope.Here}}, nil
	}
	return meaning, nil
}

// completing reads texts, the bank's name put before them where they do not name
// it, as a change-out of a bank; ok when one of them gives an unconfirmed
// change-out there what it lacks.
func (e *Engine) completing(ctx context.Context, t *talk, bank plant.BankID, texts ...string) (it phrase.Item, ok bool, err error) {
	d := draft{engine: e, talk: t}
	swaps, err := d.standing(ctx, bank, entry.KindSwap)
	if err != nil || len(swaps) == 0 {
		return it, false, err
	}
	last := swaps[len(swaps)-1]
	if s, isSwap := last.Body.(entry.Swap); !isSwap || s.Confirmed {
		return it, false, nil
	}
	for _, text := range append(slices.Clone(texts), t.reg.Name(bank)+" changed, "+texts[len(texts)-1]) {
		m := phrase.Understand(text, t.scope)
		if m.Outcome != phrase.Entry || len(m.Items) != 1 || m.Items[0].Place != bank {
			continue
		}
		said, isSwap := m.Items[0].Body.(entry.Swap)
		if !isSwap {
			continue
		}
		if _, adds := complete(last.Body, said); adds && d.freshly(last, m.Items[0]) {
			it = m.Items[0]
			it.Line = texts[len(texts)-1]
			return it, true, nil
		}
	}
	return it, false, nil
}

// particularWords are the words in which people add what a change-out lacked.
var particularWords = wordSet(`off pcs pc pieces piece filters filter bags bag pockets panels panel pleats x of them all both
	clean now new at and it its was were is the with pa kpa hpa mbar hz in wc wg iwg mmh2o fan speed
	stück stk sauber neu und mit bei limpio limpios nuevo nuevos y con piezas filtros`)

// countWords and cleanWords tell them from a reading.
var (
	countWords = wordSet("off pcs pc pieces piece stück stk piezas")
	cleanWords = wordSet("clean new sauber neu limpio limpios nuevo nuevos")
)

func wordSet(words string) map[string]bool {
	out := map[string]bool{}
	for _, w := range strings.Fields(words) {
		out[w] = true
	}
	return out
}

// particulars reports whether a text gives numbers to a change-out: how many or
// how clean. A text that names its place may hold other words; one that does not
// must hold nothing else, or it could be talk.
func particulars(text string, named bool) bool {
	numbers, cue := false, false
	for _, w := range strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
		letters := strings.TrimLeftFunc(w, unicode.IsDigit)
		numbers = numbers || letters != w
		cue = cue || countWords[letters] || cleanWords[letters]
		if !named && letters != "" && !particularWords[letters] {
			return false
		}
	}
	return numbers && cue
}
