package bot

import (
	"context"
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

// stepsReadTyped records that a person says to have read the steps, as the button
// under each list does: every list of one AHU's job that went out and that they have
// not marked yet. With jobs on several AHUs it asks which.
func (e *Engine) stepsReadTyped(ctx context.Context, t *talk, q phrase.Query) error {
	jobs := t.unreadJobs(q.Places)
	ahus := ahusOf(jobs)
	switch {
	case len(ahus) == 0:
		return e.reply(ctx, t, channel.Post{Text: say.NoStepsToRead(t.in())})
	case len(ahus) > 1:
		names := make([]string, len(ahus))
		for i, a := range ahus {
			names[i] = t.reg.Name(a)
		}
		return e.reply(ctx, t, channel.Post{Text: say.WhichSteps(t.in(), names)})
	}
	site := t.siteOf(ahus[0])
	if !t.crewOf(site.ID) && !t.supervises(site.ID) {
		return e.reply(ctx, t, channel.Post{Text: say.NotAllowed(entry.KindStepsRead, site)})
	}
	var b ledger.Batch
	var moments []string
	for _, j := range jobs {
		for _, when := range unreadBy(j, t.who) {
			b.Entries = append(b.Entries, e.readEntry(t, j, when))
			if !slices.Contains(moments, when) {
				moments = append(moments, when)
			}
		}
	}
	text := say.StepsRead(t.in(), t.who, strings.Join(moments, ", "))
	b.Posts = []ledger.OutboxPost{e.ready(t, ReplyKey(t.m), channel.Post{Text: text})}
	return e.commit(ctx, b)
}

// unreadJobs are the open jobs, at the places named or any, with a list that went
// out and that the person has not marked as read: their own if they are booked for
// any, else all.
func (t *talk) unreadJobs(places []plant.BankID) []digest.Job {
	var all, own []digest.Job
	for _, j := range t.jobs {
		named := len(places) == 0 || slices.ContainsFunc(places, func(p plant.BankID) bool { return p == j.Bank || p == j.Bank.AHU() })
		if !named || len(unreadBy(j, t.who)) == 0 {
			continue
		}
		all = append(all, j)
		if slices.ContainsFunc(j.Crew, func(who string) bool { return strings.EqualFold(who, t.who) }) {
			own = append(own, j)
		}
	}
	if len(own) > 0 {
		return own
	}
	return all
}

// unreadBy lists the moments whose list went out for a job and that a person has not
// marked as read.
func unreadBy(j digest.Job, who string) []string {
	var out []string
	for _, s := range j.Sent {
		if !readBy(j, s.When, who) && !slices.Contains(out, s.When) {
			out = append(out, s.When)
		}
	}
	return out
}

// readEntry records that the speaker has read a list. Its key makes it once a person.
func (e *Engine) readEntry(t *talk, j digest.Job, when string) entry.Entry {
	body := entry.StepsRead{When: when, Start: j.Start}
	return entry.Entry{
		Source: fmt.Sprintf("read:%d:%s:%d:%s", j.Seq, when, j.Start.Unix(), t.who), Kind: body.Kind(), Place: j.Bank,
		At: e.Now(), Received: e.Now(), By: t.who, Body: body,
	}
}

func ahusOf(jobs []digest.Job) []plant.BankID {
	var out []plant.BankID
	for _, j := range jobs {
		if !slices.Contains(out, j.Bank.AHU()) {
			out = append(out, j.Bank.AHU())
		}
	}
	return out
}
