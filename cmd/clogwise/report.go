package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
	"clogwise/internal/chart"
	"clogwise/internal/demo"
	"clogwise/internal/digest"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// withLedger opens the application for a report. One that finds no ledger makes
// none: a report leaves nothing behind.
func (p *program) withLedger(c *cobra.Command, do func(ctx context.Context, a *app.App) error) error {
	cfg, err := p.config(c)
	if err != nil {
		return err
	}
	if file := !strings.Contains(cfg.Ledger, "://"); file && !exists(cfg.Ledger) {
		return fmt.Errorf("no ledger at %s; make one with: clogwise import FILE, or try: clogwise demo", cfg.Ledger)
	}
	return p.with(c, do)
}

func demoRegister() *plant.Register { return plant.NewRegister(demo.Portfolio()) }

// eachSite calls do for the board of each site asked for.
func (p *program) eachSite(c *cobra.Command, site string, do func(ctx context.Context, a *app.App, reg *plant.Register, b digest.Board) error) error {
	return p.withLedger(c, func(ctx context.Context, a *app.App) error {
		reg, err := a.View.Register(ctx)
		if err != nil {
			return err
		}
		ids, err := sitesNamed(reg, site)
		if err != nil {
			return err
		}
		if len(ids) == 0 {
			return fmt.Errorf("no site in the register of %s; import one with: clogwise import FILE, or try: clogwise demo", a.Cfg.Data)
		}
		for _, id := range ids {
			s, _ := reg.Site(id)
			b, err := a.View.Board(ctx, s, a.Now())
			if err != nil {
				return err
			}
			if err := do(ctx, a, reg, b); err != nil {
				return err
			}
		}
		return nil
	})
}

func (p *program) dueCommand() *cobra.Command {
	var site string
	var all bool
	c := &cobra.Command{
		Use: "due", Short: "Print the due list", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return p.eachSite(c, site, func(_ context.Context, _ *app.App, _ *plant.Register, b digest.Board) error {
				if p.json {
					for _, r := range b.Rows {
						if err := p.printJSON(r); err != nil {
							return err
						}
					}
					return nil
				}
				if all {
					fmt.Fprintln(p.out, say.DueAll(b))
				} else {
					fmt.Fprintln(p.out, say.Due(b, 0))
				}
				fmt.Fprintln(p.out)
				return nil
			})
		},
	}
	c.Flags().StringVar(&site, "site", "", "one site; default: all")
	c.Flags().BoolVar(&all, "all", false, "also the banks that are clean or loading")
	return c
}

func (p *program) digestCommand() *cobra.Command {
	var site string
	c := &cobra.Command{
		Use: "digest", Short: "Print the weekly digest as it would be posted now", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return p.eachSite(c, site, func(ctx context.Context, a *app.App, reg *plant.Register, b digest.Board) error {
				since, err := a.View.Since(ctx, b.Site, a.Now().AddDate(0, 0, -7), a.Now())
				if err != nil {
					return err
				}
				text := digest.Weekly(b, reg, since)
				if p.json {
					return p.printJSON(map[string]string{"site": b.Site.ID, "text": text})
				}
				fmt.Fprintf(p.out, "%s\n\n", text)
				return nil
			})
		},
	}
	c.Flags().StringVar(&site, "site", "", "one site; default: all")
	return c
}

func (p *program) chartCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use: "chart PLACE", Short: "Draw the lives of a bank, or of each bank of an AHU", Args: cobra.ExactArgs(1),
		Long: "PLACE is an id such as clinic/ahu-3/secondary or clinic/ahu-3, or what one types in chat (\"AHU-3 bag\").",
		RunE: func(c *cobra.Command, args []string) error {
			return p.withLedger(c, func(ctx context.Context, a *app.App) error {
				reg, err := a.View.Register(ctx)
				if err != nil {
					return err
				}
				banks, err := banksNamed(reg, args[0], a.Now())
				if err != nil {
					return err
				}
				dir := out
				if dir == "" {
					dir = filepath.Join(a.Cfg.Data, "pictures")
				}
				if err := os.MkdirAll(dir, 0o755); err != nil {
					return err
				}
				for _, id := range banks {
					in, err := a.View.Picture(ctx, id, a.Now())
					if err != nil {
						return err
					}
					png, err := chart.Bank(in)
					if err != nil {
						return fmt.Errorf("chart of %s: %w", id, err)
					}
					path := filepath.Join(dir, strings.ReplaceAll(string(id), "/", "-")+".png")
					if err := os.WriteFile(path, png, 0o644); err != nil {
						return err
					}
					if p.json {
						if err := p.printJSON(map[string]string{"bank": string(id), "file": path, "title": in.Title}); err != nil {
							return err
						}
						continue
					}
					fmt.Fprintf(p.out, "%s\n%s\n", in.Title, path)
				}
				return nil
			})
		},
	}
	c.Flags().StringVar(&out, "out", "", "folder; default: DATA/pictures")
	return c
}

// banksNamed finds banks by id, or by what one types in chat.
func banksNamed(reg *plant.Register, place string, now time.Time) ([]plant.BankID, error) {
	if banks := reg.Banks(plant.BankID(place)); len(banks) > 0 {
		return banks, nil
	}
	banks, question := understoodPlaces(reg, place, now)
	if question != "" {
		return nil, fmt.Errorf("%s: %s", place, question)
	}
	if len(banks) == 0 {
		return nil, fmt.Errorf("no bank %q; clogwise due --all lists every bank", place)
	}
	return banks, nil
}
