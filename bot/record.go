package bot

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"clogwise/internal/channel"
	"clogwise/internal/digest"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

func (e *Engine) record(ctx context.Context, t *talk, meaning phrase.Meaning) error {
	return e.recordAs(ctx, t, meaning, t.m.Key())
}

// recordAs commits the items under the once-only keys of a message, together
// with the reply that the worker fills in once it has recomputed.
func (e *Engine) recordAs(ctx context.Context, t *talk, meaning phrase.Meaning, key string) error {
	allowed, barred := t.permitted(meaning.Items)
	if len(allowed) == 0 {
		return e.reply(ctx, t, channel.Post{Text: say.NotAllowed(barred[0].Body.Kind(), t.siteOf(barred[0].Place))})
	}
	entries, err := e.entries(ctx, t, allowed, key)
	if err != nil {
		return err
	}
	recipe := say.Recipe{Source: key + ":", Notes: notesOf(meaning), Unstated: unstatedOf(allowed), Undo: key}
	if len(barred) > 0 {
		recipe.Barred = say.NotAllowed(barred[0].Body.Kind(), t.siteOf(barred[0].Place))
	}
	if meaning.Query != nil {
		recipe.Also = say.OrderHint(meaning.Query)
	}
	b := ledger.Batch{Entries: entries, Touch: e.touched(t.reg, entries)}
	post, err := e.awaiting(ctx, t, recipe, append(places(entries), b.Touch...))
	if err != nil {
		return err
	}
	b.Posts = append(b.Posts, post)
	b.Posts = append(b.Posts, e.alerts(t, entries)...)
	b.Posts = append(b.Posts, e.jobPosts(ctx, t, entries)...)
	if _, err := e.commitResults(ctx, b); err != nil {
		return err
	}
	e.nowHere(ctx, t.m, entries[len(entries)-1].Place)
	return nil
}

// awaiting is a reply that is rendered when the banks' projections have caught
// up with the entries about to be committed.
func (e *Engine) awaiting(ctx context.Context, t *talk, recipe say.Recipe, banks []plant.BankID) (ledger.OutboxPost, error) {
	head, err := e.Store.Head(ctx)
	if err != nil {
		return ledger.OutboxPost{}, err
	}
	raw, err := json.Marshal(recipe)
	if err != nil {
		return ledger.OutboxPost{}, err
	}
	p := e.ready(t, ReplyKey(t.m), channel.Post{})
	p.State, p.Recipe, p.WaitsFor = ledger.PostWaiting, raw, map[plant.BankID]int64{}
	for _, b := range banks {
		if b.Whole() {
			p.WaitsFor[b] = head + 1
		}
	}
	if len(p.WaitsFor) == 0 {
		p.WaitsFor = nil
	}
	return p, nil
}

// entries turns items into ledger entries. Source keys end in the item's index,
// so that a resend meets the same keys.
func (e *Engine) entries(ctx context.Context, t *talk, items []phrase.Item, key string) ([]entry.Entry, error) {
	var out []entry.Entry
	add := func(place plant.BankID, it phrase.Item, body entry.Body) {
		out = append(out, entry.Entry{
			Source: fmt.Sprintf("%s:%03d", key, len(out)), Kind: body.Kind(), Place: place,
			At: it.At, Received: e.Now(), By: t.who, Line: it.Line, Body: body,
		})
	}
	for _, it := range items {
		switch body := it.Body.(type) {
		case entry.JobDone:
			if err := e.jobDone(ctx, t, it, body, add); err != nil {
				return nil, err
			}
			continue
		case entry.JobStart:
			for _, bank := range t.openUnder(it.Place) {
				add(bank, it, body)
			}
			continue
		case entry.Booking:
			for _, bank := range t.reg.Banks(it.Place) {
				add(bank, it, body)
			}
			continue
		}
		if it.CorrectsLast {
			target, ok, err := e.lastOf(ctx, it.Place, it.Body.Kind())
			if err != nil {
				return nil, err
			}
			if ok {
				it.At = target.At
				add(it.Place, it, entry.Amend{Target: target.Seq, Body: it.Body})
				continue
			}
		}
		add(it.Place, it, it.Body)
	}
	return out, nil
}

// openUnder lists the booked banks at a place, or all its banks when none is.
func (t *talk) openUnder(place plant.BankID) []plant.BankID {
	banks := t.reg.Banks(place)
	var open []plant.BankID
	for _, b := range banks {
		if slices.Contains(t.scope.Booked, b) {
			open = append(open, b)
		}
	}
	if len(open) > 0 {
		return open
	}
	return banks
}

// jobDone closes the open jobs at a place. A bank whose change-out nobody has
// reported since the job began gets one, still lacking its count.
func (e *Engine) jobDone(ctx context.Context, t *talk, it phrase.Item, body entry.JobDone, add func(plant.BankID, phrase.Item, entry.Body)) error {
	for _, bank := range t.openUnder(it.Place) {
		add(bank, it, body)
		i := slices.IndexFunc(t.jobs, func(j digest.Job) bool { return j.Bank == bank })
		if i < 0 {
			continue
		}
		swap, ok, err := e.lastOf(ctx, bank, entry.KindSwap)
		if err != nil {
			return err
		}
		if !ok || swap.At.Before(t.jobs[i].Since) {
			add(bank, it, entry.Swap{CleanPa: body.CleanPa, FanHz: body.FanHz, Who: t.who})
		} else if s, isSwap := swap.Body.(entry.Swap); isSwap && s.CleanPa == nil && body.CleanPa != nil {
			s.CleanPa, s.FanHz, s.Confirmed = body.CleanPa, body.FanHz, s.Count != nil
			add(bank, it, entry.Amend{Target: swap.Seq, Body: s})
		}
	}
	return nil
}

// lastOf is the newest standing entry of a kind at a place.
func (e *Engine) lastOf(ctx context.Context, place plant.BankID, k entry.Kind) (entry.Entry, bool, error) {
	all, err := e.Store.Entries(ctx, ledger.Filter{Place: place, Exact: true,
		Kinds: []entry.Kind{k, entry.KindAmend, entry.KindRetract}, Limit: 200, Newest: true})
	if err != nil {
		return entry.Entry{}, false, err
	}
	standing := entry.Standing(all)
	for i := len(standing) - 1; i >= 0; i-- {
		if standing[i].Kind == k {
			return standing[i], true, nil
		}
	}
	return entry.Entry{}, false, nil
}

// touched lists the banks whose forecast an AHU's or a site's entry changes.
func (e *Engine) touched(reg *plant.Register, entries []entry.Entry) []plant.BankID {
	var out []plant.BankID
	for _, x := range entries {
		if !x.Place.Whole() && x.Kind != entry.KindStock && x.Kind != entry.KindOrder {
			out = append(out, reg.Banks(x.Place)...)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// alerts tells the supervisors at once what cannot wait for the digest.
func (e *Engine) alerts(t *talk, entries []entry.Entry) []ledger.OutboxPost {
	var out []ledger.OutboxPost
	for _, x := range entries {
		text, urgent := say.Alert(t.reg, x)
		if !urgent {
			continue
		}
		site, _ := t.reg.Site(x.Place.Site())
		for _, sup := range site.Supervisors {
			if sup == t.m.User || sup == t.m.UserName {
				continue
			}
			p := e.ready(t, "alert:"+x.Source+":"+sup, channel.Post{Text: text})
			p.Post.To = channel.Address{Platform: t.m.Platform, Channel: sup}
			out = append(out, p)
		}
	}
	return out
}

func notesOf(m phrase.Meaning) []string {
	var out []string
	for _, n := range m.Notes {
		if n.Code != "airflow" { // the worker says how airflow was taken
			out = append(out, n.Text)
		}
	}
	return out
}

func unstatedOf(items []phrase.Item) map[plant.BankID][]string {
	var out map[plant.BankID][]string
	for _, it := range items {
		if len(it.Unstated) > 0 {
			if out == nil {
				out = map[plant.BankID][]string{}
			}
			out[it.Place] = it.Unstated
		}
	}
	return out
}

func places(entries []entry.Entry) []plant.BankID {
	var out []plant.BankID
	for _, x := range entries {
		out = append(out, x.Place)
	}
	return out
}

func sortedBanks(m map[plant.BankID]int64) []plant.BankID {
	out := make([]plant.BankID, 0, len(m))
	for b := range m {
		out = append(out, b)
	}
	slices.Sort(out)
	return out
}

func digestOf(s string) string {
	h := sha256.Sum256([]byte(s))
	return hex.EncodeToString(h[:6])
}

// ofMessage are the standing entries that a message made.
func (e *Engine) ofMessage(ctx context.Context, key string) ([]entry.Entry, error) {
	made, err := e.Store.Entries(ctx, ledger.Filter{Source: key + ":"})
	if err != nil || len(made) == 0 {
		return nil, err
	}
	var out []entry.Entry
	for _, x := range made {
		stands, err := e.stands(ctx, x)
		if err != nil {
			return nil, err
		}
		if stands {
			out = append(out, x)
		}
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
	for i := len(later) - 1; i >= 0; i-- {
		r, ok := later[i].Body.(entry.Retract)
		if ok && !gone[later[i].Seq] {
			gone[r.Target] = true
		}
	}
	return !gone[x.Seq], nil
}

// takeBack retracts what a message recorded.
func (e *Engine) takeBack(ctx context.Context, t *talk, key string) error {
	made, err := e.ofMessage(ctx, key)
	if err != nil {
		return err
	}
	if len(made) == 0 {
		return e.reply(ctx, t, channel.Post{Text: say.NothingToUndo()})
	}
	return e.retract(ctx, t, made)
}

func (e *Engine) retract(ctx context.Context, t *talk, made []entry.Entry) error {
	for _, x := range made {
		if x.By != t.who && !t.supervises(x.Place.Site()) {
			return e.reply(ctx, t, channel.Post{Text: say.NotYours(x, t.siteOf(x.Place))})
		}
	}
	b := ledger.Batch{}
	for i, x := range made {
		b.Entries = append(b.Entries, entry.Entry{
			Source: fmt.Sprintf("%s:undo:%03d", t.m.Key(), i), Kind: entry.KindRetract, Place: x.Place,
			At: e.Now(), Received: e.Now(), By: t.who, Line: t.m.Text, Body: entry.Retract{Target: x.Seq},
		})
	}
	b.Touch = e.touched(t.reg, b.Entries)
	recipe := say.Recipe{Source: t.m.Key() + ":", Retracted: made}
	post, err := e.awaiting(ctx, t, recipe, append(places(b.Entries), b.Touch...))
	if err != nil {
		return err
	}
	b.Posts = []ledger.OutboxPost{post}
	_, err = e.commitResults(ctx, b)
	return err
}

// undo takes back an entry by its number, or the person's last message.
func (e *Engine) undo(ctx context.Context, t *talk, seq int64) error {
	if seq != 0 {
		x, err := e.Store.Entry(ctx, seq)
		if errors.Is(err, ledger.ErrNotFound) || err == nil && !slices.Contains(t.scope.Sites, x.Place.Site()) {
			return e.reply(ctx, t, channel.Post{Text: say.NoSuchEntry(seq)})
		}
		if err != nil {
			return err
		}
		if ok, err := e.stands(ctx, x); err != nil || !ok {
			return errors.Join(err, e.reply(ctx, t, channel.Post{Text: say.NothingToUndo()}))
		}
		return e.retract(ctx, t, []entry.Entry{x})
	}
	prefix := strings.TrimSuffix(channel.Message{Platform: t.m.Platform, Team: t.m.Team, Channel: t.m.Channel}.Key(), ":") + ":"
	recent, err := e.Store.Entries(ctx, ledger.Filter{Source: prefix, Limit: 200, Newest: true})
	if err != nil {
		return err
	}
	for i := len(recent) - 1; i >= 0; i-- {
		x := recent[i]
		if x.By != t.who || x.Kind == entry.KindRetract || x.Kind == entry.KindStepsSent {
			continue
		}
		made, err := e.ofMessage(ctx, messageKey(x.Source))
		if err != nil {
			return err
		}
		if len(made) > 0 {
			return e.retract(ctx, t, made)
		}
	}
	return e.reply(ctx, t, channel.Post{Text: say.NothingToUndo()})
}

// messageKey cuts the item's index off a source key.
func messageKey(source string) string {
	if i := strings.LastIndexByte(source, ':'); i >= 0 {
		return source[:i]
	}
	return source
}

// deleted takes back what a deleted message had recorded, silently when it had
// recorded nothing.
func (e *Engine) deleted(ctx context.Context, t *talk) error {
	made, err := e.ofMessage(ctx, t.m.Key())
	if err != nil || len(made) == 0 {
		return err
	}
	return e.retract(ctx, t, made)
}

// edited reads the new text and lets it replace what the old text recorded: an
// item of the same kind at the same place amends, others are taken back or added.
func (e *Engine) edited(ctx context.Context, t *talk) error {
	made, err := e.ofMessage(ctx, t.m.Key())
	if err != nil {
		return err
	}
	meaning := phrase.Understand(t.m.Text, t.scope)
	if len(made) == 0 {
		return e.act(ctx, t, meaning)
	}
	if meaning.Outcome != phrase.Entry {
		if meaning.Outcome == phrase.Ask {
			meaning.Ask.Text = say.EditUnclear(meaning.Ask.Text)
			return e.ask(ctx, t, *meaning.Ask)
		}
		return e.retract(ctx, t, made)
	}
	allowed, barred := t.permitted(meaning.Items)
	if len(barred) > 0 {
		return e.reply(ctx, t, channel.Post{Text: say.NotAllowed(barred[0].Body.Kind(), t.siteOf(barred[0].Place))})
	}
	key := t.m.Key() + ":edit:" + digestOf(t.m.Text)
	fresh, err := e.entries(ctx, t, allowed, key)
	if err != nil {
		return err
	}
	b := ledger.Batch{}
	used := map[int64]bool{}
	for _, f := range fresh {
		i := slices.IndexFunc(made, func(x entry.Entry) bool { return !used[x.Seq] && x.Place == f.Place && x.Kind == f.Kind })
		if i >= 0 {
			used[made[i].Seq] = true
			f.At, f.Kind, f.Body = made[i].At, entry.KindAmend, entry.Amend{Target: made[i].Seq, Body: f.Body}
		}
		b.Entries = append(b.Entries, f)
	}
	for i, x := range made {
		if !used[x.Seq] {
			b.Entries = append(b.Entries, entry.Entry{Source: fmt.Sprintf("%s:gone:%03d", key, i), Kind: entry.KindRetract, Place: x.Place,
				At: e.Now(), Received: e.Now(), By: t.who, Line: t.m.Text, Body: entry.Retract{Target: x.Seq}})
		}
	}
	b.Touch = e.touched(t.reg, b.Entries)
	post, err := e.awaiting(ctx, t, say.Recipe{Source: key + ":", Edited: true, Notes: notesOf(meaning), Undo: t.m.Key()}, append(places(b.Entries), b.Touch...))
	if err != nil {
		return err
	}
	b.Posts = []ledger.OutboxPost{post}
	_, err = e.commitResults(ctx, b)
	return err
}
