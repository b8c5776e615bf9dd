package main

import (
	"context"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
)

func (p *program) personCommand() *cobra.Command {
	c := &cobra.Command{Use: "person", Short: "What is kept of a person: export it, or take the name out of everything that is shown"}
	c.AddCommand(
		&cobra.Command{
			Use: "export NAME FILE", Short: "Write the entries that a person made or that name them, one JSON object a line; - is standard output", Args: cobra.ExactArgs(2),
			RunE: func(c *cobra.Command, args []string) error {
				return p.with(c, func(ctx context.Context, a *app.App) error { return p.exportPerson(ctx, a, args[0], args[1]) })
			},
		},
		&cobra.Command{
			Use: "erase NAME", Short: "Show an alias in place of a name from now on; the entries stay", Args: cobra.ExactArgs(1),
			Long: "The ledger is never altered, so the name stands in it still; nothing that clogwise shows, exports or posts holds it any more.\n" +
				"Take the person out of the register first. Messages in the chat platform are the platform's to delete.",
			RunE: func(c *cobra.Command, args []string) error {
				return p.with(c, func(ctx context.Context, a *app.App) error {
					alias, err := a.EraseName(ctx, args[0], "clogwise person erase")
					if err != nil {
						return err
					}
					return p.done("Shown as %s from now on. Running processes follow within seconds.", alias)
				})
			},
		},
	)
	return c
}

func (p *program) exportPerson(ctx context.Context, a *app.App, name, file string) (err error) {
	entries, err := a.EntriesOf(ctx, name)
	if err != nil {
		return err
	}
	w := p.out
	if file != "-" {
		f, ferr := os.OpenFile(file, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		if ferr != nil {
			return ferr
		}
		defer func() {
			if cerr := f.Close(); err == nil {
				err = cerr
			}
		}()
		w = f
	}
	for _, x := range entries {
		if err := encode(w, x); err != nil {
			return err
		}
	}
	fmt.Fprintf(p.err, "%d entries of or about %s.\n", len(entries), name)
	return nil
}
