package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"runtime/debug"
	"time"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
	"clogwise/internal/ledger"
)

func encode(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

func (p *program) rebuildCommand() *cobra.Command {
	return &cobra.Command{
		Use: "rebuild", Short: "Drop every forecast and make it again from the ledger", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				// All of it is short-lived: collect seldom, but stay below what a small machine has.
				defer debug.SetGCPercent(debug.SetGCPercent(400))
				defer debug.SetMemoryLimit(debug.SetMemoryLimit(1 << 30))
				start := time.Now()
				n, err := a.View.Rebuild(ctx, a.Now(), nil)
				if err != nil {
					return err
				}
				return p.done("%d banks rebuilt in %s.", n, time.Since(start).Round(time.Millisecond))
			})
		},
	}
}

func (p *program) moveCommand() *cobra.Command {
	return &cobra.Command{
		Use: "move-ledger FROM TO", Short: "Copy a whole ledger into an empty one, SQLite file or postgres://…, and compare", Args: cobra.ExactArgs(2),
		Long: "Stop everything that writes to FROM first. FROM is left as it is.",
		RunE: func(c *cobra.Command, args []string) error {
			t, err := app.MoveLedger(c.Context(), args[0], args[1])
			if err != nil {
				return err
			}
			if p.json {
				return p.printJSON(t)
			}
			return p.done("Copied %d entries; both ledgers have checksum %s. Set the ledger setting to the new one.", t.Rows["entry"], t.Checksum[:12])
		},
	}
}

// parkedRow is one line of `parked list --json`.
type parkedRow struct {
	What   string    `json:"what"` // "notice" or "post"
	ID     string    `json:"id"`
	Tries  int       `json:"tries"`
	Reason string    `json:"reason"`
	Since  time.Time `json:"since,omitzero"`
}

func (p *program) parkedCommand() *cobra.Command {
	c := &cobra.Command{Use: "parked", Short: "Notices and posts that failed too often: list, retry, drop"}
	c.AddCommand(
		&cobra.Command{Use: "list", Short: "List what is parked and why", Args: cobra.NoArgs, RunE: func(c *cobra.Command, _ []string) error {
			return p.with(c, p.listParked)
		}},
		&cobra.Command{Use: "retry ID…", Short: "Try again", Args: cobra.MinimumNArgs(1), RunE: func(c *cobra.Command, ids []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				return p.parked(ids, "will be tried again", func(id string) error {
					return either(a.Store.RetryPost(ctx, id, a.Now()), func() error { return a.Queue.Retry(ctx, id) })
				})
			})
		}},
		&cobra.Command{Use: "drop ID…", Short: "Forget it; entries stay in the ledger", Args: cobra.MinimumNArgs(1), RunE: func(c *cobra.Command, ids []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				return p.parked(ids, "dropped", func(id string) error {
					return either(a.Store.DropPost(ctx, id), func() error { return a.Queue.Drop(ctx, id) })
				})
			})
		}},
	)
	return c
}

// either tries the outbox first and the queue when the id is no post's.
func either(post error, notice func() error) error {
	if errors.Is(post, ledger.ErrNotFound) {
		return notice()
	}
	return post
}

func (p *program) parked(ids []string, what string, do func(id string) error) error {
	for _, id := range ids {
		if err := do(id); err != nil {
			return fmt.Errorf("%s: %w", id, err)
		}
		if err := p.done("%s %s.", id, what); err != nil {
			return err
		}
	}
	return nil
}

func (p *program) listParked(ctx context.Context, a *app.App) error {
	var rows []parkedRow
	notices, err := a.Queue.Parked(ctx)
	if err != nil {
		return err
	}
	for _, n := range notices {
		rows = append(rows, parkedRow{"notice", n.Bank, n.Tries, n.Error, n.At})
	}
	posts, err := a.Store.Posts(ctx, ledger.PostParked, 1000)
	if err != nil {
		return err
	}
	for _, o := range posts {
		rows = append(rows, parkedRow{"post", o.Key, o.Attempts, o.LastError, o.Created})
	}
	if len(rows) == 0 {
		return p.done("Nothing is parked.")
	}
	for _, r := range rows {
		if p.json {
			if err := p.printJSON(r); err != nil {
				return err
			}
			continue
		}
		fmt.Fprintf(p.out, "%s %s: %s (%d tries)\n", r.What, r.ID, r.Reason, r.Tries)
	}
	return nil
}
