package slack

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/slack-go/slack"
)

// Finding is one thing Check looked at.
type Finding struct {
	What   string // "bot token", "scopes", …
	OK     bool
	Detail string // what was found
	Mend   string // what to do about it; empty if OK
}

// Scope is a permission of the bot token and what it is for.
type Scope struct{ Name, For string }

// Scopes lists the least scopes of the bot token with which everything works.
func Scopes() []Scope {
	return []Scope{
		{"chat:write", "post replies, digests and reminders"},
		{"channels:history", "read messages in public channels the bot was invited to"},
		{"groups:history", "the same in private channels"},
		{"im:history", "read direct messages to the bot"},
		{"users:read", "show people by name"},
		{"files:write", "attach charts and tables"},
		{"files:read", "read tables of readings that the crew drops into the channel"},
		{"commands", "the slash command"},
	}
}

// GroupScope is needed besides when a user group has a part in the register.
const GroupScope = "usergroups:read"

// Check tries the tokens, the scopes and, as far as the scopes allow, whether
// the bot is in the given channels (ids, with or without "slack:" in front; those
// of other platforms are passed over). It says what is wrong and what to do.
func (e *Edge) Check(ctx context.Context, channels ...string) []Finding {
	findings := e.checkBotToken(ctx)
	if e.cfg.AppToken == "" && e.cfg.SigningSecret == "" {
		findings = append(findings, Finding{
			What: "way in", Detail: "neither an app token nor a signing secret is set",
			Mend: "set the app token (xapp-…) for Socket Mode, or the signing secret for the Events API",
		})
	}
	if e.cfg.AppToken != "" {
		findings = append(findings, e.checkAppToken(ctx))
	}
	for _, id := range channels {
		// A site may name the platform with its channel, and may have none.
		if id = strings.TrimPrefix(id, Platform+":"); id != "" && !strings.Contains(id, ":") {
			findings = append(findings, e.checkChannel(ctx, id))
		}
	}
	return findings
}

func (e *Edge) checkBotToken(ctx context.Context) []Finding {
	auth, err := e.api.AuthTestContext(ctx)
	if err != nil {
		return []Finding{{What: "bot token", Detail: detail(err), Mend: mend(err, "copy the Bot User OAuth Token (xoxb-…) again from OAuth & Permissions")}}
	}
	token := Finding{What: "bot token", OK: true, Detail: fmt.Sprintf("%s in %s (%s)", auth.User, auth.Team, auth.TeamID)}
	if e.cfg.Team != "" && auth.TeamID != e.cfg.Team {
		token.OK = false
		token.Mend = fmt.Sprintf("the configuration names workspace %s: use that workspace's token or change the setting", e.cfg.Team)
	}
	findings := []Finding{token}
	if granted := auth.Header.Get("X-OAuth-Scopes"); granted != "" {
		findings = append(findings, checkScopes(granted))
	}
	return findings
}

func checkScopes(granted string) Finding {
	have := strings.FieldsFunc(granted, func(r rune) bool { return r == ',' || r == ' ' })
	var missing, why []string
	for _, s := range Scopes() {
		if !slices.Contains(have, s.Name) {
			missing = append(missing, s.Name)
			why = append(why, s.Name+" ("+s.For+")")
		}
	}
	if len(missing) == 0 {
		return Finding{What: "scopes", OK: true, Detail: "all there"}
	}
	return Finding{
		What: "scopes", Detail: "missing: " + strings.Join(why, ", "),
		Mend: "add " + strings.Join(missing, ", ") + " under OAuth & Permissions, Bot Token Scopes, and reinstall the app",
	}
}

// checkAppToken asks for a socket address, which proves connections:write, and
// leaves it unused.
func (e *Edge) checkAppToken(ctx context.Context) Finding {
	f := Finding{What: "app token"}
	if _, _, err := e.api.StartSocketModeContext(ctx); err != nil {
		f.Detail = detail(err)
		f.Mend = mend(err, "turn on Socket Mode, and under Basic Information make an App-Level Token (xapp-…) with connections:write")
		return f
	}
	f.OK, f.Detail = true, "Socket Mode is on"
	return f
}

func (e *Edge) checkChannel(ctx context.Context, id string) Finding {
	f := Finding{What: "channel " + id}
	c, err := e.api.GetConversationInfoContext(ctx, &slack.GetConversationInfoInput{ChannelID: id})
	switch {
	case answerOf(err) == "missing_scope":
		f.OK, f.Detail = true, "not checked: that takes the optional scopes channels:read and groups:read"
	case answerOf(err) == "channel_not_found":
		f.Detail = "no such channel, or a private one without the bot"
		f.Mend = "check the id (at the foot of the channel's details) and type /invite @clogwise in the channel"
	case err != nil:
		f.Detail, f.Mend = detail(err), mend(err, "see the bot token above")
	case c.IsArchived:
		f.Detail, f.Mend = "#"+c.Name+" is archived", "unarchive it or name another channel"
	case !c.IsMember:
		f.Detail, f.Mend = "the bot is not in #"+c.Name, "type /invite @clogwise in #"+c.Name
	default:
		f.OK, f.Detail = true, "#"+c.Name
	}
	return f
}

// CheckPeople tells whether everybody in the register, given by name or id, can be
// known by what they write and reached by direct message.
func (e *Edge) CheckPeople(ctx context.Context, register []string) []Finding {
	var unmapped []string
	var out []Finding
	for _, name := range register {
		id := name
		if mapped, ok := e.who.ids[strings.ToLower(name)]; ok {
			id = mapped
		}
		switch {
		case isGroup(id):
			out = append(out, e.checkGroup(ctx, name, id))
		case !isID(id):
			unmapped = append(unmapped, name)
		default:
			if f := e.checkPerson(ctx, name, id); !f.OK {
				out = append(out, f)
			}
		}
	}
	if len(unmapped) > 0 {
		return append(out, Finding{
			What: "people", Detail: "no id for " + strings.Join(unmapped, ", ") + ": what they write is not recorded, and alerts for them go to the channel",
			Mend: "add them to slack.people as \"" + unmapped[0] + " = U…\" (the member id is in the person's profile under ⋮, Copy member ID)",
		})
	}
	return append(out, Finding{What: "people", OK: true, Detail: fmt.Sprintf("all %d of the register have ids", len(register))})
}

func (e *Edge) checkPerson(ctx context.Context, name, id string) Finding {
	f := Finding{What: "person " + name}
	u, err := e.api.GetUserInfoContext(ctx, id)
	switch {
	case answerOf(err) == "user_not_found":
		f.Detail, f.Mend = "no person "+id+" in the workspace", "mend slack.people or the register"
	case err != nil:
		f.Detail, f.Mend = detail(err), mend(err, "see the scopes above")
	case u.Deleted:
		f.Detail, f.Mend = id+" has left the workspace", "take the person out of the register"
	default:
		f.OK, f.Detail = true, id
	}
	return f
}

func (e *Edge) checkGroup(ctx context.Context, name, id string) Finding {
	f := Finding{What: "group " + name}
	users, err := e.api.GetUserGroupMembersContext(ctx, id)
	switch {
	case err != nil:
		f.Detail, f.Mend = detail(err), mend(err, "add the scope "+GroupScope+" and reinstall the app, or mend the group's id")
	case len(users) == 0:
		f.Detail, f.Mend = id+" has no members", "add people to the group"
	default:
		f.OK, f.Detail = true, fmt.Sprintf("%s, %d members", id, len(users))
	}
	return f
}

func detail(err error) string {
	if answer := answerOf(err); answer != "" {
		return "refused: " + answer
	}
	return "no answer: " + redacted(err).Error()
}

// mend is what to do: about the token if the platform refused it, else about the
// way to the platform.
func mend(err error, token string) string {
	if answerOf(err) != "" {
		return token
	}
	if _, limited := errors.AsType[*slack.RateLimitedError](err); limited {
		return "asked too often: wait a minute and try again"
	}
	return "check network, proxy and status of the chat service, then try again"
}
