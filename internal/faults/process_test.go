package faults_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// process is one running clogwise, which may be ended and started again under
// the same name and address.
type process struct {
	name  string
	roles string
	addr  string // of its webhook; empty without the bot's role
	path  string
	args  []string
	env   []string
	log   *os.File
	hooks string // folder of what its hooks read

	mu     sync.Mutex
	cmd    *exec.Cmd
	ended  chan struct{} // closed when cmd has ended
	wanted bool          // its end is wanted
	err    error         // how it ended
}

// startWait bounds how long a process may take to serve on a busy machine.
const startWait = time.Minute

func (p *process) has(role string) bool { return strings.Contains(p.roles, role) }

// start starts the process and waits until it serves.
func (p *process) start(ctx context.Context) error {
	already, err := p.log.Stat()
	if err != nil {
		return err
	}
	p.mu.Lock()
	p.cmd, p.ended, p.wanted, p.err = exec.Command(p.path, p.args...), make(chan struct{}), false, nil
	p.cmd.Env, p.cmd.Stdout, p.cmd.Stderr = p.env, p.log, p.log
	cmd, ended := p.cmd, p.ended
	err = cmd.Start()
	p.mu.Unlock()
	if err != nil {
		return err
	}
	go func() {
		err := cmd.Wait()
		p.mu.Lock()
		p.err = err
		p.mu.Unlock()
		close(ended)
	}()
	return p.await(ctx, ended, already.Size())
}

// serving is what a process says when its parts are built.
const serving = "clogwise serves"

// await waits until the process says after a place in its log that it serves,
// and its webhook answers.
func (p *process) await(ctx context.Context, ended chan struct{}, after int64) error {
	ctx, cancel := context.WithTimeout(ctx, startWait)
	defer cancel()
	for !p.serves(ctx, after) {
		select {
		case <-ended:
			return fmt.Errorf("%s ended at once: %w; its log is %s", p.name, p.err, p.log.Name())
		case <-ctx.Done():
			return fmt.Errorf("%s does not serve: %w", p.name, ctx.Err())
		case <-time.After(20 * time.Millisecond):
		}
	}
	return nil
}

func (p *process) serves(ctx context.Context, after int64) bool {
	raw, err := os.ReadFile(p.log.Name())
	if err != nil || !bytes.Contains(raw[min(int(after), len(raw)):], []byte(serving)) {
		return false
	}
	if p.addr == "" {
		return true
	}
	_, err = p.get(ctx, "/healthz")
	return err == nil
}

// get asks the webhook and returns the status of its answer.
func (p *process) get(ctx context.Context, path string) (*http.Response, error) {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+p.addr+path, nil)
	if err != nil {
		return nil, err
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return nil, err
	}
	return resp, resp.Body.Close()
}

func (p *process) pid() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.cmd.Process.Pid
}

// kill ends it as kill -9 does.
func (p *process) kill() { _ = p.end(syscall.SIGKILL) }

// stop asks it to end and tells how it did.
func (p *process) stop() error { return p.end(syscall.SIGTERM) }

func (p *process) end(sig syscall.Signal) error {
	p.mu.Lock()
	p.wanted = true
	cmd, ended := p.cmd, p.ended
	p.mu.Unlock()
	if err := cmd.Process.Signal(sig); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return err
	}
	select {
	case <-ended:
	case <-time.After(startWait):
		_ = cmd.Process.Kill()
		<-ended
		return fmt.Errorf("%s did not end within %s of signal %v", p.name, startWait, sig)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.err
}

// pause stops it where it is, as a machine that hangs would.
func (p *process) pause(on bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	sig := syscall.SIGCONT
	if on {
		sig = syscall.SIGSTOP
	}
	_ = p.cmd.Process.Signal(sig) // the end of the process is told by unwanted
}

// unwanted is the error of a process that ended by itself.
func (p *process) unwanted() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	select {
	case <-p.ended:
		if !p.wanted {
			return fmt.Errorf("%s ended by itself: %w", p.name, errors.Join(p.err, errors.New("log "+p.log.Name())))
		}
	default:
	}
	return nil
}

func freeAddr(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close() //nolint:errcheck // never accepted anything
	return l.Addr().String()
}
