//go:build unix

// Package postgrestest starts a PostgreSQL server of its own for tests, from the
// binaries installed on the machine. It listens on a socket in a temporary
// folder: no port is taken and nobody else's server is touched.
package postgrestest

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Server is a running server.
type Server struct {
	dir     string
	bin     string
	account *syscall.Credential // who runs it; nil for ourselves
	cmd     *exec.Cmd           // nil while stopped
	log     *bytes.Buffer
	ended   chan error
	schemas atomic.Int64
}

// ErrAbsent says that no PostgreSQL is installed.
var ErrAbsent = errors.New("no PostgreSQL server is installed (looked for initdb in PATH and in /usr/lib/postgresql)")

// Start makes a new cluster and starts a server on it, or fails with ErrAbsent.
// PostgreSQL refuses to run as root: then the account postgres runs it, or nobody.
func Start(ctx context.Context) (*Server, error) {
	initdb, err := find("initdb")
	if err != nil {
		return nil, err
	}
	account, err := account()
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "pg") // a socket's path must be short
	if err != nil {
		return nil, err
	}
	s := &Server{dir: dir, bin: filepath.Dir(initdb), account: account, log: &bytes.Buffer{}, ended: make(chan error, 1)}
	if err := errors.Join(s.create(ctx), s.Restart(ctx)); err != nil {
		return nil, errors.Join(err, s.Stop())
	}
	return s, nil
}

// find looks for a program, the newest version first.
func find(name string) (string, error) {
	if path, err := exec.LookPath(name); err == nil {
		return path, nil
	}
	paths, err := filepath.Glob("/usr/lib/postgresql/*/bin/" + name)
	if err != nil || len(paths) == 0 {
		return "", ErrAbsent
	}
	version := func(path string) int {
		n, _ := strconv.Atoi(filepath.Base(filepath.Dir(filepath.Dir(path))))
		return n
	}
	return slices.MaxFunc(paths, func(a, b string) int { return cmp.Compare(version(a), version(b)) }), nil
}

// account is who runs the server: nil for ourselves.
func account() (*syscall.Credential, error) {
	if os.Geteuid() != 0 {
		return nil, nil
	}
	u, err := user.Lookup("postgres")
	if err != nil {
		if u, err = user.Lookup("nobody"); err != nil {
			return nil, fmt.Errorf("%w that root may run: there is no account postgres or nobody", ErrAbsent)
		}
	}
	uid, err := strconv.ParseUint(u.Uid, 10, 32)
	if err != nil {
		return nil, err
	}
	gid, err := strconv.ParseUint(u.Gid, 10, 32)
	return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}, err
}

// data is the folder of the cluster.
func (s *Server) data() string { return filepath.Join(s.dir, "data") }

func (s *Server) command(ctx context.Context, program string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, filepath.Join(s.bin, program), append([]string{"-D", s.data()}, args...)...)
	cmd.Dir, cmd.SysProcAttr = s.dir, &syscall.SysProcAttr{Credential: s.account}
	return cmd
}

// create makes the cluster.
func (s *Server) create(ctx context.Context) error {
	if s.account != nil {
		if err := os.Chown(s.dir, int(s.account.Uid), int(s.account.Gid)); err != nil {
			return err
		}
	}
	initdb := s.command(ctx, "initdb", "-U", "clogwise", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
	if out, err := initdb.CombinedOutput(); err != nil {
		return fmt.Errorf("initdb: %w\n%s", err, out)
	}
	return nil
}

// Restart starts a server that was stopped on the data it left, and waits until
// it answers.
func (s *Server) Restart(ctx context.Context) error {
	s.cmd = s.command(context.WithoutCancel(ctx), "postgres", "-k", s.dir, "-c", "listen_addresses=",
		"-c", "shared_buffers=32MB", "-c", "max_connections=300", "-c", "logging_collector=off")
	s.cmd.Stdout, s.cmd.Stderr = s.log, s.log
	if err := s.cmd.Start(); err != nil {
		s.cmd = nil
		return err
	}
	go func(cmd *exec.Cmd) { s.ended <- cmd.Wait() }(s.cmd)
	return s.await(ctx)
}

// await tries to connect until the server answers.
func (s *Server) await(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	for {
		conn, err := pgx.Connect(ctx, s.URL(""))
		if err == nil {
			return conn.Close(ctx)
		}
		select {
		case ended := <-s.ended:
			s.ended <- ended
			return fmt.Errorf("the server ended at once: %w\n%s", ended, s.log)
		case <-ctx.Done():
			return fmt.Errorf("the server does not answer: %w", err)
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// Stop stops the server and removes what it kept.
func (s *Server) Stop() error {
	return errors.Join(s.Shutdown(), os.RemoveAll(s.dir))
}

// Shutdown stops the server in good order, ending its connections; Restart
// starts it again. A stopped server stays stopped.
func (s *Server) Shutdown() error { return s.end(syscall.SIGINT) } // "fast"

// Crash ends the server at once, without a checkpoint: it must recover from its
// log when it is started again, as after a power cut.
func (s *Server) Crash() error { return s.end(syscall.SIGQUIT) } // "immediate"

func (s *Server) end(how syscall.Signal) error {
	if s.cmd == nil {
		return nil
	}
	err := s.cmd.Process.Signal(how)
	if errors.Is(err, os.ErrProcessDone) {
		err = nil
	}
	<-s.ended
	s.cmd = nil
	return err
}

// URL connects to the server, looking for tables in a schema ("" = public).
func (s *Server) URL(schema string) string {
	q := url.Values{"host": {s.dir}, "sslmode": {"disable"}}
	if schema != "" {
		q.Set("search_path", schema)
	}
	return "postgres://clogwise@/postgres?" + q.Encode()
}

// Schema makes an empty schema and returns the URL to it.
func (s *Server) Schema(tb testing.TB) string {
	tb.Helper()
	conn, err := pgx.Connect(tb.Context(), s.URL(""))
	if err != nil {
		tb.Fatal(err)
	}
	defer func() { _ = conn.Close(context.WithoutCancel(tb.Context())) }()
	name := fmt.Sprintf("test%d", s.schemas.Add(1))
	if _, err := conn.Exec(tb.Context(), "CREATE SCHEMA "+name); err != nil {
		tb.Fatal(err)
	}
	return s.URL(name)
}
