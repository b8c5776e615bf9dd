package app

import (
	"context"
	"errors"
	"io"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"clogwise/bot"
	"clogwise/bot/terminal"
	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/locale"
)

// Talk is a local talk in the terminal channel.
type Talk struct {
	In       io.Reader
	Out      io.Writer
	JSON     bool
	Prompt   bool
	Channel  string
	As       string
	Channels []string
}

// replyWait bounds how long the next line of a local talk waits for a reply.
const replyWait = 10 * time.Second

// Talk runs the terminal channel with the parts it needs, and any further
// services, until the end of input or ctx is done.
func (a *App) Talk(ctx context.Context, t Talk, more ...Service) error {
	term := &terminal.Channel{
		In: t.In, Out: t.Out, JSON: t.JSON, Prompt: t.Prompt, As: t.As, Channel: t.Channel, Channels: t.Channels,
		Files: filepath.Join(a.Cfg.Data, "pictures"), Now: a.Now, Wait: replyWait,
		Session: "-" + strconv.FormatInt(time.Now().UnixNano(), 36),
		Replied: func(ctx context.Context, m channel.Message) (bool, error) {
			_, err := a.Store.Post(ctx, bot.ReplyKey(m))
			if errors.Is(err, ledger.ErrNotFound) {
				return false, nil
			}
			return err == nil, err
		},
		Tongue: func(ctx context.Context, place string) locale.Locale { return a.tongue(ctx, terminal.Platform, place) },
		Quiet:  a.quiet,
		Recall: func(ctx context.Context, place string) ([]channel.Choice, error) {
			return a.LastChoices(ctx, terminal.Platform, place)
		},
	}
	ctx, end := context.WithCancel(ctx)
	defer end()
	services := append(a.WorkerServices(), a.Retention(), a.Delivery(terminal.Platform, term))
	services = append(services, more...)
	services = append(services, Service{"terminal", func(ctx context.Context) error {
		defer end()
		return term.Run(ctx, a.Engine)
	}})
	return Run(ctx, a.Log, services...)
}

// LastChoices are the buttons of the newest post with some in a channel.
func (a *App) LastChoices(ctx context.Context, platform, place string) ([]channel.Choice, error) {
	posts, err := a.Store.Posts(ctx, ledger.PostSent, 0)
	if err != nil {
		return nil, err
	}
	for _, p := range slices.Backward(posts) {
		to := p.Post.To
		if to.Platform == platform && to.Channel == place && slices.ContainsFunc(p.Post.Choices, func(c channel.Choice) bool { return c.Action != "undo" }) {
			return p.Post.Choices, nil
		}
	}
	return nil, nil
}

// quiet reports whether the outbox holds nothing that is to be said in the
// terminal now.
func (a *App) quiet(ctx context.Context) (bool, error) {
	const look = 50
	for _, state := range []ledger.PostState{ledger.PostReady, ledger.PostWaiting} {
		posts, err := a.Store.Posts(ctx, state, look)
		if err != nil {
			return false, err
		}
		for _, p := range posts {
			if p.Post.To.Platform == terminal.Platform && p.Attempts <= 1 {
				return false, nil
			}
		}
	}
	return true, nil
}
