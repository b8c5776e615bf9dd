// Package terminal is the local team channel: lines typed or piped in are
// messages, posts are printed. It is equal in function to the chat edge.
package terminal

import (
	"bufio"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode"

	"clogwise/internal/channel"
	"clogwise/internal/locale"
)

// Platform is the name of this edge in addresses.
const Platform = "terminal"

// Channel reads messages from In and prints posts to Out.
type Channel struct {
	In      io.Reader
	Out     io.Writer
	Prompt  bool   // print a prompt before each line: In is a terminal
	JSON    bool   // one JSON object a line instead of text
	As      string // who is typing
	Channel string // the channel typed into
	Files   string // folder for attachments; their paths are printed
	Now     func() time.Time
	// Session tells this run's messages from those of another that was told the same
	// time: with a standing clock they would be taken for resent ones.
	Session string

	// Tongue is the language of a channel; nil: English.
	Tongue func(ctx context.Context, channel string) locale.Locale
	// Channels are the channels that "/channel NAME" may switch to.
	Channels []string
	// Replied reports whether a reply to the message is on its way.
	Replied func(ctx context.Context, m channel.Message) (bool, error)
	// Quiet reports whether nothing more is about to be said. With it, what a
	// piped message leads to is printed together, the reply first.
	Quiet func(ctx context.Context) (bool, error)
	// Recall is what the newest post with buttons in a channel offers, for one
	// that was printed before the program started anew; nil: nothing.
	Recall func(ctx context.Context, channel string) ([]channel.Choice, error)
	// Wait bounds the wait for a reply before the next line is read.
	Wait time.Duration

	mu       sync.Mutex
	count    int
	stamp    time.Time
	answered map[string]chan struct{} // by thread
	holding  bool                     // posts are held until all a message leads to is there
	held     []heldPost
	buttons  map[string]channel.Choice
	form     *filling                   // being filled in; touched by Run alone
	last     map[string]channel.Message // by person: what they wrote last; touched by Run alone
}

// ErrEnd says that the person typed /quit.
var ErrEnd = errors.New("end of talk")

// Run reads lines until the end of input, /quit, or ctx is done. A reader that
// blocks cannot be interrupted: Run returns at once and leaves it behind.
func (c *Channel) Run(ctx context.Context, h channel.Handler) error {
	c.mu.Lock()
	c.answered = map[string]chan struct{}{}
	c.buttons = map[string]channel.Choice{}
	c.mu.Unlock()
	lines := make(chan string)
	var readErr error
	go func() {
		defer close(lines)
		in := bufio.NewReader(c.In)
		for {
			line, err := in.ReadString('\n')
			if line != "" {
				select {
				case lines <- strings.TrimRight(line, "\r\n"):
				case <-ctx.Done():
					return
				}
			}
			if err != nil {
				if err != io.EOF {
					readErr = err
				}
				return
			}
		}
	}()
	for {
		c.prompt()
		select {
		case <-ctx.Done():
			return nil
		case line, more := <-lines:
			if !more {
				return readErr
			}
			err := c.line(ctx, h, line)
			if errors.Is(err, ErrEnd) {
				return nil
			}
			if err != nil {
				return err
			}
		}
	}
}

func (c *Channel) prompt() {
	if c.Prompt {
		c.mu.Lock()
		fmt.Fprintf(c.Out, "%s@%s> ", c.As, c.Channel)
		c.mu.Unlock()
	}
}

func (c *Channel) line(ctx context.Context, h channel.Handler, line string) error {
	text := strings.TrimSpace(line)
	forms, _ := h.(channel.FormHandler)
	if c.form != nil && forms != nil && (!strings.HasPrefix(text, "/") || text == "/cancel") {
		return c.fill(ctx, forms, line)
	}
	if text == "" {
		return nil
	}
	if strings.HasPrefix(text, "/") {
		return c.local(ctx, h, text)
	}
	if !c.Prompt && !c.JSON {
		c.print("> " + text)
	}
	m := c.message(strings.ReplaceAll(text, "⏎", "\n"))
	if f, ok := droppedFile(text); ok {
		m.Files, m.Text, m.Mention = []channel.Dropped{f}, "", true
		return c.send(ctx, m, func() error { return h.HandleMessage(ctx, m) })
	}
	if forms != nil {
		f, err := forms.FormFor(ctx, m)
		if err != nil {
			c.print(c.tongue(ctx).Text("Not understood for now: %v. Type it again.", err))
			return nil
		}
		if f != nil {
			c.open(ctx, *f, m)
			return nil
		}
	}
	c.wrote(m)
	return c.send(ctx, m, func() error { return h.HandleMessage(ctx, m) })
}

// wrote remembers a message as its author's last, for /edit and /delete.
func (c *Channel) wrote(m channel.Message) {
	if c.last == nil {
		c.last = map[string]channel.Message{}
	}
	c.last[m.User] = m
}

// alter edits or deletes what the person wrote last.
func (c *Channel) alter(ctx context.Context, h channel.Handler, change channel.Change, text string) error {
	m, ok := c.last[c.As]
	if !ok || change == channel.Edited && text == "" {
		c.print(c.tongue(ctx).Text("/edit TEXT puts your last message right, /delete takes it away. There is none yet, or no text."))
		return nil
	}
	m.Change, m.Text = change, strings.ReplaceAll(text, "⏎", "\n")
	if change == channel.Deleted {
		delete(c.last, c.As)
	}
	return c.send(ctx, m, func() error { return h.HandleMessage(ctx, m) })
}

// send hands something over and waits for the reply to be printed, so that a
// piped conversation reads in order.
func (c *Channel) send(ctx context.Context, m channel.Message, handle func() error) (err error) {
	if !c.Prompt && c.Quiet != nil {
		c.hold()
		defer func() {
			c.settle(ctx)
			err = errors.Join(err, c.release(ctx, m.ID))
		}()
	}
	c.mu.Lock()
	done := make(chan struct{})
	c.answered[m.ID] = done
	c.mu.Unlock()
	defer func() {
		c.mu.Lock()
		delete(c.answered, m.ID)
		c.mu.Unlock()
	}()
	if err := handle(); err != nil {
		if ctx.Err() != nil {
			return nil
		}
		c.print(c.tongue(ctx).Text("Not recorded: %v. Nothing was kept; type it again.", err))
		return nil
	}
	if c.Replied == nil {
		return nil
	}
	coming, err := c.Replied(ctx, m)
	if err != nil || !coming {
		return err
	}
	wait := time.NewTimer(c.Wait)
	defer wait.Stop()
	select {
	case <-done:
	case <-wait.C:
		c.print(c.tongue(ctx).Text("(recorded; the reply is late and will follow)"))
	case <-ctx.Done():
	}
	return nil
}

// tongue is the language of the channel typed into, for the terminal's own words.
func (c *Channel) tongue(ctx context.Context) locale.Locale {
	if c.Tongue == nil {
		return locale.Locale{}
	}
	return c.Tongue(ctx, c.Channel)
}

// message makes a message with a growing id, as a chat platform would.
func (c *Channel) message(text string) channel.Message {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.Now()
	if !now.After(c.stamp) {
		now = c.stamp.Add(time.Microsecond) // ids stay unique under a standing clock
	}
	c.stamp = now
	return channel.Message{
		Platform: Platform, Team: "local", Channel: c.Channel, User: c.As, UserName: c.As,
		ID: strconv.FormatInt(now.UnixMicro(), 10) + c.Session, Text: text, At: c.Now(),
	}
}

// local handles the terminal's own words; they are not part of the bot's talk.
func (c *Channel) local(ctx context.Context, h channel.Handler, text string) error {
	word, rest, _ := strings.Cut(text, " ")
	rest = strings.TrimSpace(rest)
	in := c.tongue(ctx)
	switch word {
	case "/quit", "/exit":
		return ErrEnd
	case "/as":
		if rest == "" {
			c.print(in.Text("Type /as NAME. You are %s.", c.As))
			return nil
		}
		c.set(&c.As, rest)
		c.print(in.Text("You are now %s.", rest))
		return nil
	case "/channel":
		for _, name := range c.Channels {
			if strings.EqualFold(name, rest) {
				c.set(&c.Channel, name)
				c.print(c.tongue(ctx).Text("You are now in %s.", name))
				return nil
			}
		}
		c.print(in.Text("Channels: %s. Type /channel NAME.", strings.Join(c.Channels, ", ")))
		return nil
	case "/edit":
		return c.alter(ctx, h, channel.Edited, rest)
	case "/delete":
		return c.alter(ctx, h, channel.Deleted, "")
	case "/press":
		b, ok, err := c.button(ctx, rest)
		if err != nil {
			return err
		}
		if !ok {
			c.print(in.Text("No button %s. Buttons are printed as [1] Label under a post.", rest))
			return nil
		}
		m := c.message("")
		p := channel.Press{Platform: Platform, Team: m.Team, Channel: m.Channel, ID: m.ID, User: m.User, UserName: m.UserName,
			Action: b.Action, Value: b.Value, At: m.At}
		if forms, ok := h.(channel.FormHandler); ok && b.Action == channel.ActionForm {
			f, err := forms.OpenForm(ctx, p)
			if err != nil {
				c.print(in.Text("Not now: %v. Press it again.", err))
				return nil
			}
			if f != nil {
				c.open(ctx, *f, m)
				return nil
			}
		}
		return c.send(ctx, m, func() error { return h.HandlePress(ctx, p) })
	}
	c.print(in.Text("Here: /as NAME, /channel NAME, /press NUMBER (a button), /edit TEXT and /delete (your last message), /cancel (a form), /quit. Anything else is said in the channel."))
	return nil
}

// button finds a button by its number: of the newest post with some that was
// printed, by this program or, before anything was, by the one before it.
func (c *Channel) button(ctx context.Context, number string) (b channel.Choice, ok bool, err error) {
	c.mu.Lock()
	known := len(c.buttons) > 0
	c.mu.Unlock()
	if !known && c.Recall != nil {
		choices, err := c.Recall(ctx, c.Channel)
		if err != nil {
			return b, false, err
		}
		c.mu.Lock()
		c.offer(withoutUndo(choices))
		c.mu.Unlock()
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	b, ok = c.buttons[number]
	return b, ok, nil
}

// withoutUndo leaves out what the text says as shortly as a button.
func withoutUndo(choices []channel.Choice) []channel.Choice {
	return slices.DeleteFunc(slices.Clone(choices), func(ch channel.Choice) bool { return ch.Action == "undo" })
}

// set changes a setting that posts are printed by.
func (c *Channel) set(field *string, value string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	*field = value
}

// heldPost is a post that is still to be printed.
type heldPost struct {
	id    string
	post  channel.Post
	paths []string
}

func (c *Channel) hold() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.holding = true
}

// settle waits until nothing more is about to be said, as long as a reply is
// waited for.
func (c *Channel) settle(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, c.Wait)
	defer cancel()
	look := time.NewTicker(2 * time.Millisecond)
	defer look.Stop()
	for {
		if quiet, err := c.Quiet(ctx); quiet || err != nil {
			return
		}
		select {
		case <-look.C:
		case <-ctx.Done():
			return
		}
	}
}

// release prints what was held: what stands in the message's thread first, then
// what goes elsewhere.
func (c *Channel) release(ctx context.Context, thread string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	held := c.held
	c.holding, c.held = false, nil
	slices.SortStableFunc(held, func(a, b heldPost) int {
		return cmp.Or(elsewhere(a, thread)-elsewhere(b, thread), cmp.Compare(address(a, thread), address(b, thread)))
	})
	for _, h := range held {
		if err := c.printPost(ctx, h); err != nil {
			return err
		}
	}
	return nil
}

func elsewhere(h heldPost, thread string) int {
	if h.post.To.Thread == thread {
		return 0
	}
	return 1
}

// address orders what goes elsewhere by where it goes; a thread keeps its order.
func address(h heldPost, thread string) string {
	if h.post.To.Thread == thread {
		return ""
	}
	return h.post.To.Channel
}

func (c *Channel) printPost(ctx context.Context, h heldPost) error {
	if c.JSON {
		return c.printJSON(h.id, h.post, h.paths)
	}
	return c.printText(ctx, h.post, h.paths)
}

// Send prints a post.
func (c *Channel) Send(ctx context.Context, p channel.Post) (string, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	paths, err := c.keep(p.Files)
	if err != nil {
		return "", err
	}
	c.count++
	id := "post-" + strconv.Itoa(c.count)
	if c.holding {
		c.held = append(c.held, heldPost{id, p, paths})
	} else if err := c.printPost(ctx, heldPost{id, p, paths}); err != nil {
		return "", err
	}
	if done, ok := c.answered[p.To.Thread]; ok {
		close(done)
		delete(c.answered, p.To.Thread)
	}
	return id, nil
}

func (c *Channel) printText(ctx context.Context, p channel.Post, paths []string) error {
	var b strings.Builder
	if p.To.Thread == "" && p.To.Channel != c.Channel {
		fmt.Fprintf(&b, "[to %s]\n", p.To.Channel)
	}
	b.WriteString(printable(p.Text) + "\n")
	shown := withoutUndo(p.Choices)
	c.offer(shown)
	for i, ch := range shown {
		fmt.Fprintf(&b, "[%d] %s\n", i+1, printable(ch.Label))
	}
	for _, path := range paths {
		b.WriteString(kindOf(c.tongue(ctx), path) + ": " + path + "\n")
	}
	_, err := io.WriteString(c.Out, b.String()+"\n")
	return err
}

// kindOf says what an attachment is.
func kindOf(in locale.Locale, path string) string {
	if strings.EqualFold(filepath.Ext(path), ".png") {
		return in.Text("Picture")
	}
	return in.Text("File")
}

// offer numbers the buttons of a post from 1. They stay until another post has
// some.
func (c *Channel) offer(choices []channel.Choice) {
	if len(choices) == 0 {
		return
	}
	clear(c.buttons)
	for i, ch := range choices {
		c.buttons[strconv.Itoa(i+1)] = ch
	}
}

// printable drops what would steer the terminal: names and lines that people
// typed, and what integrators send, are shown as they are.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r != '\n' && r != '\t' && unicode.IsControl(r) {
			return -1
		}
		return r
	}, s)
}

// printed is the JSON form of a post.
type printed struct {
	Post    string   `json:"post"`
	Channel string   `json:"channel"`
	Thread  string   `json:"thread,omitempty"`
	Text    string   `json:"text"`
	Choices []string `json:"choices,omitempty"`
	Files   []string `json:"files,omitempty"`
}

func (c *Channel) printJSON(id string, p channel.Post, paths []string) error {
	out := printed{Post: id, Channel: p.To.Channel, Thread: p.To.Thread, Text: p.Text, Files: paths}
	c.offer(p.Choices) // "/press 1" is the first of the list
	for _, ch := range p.Choices {
		out.Choices = append(out.Choices, ch.Label)
	}
	enc := json.NewEncoder(c.Out)
	enc.SetEscapeHTML(false)
	return enc.Encode(out)
}

// keep writes attachments into the files folder and returns their paths.
func (c *Channel) keep(files []channel.File) ([]string, error) {
	var paths []string
	for _, f := range files {
		if err := os.MkdirAll(c.Files, 0o755); err != nil {
			return nil, err
		}
		path := filepath.Join(c.Files, fileName(f.Name))
		if err := os.WriteFile(path, f.Data, 0o644); err != nil {
			return nil, err
		}
		paths = append(paths, path)
	}
	return paths, nil
}

// fileName is a plain name inside the files folder, whatever was asked for.
func fileName(asked string) string {
	name := filepath.Base(filepath.Clean("/" + strings.ReplaceAll(asked, "\\", "/")))
	name = strings.ReplaceAll(printable(name), "\n", "")
	if name == "" || name == "/" || name == "." {
		return "file"
	}
	return name
}

func (c *Channel) print(s string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.JSON {
		enc := json.NewEncoder(c.Out)
		enc.SetEscapeHTML(false)
		_ = enc.Encode(map[string]string{"note": s})
		return
	}
	fmt.Fprintln(c.Out, s)
}
