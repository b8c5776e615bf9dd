package slack

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/json"
	"strings"
	"sync"
	"time"

	"github.com/slack-go/slack"

	"clogwise/internal/channel"
)

// Send delivers a post and returns its id: of the message with the buttons if
// there are choices, else of the first message. Long text goes out as several
// messages cut at line ends; files follow the text in the same place.
//
// A post for one person's eyes (OnlyFor) is ephemeral; with files, which cannot
// be, it goes to that person's direct messages. A post in answer to a slash
// command goes to the channel, or directly to the person where the bot is not a
// member.
//
// A post to a name of the register goes to the person or the members of the
// group that bears it. If a post of several messages fails midway, the same post
// sent again goes on where it stopped, within this process and an hour.
func (e *Edge) Send(ctx context.Context, p channel.Post) (postID string, err error) {
	receivers, err := e.who.receivers(ctx, p.To.Channel)
	if err != nil {
		return "", err
	}
	if p.To.OnlyFor != "" {
		only, err := e.who.receivers(ctx, p.To.OnlyFor)
		if err != nil {
			return "", err
		}
		p.To.OnlyFor = only[0]
	}
	for _, to := range receivers {
		p.To.Channel = to
		id, err := e.sendTo(ctx, p, len(receivers) > 1)
		if err != nil {
			return "", err
		}
		postID = cmp.Or(postID, id)
	}
	return postID, nil
}

// sendTo delivers a post to one place. With more to come it is remembered as
// sent, so that a failure at the next place does not repeat it here.
func (e *Edge) sendTo(ctx context.Context, p channel.Post, more bool) (postID string, err error) {
	parts, err := layOut(p)
	if err != nil {
		return "", err
	}
	key := keyOf(p)
	sent := e.parts.get(key)
	if sent.to.channel == "" {
		sent.to = targetOf(p)
	}
	for len(sent.ids) < len(parts) {
		id, err := e.say(ctx, &sent.to, parts[len(sent.ids)])
		if err != nil {
			e.parts.put(key, sent)
			return "", err
		}
		sent.ids = append(sent.ids, id)
	}
	if !sent.whole {
		if err := e.share(ctx, sent.to, p.Files); err != nil {
			e.parts.put(key, sent)
			return "", err
		}
	}
	if sent.whole = true; more {
		e.parts.put(key, sent)
	} else {
		e.parts.forget(key)
	}
	if len(p.Choices) > 0 {
		return sent.ids[len(parts)-1], nil
	}
	return sent.ids[0], nil
}

// target is where the messages of a post go.
type target struct {
	channel string // channel, direct-message or person id
	thread  string // a timestamp, or empty
	onlyFor string // ephemeral for this person
	asker   string // typed the slash command that this answers
}

func targetOf(p channel.Post) target {
	to := target{channel: p.To.Channel, onlyFor: p.To.OnlyFor}
	if isTimestamp(p.To.Thread) {
		to.thread = p.To.Thread
	}
	to.asker, _ = commandUser(p.To.Thread)
	switch {
	case to.onlyFor == "":
	case len(p.Files) > 0:
		to = target{channel: to.onlyFor}
	case !strings.HasPrefix(to.channel, "C") && !strings.HasPrefix(to.channel, "G"):
		to.onlyFor = "" // nobody else reads a direct message
	}
	return to
}

// say posts one message. It settles to as the platform answers: a person's id
// becomes the id of the direct messages with them, where files can follow.
func (e *Edge) say(ctx context.Context, to *target, p part) (id string, err error) {
	if to.onlyFor != "" {
		id, err = e.api.PostEphemeralContext(ctx, to.channel, to.onlyFor, p.options(to.thread)...)
		if err == nil {
			return id, nil
		}
		if detour, ok := to.detour(err); ok {
			*to = detour
			return e.say(ctx, to, p)
		}
		return "", postError("chat.postEphemeral", err)
	}
	landed, id, err := e.api.PostMessageContext(ctx, to.channel, p.options(to.thread)...)
	if err == nil {
		to.channel = landed
		return id, nil
	}
	if detour, ok := to.detour(err); ok {
		*to = detour
		return e.say(ctx, to, p)
	}
	return "", postError("chat.postMessage", err)
}

// detour is another way to the reader after a refusal: beside a thread that
// takes no replies, or directly to the asker of a slash command.
func (t target) detour(err error) (target, bool) {
	switch answerOf(err) {
	case "thread_not_found", "cannot_reply_to_message", "invalid_thread_ts":
		return target{channel: t.channel, onlyFor: t.onlyFor}, t.thread != ""
	case "not_in_channel", "channel_not_found":
		return target{channel: t.asker}, t.asker != ""
	}
	return t, false
}

// share uploads files and shows them together.
func (e *Edge) share(ctx context.Context, to target, files []channel.File) error {
	if len(files) == 0 {
		return nil
	}
	var uploaded []slack.FileSummary
	for _, f := range files {
		id, err := e.upload(ctx, f)
		if err != nil {
			return err
		}
		uploaded = append(uploaded, slack.FileSummary{ID: id, Title: cmp.Or(f.Title, f.Name)})
	}
	_, err := e.api.CompleteUploadExternalContext(ctx, slack.CompleteUploadExternalParameters{
		Files: uploaded, Channel: to.channel, ThreadTimestamp: to.thread,
	})
	if err != nil {
		return postError("files.completeUploadExternal", err)
	}
	return nil
}

func (e *Edge) upload(ctx context.Context, f channel.File) (id string, err error) {
	slot, err := e.api.GetUploadURLExternalContext(ctx, slack.GetUploadURLExternalParameters{
		FileName: f.Name, FileSize: len(f.Data), AltTxt: f.Title,
	})
	if err != nil {
		return "", sendError("files.getUploadURLExternal", err)
	}
	err = e.api.UploadToURL(ctx, slack.UploadToURLParameters{
		UploadURL: slot.UploadURL, Reader: bytes.NewReader(f.Data), Filename: f.Name,
	})
	if err != nil {
		return "", sendError("file upload", err)
	}
	return slot.FileID, nil
}

// partlySent remembers posts of which some messages went out before one failed.
type partlySent struct {
	now func() time.Time

	mu    sync.Mutex
	posts map[postKey]progress
}

type postKey [sha256.Size]byte

type progress struct {
	to    target
	ids   []string
	whole bool // with its files
	until time.Time
}

const (
	resumeFor     = time.Hour
	maxPartlySent = 1000
)

func newPartlySent(now func() time.Time) *partlySent {
	return &partlySent{now: now, posts: map[postKey]progress{}}
}

func keyOf(p channel.Post) postKey {
	js, err := json.Marshal(p)
	if err != nil {
		panic(err) // a Post is strings and bytes: it always encodes
	}
	return sha256.Sum256(js)
}

func (s *partlySent) get(key postKey) progress {
	s.mu.Lock()
	defer s.mu.Unlock()
	if p := s.posts[key]; s.now().Before(p.until) {
		return p
	}
	return progress{}
}

func (s *partlySent) put(key postKey, p progress) {
	if len(p.ids) == 0 {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.posts) >= maxPartlySent {
		clear(s.posts)
	}
	p.until = s.now().Add(resumeFor)
	s.posts[key] = p
}

func (s *partlySent) forget(key postKey) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.posts, key)
}
