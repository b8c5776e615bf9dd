package bot

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
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

// safetyAlerts tells the supervisors of a refusal by which somebody could be
// hurt: those of the sites it was about, or of all the channel serves.
func (e *Engine) safetyAlerts(t *talk, meaning phrase.Meaning) []ledger.OutboxPost {
	if meaning.Outcome != phrase.Refused || !say.IsSafety(meaning.Code) {
		return nil
	}
	var out []ledger.OutboxPost
	for _, s := range t.sites {
		about := func(p plant.BankID) bool { return p.Site() == s.ID }
		if len(meaning.About) == 0 || slices.ContainsFunc(meaning.About, about) {
			out = append(out, e.toSupervisors(t, s, "alert:"+t.m.Key(), say.SafetyAlert(t.who, meaning.Code))...)
		}
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
