package bot

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// standing lists the newest standing entries of a kind at a place, by time, as
// if some changes to them had not been made.
func (e *Engine) standing(ctx context.Context, place plant.BankID, k entry.Kind, but ...entry.Entry) ([]entry.Entry, error) {
	all, err := e.Store.Entries(ctx, ledger.Filter{Place: place, Exact: true, Kinds: []entry.Kind{k}, Limit: standingOf, Newest: true})
	if err != nil || len(all) == 0 {
		return nil, err
	}
	changes, err := e.Store.Entries(ctx, ledger.Filter{Place: place, Exact: true,
		Kinds: []entry.Kind{entry.KindAmend, entry.KindRetract}, AfterSeq: all[0].Seq})
	if err != nil {
		return nil, err
	}
	changes = slices.DeleteFunc(changes, func(x entry.Entry) bool {
		return slices.ContainsFunc(but, func(o entry.Entry) bool { return o.Seq == x.Seq })
	})
	return entry.Standing(append(all, changes...)), nil
}

// ofMessage lists what a message says by now: the standing entries that it made,
// with their newest body by its own edits. Amendments of its own entries are
// taken into those; amendments of others' stand for themselves.
func (e *Engine) ofMessage(ctx context.Context, key string) ([]entry.Entry, error) {
	made, err := e.Store.Entries(ctx, ledger.Filter{Source: key + ":"})
	if err != nil {
		return nil, err
	}
	var out []entry.Entry
	for _, x := range made {
		if x.Kind == entry.KindRetract {
			continue
		}
		stands, err := e.stands(ctx, x)
		if err != nil {
			return nil, err
		}
		if !stands {
			continue
		}
		if a, ok := x.Body.(entry.Amend); ok {
			if i := slices.IndexFunc(out, func(o entry.Entry) bool { return o.Seq == a.Target }); i >= 0 {
				out[i].Body = a.Body
				continue
			}
		}
		out = append(out, x)
	}
	return out, nil
}

// stands reports whether an entry has not been taken back.
func (e *Engine) stands(ctx context.Context, x entry.Entry) (bool, error) {
	later, err := e.Store.Entries(ctx, ledger.Filter{Place: x.Place, Exact: true, Kinds: []entry.Kind{entry.KindRetract}, AfterSeq: x.Seq})
	if err != nil {
		return false, err
	}
	gone := map[int64]bool{}
	for _, l := range slices.Backward(later) {
		r, ok := l.Body.(entry.Retract)
		if ok && !gone[l.Seq] {
			gone[r.Target] = true
		}
	}
	return !gone[x.Seq], nil
}

// takeBack retracts what a message recorded, if that is the person's to do.
func (e *Engine) takeBack(ctx context.Context, t *talk, key string) error {
	made, err := e.ofMessage(ctx, key)
	if err != nil {
		return err
	}
	if len(made) > 0 {
		return e.retractIfTheirs(ctx, t, made)
	}
	once, err := e.Store.Entries(ctx, ledger.Filter{Source: key + ":", Limit: 1})
	if err != nil {
		return err
	}
	if len(once) == 0 {
		return e.hint(ctx, t, say.StaleButton(t.in()))
	}
	return e.reply(ctx, t, channel.Post{Text: say.TakenBackBefore(t.in(), once[0].Seq)})
}

// retractIfTheirs retracts entries of the person's own; a supervisor may retract
// everybody's.
func (e *Engine) retractIfTheirs(ctx context.Context, t *talk, made []entry.Entry) error {
	for _, x := range made {
		if x.By != t.who && !t.supervises(x.Place.Site()) {
			return e.reply(ctx, t, channel.Post{Text: say.NotYours(x, t.siteOf(x.Place))})
		}
	}
	return e.retract(ctx, t, made)
}

func (e *Engine) retract(ctx context.Context, t *talk, made []entry.Entry) error {
	b := ledger.Batch{Entries: e.retractions(t, made, t.m.Key()+":undo"), Touch: touched(t.reg, made)}
	return e.commitWithReply(ctx, t, b, say.Recipe{Source: t.m.Key() + ":undo:", Retracted: made})
}

func (e *Engine) retractions(t *talk, made []entry.Entry, key string) []entry.Entry {
	var out []entry.Entry
	for i, x := range made {
		out = append(out, entry.Entry{
			Source: fmt.Sprintf("%s:%03d", key, i), Kind: entry.KindRetract, Place: x.Place,
			At: e.Now(), Received: e.Now(), By: t.who, Line: t.m.Text, Body: entry.Retract{Target: x.Seq},
		})
	}
	return out
}

// channelKey begins the keys of all messages of a message's channel.
func channelKey(m channel.Message) string {
	return channel.Message{Platform: m.Platform, Team: m.Team, Channel: m.Channel}.Key()
}

// undo takes back an entry by its number, or what the person's last message or
// file recorded: at the places named, if any are.
func (e *Engine) undo(ctx context.Context, t *talk, q phrase.Query) error {
	if q.Seq != 0 {
		return e.undoNumber(ctx, t, q.Seq)
	}
	if len(q.Places) == 0 {
		if handled, err := e.dropAsked(ctx, t); handled {
			return err
		}
	}
	prefix := channelKey(t.m)
	recent, err := e.Store.Entries(ctx, ledger.Filter{Source: prefix, Limit: standingOf, Newest: true})
	if err != nil {
		return err
	}
	rows, err := e.Store.Entries(ctx, ledger.Filter{Source: filePrefix, Limit: standingOf, Newest: true})
	if err != nil {
		return err
	}
	recent = append(recent, slices.DeleteFunc(rows, func(x entry.Entry) bool { return !droppedIn(x, t.m) })...)
	slices.SortFunc(recent, func(a, b entry.Entry) int { return cmp.Compare(a.Seq, b.Seq) })
	looked := map[string]bool{}
	for _, x := range slices.Backward(recent) {
		key := fileKey(x.Source)
		if id, said := strings.CutPrefix(x.Source, prefix); said {
			id, _, _ = strings.Cut(id, ":")
			key = prefix + id
		}
		if x.By != t.who || x.Kind == entry.KindRetract || looked[key] {
			continue
		}
		looked[key] = true
		made, err := e.ofMessage(ctx, key)
		if err != nil {
			return err
		}
		made = slices.DeleteFunc(made, func(x entry.Entry) bool {
			return !isAt(x.Place, q.Places) || strings.HasPrefix(key, filePrefix) && !droppedIn(x, t.m)
		})
		if len(made) > 0 {
			return e.retractIfTheirs(ctx, t, made)
		}
	}
	return e.reply(ctx, t, channel.Post{Text: say.NothingToUndo(t.in())})
}

// wrongWords say of what was just recorded that it is not so.
var wrongWords = phraseSet("thats wrong", "that is wrong", "that's wrong", "this is wrong", "wrong", "not right", "that was wrong", "mistake", "my mistake",
	"falsch", "das ist falsch", "das war falsch", "stimmt nicht", "das stimmt nicht", "vertippt", "mal", "eso está mal", "eso esta mal", "está mal", "esta mal", "incorrecto", "me equivoqué", "me equivoque")

func phraseSet(phrases ...string) map[string]bool {
	out := map[string]bool{}
	for _, p := range phrases {
		out[bare(p)] = true
	}
	return out
}

// wrongWithin is how soon after a record "that's wrong" is about it.
const wrongWithin = 15 * time.Minute

// saidWrong asks whether to take back what a person recorded a moment ago and now
// calls wrong; nothing is asked where they recorded nothing of late.
func (e *Engine) saidWrong(ctx context.Context, t *talk) (a phrase.Asking, ask bool, err error) {
	recent, err := e.Store.Entries(ctx, ledger.Filter{Source: channelKey(t.m), Limit: standingOf, Newest: true})
	if err != nil {
		return a, false, err
	}
	for _, x := range slices.Backward(recent) {
		if x.By != t.who || x.Kind == entry.KindRetract || x.Kind == entry.KindStepsRead {
			continue
		}
		if e.Now().Sub(x.Received) > wrongWithin {
			return a, false, nil
		}
		stands, err := e.stands(ctx, x)
		if err != nil {
			return a, false, err
		}
		if !stands {
			continue
		}
		in := t.in()
		return phrase.Asking{Code: "wrong", Text: say.SaidWrong(in, x.Seq, t.reg.Name(x.Place)), Choices: []phrase.Choice{
			{Keys: []string{"yes", "y", "undo", "ja", "si", "sí", "rückgängig", "deshacer"}, Label: in.Text("Undo"), Means: fmt.Sprintf("undo %d", x.Seq)},
		}}, true, nil
	}
	return a, false, nil
}

// isAt reports whether a place is one of those named, or within one; without any
// named every place is.
func isAt(place plant.BankID, named []plant.BankID) bool {
	return len(named) == 0 || slices.ContainsFunc(named, func(n plant.BankID) bool {
		return place == n || strings.HasPrefix(string(place), string(n)+"/")
	})
}

func (e *Engine) undoNumber(ctx context.Context, t *talk, seq int64) error {
	x, err := e.Store.Entry(ctx, seq)
	if errors.Is(err, ledger.ErrNotFound) || err == nil && !slices.Contains(t.scope.Sites, x.Place.Site()) {
		return e.reply(ctx, t, channel.Post{Text: say.NoSuchEntry(t.in(), seq)})
	}
	if err != nil {
		return err
	}
	switch x.Kind {
	case entry.KindRegister, entry.KindStepsSent, entry.KindStepsRead:
		return e.reply(ctx, t, channel.Post{Text: say.StaysInLedger(t.in(), x)})
	}
	stands, err := e.stands(ctx, x)
	if err != nil {
		return err
	}
	if !stands {
		return e.reply(ctx, t, channel.Post{Text: say.TakenBackBefore(t.in(), seq)})
	}
	return e.retractIfTheirs(ctx, t, []entry.Entry{x})
}

// deleted takes back what a deleted message had recorded, silently when it had
// recorded nothing.
func (e *Engine) deleted(ctx context.Context, t *talk) error {
	made, err := e.ofMessage(ctx, t.m.Key())
	if err != nil {
		return err
	}
	if len(made) > 0 {
		if err := e.retract(ctx, t, made); err != nil {
			return err
		}
	}
	e.settle(ctx, t.m)
	return nil
}
