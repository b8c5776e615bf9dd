package bot

import (
	"context"
	"fmt"
	"reflect"
	"slices"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/say"
)

// edited reads the new text of a message and lets it replace what the old text
// recorded.
func (e *Engine) edited(ctx context.Context, t *talk) error {
	pending, waits := e.waiting(ctx, t.m)
	if err := e.replace(ctx, t, t.m.Text, t.m); err != nil {
		return err
	}
	if waits && pending.Message.Key() == t.m.Key() { // the question was about the old text
		e.drop(ctx, conversations(t.m), pending.same)
	}
	return nil
}

// replace lets a text take the place of what the origin, an edited message,
// recorded before.
func (e *Engine) replace(ctx context.Context, t *talk, text string, origin channel.Message) error {
	made, err := e.ofMessage(ctx, origin.Key())
	if err != nil {
		return err
	}
	t.scope.Last = e.lastBut(ctx, made)
	if t.confirms(text) && len(made) > 0 {
		return nil // it says so still
	}
	meaning := phrase.Understand(text, t.scope)
	if a, ask := t.farOff(meaning); ask {
		return e.ask(ctx, t, a, origin)
	}
	unsure, ask, err := e.whichReading(ctx, t, meaning, made)
	if err != nil {
		return err
	}
	if ask {
		return e.ask(ctx, t, unsure, origin)
	}
	switch {
	case meaning.Outcome == phrase.Ask:
		if len(made) > 0 {
			meaning.Ask.Text = say.EditUnclear(t.in(), meaning.Ask.Text)
		}
		return e.ask(ctx, t, *meaning.Ask, origin)
	case len(meaning.Items) > 0:
		return e.rewrite(ctx, t, meaning, origin, made)
	case len(made) == 0 || meaning.Outcome == phrase.Refused:
		return e.act(ctx, t, meaning, origin)
	}
	return e.retract(ctx, t, made)
}

// rewrite records the difference between what an edited message said and says.
// No difference makes no entry and no reply: the edit was sent to us again, or
// changed nothing that matters.
func (e *Engine) rewrite(ctx context.Context, t *talk, meaning phrase.Meaning, origin channel.Message, made []entry.Entry) error {
	allowed, barred := t.permitted(meaning.Items)
	if len(barred) > 0 {
		return e.reply(ctx, t, channel.Post{Text: t.saidInstead(phrase.Meaning{}, barred)})
	}
	edits, err := e.Store.Entries(ctx, ledger.Filter{Source: origin.Key() + ":"})
	if err != nil {
		return err
	}
	// The same text may come back after another edit: the number of entries so
	// far tells its keys from those of the first time.
	nth := fmt.Sprintf("%d:%s", len(edits), digestOf(origin.Text))
	key, goneKey := origin.Key()+":edit:"+nth, origin.Key()+":gone:"+nth
	d := draft{engine: e, talk: t, key: key, line: origin.Text, own: made}
	if err := d.add(ctx, allowed); err != nil {
		return err
	}
	changed, added, gone := difference(made, d.entries)
	b := ledger.Batch{Entries: append(changed, e.retractions(t, gone, goneKey)...)}
	if len(b.Entries) == 0 {
		return nil
	}
	b.Touch = touched(t.reg, append(slices.Clone(changed), gone...))
	recipe := say.Recipe{Source: key + ":", Edited: true, Notes: append(notesOf(meaning), d.notes...), Unstated: d.unstated,
		Old: append(d.old, made...), Undo: origin.Key()}
	switch {
	case len(changed) == 0:
		recipe = say.Recipe{Source: goneKey + ":", Retracted: gone}
	case len(gone) > 0:
		recipe.Also = say.LinesGone(t.in(), gone)
	}
	b.Posts = e.alerts(t, added)
	if recipe.Warnings, err = e.warnings(ctx, t, changed); err != nil {
		return err
	}
	lists, sent := e.jobPosts(t, added)
	recipe.NoSteps = t.specialistsOnly(e.Steps, changed)
	b.Entries = append(b.Entries, sent...)
	return e.commitWithReply(ctx, t, b, recipe, lists...)
}

// difference pairs what a message said with what it says: an item of the same
// kind, place and time amends when its body differs. Added are those of the
// changed entries that nothing stood for before.
func difference(made, fresh []entry.Entry) (changed, added, gone []entry.Entry) {
	used := map[int64]bool{}
	for _, f := range fresh {
		i := slices.IndexFunc(made, func(x entry.Entry) bool { return !used[x.Seq] && replaces(f, x) })
		if i < 0 {
			changed, added = append(changed, f), append(added, f)
			continue
		}
		used[made[i].Seq] = true
		if reflect.DeepEqual(made[i].Body, f.Body) {
			continue
		}
		f.Kind, f.Body = entry.KindAmend, entry.Amend{Target: made[i].Seq, Body: f.Body}
		changed = append(changed, f)
	}
	for _, x := range made {
		if !used[x.Seq] {
			gone = append(gone, x)
		}
	}
	return changed, added, gone
}

// replaces reports whether a fresh entry takes the place of one made before. An
// amendment cannot move an entry in time, nor amend an amendment: those are
// taken back and recorded anew.
func replaces(f, x entry.Entry) bool {
	if f.Kind != x.Kind || f.Place != x.Place {
		return false
	}
	if f.Kind == entry.KindAmend {
		return reflect.DeepEqual(f.Body, x.Body)
	}
	apart := f.At.Sub(x.At)
	return -time.Second < apart && apart < time.Second
}
