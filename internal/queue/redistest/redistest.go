// Package redistest starts real Redis servers for tests: on a free port of the
// loopback interface, in a folder of the test, ended with the test. They can be
// killed and started again on the same port.
package redistest

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"net"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"
)

// Binary is the program that [Start] looks for on the path.
const Binary = "redis-server"

// startTries is how often Start picks another port when the one it found free
// was taken meanwhile; startWait is how long a server may take to answer.
const (
	startTries = 5
	startWait  = 10 * time.Second
)

// Options of a server.
type Options struct {
	// Persist makes the server write every command to disk before it answers,
	// so that a kill loses nothing. Otherwise a kill loses everything.
	Persist bool
	// Cluster makes the server a cluster of one node, which refuses scripts
	// whose keys do not go together.
	Cluster bool
	// Args are further arguments of the program.
	Args []string
}

// Server is a running or killed server. It is safe for concurrent use.
type Server struct {
	Addr string // host:port

	tb   testing.TB
	args []string
	mu   sync.Mutex
	proc *process // nil while killed
}

// Start starts a server and waits until it answers. It skips the test when the
// program is not installed, and fails it when the server does not start. The
// server ends with the test.
func Start(tb testing.TB, o Options) *Server {
	tb.Helper()
	if _, err := exec.LookPath(Binary); err != nil {
		tb.Skipf("%s is not installed, so this test against a real Redis is left out (on Debian: apt-get install redis-server)", Binary)
	}
	dir := tb.TempDir()
	var failed error
	for range startTries {
		port, err := freePort()
		if err != nil {
			tb.Fatalf("redistest: %v", err)
		}
		s := &Server{Addr: net.JoinHostPort("127.0.0.1", port), tb: tb, args: arguments(dir, port, o)}
		if failed = s.launch(); failed != nil {
			continue
		}
		tb.Cleanup(s.Kill)
		if o.Cluster {
			s.formCluster()
		}
		return s
	}
	tb.Fatalf("redistest: %v", failed)
	return nil
}

func arguments(dir, port string, o Options) []string {
	args := []string{"--bind", "127.0.0.1", "--port", port, "--dir", dir, "--save", "", "--loglevel", "warning"}
	if o.Persist {
		args = append(args, "--appendonly", "yes", "--appendfsync", "always")
	}
	if o.Cluster {
		args = append(args, "--cluster-enabled", "yes")
	}
	return append(args, o.Args...)
}

// URL is the server's address as a Redis URL.
func (s *Server) URL() string { return "redis://" + s.Addr }

// Kill ends the server at once, as kill -9 does. Killing a killed server does
// nothing.
func (s *Server) Kill() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.proc == nil {
		return
	}
	s.proc.kill()
	s.proc = nil
}

// Restart starts a killed server again on the same port and waits until it
// answers.
func (s *Server) Restart() {
	s.tb.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.proc != nil {
		s.tb.Fatal("redistest: restart of a server that runs; kill it first")
	}
	if err := s.launch(); err != nil {
		s.tb.Fatalf("redistest: %v", err)
	}
}

// process is a started program.
type process struct {
	cmd    *exec.Cmd
	exited chan struct{} // closed when it has ended and was waited for
	out    *strings.Builder
}

func start(args []string) (*process, error) {
	p := &process{cmd: exec.Command(Binary, args...), exited: make(chan struct{}), out: &strings.Builder{}}
	p.cmd.Stdout, p.cmd.Stderr = p.out, p.out
	if err := p.cmd.Start(); err != nil {
		return nil, err
	}
	go func() {
		defer close(p.exited)
		_ = p.cmd.Wait() // "signal: killed" is how these end
	}()
	return p, nil
}

// kill ends the process and waits for that.
func (p *process) kill() {
	_ = p.cmd.Process.Kill() // fails only if it is gone
	<-p.exited
}

// launch starts the program and waits for its first answer.
func (s *Server) launch() error {
	p, err := start(s.args)
	if err != nil {
		return err
	}
	retry := time.NewTicker(5 * time.Millisecond) // a server of its own process gives no signal
	defer retry.Stop()
	late := time.After(startWait)
	for {
		if err = ping(s.Addr, p.cmd.Process.Pid); err == nil {
			s.proc = p
			return nil
		}
		select {
		case <-retry.C:
			continue
		case <-p.exited:
		case <-late:
			p.kill()
		}
		return fmt.Errorf("%s on %s does not answer: %w; it said: %s", Binary, s.Addr, err, p.out)
	}
}

// ping asks the server at addr for its process id, so that another server on
// the same port is not taken for ours.
func ping(addr string, pid int) error {
	return ask(addr, "INFO server", fmt.Sprintf("process_id:%d", pid))
}

// formCluster gives the one node all slots and waits until it serves them.
func (s *Server) formCluster() {
	s.tb.Helper()
	if err := ask(s.Addr, "CLUSTER ADDSLOTSRANGE 0 16383", "+OK"); err != nil {
		s.tb.Fatalf("redistest: %v", err)
	}
	retry := time.NewTicker(20 * time.Millisecond)
	defer retry.Stop()
	for deadline := time.Now().Add(startWait); ; <-retry.C {
		err := ask(s.Addr, "CLUSTER INFO", "cluster_state:ok")
		if err == nil {
			return
		}
		if time.Now().After(deadline) {
			s.tb.Fatalf("redistest: the cluster does not form: %v", err)
		}
	}
}

// ask sends a command and then QUIT, and looks for a line in the answer.
func ask(addr, command, want string) error {
	conn, err := net.DialTimeout("tcp", addr, time.Second)
	if err != nil {
		return err
	}
	defer conn.Close() //nolint:errcheck // the server closes it
	if err := conn.SetDeadline(time.Now().Add(time.Second)); err != nil {
		return err
	}
	if _, err := fmt.Fprintf(conn, "%s\r\nQUIT\r\n", command); err != nil {
		return err
	}
	lines := bufio.NewScanner(conn)
	for lines.Scan() {
		line := strings.TrimSpace(lines.Text())
		if line == want {
			return nil
		}
		if strings.HasPrefix(line, "-") { // "-LOADING …"
			return errors.New(line)
		}
	}
	return fmt.Errorf("%s: no line %q in the answer: %w", command, want, cmp.Or(lines.Err(), io.EOF))
}

func freePort() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	defer l.Close() //nolint:errcheck // never accepted anything
	_, port, err := net.SplitHostPort(l.Addr().String())
	return port, err
}
