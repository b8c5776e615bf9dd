package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
)

func (p *program) serveCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "serve", Short: "Run for real: chat, webhook, worker and cron, as --roles says", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				services := append(a.WorkerServices(), a.Retention())
				chat := a.SlackServices()
				services = append(services, chat...)
				web, listen, err := a.Webhook(ctx)
				if err != nil {
					return err
				}
				services = append(services, web...)
				figures, err := a.MetricsService(ctx)
				if err != nil {
					return err
				}
				services = append(services, figures...)
				fmt.Fprintf(p.err, "clogwise serves %v; webhook %s; chat %s\n", a.Cfg.Roles, orNone(listen), orNone(chatName(a, len(chat) > 0)))
				return app.Run(ctx, a.Log, services...)
			})
		},
	}
	c.Flags().StringSlice("roles", nil, "bot, worker, cron; default all")
	return c
}

func orNone(s string) string {
	if s == "" {
		return "off"
	}
	return s
}

func chatName(a *app.App, on bool) string {
	if on {
		return a.Platform()
	}
	return ""
}
