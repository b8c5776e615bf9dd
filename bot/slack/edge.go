// Package slack is the Slack edge: what people write and press in Slack comes in
// through Socket Mode or the Events API over HTTP, and posts go out through the
// Web API. It knows the platform's rules (markup, limits, resends, rate limits)
// and nothing of what is said.
//
// An envelope is acknowledged only after the handler has taken what was in it,
// so whatever was not recorded comes again. Message text is never logged.
package slack

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/slack-go/slack"

	"clogwise/internal/channel"
)

// Platform is the name of this edge in channel.Message, Press and Address.
const Platform = "slack"

var _ channel.Sender = (*Edge)(nil)

// ErrRunning is returned by Run while another Run of the same Edge goes on.
var ErrRunning = errors.New("slack: already running")

// Config is what the edge needs. Zero durations and counts mean the defaults.
type Config struct {
	BotToken      string // xoxb-…, from OAuth & Permissions
	AppToken      string // xapp-… with connections:write; needed by Socket Mode only
	SigningSecret string // from Basic Information; needed by the Events API only
	Team          string // workspace id the tokens must belong to; empty: any
	APIURL        string // base of the Web API, ends in a slash; empty: the real one

	// People gives who is named in the register an id: of a person (U…, W…) or a
	// user group (S…). Roles and direct messages go by it.
	People map[string]string
	// Groups lists further user groups (S…) that have a part in the register.
	Groups func(ctx context.Context) ([]string, error)

	HTTPClient *http.Client // default: 30 s timeout
	Log        *slog.Logger // default: none

	Workers       int           // messages handled at the same time (default 16)
	Queue         int           // messages waiting to be handled (default 1024)
	HandleTimeout time.Duration // for one message; under the platform's 3 s (default 2.5 s)
	PingTimeout   time.Duration // silence after which the socket is taken for dead (default 30 s)
	Now           func() time.Time
}

// Edge connects one Slack workspace. Its methods may be called concurrently.
type Edge struct {
	cfg   Config
	api   *slack.Client
	log   *slog.Logger
	names *names
	who   *people
	lanes *lanes
	done  *recent // what was handled lately, so that a resend is only acknowledged
	parts *partlySent

	mu      sync.Mutex
	me      identity           // zero until auth.test has answered
	cancel  context.CancelFunc // of the Run that goes on, nil if none
	stopped chan struct{}      // closed when that Run has returned
}

// identity is who the bot is in its workspace.
type identity struct {
	Team, TeamName string
	User, UserName string
	Bot            string // B…, the id its own messages carry
}

// New checks the configuration. It makes no call.
func New(cfg Config) (*Edge, error) {
	if err := cfg.validate(); err != nil {
		return nil, err
	}
	cfg = cfg.withDefaults()
	options := []slack.Option{
		slack.OptionHTTPClient(cfg.HTTPClient),
		slack.OptionAppLevelToken(cfg.AppToken),
		slack.OptionLog(log.New(io.Discard, "", 0)),
	}
	if cfg.APIURL != "" {
		options = append(options, slack.OptionAPIURL(cfg.APIURL))
	}
	api := slack.New(cfg.BotToken, options...)
	return &Edge{
		cfg:   cfg,
		api:   api,
		log:   cfg.Log,
		names: newNames(api, cfg.Now),
		who:   newPeople(cfg, api),
		lanes: newLanes(cfg.Workers, cfg.Queue),
		done:  newRecent(4096),
		parts: newPartlySent(cfg.Now),
	}, nil
}

func (c Config) validate() error {
	switch {
	case c.BotToken == "":
		return errors.New("slack: no bot token: copy the Bot User OAuth Token (xoxb-…) from the app's OAuth & Permissions page")
	case !strings.HasPrefix(c.BotToken, "xoxb-"):
		return errors.New("slack: the bot token does not begin with xoxb-: copy the Bot User OAuth Token from OAuth & Permissions")
	case c.AppToken != "" && !strings.HasPrefix(c.AppToken, "xapp-"):
		return errors.New("slack: the app token does not begin with xapp-: make an App-Level Token with connections:write under Basic Information")
	case c.APIURL != "" && !strings.HasSuffix(c.APIURL, "/"):
		return fmt.Errorf("slack: API address %q must end in a slash", c.APIURL)
	}
	return nil
}

func (c Config) withDefaults() Config {
	if c.HTTPClient == nil {
		c.HTTPClient = &http.Client{Timeout: 30 * time.Second}
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Workers <= 0 {
		c.Workers = 16
	}
	if c.Queue <= 0 {
		c.Queue = 1024
	}
	if c.HandleTimeout <= 0 {
		c.HandleTimeout = 2500 * time.Millisecond
	}
	if c.PingTimeout <= 0 {
		c.PingTimeout = 30 * time.Second
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	return c
}

// whoami asks the platform once who the bot is.
func (e *Edge) whoami(ctx context.Context) (identity, error) {
	e.mu.Lock()
	me := e.me
	e.mu.Unlock()
	if me.User != "" {
		return me, nil
	}
	auth, err := e.api.AuthTestContext(ctx)
	if err != nil {
		return identity{}, err
	}
	if e.cfg.Team != "" && auth.TeamID != e.cfg.Team {
		return identity{}, &wrongTeamError{want: e.cfg.Team, got: auth.TeamID}
	}
	me = identity{Team: auth.TeamID, TeamName: auth.Team, User: auth.UserID, UserName: auth.User, Bot: auth.BotID}
	e.mu.Lock()
	e.me = me
	e.mu.Unlock()
	return me, nil
}

type wrongTeamError struct{ want, got string }

func (e *wrongTeamError) Error() string {
	return fmt.Sprintf("the tokens belong to workspace %s, the configuration names %s: use that workspace's tokens or change the setting", e.got, e.want)
}

// Stop ends the current Run and waits until it has returned. Without a Run, or
// called twice, it does nothing.
func (e *Edge) Stop() {
	e.mu.Lock()
	cancel, stopped := e.cancel, e.stopped
	e.mu.Unlock()
	if cancel != nil {
		cancel()
		<-stopped
	}
}

// begin marks a Run as going on; end unmarks it.
func (e *Edge) begin(ctx context.Context) (_ context.Context, end func(), err error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.cancel != nil {
		return nil, nil, ErrRunning
	}
	ctx, cancel := context.WithCancel(ctx)
	stopped := make(chan struct{})
	e.cancel, e.stopped = cancel, stopped
	return ctx, func() {
		cancel()
		e.mu.Lock()
		e.cancel = nil
		e.mu.Unlock()
		close(stopped)
	}, nil
}
