package slack_test

import (
	"os"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"

	"clogwise/bot/slack"
	"clogwise/bot/slack/fakeslack"
)

func TestCheck(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		options  fakeslack.Options
		alter    func(*slack.Config)
		prepare  func(*fakeslack.Server)
		channels []string
		bad      map[string]string // what is wrong → a word of what to do
	}{
		"all well": {channels: []string{plantRoom}, prepare: func(s *fakeslack.Server) {
			s.AddChannel(fakeslack.Channel{ID: plantRoom, Name: "plant", Member: true})
		}},
		"bot token refused": {alter: func(c *slack.Config) { c.BotToken = "xoxb-stale" }, bad: map[string]string{"bot token": "OAuth & Permissions"}},
		"app token refused": {alter: func(c *slack.Config) { c.AppToken = "xapp-stale" }, bad: map[string]string{"app token": "connections:write"}},
		"no app token, no secret": {alter: func(c *slack.Config) { c.AppToken, c.SigningSecret = "", "" },
			bad: map[string]string{"way in": "Events API"}},
		"events over HTTP":  {alter: func(c *slack.Config) { c.AppToken = "" }},
		"another workspace": {alter: func(c *slack.Config) { c.Team = "T0OTHER" }, bad: map[string]string{"bot token": "T0OTHER"}},
		"scopes missing": {options: fakeslack.Options{Scopes: "chat:write,channels:history,users:read,im:history"},
			bad: map[string]string{"scopes": "groups:history, files:write, files:read, commands"}},
		"scopes unsaid": {options: fakeslack.Options{Scopes: "-"}},
		"channel without the bot": {channels: []string{plantRoom}, bad: map[string]string{"channel " + plantRoom: "/invite"},
			prepare: func(s *fakeslack.Server) { s.AddChannel(fakeslack.Channel{ID: plantRoom, Name: "plant"}) }},
		"channel with its platform": {channels: []string{"slack:" + plantRoom, "", "terminal:north"}, bad: map[string]string{"channel " + plantRoom: "/invite"},
			prepare: func(s *fakeslack.Server) { s.AddChannel(fakeslack.Channel{ID: plantRoom, Name: "plant"}) }},
		"channel unknown": {channels: []string{"C0GONE"}, bad: map[string]string{"channel C0GONE": "check the id"}},
		"channel archived": {channels: []string{plantRoom}, bad: map[string]string{"channel " + plantRoom: "unarchive"},
			prepare: func(s *fakeslack.Server) {
				s.AddChannel(fakeslack.Channel{ID: plantRoom, Name: "plant", Member: true, Archived: true})
			}},
		"channels cannot be looked at": {channels: []string{plantRoom}, prepare: func(s *fakeslack.Server) {
			s.Fail("conversations.info", fakeslack.Fault{Error: "missing_scope"})
		}},
		"platform down": {bad: map[string]string{"bot token": "network", "app token": "network"}, prepare: func(s *fakeslack.Server) {
			s.Fail("auth.test", fakeslack.Fault{Cut: true, Times: 9})
			s.Fail("apps.connections.open", fakeslack.Fault{Status: 503})
		}},
		"asked too often": {bad: map[string]string{"app token": "wait a minute"}, prepare: func(s *fakeslack.Server) {
			s.Fail("apps.connections.open", fakeslack.Fault{Status: 429, RetryAfter: 1e9})
		}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			fake := fakeslack.Start(t, c.options)
			if c.prepare != nil {
				c.prepare(fake)
			}
			alter := c.alter
			if alter == nil {
				alter = func(*slack.Config) {}
			}
			wrong := map[string]string{}
			for _, f := range newEdge(t, fake, alter).Check(t.Context(), c.channels...) {
				if f.Detail == "" {
					t.Errorf("%s: nothing said", f.What)
				}
				if f.OK == (f.Mend != "") {
					t.Errorf("%s: OK %v, and to mend %q", f.What, f.OK, f.Mend)
				}
				if strings.Contains(f.Detail+f.Mend, "-stale") {
					t.Errorf("%s shows a token", f.What)
				}
				if !f.OK {
					wrong[f.What] = f.Mend
				}
			}
			if len(wrong) != len(c.bad) {
				t.Errorf("wrong %q, want %q", wrong, c.bad)
			}
			for what, word := range c.bad {
				if !strings.Contains(wrong[what], word) {
					t.Errorf("%s: to mend %q, want %q in it", what, wrong[what], word)
				}
			}
		})
	}
}

// The manifest people install asks for the scopes the checks want, no more.
func TestManifestAsksForTheScopes(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile("../../configs/slack-manifest.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var manifest struct {
		OAuth struct {
			Scopes struct{ Bot []string }
		} `yaml:"oauth_config"`
		Settings struct {
			SocketMode bool `yaml:"socket_mode_enabled"`
			Events     struct {
				Bot []string `yaml:"bot_events"`
			} `yaml:"event_subscriptions"`
			Interactivity struct {
				On bool `yaml:"is_enabled"`
			}
		}
	}
	if err := yaml.Unmarshal(data, &manifest); err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, s := range slack.Scopes() {
		want = append(want, s.Name)
	}
	want = append(want, slack.GroupScope) // a line that those without user groups leave out
	if got := manifest.OAuth.Scopes.Bot; !slices.Equal(got, want) {
		t.Errorf("scopes %q, want %q", got, want)
	}
	if !manifest.Settings.SocketMode || !manifest.Settings.Interactivity.On {
		t.Error("Socket Mode and buttons must be on")
	}
	if got, want := manifest.Settings.Events.Bot, []string{"message.channels", "message.groups", "message.im", "app_home_opened"}; !slices.Equal(got, want) {
		t.Errorf("events %q, want %q", got, want)
	}
}
