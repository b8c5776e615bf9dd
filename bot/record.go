package bot

import (
	"context"
	"encoding/json"
	"slices"
	"strings"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// record commits the items of a meaning under the once-only keys of the origin,
// together with the reply that the worker fills in once it has recomputed.
func (e *Engine) record(ctx context.Context, t *talk, meaning phrase.Meaning, origin channel.Message) error {
	key := origin.Key()
	allowed, barred := t.permitted(meaning.Items)
	if len(allowed) == 0 {
		reply := e.ready(t, ReplyKey(t.m), channel.Post{Text: t.saidInstead(meaning, barred)})
		return e.commit(ctx, ledger.Batch{Posts: append(e.safetyAlerts(t, meaning), reply)})
	}
	allowed, unplanned, err := e.planned(ctx, t, allowed)
	if err != nil {
		return err
	}
	if len(allowed) == 0 {
		return e.reply(ctx, t, channel.Post{Text: strings.Join(unplanned, "\n")})
	}
	d := draft{engine: e, talk: t, key: key, line: origin.Text}
	if err := d.add(ctx, allowed); err != nil {
		return err
	}
	if len(d.entries) == 0 && t.changed != nil {
		return e.reply(ctx, t, channel.Post{Text: say.NothingChanged(t.in())})
	}
	if len(d.entries) == 0 && len(d.notes) > 0 {
		return e.reply(ctx, t, channel.Post{Text: strings.Join(d.notes, "\n")})
	}
	if len(d.entries) == 0 {
		return e.reply(ctx, t, channel.Post{Text: t.own(say.NotUnderstood(t.in()))})
	}
	recipe := say.Recipe{Source: key + ":", Notes: slices.Concat(notesOf(meaning), unplanned, d.notes), Unstated: d.unstated, Old: d.old, Undo: key}
	recipe.Barred = t.saidInstead(meaning, barred)
	recipe.NoSteps = t.specialistsOnly(e.Steps, d.entries)
	recipe.StepsOut = t.stepsOut(d.entries)
	if recipe.Warnings, err = e.warnings(ctx, t, d.entries); err != nil {
		return err
	}
	recipe.Warnings = append(recipe.Warnings, t.fitting(d.entries)...)
	if meaning.Query != nil {
		recipe.Also = say.OrderHint(t.in(), meaning.Query)
	}
	b := ledger.Batch{Entries: d.entries, Touch: touched(t.reg, d.entries)}
	b.Posts = e.alerts(t, d.entries)
	b.Posts = append(b.Posts, e.safetyAlerts(t, meaning)...)
	if running := e.runningAlerts(t, allowed); len(running) > 0 {
		b.Posts = append(b.Posts, running...)
		recipe.Warnings = append(recipe.Warnings, say.NeverRunning(t.in()))
	}
	lists, sent := e.jobPosts(t, d.entries)
	b.Entries = append(b.Entries, sent...)
	if q := meaning.Query; q != nil && q.Kind == phrase.QuerySteps {
		lists = append(lists, e.ready(t, "steps-asked:"+t.m.Key(), e.steps(t, *q)))
		b.Posts = append(b.Posts, e.stopAlerts(t, *q)...)
	}
	if err := e.commitWithReply(ctx, t, b, recipe, lists...); err != nil {
		return err
	}
	e.nowHere(ctx, t.m, d.entries[len(d.entries)-1].Place)
	return nil
}

// saidInstead is what is said of the parts of a message that were not recorded.
func (t *talk) saidInstead(meaning phrase.Meaning, barred []phrase.Item) string {
	if meaning.Outcome == phrase.Refused {
		return meaning.Reply
	}
	if len(barred) > 0 {
		return say.NotAllowed(barred[0].Body.Kind(), t.siteOf(barred[0].Place))
	}
	return ""
}

// commitWithReply commits a batch with the reply to it, followed by more posts.
// The reply is rendered by the worker when the projections of the banks have
// caught up, or here when it says nothing of any bank.
func (e *Engine) commitWithReply(ctx context.Context, t *talk, b ledger.Batch, recipe say.Recipe, more ...ledger.OutboxPost) error {
	head, err := e.Store.Head(ctx)
	if err != nil {
		return err
	}
	reply := e.ready(t, ReplyKey(t.m), channel.Post{})
	reply.State, reply.WaitsFor = ledger.PostWaiting, waitsFor(b.Entries, head+1)
	if reply.Recipe, err = json.Marshal(recipe); err != nil {
		return err
	}
	b.Posts = append([]ledger.OutboxPost{reply}, append(b.Posts, more...)...)
	if _, err := e.commitResults(ctx, b); err != nil {
		return err
	}
	if reply.WaitsFor == nil {
		e.render(ctx, t, reply, recipe)
	}
	return nil
}

func waitsFor(entries []entry.Entry, seq int64) map[plant.BankID]int64 {
	var out map[plant.BankID]int64
	for _, x := range entries {
		if x.Place.Whole() {
			if out == nil {
				out = map[plant.BankID]int64{}
			}
			out[x.Place] = seq
		}
	}
	return out
}

// render fills in a reply that needs no projection. What fails here the worker
// makes good on its next sweep.
func (e *Engine) render(ctx context.Context, t *talk, reply ledger.OutboxPost, recipe say.Recipe) {
	made, err := e.Store.Entries(ctx, ledger.Filter{Source: recipe.Source})
	if err == nil {
		post := say.Saved(say.SavedInput{Recipe: recipe, Register: t.reg, Entries: made, Now: e.Now(), Site: reply.Site})
		post.To = reply.Post.To
		err = e.Store.Render(ctx, reply.Key, post)
	}
	if err != nil {
		e.Log.Warn("reply not rendered yet", "error", err)
		return
	}
	e.wake(ctx)
}

// touched lists the banks whose forecast an AHU's or a site's entry changes.
func touched(reg *plant.Register, entries []entry.Entry) []plant.BankID {
	var out []plant.BankID
	for _, x := range entries {
		if !x.Place.Whole() && x.Kind != entry.KindStock && x.Kind != entry.KindOrder {
			out = append(out, reg.Banks(x.Place)...)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func notesOf(m phrase.Meaning) []string {
	var out []string
	for _, n := range m.Notes {
		if n.Code != "airflow" { // said with the reading
			out = append(out, n.Text)
		}
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
