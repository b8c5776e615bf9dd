// Command clogwise keeps the filters of air handling units: readings in from a
// team channel or a building system, forecasts, due lists and reminders out.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"syscall"
	"time"
	_ "time/tzdata" // bare machines have no time zones of their own

	"github.com/spf13/cobra"

	"clogwise/internal/app"
	"clogwise/internal/config"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	p := &program{in: os.Stdin, out: os.Stdout, err: os.Stderr}
	err := p.run(ctx, os.Args[1:])
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "clogwise: "+err.Error())
		os.Exit(1)
	}
}

// program is one run of the command, with its input and output: tests run it as
// main does.
type program struct {
	in       io.Reader
	out, err io.Writer

	file string // --config
	json bool   // --json
	now  string // --now
}

func (p *program) run(ctx context.Context, args []string) error {
	root := p.root()
	root.SetArgs(args)
	root.SetIn(p.in)
	root.SetOut(p.out)
	root.SetErr(p.err)
	return root.ExecuteContext(ctx)
}

func (p *program) root() *cobra.Command {
	root := &cobra.Command{
		Use:           "clogwise",
		Short:         "Keeps the filters of air handling units: readings in, change forecasts, due lists and reminders out",
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	f := root.PersistentFlags()
	f.String("data", "./clogwise-data", "folder of the ledger, pictures and local state")
	f.StringVar(&p.file, "config", "", "configuration file; configs/clogwise.yaml explains every setting")
	f.BoolVar(&p.json, "json", false, "print one JSON object a line")
	f.StringVar(&p.now, "now", "", "take this moment (RFC 3339) as the present and let the clock stand: for trials and tests")
	f.String("log-level", "warn", "debug, info, warn or error; logs go to standard error")
	f.String("redis", "", "redis://host:port/0; default: a server inside this process")
	f.String("http-listen", "", "address of the webhook; default 127.0.0.1:8086")
	root.CompletionOptions.DisableDefaultCmd = true
	root.AddCommand(
		p.demoCommand(), p.chatCommand(), p.serveCommand(), p.parseCommand(), p.importCommand(), p.exportCommand(),
		p.dueCommand(), p.chartCommand(), p.forecastCommand(), p.backtestCommand(), p.rebuildCommand(), p.doctorCommand(), p.statusCommand(),
		p.digestCommand(), p.keyCommand(), p.pointsCommand(), p.eventsCommand(), p.loadCommand(), p.parkedCommand(), p.backupCommand(), p.restoreCommand(), p.moveCommand(), p.personCommand(),
	)
	return root
}

// config reads file, environment and the flags of the command.
func (p *program) config(c *cobra.Command) (config.Config, error) {
	return config.Load(p.file, c.Flags())
}

// clock is the domain clock: the real one, or the moment given by --now.
func (p *program) clock() (func() time.Time, error) {
	if p.now == "" {
		return systemClock(), nil
	}
	t, err := time.Parse(time.RFC3339, p.now)
	if err != nil {
		return nil, fmt.Errorf("--now %q is not a moment; write for example 2026-03-02T08:00:00Z", p.now)
	}
	return func() time.Time { return t }, nil
}

func (p *program) logger(cfg config.Config) *slog.Logger {
	var level slog.Level
	if err := level.UnmarshalText([]byte(cfg.Log.Level)); err != nil {
		level = slog.LevelWarn
	}
	opts := &slog.HandlerOptions{Level: level}
	if cfg.Log.JSON {
		return slog.New(slog.NewJSONHandler(p.err, opts))
	}
	return slog.New(slog.NewTextHandler(p.err, opts))
}

// open builds the application for a command.
func (p *program) open(c *cobra.Command) (*app.App, error) {
	cfg, err := p.config(c)
	if err != nil {
		return nil, err
	}
	return p.openWith(c, cfg)
}

func (p *program) openWith(c *cobra.Command, cfg config.Config) (*app.App, error) {
	now, err := p.clock()
	if err != nil {
		return nil, err
	}
	return app.Open(c.Context(), cfg, app.Options{Log: p.logger(cfg), Now: now})
}

// with opens the application, does something and closes it.
func (p *program) with(c *cobra.Command, do func(ctx context.Context, a *app.App) error) error {
	a, err := p.open(c)
	if err != nil {
		return err
	}
	return errors.Join(do(c.Context(), a), a.Close())
}
