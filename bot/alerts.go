package bot

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/locale"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// alerts tells the supervisors at once what cannot wait for the digest.
func (e *Engine) alerts(t *talk, entries []entry.Entry) []ledger.OutboxPost {
	var out []ledger.OutboxPost
	for _, x := range entries {
		if text, urgent := say.Alert(t.reg, x); urgent {
			out = append(out, e.toSupervisors(t, t.siteOf(x.Place), "alert:"+x.Source, text)...)
		}
	}
	return out
}

// safetyAlerts tells the supervisors of what somebody could be hurt by, or was:
// those of the sites it was about, or of all the channel serves. An edit that
// reports something worse is told again.
func (e *Engine) safetyAlerts(t *talk, meaning phrase.Meaning) []ledger.OutboxPost {
	key := "alert:" + t.m.Key()
	if t.m.Change == channel.Edited {
		key += ":" + digestOf(t.m.Text)
	}
	var out []ledger.OutboxPost
	for _, s := range t.concerned(meaning.About) {
		if text := safetyAlert(locale.Of(s.Language), t.who, t.m.Text, meaning); text != "" {
			out = append(out, e.toSupervisors(t, s, key, text)...)
		}
	}
	return out
}

// safetyAlert is what the supervisors are told at once of a refusal; empty when it
// can wait. Of an emergency they get the words as typed.
func safetyAlert(in locale.Locale, who, typed string, meaning phrase.Meaning) string {
	switch {
	case meaning.Outcome != phrase.Refused:
		return ""
	case meaning.Code == phrase.RefuseEmergency:
		return in.Text("EMERGENCY reported by %s: \"%s\". I answered to call the local emergency number first and recorded nothing. Go to them now.", who, shortened(typed))
	case meaning.Code == phrase.RefuseEnter:
		return in.Text("%s asked me whether plant is safe or isolated: \"%s\". I can't see that and said so. Please call them before any work starts.", who, shortened(typed))
	case say.IsSafety(meaning.Code):
		return say.SafetyAlert(in, who, meaning.Code)
	}
	return ""
}

// runningAlerts tells the supervisors of change-outs that were done, by what was
// typed, with the fan running. They are recorded all the same: they happened.
func (e *Engine) runningAlerts(t *talk, items []phrase.Item) []ledger.OutboxPost {
	var out []ledger.OutboxPost
	for _, it := range items {
		if !slices.Contains(it.Flags, phrase.FlagRunning) {
			continue
		}
		site := t.siteOf(it.Place)
		text := locale.Of(site.Language).Text("%s reports a change-out of %s with the fan running. Please speak to them before any more work.", t.who, t.reg.Name(it.Place))
		out = append(out, e.toSupervisors(t, site, "alert-running:"+t.m.Key()+":"+string(it.Place), text)...)
	}
	return out
}

// alertRunes bounds what an alert quotes of a message.
const alertRunes = 300

func shortened(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > alertRunes {
		return string(r[:alertRunes]) + "…"
	}
	return s
}

// concerned lists the sites that places belong to, whatever channel they were
// named in; without any, those the channel serves.
func (t *talk) concerned(about []plant.BankID) []plant.Site {
	var out []plant.Site
	for _, p := range about {
		s, ok := t.reg.Site(p.Site())
		if ok && !slices.ContainsFunc(out, func(o plant.Site) bool { return o.ID == s.ID }) {
			out = append(out, s)
		}
	}
	if len(out) == 0 {
		return t.sites
	}
	return out
}

// toSupervisors posts to each supervisor of a site but the one who is speaking.
func (e *Engine) toSupervisors(t *talk, site plant.Site, key, text string) []ledger.OutboxPost {
	var out []ledger.OutboxPost
	for _, sup := range site.Supervisors {
		if isOneOf([]string{sup}, t.m) {
			continue
		}
		p := e.ready(t, key+":"+sup, channel.Post{Text: text})
		p.Site = site.ID
		p.Post.To = channel.Address{Platform: t.m.Platform, Channel: sup}
		out = append(out, p)
	}
	return out
}

func digestOf(s string) string {
	h := sha256.Sum256([]byte(s))
	return hex.EncodeToString(h[:6])
}
