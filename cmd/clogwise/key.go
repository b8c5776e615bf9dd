package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
	"clogwise/internal/ledger"
	"clogwise/internal/outgoing"
)

// keyRow is one line of `key --json`. Secret is shown once, when it is made.
type keyRow struct {
	ID      string     `json:"id"`
	Name    string     `json:"name"`
	Scheme  string     `json:"scheme"`
	Sites   []string   `json:"sites,omitempty"`
	Points  []string   `json:"points,omitempty"`
	Created time.Time  `json:"created"`
	Revoked *time.Time `json:"revoked,omitempty"`
	Expires *time.Time `json:"expires,omitempty"`
	Secret  string     `json:"secret,omitempty"`
}

func (p *program) keyCommand() *cobra.Command {
	c := &cobra.Command{Use: "key", Short: "Keys of integrators: new, list, rotate, revoke"}
	c.AddCommand(
		p.newKeyCommand(),
		&cobra.Command{Use: "list", Short: "List keys", Args: cobra.NoArgs, RunE: func(c *cobra.Command, _ []string) error {
			return p.with(c, p.listKeys)
		}},
		p.rotateKeyCommand(),
		&cobra.Command{Use: "revoke ID", Short: "End a key at once; running servers notice within a second", Args: cobra.ExactArgs(1), RunE: func(c *cobra.Command, args []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				if err := a.RevokeKey(ctx, args[0]); err != nil {
					return err
				}
				return p.done("Key %s revoked.", args[0])
			})
		}},
	)
	return c
}

func (p *program) newKeyCommand() *cobra.Command {
	var scheme string
	var sites, points []string
	c := &cobra.Command{
		Use: "new NAME", Short: "Make a key; its secret is shown once", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				k, secret, err := a.NewKey(ctx, args[0], scheme, sites, points)
				if err != nil {
					return err
				}
				return p.showSecret(k, secret, "")
			})
		},
	}
	c.Flags().StringVar(&scheme, "scheme", "signature", "signature (Standard Webhooks) or bearer, for plant that cannot sign")
	c.Flags().StringSliceVar(&sites, "sites", nil, "sites it may write to; default all")
	c.Flags().StringSliceVar(&points, "points", nil, "beginnings of the point names it may use, numbers whole (AHU-1 is not AHU-10), instead of banks by their id; default all")
	return c
}

func (p *program) rotateKeyCommand() *cobra.Command {
	var overlap time.Duration
	c := &cobra.Command{
		Use: "rotate ID", Short: "Give a key a new secret, shown once; the old one is taken for a while longer", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				old, fresh, secret, err := a.RotateKey(ctx, args[0], overlap)
				if err != nil {
					return err
				}
				return p.showSecret(fresh, secret, fmt.Sprintf("Key %s is taken until %s.\n", old.ID, old.Expires.UTC().Format(time.RFC3339)))
			})
		},
	}
	c.Flags().DurationVar(&overlap, "overlap", 24*time.Hour, "how long the old secret is still taken; 0 ends it at once")
	return c
}

// showSecret prints a key with its secret, the one time that it is shown.
func (p *program) showSecret(k ledger.Key, secret, more string) error {
	if p.json {
		row := rowOf(k)
		row.Secret = secret
		return p.printJSON(row)
	}
	_, err := fmt.Fprintf(p.out, "Key %s for %s (%s).\nSecret, shown this once: %s\n%s", k.ID, k.Name, k.Scheme, secret, more)
	return err
}

func rowOf(k ledger.Key) keyRow {
	return keyRow{
		ID: k.ID, Name: k.Name, Scheme: k.Scheme, Sites: k.Sites, Points: k.Points,
		Created: k.Created, Revoked: k.Revoked, Expires: k.Expires,
	}
}

func (p *program) listKeys(ctx context.Context, a *app.App) error {
	keys, err := a.Store.Keys(ctx)
	if err != nil {
		return err
	}
	keys = slices.DeleteFunc(keys, func(k ledger.Key) bool { return k.Scheme == outgoing.Scheme }) // events list shows those
	if len(keys) == 0 {
		return p.done("No keys. Make one: clogwise key new NAME")
	}
	for _, k := range keys {
		if p.json {
			if err := p.printJSON(rowOf(k)); err != nil {
				return err
			}
			continue
		}
		fmt.Fprintf(p.out, "%s  %s  %s  %s  %s\n", k.ID, k.Name, k.Scheme, scopeOf(k), stateOf(k, a.Now()))
	}
	return nil
}

func scopeOf(k ledger.Key) string {
	scope := "all sites"
	if len(k.Sites) > 0 {
		scope = strings.Join(k.Sites, ", ")
	}
	if len(k.Points) > 0 {
		scope += ", points " + strings.Join(k.Points, ", ")
	}
	return scope
}

func stateOf(k ledger.Key, now time.Time) string {
	switch {
	case k.Revoked != nil:
		return "revoked " + k.Revoked.UTC().Format(time.RFC3339)
	case k.Expires == nil:
		return "valid"
	case now.Before(*k.Expires):
		return "valid until " + k.Expires.UTC().Format(time.RFC3339)
	}
	return "ended " + k.Expires.UTC().Format(time.RFC3339)
}
