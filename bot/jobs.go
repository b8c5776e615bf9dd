package bot

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/digest"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/safework"
	"clogwise/internal/say"
)

// jobPosts are the safe-work lists that starting a job brings with it, and the
// hard stop that a booking of specialist-only plant meets at once.
func (e *Engine) jobPosts(_ context.Context, t *talk, entries []entry.Entry) []ledger.OutboxPost {
	var out []ledger.OutboxPost
	done := map[plant.BankID]bool{}
	for _, x := range entries {
		ahu := x.Place.AHU()
		if done[ahu] {
			continue
		}
		site := t.siteOf(x.Place)
		var posts []digest.KeyedPost
		switch b := x.Body.(type) {
		case entry.JobStart:
			posts = digest.JobStarted(t.jobAt(x.Place, x.At), t.reg, site, e.Steps, e.Now())
		case entry.Booking:
			if b.Cancelled {
				continue
			}
			posts = digest.Booked(digest.Job{Bank: x.Place, Start: b.Start, Crew: b.Crew, By: x.By}, t.reg, site, e.Steps, e.Now())
		default:
			continue
		}
		done[ahu] = true
		for _, p := range posts {
			o := e.ready(t, p.Key, p.Post)
			if p.To.Channel != "" {
				o.Post.To = channel.Address{Platform: t.m.Platform, Channel: p.To.Channel}
			}
			out = append(out, o)
		}
	}
	return out
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
func (e *Engine) steps(_ context.Context, t *talk, q phrase.Query) (channel.Post, error) {
	var ahus []plant.BankID
	for _, b := range t.banksAsked(q) {
		if !slices.Contains(ahus, b.AHU()) {
			ahus = append(ahus, b.AHU())
		}
	}
	switch {
	case len(ahus) == 0:
		return channel.Post{Text: "Steps for which AHU? Write for example: steps AHU-3"}, nil
	case len(ahus) > 1:
		return channel.Post{Text: "One AHU at a time, please: steps AHU-3"}, nil
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
		parts = append(parts, l.Text())
		if l.Stop {
			break
		}
	}
	return channel.Post{Text: strings.Join(parts, "\n\n")}, nil
}

// stepsRead records that a person pressed "steps read". It says nothing about
// the plant.
func (e *Engine) stepsRead(ctx context.Context, t *talk, value string) error {
	when, start, ahu, err := digest.ParseStepsValue(value)
	if err != nil {
		return e.reply(ctx, t, channel.Post{Text: say.StaleButton()})
	}
	b := ledger.Batch{}
	for _, j := range t.jobs {
		if j.Bank.AHU() != ahu || !j.Start.Equal(start) {
			continue
		}
		body := entry.StepsRead{When: string(when), Start: start}
		b.Entries = append(b.Entries, entry.Entry{
			Source: fmt.Sprintf("read:%d:%s:%s", j.Seq, when, t.who), Kind: body.Kind(), Place: j.Bank,
			At: e.Now(), Received: e.Now(), By: t.who, Body: body,
		})
	}
	if len(b.Entries) == 0 {
		return e.reply(ctx, t, channel.Post{Text: "That job is closed or was moved; nothing to note."})
	}
	b.Posts = []ledger.OutboxPost{e.ready(t, ReplyKey(t.m), channel.Post{
		Text: fmt.Sprintf("Noted: %s has read the steps (%s). This says nothing about the plant.", t.who, strings.ReplaceAll(string(when), "-", " ")),
	})}
	_, err = e.commitResults(ctx, b)
	return err
}

// answerValue packs what a choice button must carry to work after a restart:
// the message it completes and the completed text.
func answerValue(m channel.Message, means string) string {
	raw, err := json.Marshal(buttonValue{m.Team, m.Channel, m.Thread, m.ID, m.User, m.UserName, m.At.UnixMilli(), means})
	if err != nil {
		return ""
	}
	return base64.RawURLEncoding.EncodeToString(raw)
}

type buttonValue struct {
	Team    string `json:"t,omitempty"`
	Channel string `json:"c,omitempty"`
	Thread  string `json:"h,omitempty"`
	ID      string `json:"i"`
	User    string `json:"u,omitempty"`
	Name    string `json:"n,omitempty"`
	At      int64  `json:"a"`
	Means   string `json:"m"`
}

// parseAnswerValue unpacks a button of the same platform as the press.
func parseAnswerValue(value string, press channel.Message) (origin channel.Message, means string, ok bool) {
	raw, err := base64.RawURLEncoding.DecodeString(value)
	if err != nil {
		return origin, "", false
	}
	var v buttonValue
	if err := json.Unmarshal(raw, &v); err != nil || v.ID == "" || v.Means == "" {
		return origin, "", false
	}
	return channel.Message{
		Platform: press.Platform, Team: v.Team, Channel: v.Channel, Thread: v.Thread, ID: v.ID,
		User: v.User, UserName: v.Name, At: time.UnixMilli(v.At),
	}, v.Means, true
}

// alreadyTaken reports whether a message has led to entries before.
func (e *Engine) alreadyTaken(ctx context.Context, origin channel.Message) (bool, error) {
	made, err := e.Store.Entries(ctx, ledger.Filter{Source: origin.Key() + ":", Limit: 1})
	return len(made) > 0, err
}
