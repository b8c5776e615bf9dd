package main

import (
	"errors"
	"fmt"
	"os"
	"runtime/pprof"
	"time"

	"github.com/spf13/cobra"

	"clogwise/bot/webhook/load"
	"clogwise/internal/trial"
)

type trialFlags struct {
	on      bool
	banks   int
	parts   time.Duration
	profile string
	trends  trendFlags
}

// trial drives an installation of its own and removes it afterwards.
func (p *program) trial(c *cobra.Command, plan load.Plan, f trialFlags) (err error) {
	cfg, err := p.config(c)
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "clogwise-trial-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	if f.profile != "" {
		stop, perr := profileTo(f.profile)
		if perr != nil {
			return perr
		}
		defer func() { err = errors.Join(err, stop()) }()
	}
	rep, err := trial.Run(c.Context(), trial.Options{
		Dir: dir, Redis: cfg.Redis, Banks: f.banks, Plan: plan, Parts: f.parts, Worker: cfg.Worker, Log: p.logger(cfg),
	})
	if err != nil {
		return err
	}
	if p.json {
		return errors.Join(p.printJSON(rep), sound(rep.Load))
	}
	if err := p.showLoad(rep.Load); err != nil {
		return err
	}
	for _, x := range rep.Parts {
		fmt.Fprintf(p.out, "%s: %.0f requests/s, %.0f readings/s; the whole reached %.0f %% of that.\n", x.Name, x.RequestsPerSec, x.ReadingsPerSec, 100*x.Share)
	}
	return sound(rep.Load)
}

func profileTo(file string) (stop func() error, err error) {
	f, err := os.Create(file)
	if err != nil {
		return nil, err
	}
	if err := pprof.StartCPUProfile(f); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return func() error { pprof.StopCPUProfile(); return f.Close() }, nil
}
