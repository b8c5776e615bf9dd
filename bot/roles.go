package bot

import (
	"slices"
	"strings"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
)

// needsSupervisor are the kinds that change plans or money.
func needsSupervisor(b entry.Body) bool {
	switch b := b.(type) {
	case entry.Booking, entry.Defer, entry.Stock, entry.RegisterEdit:
		return true
	case entry.Order:
		return !b.Requested
	}
	return false
}

// permitted parts items into those the person may record and those not.
func (t *talk) permitted(items []phrase.Item) (allowed, barred []phrase.Item) {
	for _, it := range items {
		site := it.Place.Site()
		ok := t.supervises(site) || t.crewOf(site) && !needsSupervisor(it.Body)
		if ok {
			allowed = append(allowed, it)
		} else {
			barred = append(barred, it)
		}
	}
	return allowed, barred
}

func (t *talk) siteOf(place plant.BankID) plant.Site {
	if s, ok := t.reg.Site(place.Site()); ok {
		return s
	}
	return t.sites[0]
}

func (t *talk) supervises(site string) bool {
	s, ok := t.reg.Site(site)
	return ok && isOneOf(s.Supervisors, t.m)
}

func (t *talk) crewOf(site string) bool {
	s, ok := t.reg.Site(site)
	return ok && isOneOf(s.Crew, t.m)
}

// isOneOf matches a person by the platform's id, or by a name or group of the
// register that the edge vouches for. What people call themselves proves nothing.
func isOneOf(people []string, m channel.Message) bool {
	for _, p := range people {
		if p == "" {
			continue
		}
		same := func(is string) bool { return strings.EqualFold(p, is) }
		if same(m.User) || slices.ContainsFunc(m.Is, same) {
			return true
		}
	}
	return false
}

// nameToRecord is what entries are signed with. Somebody who calls themselves
// like a person of the register without being that person is told apart by id.
func nameToRecord(reg *plant.Register, m channel.Message) string {
	if m.UserName == "" {
		return m.User
	}
	named := []string{m.UserName}
	if isOneOf(named, m) {
		return m.UserName
	}
	for _, s := range reg.Sites() {
		for _, p := range slices.Concat(s.Crew, s.Supervisors) {
			if strings.EqualFold(p, m.UserName) {
				return m.UserName + " (" + m.User + ")"
			}
		}
	}
	return m.UserName
}

// sameChannel matches a site's channel: "C0123", or "slack:C0123" where a
// platform must be named.
func sameChannel(channelOfSite string, m channel.Message) bool {
	return channelOfSite == m.Channel || channelOfSite == m.Platform+":"+m.Channel
}
