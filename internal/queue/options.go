package queue

import (
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/redis/go-redis/v9/maintnotifications"
)

// DefaultPrefix begins every key unless [Options.Prefix] says otherwise.
const DefaultPrefix = "clogwise"

// Options says where the server is and how its keys begin.
type Options struct {
	// URL takes one of these forms; several addresses are parted by commas.
	// TLS is used when the scheme starts with rediss.
	//
	//	redis://[user:password@]host:port[/db]
	//	redis+cluster://[user:password@]host:port,host:port
	//	redis+sentinel://[user:password@]host:port,host:port/master[/db]
	//
	// redis:// with several addresses means a cluster. Query parameters are
	// those of go-redis (dial_timeout, pool_size, …).
	URL string

	// Password and SentinelPassword, when set, stand in for those of the URL,
	// so that the URL may be written down and the secret kept elsewhere.
	Password         string
	SentinelPassword string

	// Prefix begins every key; [DefaultPrefix] when empty. Installations that
	// share a server need different ones. Braces are refused: they would
	// change which keys go together on a cluster.
	Prefix string
}

// client timings: intake must not hang on a dead server, since the ledger
// already has the entry and the sweep will queue it.
const (
	dialTimeout = 2 * time.Second
	ioTimeout   = 3 * time.Second
	maxRetries  = 2
)

// errBadURL hides the text of the URL, which may hold a password.
var errBadURL = errors.New("queue: the Redis URL cannot be read; " +
	"expected redis://host:port/db, redis+cluster://host:port,host:port or redis+sentinel://host:port,host:port/master")

func (o Options) prefix() (string, error) {
	if o.Prefix == "" {
		return DefaultPrefix, nil
	}
	if strings.ContainsAny(o.Prefix, "{}") {
		return "", fmt.Errorf("queue: prefix %q: braces are not allowed", o.Prefix)
	}
	return o.Prefix, nil
}

// universal turns the URL into client options.
func (o Options) universal() (*redis.UniversalOptions, error) {
	u, err := splitURL(o.URL)
	if err != nil {
		return nil, err
	}
	one, err := redis.ParseURL(u.first())
	if err != nil {
		return nil, badOption(err)
	}
	opt := &redis.UniversalOptions{
		Addrs:           u.addrs,
		MasterName:      u.master,
		IsClusterMode:   u.kind == "cluster",
		DB:              one.DB,
		Username:        one.Username,
		Password:        one.Password,
		TLSConfig:       one.TLSConfig,
		PoolSize:        one.PoolSize,
		MinIdleConns:    one.MinIdleConns,
		ConnMaxIdleTime: one.ConnMaxIdleTime,
		ConnMaxLifetime: one.ConnMaxLifetime,
		PoolTimeout:     one.PoolTimeout,
		DialTimeout:     or(one.DialTimeout, dialTimeout),
		ReadTimeout:     or(one.ReadTimeout, ioTimeout),
		WriteTimeout:    or(one.WriteTimeout, ioTimeout),
		MaxRetries:      or(one.MaxRetries, maxRetries),
		ClientName:      one.ClientName,

		// One answer format on every kind of server, no extra handshakes that
		// Redis 7 does not know, deadlines of callers honoured, and a dead
		// server reported at once: the back-off is ours.
		Protocol:                 2,
		DisableIdentity:          true,
		ContextTimeoutEnabled:    true,
		DialerRetries:            1,
		MaintNotificationsConfig: &maintnotifications.Config{Mode: maintnotifications.ModeDisabled},
	}
	if o.Password != "" {
		opt.Password = o.Password
	}
	if u.kind == "sentinel" {
		opt.SentinelPassword = o.SentinelPassword
	}
	return opt, nil
}

// serverURL is a Redis URL taken apart as far as go-redis cannot do it.
type serverURL struct {
	scheme string // redis or rediss
	kind   string // "", cluster or sentinel
	user   *url.Userinfo
	addrs  []string
	master string // sentinel only
	db     string // path without slashes
	query  string
}

// splitURL reads scheme, addresses and master name.
func splitURL(raw string) (serverURL, error) {
	scheme, rest, ok := strings.Cut(raw, "://")
	if !ok {
		return serverURL{}, errBadURL
	}
	var s serverURL
	s.scheme, s.kind, _ = strings.Cut(scheme, "+")
	if s.scheme != "redis" && s.scheme != "rediss" {
		return serverURL{}, errBadURL
	}
	rest, s.query, _ = strings.Cut(rest, "?")
	authority, path, _ := strings.Cut(rest, "/")
	if at := strings.LastIndexByte(authority, '@'); at >= 0 {
		u, err := url.Parse("redis://" + authority[:at+1] + "host")
		if err != nil {
			return serverURL{}, errBadURL
		}
		s.user, authority = u.User, authority[at+1:]
	}
	s.db = strings.Trim(path, "/")
	for addr := range strings.SplitSeq(authority, ",") {
		if addr == "" {
			return serverURL{}, errBadURL
		}
		s.addrs = append(s.addrs, s.withPort(addr))
	}
	return s.settled()
}

// settled checks that the parts fit the kind of server.
func (s serverURL) settled() (serverURL, error) {
	switch s.kind {
	case "":
		if len(s.addrs) > 1 {
			s.kind = "cluster"
		}
	case "cluster":
	case "sentinel":
		s.master, s.db, _ = strings.Cut(s.db, "/")
		if s.master == "" {
			return serverURL{}, errors.New("queue: the Redis URL names Sentinels but no master; write redis+sentinel://host:port/master")
		}
	default:
		return serverURL{}, errBadURL
	}
	if s.kind == "cluster" && s.db != "" && s.db != "0" {
		return serverURL{}, errors.New("queue: a Redis Cluster has only database 0; leave the number out of the URL")
	}
	return s, nil
}

func (s serverURL) withPort(addr string) string {
	bare := addr[strings.LastIndexByte(addr, ']')+1:]
	if strings.Contains(bare, ":") {
		return addr
	}
	if s.kind == "sentinel" {
		return addr + ":26379"
	}
	return addr + ":6379"
}

// first is the single-address URL that go-redis can read.
func (s serverURL) first() string {
	u := url.URL{Scheme: s.scheme, User: s.user, Host: s.addrs[0], Path: "/" + s.db, RawQuery: s.query}
	return u.String()
}

// badOption passes on what go-redis says about an option, unless the message
// quotes the URL.
func badOption(err error) error {
	var quoted *url.Error
	if errors.As(err, &quoted) {
		return errBadURL
	}
	return fmt.Errorf("queue: Redis URL: %w", err)
}

// or returns v unless it is zero.
func or[T comparable](v, fallback T) T {
	var zero T
	if v == zero {
		return fallback
	}
	return v
}
