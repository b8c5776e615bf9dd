package bot

import (
	"context"
	"slices"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/digest"
	"clogwise/internal/entry"
	"clogwise/internal/locale"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
)

// talk is one message with what it is understood against.
type talk struct {
	m     channel.Message
	reg   *plant.Register
	sites []plant.Site // spoken of
	who   string       // name to record
	jobs  []digest.Job // open at those sites
	scope phrase.Scope

	sure    bool            // unlikely figures were confirmed
	text    string          // that is acted on, where it is not the message's own
	changed *[]plant.BankID // whose change-out the end of work tells of; nil: it does not say
}

// talk finds whom and what a message is about; nil when it is none of ours.
func (e *Engine) talk(ctx context.Context, m channel.Message) (*talk, error) {
	reg, err := e.View.Register(ctx)
	if err != nil {
		return nil, err
	}
	t := &talk{m: m, reg: reg, who: nameToRecord(reg, m)}
	home := ""
	if t.sites = channelSites(reg, m); len(t.sites) == 0 {
		if t.sites = memberSites(reg, m); len(t.sites) == 0 || !m.Direct && !m.Mention {
			return nil, nil
		}
		home = t.sites[0].ID
	}
	jobs, err := e.View.OpenJobs(ctx)
	if err != nil {
		return nil, err
	}
	t.scope = phrase.Scope{
		Register: reg, Index: e.indexOf(reg), HomeSite: home, Now: e.timeOf(m), By: t.who,
		Last: e.lastBut(ctx, nil),
		Here: e.here(ctx, m),
	}
	t.scope.In = t.in()
	for _, s := range t.sites {
		t.scope.Sites = append(t.scope.Sites, s.ID)
		for _, j := range jobs {
			if j.Bank.Site() == s.ID {
				t.jobs = append(t.jobs, j)
				t.scope.Booked = append(t.scope.Booked, j.Bank)
			}
		}
	}
	return t, nil
}

// in is the language of the talk: that of the first site it is about. What concerns
// a site by name is said in that site's own.
func (t *talk) in() locale.Locale {
	if len(t.sites) == 0 {
		return locale.Locale{}
	}
	return locale.Of(t.sites[0].Language)
}

// channelSites lists the sites whose channel a message was written in.
func channelSites(reg *plant.Register, m channel.Message) []plant.Site {
	var out []plant.Site
	for _, s := range reg.Sites() {
		if sameChannel(s.Channel, m) {
			out = append(out, s)
		}
	}
	return out
}

// memberSites lists the sites that a person works for: what they say to the bot
// outside a site's channel is about those.
func memberSites(reg *plant.Register, m channel.Message) []plant.Site {
	var out []plant.Site
	for _, s := range reg.Sites() {
		if isOneOf(s.Crew, m) || isOneOf(s.Supervisors, m) {
			out = append(out, s)
		}
	}
	return out
}

// timeOf is when a message was written, and never later than now.
func (e *Engine) timeOf(m channel.Message) time.Time {
	if now := e.Now(); m.At.IsZero() || m.At.After(now) {
		return now
	}
	return m.At
}

// lastBut looks up the last reading of a bank, unless it is one of the message's
// own: an edited message is not to be measured by itself.
func (e *Engine) lastBut(ctx context.Context, own []entry.Entry) func(plant.BankID) (float64, time.Time, bool) {
	return func(id plant.BankID) (float64, time.Time, bool) {
		a, ok, err := e.View.Assessment(ctx, id)
		if err != nil || !ok || a.Last == nil || slices.ContainsFunc(own, func(x entry.Entry) bool { return x.Seq == a.Last.Seq }) {
			return 0, time.Time{}, false
		}
		return a.Last.Pa, a.Last.At, true
	}
}

// indexOf keeps the index of the names in the register from message to message.
func (e *Engine) indexOf(reg *plant.Register) *phrase.Index {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.indexed != reg {
		e.indexed, e.index = reg, phrase.NewIndex(reg)
	}
	return e.index
}

// address is where replies to the message go: its own thread.
func (t *talk) address() channel.Address {
	thread := t.m.Thread
	if thread == "" {
		thread = t.m.ID
	}
	return channel.Address{Platform: t.m.Platform, Channel: t.m.Channel, Thread: thread}
}

// conversation names the talk of one person in one channel or thread.
func conversation(m channel.Message) string {
	return m.Platform + ":" + m.Team + ":" + m.Channel + ":" + m.Thread + ":" + m.User
}

// conversations are the talks that go on from a message: where it was written,
// and in the thread under it.
func conversations(m channel.Message) []string {
	if m.Thread != "" {
		return []string{conversation(m)}
	}
	under := m
	under.Thread = m.ID
	return []string{conversation(m), conversation(under)}
}
