package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
)

func (p *program) backupCommand() *cobra.Command {
	var into string
	var keep int
	c := &cobra.Command{
		Use: "backup [FILE]", Short: "Write a consistent copy of the ledger, SQLite or PostgreSQL, while it is in use", Args: cobra.MaximumNArgs(1),
		Long: "A copy is a SQLite ledger, checked in full before it gets its name. --into DIR names it after the time and --keep N\n" +
			"removes the oldest there beyond N: for a timer. Copies lie best on another machine; clogwise restore brings one back.",
		RunE: func(c *cobra.Command, args []string) error {
			if (len(args) == 1) == (into != "") {
				return errors.New("give a FILE, or a folder with --into DIR")
			}
			return p.with(c, func(ctx context.Context, a *app.App) error {
				if into == "" {
					if err := a.Backup(ctx, args[0]); err != nil {
						return err
					}
					return p.done("Copied to %s and checked.", args[0])
				}
				file, removed, err := a.BackupInto(ctx, into, keep)
				if err != nil {
					return err
				}
				return p.done("Copied to %s and checked; %d older ones removed.", file, len(removed))
			})
		},
	}
	c.Flags().StringVar(&into, "into", "", "folder for a copy named after the time")
	c.Flags().IntVar(&keep, "keep", 0, "with --into: how many copies stay there; 0: all")
	return c
}

func (p *program) restoreCommand() *cobra.Command {
	var rehearse bool
	c := &cobra.Command{
		Use: "restore FILE", Short: "Bring a backup back into the configured ledger, which must be empty, or rehearse it", Args: cobra.ExactArgs(1),
		Long: "--rehearse restores into a ledger of its own, compares rows and checksums, makes every forecast again and removes it:\n" +
			"do it after each change and on a timer. A backup that was never restored is a hope.",
		RunE: func(c *cobra.Command, args []string) error {
			if _, err := os.Stat(args[0]); err != nil {
				return err
			}
			if !rehearse {
				cfg, err := p.config(c)
				if err != nil {
					return err
				}
				t, err := app.MoveLedger(c.Context(), args[0], cfg.Ledger)
				if err != nil {
					return err
				}
				return p.done("Restored %d entries; rows and checksum %s agree with the backup. Now type: clogwise rebuild", t.Rows["entry"], t.Checksum[:12])
			}
			now, err := p.clock()
			if err != nil {
				return err
			}
			r, err := app.Rehearse(c.Context(), args[0], now())
			if err != nil {
				return fmt.Errorf("the backup cannot be relied on: %w", err)
			}
			if p.json {
				return p.printJSON(r)
			}
			return p.done("Would restore: %d entries up to %s, rows and checksum %s agree, %d banks' forecasts made again, in %s. Nothing was changed.",
				r.Rows["entry"], r.Newest.UTC().Format("2 January 2006 15:04 MST"), r.Checksum[:12], r.Banks, r.Took.Round(time.Millisecond))
		},
	}
	c.Flags().BoolVar(&rehearse, "rehearse", false, "try it out and change nothing")
	return c
}
