package app

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"

	"clogwise/bot/slack"
	"clogwise/internal/channel"
	"clogwise/internal/view"
)

// EventsPath is where the Events API finds the bot, on the address of the
// webhook.
const EventsPath = "/slack/events"

// slackEdge builds the chat edge; nil without its tokens.
func (a *App) slackEdge() (*slack.Edge, error) {
	s := a.Cfg.Slack
	if !s.Enabled() {
		return nil, nil
	}
	people, err := s.Directory()
	if err != nil {
		return nil, err
	}
	return slack.New(slack.Config{
		BotToken: string(s.BotToken), AppToken: string(s.AppToken), SigningSecret: string(s.SigningSecret),
		APIURL: s.APIURL, Team: s.Team, Log: a.Log, People: people, Groups: a.people,
	})
}

// SlackServices connect the chat platform: delivery, and Socket Mode when there
// is an app token. There are none without tokens, or when another process plays
// the bot's role.
func (a *App) SlackServices() []Service {
	if a.slack == nil || !a.Cfg.Has("bot") {
		return nil
	}
	out := []Service{a.Delivery(slack.Platform, byDetour{a.slack, a.View})}
	if a.Cfg.Slack.AppToken != "" {
		out = append(out, Service{"slack", func(ctx context.Context) error { return a.slack.Run(ctx, a.Engine) }})
	}
	return out
}

// slackEvents is the other way in, the Events API over HTTP; nil without the
// signing secret. Both ways share one edge, so that what comes by both counts once.
func (a *App) slackEvents() (map[string]http.Handler, error) {
	if a.slack == nil || a.Cfg.Slack.SigningSecret == "" {
		return nil, nil
	}
	h, err := a.slack.EventsHandler(a.Engine)
	if err != nil {
		return nil, err
	}
	return map[string]http.Handler{EventsPath: h}, nil
}

// people lists everybody who has a part in the register, by name or id.
func (a *App) people(ctx context.Context) ([]string, error) {
	reg, err := a.View.Register(ctx)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, s := range reg.Sites() {
		out = slices.Concat(out, s.Supervisors, s.Crew)
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}

// byDetour sends what is meant for a person whom the platform does not know to
// the channel of their site, so that no alert is lost for want of an id.
type byDetour struct {
	channel.Sender
	view *view.View
}

// Send implements channel.Sender.
func (d byDetour) Send(ctx context.Context, p channel.Post) (string, error) {
	id, err := d.Sender.Send(ctx, p)
	if !errors.Is(err, channel.ErrNobody) {
		return id, err
	}
	reg, rerr := d.view.Register(ctx)
	if rerr != nil {
		return "", rerr
	}
	same := func(name string) bool { return strings.EqualFold(name, p.To.Channel) }
	for _, s := range reg.Sites() {
		place := strings.TrimPrefix(s.Channel, p.To.Platform+":")
		if place != "" && slices.ContainsFunc(slices.Concat(s.Supervisors, s.Crew), same) {
			p.Text = "For " + p.To.Channel + ", whom no direct message reaches (clogwise doctor says why):\n" + p.Text
			p.To.Channel = place
			return d.Sender.Send(ctx, p)
		}
	}
	return id, err
}
