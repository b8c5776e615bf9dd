package main

import (
	"context"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
	"clogwise/internal/plant"
)

func (p *program) chatCommand() *cobra.Command {
	var as, site string
	c := &cobra.Command{
		Use:   "chat",
		Short: "Talk in the local team channel, by keyboard or from a pipe",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				t, err := p.talk(ctx, a, as, site)
				if err != nil {
					return err
				}
				return a.Talk(ctx, t)
			})
		},
	}
	c.Flags().StringVar(&as, "as", "", "who is typing; default: the site's first supervisor")
	c.Flags().StringVar(&site, "site", "", "site whose channel is typed into; default: the first")
	return c
}

// talk chooses the channel and the person of a local talk.
func (p *program) talk(ctx context.Context, a *app.App, as, site string) (app.Talk, error) {
	reg, err := a.View.Register(ctx)
	if err != nil {
		return app.Talk{}, err
	}
	sites := reg.Sites()
	if len(sites) == 0 {
		return app.Talk{}, fmt.Errorf("no site in the register of %s; import one with: clogwise import FILE, or try: clogwise demo", a.Cfg.Data)
	}
	chosen := sites[0]
	var names []string
	found := site == ""
	for _, s := range sites {
		names = append(names, s.ID)
		if isSite(s, site) {
			chosen, found = s, true
		}
	}
	if !found {
		return app.Talk{}, fmt.Errorf("no site %q; there are %s", site, strings.Join(names, ", "))
	}
	t := app.Talk{In: p.in, Out: p.out, JSON: p.json, Prompt: p.interactive(), Channel: chosen.Channel, As: as}
	if t.As == "" && len(chosen.Supervisors) > 0 {
		t.As = chosen.Supervisors[0]
	}
	for _, s := range sites {
		t.Channels = append(t.Channels, s.Channel)
	}
	return t, nil
}

func isSite(s plant.Site, name string) bool {
	return name != "" && (strings.EqualFold(s.ID, name) || strings.EqualFold(s.Name, name) || strings.EqualFold(s.Channel, name))
}

// interactive reports whether a person types: then there is a prompt.
func (p *program) interactive() bool {
	f, ok := p.in.(*os.File)
	if !ok {
		return false
	}
	st, err := f.Stat()
	return err == nil && st.Mode()&os.ModeCharDevice != 0
}
