// Package trial drives an installation made for the purpose, in this process:
// its own data folder, an invented register, webhook and worker as they are for
// real. Beside it, in the same run, it measures what the parts cost by
// themselves.
package trial

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"time"

	"clogwise/bot/webhook/load"
	"clogwise/internal/app"
	"clogwise/internal/config"
)

// Options of a trial.
type Options struct {
	Dir   string // empty folder for its data
	Redis string // as in the configuration
	Banks int
	Plan  load.Plan     // URL, Secret and Banks are filled in
	Parts time.Duration // how long each part is measured by itself; 0: not at all

	Worker config.Worker // as in the configuration
	Log    *slog.Logger
}

// Report is what was measured.
type Report struct {
	Banks int         `json:"banks"`
	Load  load.Report `json:"load"`
	Parts []Part      `json:"parts,omitempty"`
}

// Part is one part by itself, under requests of the same size from as many
// senders.
type Part struct {
	Name           string  `json:"part"`
	RequestsPerSec float64 `json:"requests_per_second"`
	ReadingsPerSec float64 `json:"readings_per_second"`
	Share          float64 `json:"share"` // of the part's rate that the whole reached
}

// mostDays is how long ago the filters were changed: room for four readings a day.
const mostDays = 200

// unlimited is a rate that limits nobody here.
const unlimited = 1_000_000

// Run builds the installation, drives it and measures the parts.
func Run(ctx context.Context, o Options) (rep Report, err error) {
	cfg, err := config.Load("", nil)
	if err != nil {
		return rep, err
	}
	cfg.Worker = o.Worker
	cfg.Data, cfg.Ledger, cfg.Redis = o.Dir, filepath.Join(o.Dir, "ledger.db"), o.Redis
	cfg.HTTP.Listen, cfg.HTTP.RatePerSec, cfg.HTTP.Burst = "127.0.0.1:0", unlimited, unlimited
	a, err := app.Open(ctx, cfg, app.Options{Log: o.Log})
	if err != nil {
		return rep, err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	o.Plan.From = time.Now().UTC().AddDate(0, 0, -mostDays).Truncate(time.Second)
	if err := a.Fill(ctx, fleet(o.Banks), changed(o.Banks, o.Plan.From), nil); err != nil {
		return rep, fmt.Errorf("invented register: %w", err)
	}
	_, secret, err := a.NewKey(ctx, "trial", "signature", nil, nil)
	if err != nil {
		return rep, err
	}
	services, addr, err := a.Webhook(ctx)
	if err != nil {
		return rep, err
	}
	o.Plan.URL, o.Plan.Secret, o.Plan.Banks = "http://"+addr, secret, banks(o.Banks)
	rep.Banks = o.Banks
	if rep.Load, err = driven(ctx, a, append(a.WorkerServices(), services...), o.Plan); err != nil {
		return rep, err
	}
	if o.Parts > 0 {
		rep.Parts, err = parts(ctx, a, o, rep.Load)
	}
	return rep, err
}

// driven runs services while the plan is carried out.
func driven(ctx context.Context, a *app.App, services []app.Service, p load.Plan) (load.Report, error) {
	run, stop := context.WithCancel(ctx)
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- app.Run(run, a.Log, services...) }()
	rep, err := load.Run(ctx, p)
	stop()
	return rep, errors.Join(err, <-ended)
}
