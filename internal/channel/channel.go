// Package channel holds what passes between a team channel and the rest of
// clogwise, whatever the chat platform: messages in, posts out.
package channel

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"
)

// Message is something a person wrote, edited or deleted in a team channel.
type Message struct {
	Platform string    // "slack", "terminal"
	Team     string    // workspace id
	Channel  string    // channel id
	Thread   string    // id of the thread's first message; empty outside threads
	ID       string    // the platform's own id of the message, unique in the channel
	User     string    // the platform's id of the person
	UserName string    // what people call the person; may be empty; no proof of who it is
	Is       []string  // names and groups of the register that the person is, proved by the id
	Text     string    // plain text, platform markup removed
	At       time.Time // when it was written
	Direct   bool      // in a direct message to the bot
	Mention  bool      // the bot is mentioned
	Change   Change    // New, Edited (Text is the new text) or Deleted (Text is empty)
	Files    []Dropped `json:"-"` // dropped with it
}

// Dropped is a file that came with a message. It is fetched only when asked for.
type Dropped struct {
	Name string
	Size int64 // as the platform says; 0: not known
	Open func(ctx context.Context) (io.ReadCloser, error)
}

// Key is the once-only key of the message.
func (m Message) Key() string {
	return m.Platform + ":" + m.Team + ":" + m.Channel + ":" + m.ID
}

// Change says whether a message is new or alters an earlier one.
type Change int

// Changes.
const (
	New Change = iota
	Edited
	Deleted
)

// Press is a button pressed under one of our posts.
type Press struct {
	Platform string
	Team     string
	Channel  string
	Thread   string
	PostID   string // the platform's id of the post the button is under
	ID       string // unique id of the press
	User     string
	UserName string
	Is       []string // as in Message
	Action   string   // Choice.Action
	Value    string   // Choice.Value
	At       time.Time
}

// Handler takes what happens in a channel. An error means that nothing was
// recorded: the edge must not acknowledge, so that the platform sends it again.
type Handler interface {
	HandleMessage(ctx context.Context, m Message) error
	HandlePress(ctx context.Context, p Press) error
}

// Address is where a post goes.
type Address struct {
	Platform string `json:"platform"`
	Channel  string `json:"channel"`            // channel id; or a person for a direct message, by id or by name in the register
	Thread   string `json:"thread,omitempty"`   // reply in this thread
	OnlyFor  string `json:"only_for,omitempty"` // person id: shown to this person alone (ephemeral)
}

// Post is something the bot says.
type Post struct {
	To      Address  `json:"to"`
	Text    string   `json:"text"` // plain text; **no** platform markup: the edge escapes and decorates
	Choices []Choice `json:"choices,omitempty"`
	Files   []File   `json:"files,omitempty"`
}

// Choice is an answer a person can give with one press (a button), or by typing
// one of its Keys.
type Choice struct {
	Label  string   `json:"label"`
	Action string   `json:"action"` // "answer", "undo", "steps-read", …
	Value  string   `json:"value"`
	Keys   []string `json:"keys,omitempty"` // words that mean this choice when typed
}

// File is an attachment.
type File struct {
	Name  string `json:"name"` // "ahu-3-secondary.png"
	Title string `json:"title"`
	Data  []byte `json:"data"`
}

// Sender delivers posts to one platform. It returns the platform's id of the
// post, so that presses and threads can be matched.
type Sender interface {
	Send(ctx context.Context, p Post) (postID string, err error)
}

// RetryError says that a post may be sent again, not before After has passed.
// Any other error from a Sender is retried with back-off, unless it wraps
// ErrRefused: for days if it wraps ErrAway, else so many times. One that wraps
// ErrUnseen is retried with a word about that.
type RetryError struct {
	After time.Duration
	Err   error
}

func (e *RetryError) Error() string { return fmt.Sprintf("retry in %s: %v", e.After, e.Err) }
func (e *RetryError) Unwrap() error { return e.Err }

// ErrRefused marks a post that the platform will never take (no such channel,
// bot removed): it is parked, not retried.
var ErrRefused = errors.New("refused by the chat platform")

// ErrNobody marks a post to a person whom the platform does not know. It comes
// with ErrRefused.
var ErrNobody = errors.New("no such person on the chat platform")

// ErrAway marks a failure of the platform or the way to it, not of the post: any
// other post would have failed like it.
var ErrAway = errors.New("the chat platform is out of reach")

// ErrUnseen marks an attempt after which it is not known whether people see the
// post: it was handed over and no answer came.
var ErrUnseen = errors.New("it was not seen whether the post arrived")
