package terminal_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"clogwise/bot/terminal"
	"clogwise/internal/channel"
)

// echo answers every message from another goroutine, as an outbox does.
type echo struct {
	term    *terminal.Channel
	replies func(channel.Message) []channel.Post // nil: one line
	fail    error

	mu      sync.Mutex
	heard   []channel.Message
	pressed []channel.Press
	out     sync.WaitGroup
}

func (e *echo) HandleMessage(_ context.Context, m channel.Message) error {
	if e.fail != nil {
		return e.fail
	}
	e.mu.Lock()
	e.heard = append(e.heard, m)
	e.mu.Unlock()
	posts := []channel.Post{{Text: "heard " + m.Text}}
	if e.replies != nil {
		posts = e.replies(m)
	}
	e.send(m, posts)
	return nil
}

func (e *echo) HandlePress(_ context.Context, p channel.Press) error {
	e.mu.Lock()
	e.pressed = append(e.pressed, p)
	e.mu.Unlock()
	e.send(channel.Message{Channel: p.Channel, ID: p.ID}, []channel.Post{{Text: "pressed " + p.Value}})
	return nil
}

func (e *echo) send(m channel.Message, posts []channel.Post) {
	e.out.Go(func() {
		for _, p := range posts {
			if p.To.Channel == "" {
				p.To = channel.Address{Platform: terminal.Platform, Channel: m.Channel, Thread: m.ID}
			}
			_, _ = e.term.Send(context.Background(), p)
		}
	})
}

// talk feeds lines to the terminal and returns what it printed.
func talk(t *testing.T, e *echo, set func(*terminal.Channel), lines ...string) string {
	t.Helper()
	var out safeBuffer
	now := time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC)
	e.term = &terminal.Channel{
		In: strings.NewReader(strings.Join(lines, "\n") + "\n"), Out: &out, As: "Tove", Channel: "clinic", Channels: []string{"clinic", "hall"},
		Files: filepath.Join(t.TempDir(), "pictures"), Now: func() time.Time { return now }, Wait: 10 * time.Second,
		Replied: func(context.Context, channel.Message) (bool, error) {
			return e.replies == nil || len(e.replies(channel.Message{})) > 0, nil
		},
	}
	if set != nil {
		set(e.term)
	}
	if err := e.term.Run(t.Context(), e); err != nil {
		t.Fatal(err)
	}
	e.out.Wait()
	return out.String()
}

type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *safeBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *safeBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

func TestPipedTalkReadsInOrder(t *testing.T) {
	t.Parallel()
	got := talk(t, &echo{}, nil, "one", "", "  two  ", "three⏎four")
	want := "> one\nheard one\n\n> two\nheard two\n\n> three⏎four\nheard three\nfour\n\n"
	if got != want {
		t.Errorf("printed\n%s\nwant\n%s", got, want)
	}
}

func TestMessagesHaveGrowingIDsUnderAStandingClock(t *testing.T) {
	t.Parallel()
	e := &echo{}
	talk(t, e, nil, "one", "two", "three")
	seen := map[string]bool{}
	for _, m := range e.heard {
		if seen[m.Key()] {
			t.Errorf("key %s twice", m.Key())
		}
		seen[m.Key()] = true
	}
	if len(seen) != 3 {
		t.Errorf("%d keys", len(seen))
	}
}

func TestOwnWords(t *testing.T) {
	t.Parallel()
	e := &echo{}
	got := talk(t, e, nil, "/as Maren", "hello", "/channel hall", "hello", "/channel moon", "/as", "/dance", "/press 7", "/quit", "not read any more")
	for _, part := range []string{"You are now Maren.", "You are now in hall.", "Channels: clinic, hall.", "You are Maren.", "No button 7."} {
		if !strings.Contains(got, part) {
			t.Errorf("printed %q lacks %q", got, part)
		}
	}
	if len(e.heard) != 2 || e.heard[0].User != "Maren" || e.heard[0].Channel != "clinic" || e.heard[1].Channel != "hall" {
		t.Errorf("heard %+v", e.heard)
	}
}

func TestButtons(t *testing.T) {
	t.Parallel()
	ask := func(m channel.Message) []channel.Post {
		return []channel.Post{
			{Text: "which?", Choices: []channel.Choice{{Label: "Undo", Action: "undo", Value: "u"}, {Label: "primary", Action: "answer", Value: "p"}, {Label: "secondary", Action: "answer", Value: "s"}}},
			{Text: "an alert", To: channel.Address{Channel: "Maren"}}, // has no buttons, and takes none away
		}
	}
	for _, asJSON := range []bool{false, true} {
		t.Run(fmt.Sprint("json ", asJSON), func(t *testing.T) {
			t.Parallel()
			e := &echo{replies: ask}
			press := "/press 2"
			if asJSON {
				press = "/press 3" // all choices are listed there, undo too
			}
			got := talk(t, e, func(c *terminal.Channel) { c.JSON = asJSON }, "AHU-3 62", press)
			if len(e.pressed) != 1 || e.pressed[0].Action != "answer" || e.pressed[0].Value != "s" {
				t.Errorf("pressed %+v after %q", e.pressed, got)
			}
			if !asJSON && (!strings.Contains(got, "[1] primary\n[2] secondary\n") || !strings.Contains(got, "[to Maren]\nan alert")) {
				t.Errorf("printed %q", got)
			}
		})
	}
}

func TestJSON(t *testing.T) {
	t.Parallel()
	got := talk(t, &echo{}, func(c *terminal.Channel) { c.JSON = true }, "a <b> & c", "/as Maren")
	var posts, notes int
	for _, line := range strings.Split(strings.TrimSpace(got), "\n") {
		var v map[string]any
		if err := json.Unmarshal([]byte(line), &v); err != nil {
			t.Fatalf("%q is no JSON: %v", line, err)
		}
		if v["text"] == "heard a <b> & c" && v["channel"] == "clinic" && v["thread"] != "" {
			posts++
		}
		if v["note"] == "You are now Maren." {
			notes++
		}
	}
	if posts != 1 || notes != 1 {
		t.Errorf("%d posts and %d notes in\n%s", posts, notes, got)
	}
}

func TestAttachmentsStayInTheirFolder(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]string{
		"ahu-3.png": "ahu-3.png", "../../etc/passwd": "passwd", "/abs/x.png": "x.png", "..": "file", "": "file", "/": "file",
		`..\..\win.png`: "win.png", "a\x1b[2Jb.png": "a[2Jb.png",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			e := &echo{replies: func(channel.Message) []channel.Post {
				return []channel.Post{{Text: "chart", Files: []channel.File{{Name: name, Data: []byte("png")}}}}
			}}
			var dir string
			got := talk(t, e, func(c *terminal.Channel) { dir = c.Files }, "chart")
			path := filepath.Join(dir, want)
			if raw, err := os.ReadFile(path); err != nil || string(raw) != "png" {
				t.Errorf("%s: %v", path, err)
			}
			if !strings.Contains(got, ": "+path) {
				t.Errorf("printed %q", got)
			}
			around, err := os.ReadDir(filepath.Dir(dir))
			if err != nil || len(around) != 1 {
				t.Errorf("beside the folder: %v (%v)", around, err)
			}
		})
	}
}

func TestControlCharactersDoNotReachTheTerminal(t *testing.T) {
	t.Parallel()
	e := &echo{replies: func(channel.Message) []channel.Post {
		return []channel.Post{{Text: "by \x1b]0;evil\x07Tove\n\tnext", Choices: []channel.Choice{{Label: "\x1b[31mred", Action: "answer"}}}}
	}}
	got := talk(t, e, nil, "x")
	if strings.ContainsAny(got, "\x1b\x07") || !strings.Contains(got, "Tove\n\tnext") {
		t.Errorf("printed %q", got)
	}
}

func TestFailureSaysNothingWasKept(t *testing.T) {
	t.Parallel()
	got := talk(t, &echo{fail: errors.New("ledger unavailable")}, nil, "AHU-3 bag 145 Pa")
	if !strings.Contains(got, "Not recorded: ledger unavailable. Nothing was kept") {
		t.Errorf("printed %q", got)
	}
}

func TestLateReplyIsToldAndTheTalkGoesOn(t *testing.T) {
	t.Parallel()
	e := &echo{replies: func(channel.Message) []channel.Post {
		return []channel.Post{{Text: "elsewhere", To: channel.Address{Channel: "x", Thread: "y"}}}
	}}
	got := talk(t, e, func(c *terminal.Channel) { c.Wait = 10 * time.Millisecond }, "one", "two")
	if strings.Count(got, "the reply is late") != 2 {
		t.Errorf("printed %q", got)
	}
}

func TestPrompt(t *testing.T) {
	t.Parallel()
	got := talk(t, &echo{}, func(c *terminal.Channel) { c.Prompt = true }, "one")
	if !strings.HasPrefix(got, "Tove@clinic> heard one\n\nTove@clinic> ") {
		t.Errorf("printed %q", got)
	}
}

// A blocked reader does not keep Run from ending.
func TestRunEndsWithItsContext(t *testing.T) {
	t.Parallel()
	in, w := io.Pipe()
	defer w.Close()
	c := &terminal.Channel{In: in, Out: io.Discard, Now: time.Now, Wait: time.Second}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- c.Run(ctx, &echo{term: c}) }()
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

func TestReadErrorIsReturned(t *testing.T) {
	t.Parallel()
	broken := errors.New("broken pipe")
	c := &terminal.Channel{In: io.MultiReader(strings.NewReader("one\n"), failing{broken}), Out: io.Discard, Now: time.Now, Wait: time.Second}
	e := &echo{term: c}
	if err := c.Run(t.Context(), e); !errors.Is(err, broken) {
		t.Errorf("error %v", err)
	}
	e.out.Wait()
	if !slices.ContainsFunc(e.heard, func(m channel.Message) bool { return m.Text == "one" }) {
		t.Errorf("heard %+v", e.heard)
	}
}

// Two talks that were told the same time, as in a trial that is run again, do not
// take each other's messages for resent ones.
func TestSessionsAtTheSameTimeDiffer(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	ids := map[string]bool{}
	for _, session := range []string{"-a", "-b"} {
		c := &terminal.Channel{In: strings.NewReader("one\ntwo\n"), Out: io.Discard, Now: func() time.Time { return at }, Session: session, Wait: time.Second}
		e := &echo{term: c}
		if err := c.Run(t.Context(), e); err != nil {
			t.Fatal(err)
		}
		e.out.Wait()
		for _, m := range e.heard {
			ids[m.ID] = true
		}
	}
	if len(ids) != 4 {
		t.Errorf("%d ids for four messages: %v", len(ids), ids)
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }
