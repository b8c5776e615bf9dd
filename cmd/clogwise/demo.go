package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
	"clogwise/internal/demo"
	"clogwise/internal/say"
)

func (p *program) demoCommand() *cobra.Command {
	var as, site string
	var seed uint64
	c := &cobra.Command{
		Use:   "demo",
		Short: "Try clogwise on an invented portfolio with half a year of readings",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			cfg, err := p.config(c)
			if err != nil {
				return err
			}
			if !c.Flags().Changed("data") && cfg.Data == "./clogwise-data" {
				cfg.Data = "./clogwise-data/demo"
			}
			cfg.Ledger = filepath.Join(cfg.Data, "ledger.db")
			if err := os.MkdirAll(cfg.Data, 0o755); err != nil {
				return err
			}
			a, err := p.openWith(c, cfg)
			if err != nil {
				return err
			}
			defer a.Close() //nolint:errcheck // the ledger is durable without it
			return p.demo(c.Context(), a, as, site, seed)
		},
	}
	c.Flags().StringVar(&as, "as", "", "who is typing; default: the site's first supervisor")
	c.Flags().StringVar(&site, "site", "", "site whose channel is typed into; default: the first")
	c.Flags().Uint64Var(&seed, "seed", 1, "of the invented readings")
	return c
}

// fill invents what an empty ledger holds, and makes the forecasts that a start cut
// short has left.
func (p *program) fill(ctx context.Context, a *app.App, empty bool, seed uint64) error {
	began := time.Now()
	progress := func(done, total int) {
		if !p.json && time.Since(began) > time.Second && (done == total || done%8 == 0) {
			fmt.Fprintf(p.err, "Inventing half a year of readings: %d of %d forecasts made\n", done, total)
		}
	}
	if empty {
		portfolio := demo.Portfolio()
		return a.Fill(ctx, portfolio, demo.History(portfolio, a.Now(), seed), progress)
	}
	left, err := a.Unforecast(ctx)
	if err != nil || !left {
		return err
	}
	_, err = a.View.Rebuild(ctx, a.Now(), progress)
	return err
}

// demo fills an empty ledger, prints the due list and opens the talk.
func (p *program) demo(ctx context.Context, a *app.App, as, site string, seed uint64) error {
	head, err := a.Store.Head(ctx)
	if err != nil {
		return err
	}
	if err := p.fill(ctx, a, head == 0, seed); err != nil {
		if ctx.Err() != nil {
			fmt.Fprintln(p.err, "Stopped before all forecasts were made; the next start goes on.")
			return nil
		}
		return err
	}
	t, err := p.talk(ctx, a, as, site)
	if err != nil {
		return err
	}
	reg, err := a.View.Register(ctx)
	if err != nil {
		return err
	}
	for _, s := range reg.Sites() {
		if s.Channel != t.Channel || p.json {
			continue
		}
		b, err := a.View.Board(ctx, s, a.Now())
		if err != nil {
			return err
		}
		fmt.Fprintf(p.out, "%s\n\n", say.Due(b, 0))
	}
	web, listen, err := a.Webhook(ctx)
	if err != nil {
		fmt.Fprintf(p.err, "No webhook: %v\n", err)
	}
	if !p.json && t.Prompt {
		fmt.Fprintf(p.out, "You are %s in channel %s. Try: AHU-3 bag 145 Pa   how AHU-3   why AHU-3 bag   chart AHU-3 bag   help   /quit\n", t.As, t.Channel)
		if listen != "" {
			fmt.Fprintf(p.out, "Webhook: http://%s/v1/readings (key: clogwise key new NAME --data %s)\n", listen, a.Cfg.Data)
		}
	}
	return a.Talk(ctx, t, web...)
}
