// Package config reads every setting of clogwise into one plain struct: from a
// file, from the environment (CLOGWISE_…) and from flags, later ones winning.
package config

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/go-viper/mapstructure/v2"
	"github.com/spf13/pflag"
	"github.com/spf13/viper"
)

// Config is every setting. configs/clogwise.yaml explains each.
type Config struct {
	Data   string   `mapstructure:"data"`   // folder of the ledger, charts and local state
	Ledger string   `mapstructure:"ledger"` // sqlite file, or postgres://…; empty = DATA/ledger.db
	Redis  string   `mapstructure:"redis"`  // redis://…; empty = a server inside this process
	Roles  []string `mapstructure:"roles"`  // bot, worker, cron

	Slack     Slack     `mapstructure:"slack"`
	HTTP      HTTP      `mapstructure:"http"`
	Worker    Worker    `mapstructure:"worker"`
	Cron      Cron      `mapstructure:"cron"`
	Outbox    Outbox    `mapstructure:"outbox"`
	Question  Question  `mapstructure:"question"`
	Retention Retention `mapstructure:"retention"`
	Log       Log       `mapstructure:"log"`
}

// Slack connects the team channel. Tokens and the signing secret come from the
// environment (CLOGWISE_SLACK_BOT_TOKEN, CLOGWISE_SLACK_APP_TOKEN,
// CLOGWISE_SLACK_SIGNING_SECRET) or from files.
type Slack struct {
	BotToken          Secret   `mapstructure:"bot_token"`
	AppToken          Secret   `mapstructure:"app_token"`      // for Socket Mode
	SigningSecret     Secret   `mapstructure:"signing_secret"` // for the Events API over HTTP
	BotTokenFile      string   `mapstructure:"bot_token_file"`
	AppTokenFile      string   `mapstructure:"app_token_file"`
	SigningSecretFile string   `mapstructure:"signing_secret_file"`
	APIURL            string   `mapstructure:"api_url"`
	Team              string   `mapstructure:"team"`
	People            []string `mapstructure:"people"` // "NAME = ID", see Directory
}

// Enabled reports whether there is a bot token and a way in.
func (s Slack) Enabled() bool { return s.BotToken != "" && (s.AppToken != "" || s.SigningSecret != "") }

// Directory is who in the register has which id in the workspace: of a person
// (U…, W…) or a user group (S…).
func (s Slack) Directory() (map[string]string, error) {
	out := make(map[string]string, len(s.People))
	for _, line := range s.People {
		name, id, ok := strings.Cut(line, "=")
		name, id = strings.TrimSpace(name), strings.TrimSpace(id)
		if !ok || name == "" || !chatID(id) {
			return nil, fmt.Errorf("slack.people: %q is not NAME = ID; the id begins with U or W (a person) or S (a user group), for example \"Maren = U024BE7LH\"", line)
		}
		if other, twice := out[name]; twice && other != id {
			return nil, fmt.Errorf("slack.people: %q has two ids, %s and %s", name, other, id)
		}
		out[name] = id
	}
	return out, nil
}

func chatID(id string) bool {
	return len(id) > 1 && strings.ContainsRune("UWS", rune(id[0])) &&
		strings.Trim(id, "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789") == ""
}

// HTTP is the intake for integrators.
type HTTP struct {
	Listen       string  `mapstructure:"listen"`
	MaxBodyBytes int64   `mapstructure:"max_body_bytes"`
	RatePerSec   float64 `mapstructure:"rate_per_second"` // requests a second for one key
	Burst        int     `mapstructure:"burst"`
	// MetricsListen is where a process without the bot's role serves its metrics.
	MetricsListen string `mapstructure:"metrics_listen"`
	TLSCertFile   string `mapstructure:"tls_cert_file"` // PEM, the chain; both files or none
	TLSKeyFile    string `mapstructure:"tls_key_file"`  // PEM
}

// Scheme is how the address is reached: https with a certificate, else http.
func (h HTTP) Scheme() string {
	if h.TLSCertFile != "" {
		return "https"
	}
	return "http"
}

// Worker sets the recompute side.
type Worker struct {
	Parallel   int           `mapstructure:"parallel"`
	ClaimAfter time.Duration `mapstructure:"claim_after"` // a notice held longer by one worker is taken over
	MaxTries   int           `mapstructure:"max_tries"`   // then it is parked
	SweepEvery time.Duration `mapstructure:"sweep_every"` // how often the ledger is searched for lagging banks
	Remember   int           `mapstructure:"remember"`    // entries of banks seen lately that are kept in memory
}

// Cron sets the scheduled posts.
type Cron struct {
	CatchUp time.Duration `mapstructure:"catch_up"` // a missed firing is made good when no older than this
	Tick    time.Duration `mapstructure:"tick"`
	Lead    time.Duration `mapstructure:"lead"` // leadership is lost when not renewed for so long
}

// Outbox sets delivery.
type Outbox struct {
	MaxAttempts int           `mapstructure:"max_attempts"`
	GiveUpAfter time.Duration `mapstructure:"give_up_after"` // while the platform is out of reach attempts do not count
	MergeAfter  time.Duration `mapstructure:"merge_after"`   // replies this old are sent as one
	Lease       time.Duration `mapstructure:"lease"`
	PerSecond   float64       `mapstructure:"per_second"` // posts to one chat channel in the long run; 0: as fast as they come
	Burst       int           `mapstructure:"burst"`      // and at once
	ReplyWait   time.Duration `mapstructure:"reply_wait"` // a reply goes without its forecast after so long
}

// Question sets how long the bot waits for an answer.
type Question struct {
	Expires time.Duration `mapstructure:"expires"`
}

// Retention sets how long text is kept that the ledger does not need.
type Retention struct {
	Posts time.Duration `mapstructure:"posts"` // text of what was said, and of unclear messages
}

// Log sets logging to standard error.
type Log struct {
	Level string `mapstructure:"level"` // debug, info, warn, error
	JSON  bool   `mapstructure:"json"`
}

// Secret is a value that is never printed.
type Secret string

// String hides the value; so do %v, %q and slog.
func (s Secret) String() string {
	if s == "" {
		return ""
	}
	return "(secret)"
}

// GoString hides the value from %#v.
func (s Secret) GoString() string { return s.String() }

// MarshalText hides the value from encoders.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

var roles = []string{"bot", "worker", "cron"}

var defaults = map[string]any{
	"data": "./clogwise-data", "ledger": "", "redis": "", "roles": roles,
	"slack.bot_token": "", "slack.app_token": "", "slack.signing_secret": "",
	"slack.bot_token_file": "", "slack.app_token_file": "", "slack.signing_secret_file": "",
	"slack.api_url": "", "slack.team": "", "slack.people": []string{},
	"http.listen": "127.0.0.1:8086", "http.max_body_bytes": 1 << 20, "http.rate_per_second": 50.0, "http.burst": 100,
	"http.metrics_listen": "",
	"http.tls_cert_file":  "", "http.tls_key_file": "",
	"worker.parallel": 2, "worker.claim_after": "30s", "worker.max_tries": 5, "worker.sweep_every": "1m", "worker.remember": 300_000,
	"cron.catch_up": "72h", "cron.tick": "15s", "cron.lead": "10s",
	"outbox.max_attempts": 20, "outbox.give_up_after": "168h", "outbox.merge_after": "10m", "outbox.per_second": 1.0, "outbox.burst": 30,
	"outbox.lease": "60s", "outbox.reply_wait": "5s",
	"question.expires": "12h",
	"retention.posts":  "720h",
	"log.level":        "warn", "log.json": false,
}

// Load reads the configuration. file may be empty: then configs are taken from
// the environment and flags alone. Flags are those the caller defined on the
// set, bound by their names ("redis", "roles", "data", "http-listen" for
// http.listen).
func Load(file string, flags *pflag.FlagSet) (Config, error) {
	v := viper.New()
	for k, d := range defaults {
		v.SetDefault(k, d)
	}
	v.SetEnvPrefix("CLOGWISE")
	v.SetEnvKeyReplacer(strings.NewReplacer(".", "_"))
	v.AutomaticEnv()
	if err := refuseEnvironment(os.Environ()); err != nil {
		return Config{}, err
	}
	if file != "" {
		v.SetConfigFile(file)
		if err := v.ReadInConfig(); err != nil {
			return Config{}, explainRead(file, err)
		}
		if err := refuse(v); err != nil {
			return Config{}, fmt.Errorf("%s: %w", file, err)
		}
	}
	if flags != nil {
		for k := range defaults {
			if f := flags.Lookup(strings.NewReplacer(".", "-", "_", "-").Replace(k)); f != nil {
				if err := v.BindPFlag(k, f); err != nil {
					return Config{}, err
				}
			}
		}
	}
	var c Config
	err := v.Unmarshal(&c, viper.DecodeHook(mapstructure.ComposeDecodeHookFunc(
		mapstructure.StringToTimeDurationHookFunc(), mapstructure.StringToSliceHookFunc(","))))
	if err != nil {
		return Config{}, fmt.Errorf("configuration: %w", err)
	}
	if err := c.readSecrets(); err != nil {
		return Config{}, err
	}
	return c, c.check()
}

func explainRead(file string, err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("no configuration file %s; give --config FILE or leave the flag out", file)
	}
	return fmt.Errorf("%s cannot be read: %w", file, err)
}

// refuse names keys that mean nothing and secrets written into the file.
// others are names of the environment that are no settings: the secret of the worked
// clients, and the hooks of a build that tests faults.
var others = []string{"CLOGWISE_SECRET", "CLOGWISE_FAULTS"}

// refuseEnvironment names variables that look like settings and are none.
func refuseEnvironment(environ []string) error {
	known := map[string]bool{}
	for k := range defaults {
		known["CLOGWISE_"+strings.ToUpper(strings.ReplaceAll(k, ".", "_"))] = true
	}
	var unknown []string
	for _, e := range environ {
		name, _, _ := strings.Cut(e, "=")
		// Container platforms tell of a service named clogwise by such names.
		service := strings.HasPrefix(name, "CLOGWISE_PORT") || strings.HasPrefix(name, "CLOGWISE_SERVICE_")
		if strings.HasPrefix(name, "CLOGWISE_") && !known[name] && !service && !slices.Contains(others, name) {
			unknown = append(unknown, name)
		}
	}
	if len(unknown) > 0 {
		slices.Sort(unknown)
		return fmt.Errorf("unknown setting %s in the environment; configs/clogwise.yaml lists every setting", strings.Join(unknown, ", "))
	}
	return nil
}

func refuse(v *viper.Viper) error {
	var unknown []string
	for _, k := range v.AllKeys() {
		if _, ok := defaults[k]; !ok {
			unknown = append(unknown, k)
		}
	}
	if len(unknown) > 0 {
		slices.Sort(unknown)
		return fmt.Errorf("unknown setting %s; configs/clogwise.yaml lists every setting", strings.Join(unknown, ", "))
	}
	for _, k := range []string{"slack.bot_token", "slack.app_token", "slack.signing_secret"} {
		if v.InConfig(k) {
			return fmt.Errorf("%s may not stand in the configuration file; set %s, or name a file in %s_file",
				k, "CLOGWISE_"+strings.ToUpper(strings.ReplaceAll(k, ".", "_")), k)
		}
	}
	return nil
}

func (c *Config) readSecrets() error {
	for _, s := range []struct {
		into *Secret
		file string
		name string
	}{
		{&c.Slack.BotToken, c.Slack.BotTokenFile, "slack.bot_token_file"},
		{&c.Slack.AppToken, c.Slack.AppTokenFile, "slack.app_token_file"},
		{&c.Slack.SigningSecret, c.Slack.SigningSecretFile, "slack.signing_secret_file"},
	} {
		if *s.into != "" || s.file == "" {
			continue
		}
		raw, err := os.ReadFile(s.file)
		if err != nil {
			return fmt.Errorf("%s: %w", s.name, err)
		}
		*s.into = Secret(strings.TrimSpace(string(raw)))
	}
	return nil
}

func (c *Config) check() error {
	for i, r := range c.Roles {
		c.Roles[i] = strings.TrimSpace(r)
		if !slices.Contains(roles, c.Roles[i]) {
			return fmt.Errorf("roles: %q is not a role; choose from %s", r, strings.Join(roles, ", "))
		}
	}
	switch {
	case len(c.Roles) == 0:
		return fmt.Errorf("roles: none given; choose from %s", strings.Join(roles, ", "))
	case c.Worker.Parallel < 1 || c.Worker.Parallel > 256:
		return fmt.Errorf("worker.parallel: %d is not between 1 and 256", c.Worker.Parallel)
	case c.Worker.MaxTries < 1:
		return fmt.Errorf("worker.max_tries: %d is not 1 or more", c.Worker.MaxTries)
	case c.HTTP.MaxBodyBytes < 1024:
		return fmt.Errorf("http.max_body_bytes: %d is less than 1024", c.HTTP.MaxBodyBytes)
	case c.HTTP.RatePerSec <= 0 || c.HTTP.Burst < 1:
		return errors.New("http.rate_per_second and http.burst must be above zero")
	case (c.HTTP.TLSCertFile == "") != (c.HTTP.TLSKeyFile == ""):
		return errors.New("http.tls_cert_file and http.tls_key_file go together: name both, or neither")
	case c.Outbox.PerSecond < 0 || c.Outbox.Burst < 1:
		return errors.New("outbox.per_second must not be below zero, nor outbox.burst below one")
	case c.Outbox.MaxAttempts < 1:
		return fmt.Errorf("outbox.max_attempts: %d is not 1 or more", c.Outbox.MaxAttempts)
	}
	for name, d := range map[string]time.Duration{
		"worker.claim_after": c.Worker.ClaimAfter, "worker.sweep_every": c.Worker.SweepEvery, "cron.tick": c.Cron.Tick,
		"cron.lead": c.Cron.Lead, "outbox.lease": c.Outbox.Lease, "question.expires": c.Question.Expires, "retention.posts": c.Retention.Posts,
		"outbox.give_up_after": c.Outbox.GiveUpAfter, "outbox.merge_after": c.Outbox.MergeAfter,
	} {
		if d < 100*time.Millisecond {
			return fmt.Errorf("%s: %s is too short; write for example 30s", name, d)
		}
	}
	if _, err := c.Slack.Directory(); err != nil {
		return err
	}
	if c.Ledger == "" {
		c.Ledger = filepath.Join(c.Data, "ledger.db")
	}
	return nil
}

// Has reports whether this process plays a role.
func (c Config) Has(role string) bool { return slices.Contains(c.Roles, role) }
