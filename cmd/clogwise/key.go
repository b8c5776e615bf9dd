package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
	"clogwise/internal/ledger"
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
	Secret  string     `json:"secret,omitempty"`
}

func (p *program) keyCommand() *cobra.Command {
	c := &cobra.Command{Use: "key", Short: "Keys of integrators: new, list, revoke"}
	var scheme string
	var sites, points []string
	fresh := &cobra.Command{
		Use: "new NAME", Short: "Make a key; its secret is shown once", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				k, secret, err := a.NewKey(ctx, args[0], scheme, sites, points)
				if err != nil {
					return err
				}
				row := rowOf(k)
				row.Secret = secret
				if p.json {
					return p.printJSON(row)
				}
				fmt.Fprintf(p.out, "Key %s for %s (%s).\nSecret, shown this once: %s\n", k.ID, k.Name, k.Scheme, secret)
				return nil
			})
		},
	}
	fresh.Flags().StringVar(&scheme, "scheme", "signature", "signature (Standard Webhooks) or bearer, for plant that cannot sign")
	fresh.Flags().StringSliceVar(&sites, "sites", nil, "sites it may write to; default all")
	fresh.Flags().StringSliceVar(&points, "points", nil, "point-name prefixes it may use; default all")
	c.AddCommand(fresh,
		&cobra.Command{Use: "list", Short: "List keys", Args: cobra.NoArgs, RunE: func(c *cobra.Command, _ []string) error {
			return p.with(c, p.listKeys)
		}},
		&cobra.Command{Use: "revoke ID", Short: "End a key at once", Args: cobra.ExactArgs(1), RunE: func(c *cobra.Command, args []string) error {
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

func rowOf(k ledger.Key) keyRow {
	return keyRow{ID: k.ID, Name: k.Name, Scheme: k.Scheme, Sites: k.Sites, Points: k.Points, Created: k.Created, Revoked: k.Revoked}
}

func (p *program) listKeys(ctx context.Context, a *app.App) error {
	keys, err := a.Store.Keys(ctx)
	if err != nil {
		return err
	}
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
		state := "valid"
		if k.Revoked != nil {
			state = "revoked " + k.Revoked.Format(time.DateOnly)
		}
		scope := "all sites"
		if len(k.Sites) > 0 {
			scope = strings.Join(k.Sites, ", ")
		}
		fmt.Fprintf(p.out, "%s  %s  %s  %s  %s\n", k.ID, k.Name, k.Scheme, scope, state)
	}
	return nil
}
