package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
	"clogwise/internal/outgoing"
)

func (p *program) eventsCommand() *cobra.Command {
	c := &cobra.Command{Use: "events", Short: "Signed events to integrators (due, overdue, doubtful, swapped, order-by): add, list, log, replay, rotate, remove"}
	c.AddCommand(
		p.addEndpointCommand(),
		&cobra.Command{Use: "list", Short: "Where events go", Args: cobra.NoArgs, RunE: func(c *cobra.Command, _ []string) error {
			return p.with(c, p.listEndpoints)
		}},
		p.eventLogCommand(),
		p.replayCommand(),
		p.rotateEndpointCommand(),
		&cobra.Command{Use: "remove ID", Short: "Send nothing more there", Args: cobra.ExactArgs(1), RunE: func(c *cobra.Command, args []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				if err := a.RemoveEndpoint(ctx, args[0]); err != nil {
					return err
				}
				return p.done("Nothing more is sent to %s. What was waiting for it is parked.", args[0])
			})
		}},
	)
	return c
}

func (p *program) addEndpointCommand() *cobra.Command {
	var kinds, sites []string
	c := &cobra.Command{
		Use: "add NAME URL", Short: "Send events to an address (https); the secret they are signed with is shown once", Args: cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				k, secret, err := a.AddEndpoint(ctx, args[0], args[1], kinds, sites)
				if err != nil {
					return err
				}
				return p.showSecret(k, secret, "Events are signed with it after Standard Webhooks: webhook-id, webhook-timestamp, webhook-signature.\n")
			})
		},
	}
	c.Flags().StringSliceVar(&kinds, "kinds", nil, "of events; default all: "+strings.Join(outgoing.Kinds[:], ", "))
	c.Flags().StringSliceVar(&sites, "sites", nil, "of which events; default all")
	return c
}

// endpointRow is one line of `events list --json`.
type endpointRow struct {
	ID    string   `json:"id"`
	Name  string   `json:"name"`
	URL   string   `json:"url"`
	Kinds []string `json:"kinds,omitempty"`
	Sites []string `json:"sites,omitempty"`
}

func (p *program) listEndpoints(ctx context.Context, a *app.App) error {
	all, err := a.Endpoints(ctx)
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return p.done("Events go nowhere. Add an address: clogwise events add NAME URL")
	}
	for _, e := range all {
		if p.json {
			if err := p.printJSON(endpointRow{e.ID, e.Name, e.URL, e.Kinds, e.Sites}); err != nil {
				return err
			}
			continue
		}
		fmt.Fprintf(p.out, "%s  %s  %s  %s  %s\n", e.ID, e.Name, e.URL, orAll(e.Kinds, "all kinds"), orAll(e.Sites, "all sites"))
	}
	return nil
}

func orAll(some []string, all string) string {
	if len(some) == 0 {
		return all
	}
	return strings.Join(some, ", ")
}

// eventRow is one line of `events log --json`.
type eventRow struct {
	ID       string    `json:"id"` // of the event; parked retry takes key
	Key      string    `json:"key"`
	Endpoint string    `json:"endpoint"`
	State    string    `json:"state"`
	Attempts int       `json:"attempts"`
	Error    string    `json:"error,omitempty"`
	Created  time.Time `json:"created"`
}

func (p *program) eventLogCommand() *cobra.Command {
	var most int
	c := &cobra.Command{
		Use: "log [ID]", Short: "What was sent or waits, newest first", Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				posts, err := a.SentEvents(ctx, strings.Join(args, ""), most)
				if err != nil {
					return err
				}
				for _, x := range posts {
					_, e, _ := outgoing.Read(x.Post) // an unreadable one is shown by its key
					row := eventRow{e.ID, x.Key, x.Post.To.Channel, string(x.State), x.Attempts, x.LastError, x.Created}
					if p.json {
						if err := p.printJSON(row); err != nil {
							return err
						}
						continue
					}
					fmt.Fprintf(p.out, "%s  %s  %s  %s  %s\n", row.Created.UTC().Format("2006-01-02 15:04:05"), row.State, row.Endpoint, row.ID, row.Error)
				}
				return nil
			})
		},
	}
	c.Flags().IntVar(&most, "most", 50, "lines")
	return c
}

func (p *program) replayCommand() *cobra.Command {
	var since string
	c := &cobra.Command{
		Use: "replay ID", Short: "Send an endpoint its events of a while again, under the same ids", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				from, err := sinceWhen(since, a.Now())
				if err != nil {
					return err
				}
				n, err := a.ReplayEvents(ctx, args[0], from)
				if err != nil {
					return err
				}
				return p.done("%d events will be sent again to %s.", n, args[0])
			})
		},
	}
	c.Flags().StringVar(&since, "since", "24h", "how far back: a span such as 24h, or a moment (RFC 3339)")
	return c
}

func sinceWhen(s string, now time.Time) (time.Time, error) {
	if d, err := time.ParseDuration(s); err == nil && d >= 0 {
		return now.Add(-d), nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return t, fmt.Errorf("--since %q is neither a span such as 24h nor a moment such as 2026-03-02T08:00:00Z", s)
	}
	return t, nil
}

func (p *program) rotateEndpointCommand() *cobra.Command {
	var overlap time.Duration
	c := &cobra.Command{
		Use: "rotate ID", Short: "Give an endpoint a new secret, shown once; events are signed with both for a while", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				k, secret, ends, err := a.RotateEndpoint(ctx, args[0], overlap)
				if err != nil {
					return err
				}
				return p.showSecret(k, secret, fmt.Sprintf("Events are signed with the old one too until %s.\n", ends.UTC().Format(time.RFC3339)))
			})
		},
	}
	c.Flags().DurationVar(&overlap, "overlap", 24*time.Hour, "how long the old secret still signs")
	return c
}
