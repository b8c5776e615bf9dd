package slack

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/slack-go/slack"

	"clogwise/internal/channel"
)

const (
	membersFor   = 5 * time.Minute // how long a group's members are believed
	membersStale = 24 * time.Hour  // and when they cannot be asked for again
	membersRetry = time.Minute
)

// people tells who of the register somebody is, by ids alone: a display name is
// chosen freely and proves nothing.
type people struct {
	api  *slack.Client
	log  *slog.Logger
	now  func() time.Time
	ids  map[string]string // id by folded name in the register
	said map[string]string // id by name as it is written there
	used func(ctx context.Context) ([]string, error)

	mu      sync.Mutex
	members map[string]membership // by group id
}

// membership is who is in a user group, as far as known.
type membership struct {
	users []string
	asked time.Time // when the platform said so; zero: never
	again time.Time // when it is asked next
}

func newPeople(cfg Config, api *slack.Client) *people {
	p := &people{api: api, log: cfg.Log, now: cfg.Now, used: cfg.Groups, said: cfg.People, ids: map[string]string{}, members: map[string]membership{}}
	for name, id := range cfg.People {
		p.ids[strings.ToLower(name)] = id
	}
	return p
}

// isID reports whether a word is an id of a person or a group, not a name: ids
// are capitals and digits, of both.
func isID(word string) bool { return idOf("UWS", word) }

// isPlace holds for ids of channels and direct messages.
func isPlace(word string) bool { return idOf("CGD", word) }

func idOf(kinds, word string) bool {
	return len(word) > 1 && strings.ContainsRune(kinds, rune(word[0])) &&
		strings.ContainsAny(word, "0123456789") && strings.Trim(word, "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789") == ""
}

func isGroup(id string) bool { return isID(id) && id[0] == 'S' }

// is lists what a person is called in the register: names that the configuration
// gives their id, and the groups they are in, by id and by name. An error means
// that a group could not be looked into: who is in it is not known.
func (p *people) is(ctx context.Context, user string) (names []string, err error) {
	mine := []string{user}
	groups, err := p.groups(ctx)
	if err != nil {
		return nil, err
	}
	for _, g := range groups {
		users, err := p.in(ctx, g)
		if err != nil {
			return nil, err
		}
		if slices.Contains(users, user) {
			mine = append(mine, g)
			names = append(names, g)
		}
	}
	for name, id := range p.said {
		if slices.Contains(mine, id) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names, nil
}

// named is the register's name of a person; empty when the configuration has none.
func (p *people) named(user string, is []string) string {
	for _, name := range is {
		if p.said[name] == user {
			return name
		}
	}
	return ""
}

// groups lists the user groups that have a part in the register.
func (p *people) groups(ctx context.Context) ([]string, error) {
	var out []string
	for _, id := range p.ids {
		if isGroup(id) {
			out = append(out, id)
		}
	}
	if p.used != nil {
		named, err := p.used(ctx)
		if err != nil {
			return nil, err
		}
		for _, id := range named {
			if isGroup(id) {
				out = append(out, id)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}

// in lists the members of a group. What was known goes on counting for a day
// when the platform does not answer; a refusal (no such group, a scope missing)
// means nobody, and the doctor says so.
func (p *people) in(ctx context.Context, group string) ([]string, error) {
	now := p.now()
	p.mu.Lock()
	m := p.members[group]
	p.mu.Unlock()
	if now.Before(m.again) {
		return m.users, nil
	}
	short, cancel := context.WithTimeout(ctx, nameTimeout)
	defer cancel()
	users, err := p.api.GetUserGroupMembersContext(short, group)
	switch {
	case err == nil:
		m = membership{users: users, asked: now, again: now.Add(membersFor)}
	case !m.asked.IsZero() && now.Sub(m.asked) < membersStale && answerOf(err) == "":
		m.again = now.Add(membersRetry)
	case answerOf(err) != "":
		p.log.Warn("slack: user group not looked into, nobody counts as of it", "group", group, "answer", answerOf(err))
		m = membership{again: now.Add(membersRetry)}
	default:
		return nil, fmt.Errorf("slack: members of group %s: %w", group, redacted(err))
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.members[group] = m
	return m.users, nil
}

// receivers are the ids that a post to somebody of the register goes to: a
// channel or person as it is, a person by name, the members of a group.
func (p *people) receivers(ctx context.Context, to string) ([]string, error) {
	id := to
	if mapped, ok := p.ids[strings.ToLower(to)]; ok {
		id = mapped
	}
	switch {
	case isGroup(id):
		users, err := p.in(ctx, id)
		if err != nil {
			return nil, err
		}
		if len(users) == 0 {
			return nil, fmt.Errorf("slack: %w: %w: group %s has no members that can be seen", channel.ErrRefused, channel.ErrNobody, id)
		}
		return users, nil
	case isID(id), isPlace(id):
		return []string{id}, nil
	}
	return nil, fmt.Errorf("slack: %w: %w: %q has no id in slack.people", channel.ErrRefused, channel.ErrNobody, to)
}
