package bot

import (
	"context"
	"slices"
	"strings"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/digest"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/locale"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/safework"
	"clogwise/internal/say"
)

// jobPosts are the safe-work lists that starting a job brings with it, and the
// hard stop that a booking of specialist-only plant meets at once: one set for
// all banks of an AHU. Sent records which lists went out.
func (e *Engine) jobPosts(t *talk, entries []entry.Entry) (out []ledger.OutboxPost, sent []entry.Entry) {
	done := map[plant.BankID]bool{}
	for _, x := range entries {
		if ahu := x.Place.AHU(); !done[ahu] {
			jobs, posts := e.lists(t, x, entries)
			done[ahu] = len(posts) > 0
			for _, p := range posts {
				out = append(out, e.jobPost(t, p))
				sent = append(sent, digest.SentEntries(jobs, p.When, p.StepIDs, e.Now())...)
			}
		}
	}
	return out, sent
}

// lists are the posts that one entry brings about, and the jobs of the AHU that
// they are for.
func (e *Engine) lists(t *talk, x entry.Entry, entries []entry.Entry) ([]digest.Job, []digest.KeyedPost) {
	site := t.siteOf(x.Place)
	switch b := x.Body.(type) {
	case entry.JobStart:
		if slices.Contains(t.stepsOut(entries), x.Place) {
			return nil, nil
		}
		var jobs []digest.Job
		for _, y := range entries {
			if y.Kind == x.Kind && y.Place.AHU() == x.Place.AHU() {
				jobs = append(jobs, t.jobAt(y.Place, y.At))
			}
		}
		return jobs, digest.JobStarted(jobs, t.reg, site, e.Steps, e.Now())
	case entry.Booking:
		if !b.Cancelled {
			job := digest.Job{Bank: x.Place, Start: b.Start, Crew: b.Crew, By: x.By}
			return []digest.Job{job}, digest.Booked(job, t.reg, site, e.Steps, e.Now())
		}
	}
	return nil, nil
}

// sameShift is how long after the start of a job the steps sent for it hold for
// further banks of the same AHU.
const sameShift = 12 * time.Hour

// stepsOut are the banks begun by the entries on whose AHU a job is under way in this
// shift: the same unit, isolated once, and the same steps, which went out with that
// job. They are not sent again; the reply says for which bank they hold too.
func (t *talk) stepsOut(entries []entry.Entry) (out []plant.BankID) {
	for _, x := range entries {
		if x.Kind == entry.KindJobStart && slices.ContainsFunc(t.jobs, func(j digest.Job) bool {
			return j.Bank.AHU() == x.Place.AHU() && j.Bank != x.Place && !j.Begun.IsZero() && x.At.Sub(j.Begun) < sameShift
		}) {
			out = append(out, x.Place)
		}
	}
	return out
}

// specialistsOnly are the banks among those booked for which no steps go out.
func (t *talk) specialistsOnly(steps safework.Catalogue, entries []entry.Entry) (out []plant.BankID) {
	for _, x := range entries {
		b, booking := bodySaid(x).(entry.Booking)
		if ahu, known := t.reg.AHU(x.Place); booking && !b.Cancelled && known && steps.List(ahu, t.siteOf(x.Place).Jurisdiction, safework.DayBefore).Stop {
			out = append(out, x.Place)
		}
	}
	return out
}

// jobPost addresses a post: to a person, or into the message's thread.
func (e *Engine) jobPost(t *talk, p digest.KeyedPost) ledger.OutboxPost {
	o := e.ready(t, p.Key, p.Post)
	if p.To.Channel != "" {
		o.Post.To = channel.Address{Platform: t.m.Platform, Channel: p.To.Channel}
	}
	return o
}

// jobAt is the open job at a bank, or one that begins now.
func (t *talk) jobAt(bank plant.BankID, at time.Time) digest.Job {
	for _, j := range t.jobs {
		if j.Bank == bank {
			return j
		}
	}
	return digest.Job{Bank: bank, Start: at, By: t.who}
}

// steps answers a question for the safe-work steps of an AHU: those of the next
// moment of its job, or all up to the start.
func (e *Engine) steps(t *talk, q phrase.Query) channel.Post {
	var ahus []plant.BankID
	for _, b := range t.banksAsked(q) {
		if !slices.Contains(ahus, b.AHU()) {
			ahus = append(ahus, b.AHU())
		}
	}
	switch {
	case len(ahus) == 0:
		return channel.Post{Text: t.own(t.in().Text("Steps for which AHU? Write for example: `steps AHU-3`"))}
	case len(ahus) > 1:
		return channel.Post{Text: t.own(t.in().Text("One AHU at a time, please: `steps AHU-3`"))}
	}
	ahu, _ := t.reg.AHU(ahus[0])
	site := t.siteOf(ahus[0])
	when := []safework.When{safework.DayBefore, safework.BeforeStart}
	for _, j := range t.jobs {
		if j.Bank.AHU() == ahus[0] && !j.Begun.IsZero() {
			when = []safework.When{safework.During, safework.After}
		}
	}
	var parts []string
	for _, w := range when {
		l := e.Steps.List(ahu, site.Jurisdiction, w)
		parts = append(parts, l.Text(locale.Of(site.Language)))
		if l.Stop {
			break
		}
	}
	return channel.Post{Text: strings.Join(parts, "\n\n")}
}

// stopAlerts tells the supervisors that somebody asked for steps for plant that
// only specialists may open: none were given.
func (e *Engine) stopAlerts(t *talk, q phrase.Query) []ledger.OutboxPost {
	var out []ledger.OutboxPost
	told := map[plant.BankID]bool{}
	for _, bank := range t.banksAsked(q) {
		ahu, ok := t.reg.AHU(bank)
		site := t.siteOf(bank)
		if !ok || told[bank.AHU()] || !e.Steps.List(ahu, site.Jurisdiction, safework.DayBefore).Stop {
			continue
		}
		told[bank.AHU()] = true
		for _, sup := range site.Supervisors {
			if isOneOf([]string{sup}, t.m) {
				continue
			}
			p := e.ready(t, "stop-asked:"+t.m.Key()+":"+string(bank.AHU())+":"+sup, channel.Post{Text: say.StopAsked(locale.Of(site.Language), t.who, ahu.Tag)})
			p.Post.To = channel.Address{Platform: t.m.Platform, Channel: sup}
			out = append(out, p)
		}
	}
	return out
}

// stepsRead records, once a person, that somebody of the crew pressed "steps
// read". It says nothing about the plant.
func (e *Engine) stepsRead(ctx context.Context, t *talk, value string) error {
	when, start, ahu, err := digest.ParseStepsValue(value)
	if err != nil {
		return e.hint(ctx, t, say.StaleButton(t.in()))
	}
	site := t.siteOf(ahu)
	if !t.crewOf(site.ID) && !t.supervises(site.ID) {
		return e.reply(ctx, t, channel.Post{Text: say.NotAllowed(entry.KindStepsRead, site)})
	}
	in := locale.Of(site.Language)
	text := say.JobGone(in)
	b := ledger.Batch{}
	for _, j := range t.jobs {
		if j.Bank.AHU() != ahu || !j.Start.Truncate(time.Second).Equal(start.Truncate(time.Second)) {
			continue
		}
		if readBy(j, string(when), t.who) {
			text = say.StepsReadBefore(in, t.who, string(when))
			continue
		}
		b.Entries = append(b.Entries, e.readEntry(t, j, string(when)))
	}
	if len(b.Entries) > 0 {
		text = say.StepsRead(in, t.who, string(when))
	}
	b.Posts = []ledger.OutboxPost{e.ready(t, ReplyKey(t.m), channel.Post{Text: text})}
	return e.commit(ctx, b)
}

func readBy(j digest.Job, when, who string) bool {
	return slices.ContainsFunc(j.Read, func(s digest.Steps) bool { return s.When == when && s.By == who })
}
