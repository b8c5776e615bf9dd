package slack

import (
	"cmp"
	"context"
	"sync"
	"time"

	"github.com/slack-go/slack"
)

const (
	maxNames           = 2000            // people remembered
	maxNamesPerMessage = 10              // looked up for the mentions in one message
	nameFor            = time.Hour       // how long a name is believed
	noNameFor          = time.Minute     // how long a failed look-up is not repeated
	nameTimeout        = 1 * time.Second // of the 3 s there are for a message
)

// names finds what people are called and remembers it for a while.
type names struct {
	api *slack.Client
	now func() time.Time

	mu    sync.Mutex
	known map[string]knownName
}

type knownName struct {
	name  string
	until time.Time
}

func newNames(api *slack.Client, now func() time.Time) *names {
	return &names{api: api, now: now, known: map[string]knownName{}}
}

// of is what people call a person; their id if that cannot be found out.
func (n *names) of(ctx context.Context, user string) string {
	if user == "" {
		return ""
	}
	now := n.now()
	n.mu.Lock()
	k, ok := n.known[user]
	n.mu.Unlock()
	if ok && now.Before(k.until) {
		return k.name
	}
	k = n.ask(ctx, user, now)
	n.mu.Lock()
	defer n.mu.Unlock()
	if len(n.known) >= maxNames {
		clear(n.known)
	}
	n.known[user] = k
	return k.name
}

func (n *names) ask(ctx context.Context, user string, now time.Time) knownName {
	ctx, cancel := context.WithTimeout(ctx, nameTimeout)
	defer cancel()
	u, err := n.api.GetUserInfoContext(ctx, user)
	if err != nil {
		return knownName{name: user, until: now.Add(noNameFor)}
	}
	return knownName{
		name:  cmp.Or(u.Profile.DisplayName, u.Profile.RealName, u.RealName, u.Name, user),
		until: now.Add(nameFor),
	}
}

// limited is of for at most n different look-ups; further people keep their ids.
func (n *names) limited(ctx context.Context, most int) func(user string) string {
	asked := map[string]string{}
	return func(user string) string {
		if name, ok := asked[user]; ok {
			return name
		}
		if len(asked) >= most {
			return user
		}
		asked[user] = n.of(ctx, user)
		return asked[user]
	}
}
