package main

import (
	"context"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/pointbook"
	"clogwise/internal/points"
	"clogwise/internal/units"
)

func (p *program) pointsCommand() *cobra.Command {
	c := &cobra.Command{Use: "points", Short: "Points of building systems: what they measure, and values kept aside until somebody says so"}
	c.AddCommand(
		&cobra.Command{Use: "list", Short: "Mapped points", Args: cobra.NoArgs, RunE: func(c *cobra.Command, _ []string) error {
			return p.with(c, p.listPoints)
		}},
		&cobra.Command{Use: "unknown", Short: "Points nobody has mapped, with what was kept of them", Args: cobra.NoArgs, RunE: func(c *cobra.Command, _ []string) error {
			return p.with(c, p.unknownPoints)
		}},
		p.mapPointCommand(),
		&cobra.Command{Use: "unmap NAME", Short: "Take a mapping away; what was recorded by it stays", Args: cobra.ExactArgs(1), RunE: func(c *cobra.Command, args []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				if _, err := book(a).Assign(ctx, "", entry.Point{Name: args[0], Removed: true}, "command", a.Now()); err != nil {
					return err
				}
				return p.done("Point %s is not mapped any more; its values are kept aside from now on.", args[0])
			})
		}},
		p.importPointsCommand(),
	)
	return c
}

func book(a *app.App) *pointbook.Book { return &pointbook.Book{Store: a.Store, View: a.View} }

func (p *program) mapPointCommand() *cobra.Command {
	pt := entry.Point{}
	c := &cobra.Command{
		Use: "map NAME PLACE", Short: "Say what a point measures: SITE/AHU/BANK of a pressure, SITE/AHU of the rest; kept values are brought in", Args: cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			pt.Name = args[0]
			return p.with(c, func(ctx context.Context, a *app.App) error {
				n, err := book(a).Assign(ctx, plant.BankID(args[1]), pt, "command", a.Now())
				if err != nil {
					return err
				}
				return p.done("Point %s is %s of %s. %d kept values brought in.", pt.Name, pt.Quantity, args[1], n)
			})
		},
	}
	c.Flags().StringVar(&pt.Quantity, "quantity", string(points.Pressure), "pressure, airflow, fan-hz, fan-pct, run-hours or run-status")
	c.Flags().StringVar(&pt.Unit, "unit", "", "of its values, when they come without: Pa, inH2O, m3/h, cfm, …")
	c.Flags().Float64Var(&pt.Scale, "scale", 0, "factor on its values, before the unit; 0: none")
	c.Flags().Float64Var(&pt.Offset, "offset", 0, "added after the factor")
	c.Flags().BoolVar(&pt.Trend, "trend", false, "values every few minutes: one reading a day is made of those with the fan running steadily")
	c.Flags().IntVar(&pt.KeepDays, "keep-days", 0, "of a trend: let its values go after so many days, 35 or more; 0: keep them for good")
	return c
}

func (p *program) listPoints(ctx context.Context, a *app.App) error {
	_, known, err := book(a).Map(ctx)
	if err != nil {
		return err
	}
	for _, m := range known.All() {
		if p.json {
			if err := p.printJSON(m); err != nil {
				return err
			}
			continue
		}
		fmt.Fprintf(p.out, "%s  %s  %s%s\n", m.Name, m.Place, m.Quantity, scaleOf(m.Point))
	}
	return nil
}

func scaleOf(p entry.Point) string {
	out := ""
	if p.Unit != "" {
		out += " in " + p.Unit
	}
	if p.Scale != 0 && p.Scale != 1 {
		out += fmt.Sprintf(" × %g", p.Scale)
	}
	if p.Offset != 0 {
		out += fmt.Sprintf(" %+g", p.Offset)
	}
	if p.Trend {
		out += ", a trend"
	}
	return out
}

func (p *program) unknownPoints(ctx context.Context, a *app.App) error {
	all, err := book(a).Unknown(ctx)
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return p.done("No values are kept aside: every point that sent any is mapped.")
	}
	for _, u := range all {
		if p.json {
			if err := p.printJSON(u); err != nil {
				return err
			}
			continue
		}
		fmt.Fprintf(p.out, "%s: %d values from %s, %s to %s, last %s; %s\n", u.Point, u.Count, u.By,
			u.First.UTC().Format("2006-01-02 15:04"), u.Last.UTC().Format("2006-01-02 15:04"), lastValue(u), u.Why)
	}
	if !p.json {
		fmt.Fprintln(p.out, "Say what one is: clogwise points map NAME PLACE --quantity … --unit …")
	}
	return nil
}

// lastValue is a point's last value; a pressure in both unit systems.
func lastValue(u pointbook.Unknown) string {
	if u.Value == nil {
		return "none"
	}
	if pu, ok := units.ParsePressureUnit(u.Unit); ok {
		pa := pu.ToPa(*u.Value)
		return units.Pressure(pa, units.SI)
	}
	return strings.TrimSpace(fmt.Sprintf("%g %s", *u.Value, u.Unit))
}

func (p *program) importPointsCommand() *cobra.Command {
	var save bool
	var site string
	c := &cobra.Command{
		Use: "import FILE…", Short: "Read points with Brick or Project Haystack tags (CSV, JSON, Turtle); shows its guesses, --save records those that are certain", Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error { return p.importPoints(ctx, a, args, site, save) })
		},
	}
	c.Flags().StringVar(&site, "site", "", "whose points these are, where other sites have AHUs of the same tags")
	c.Flags().BoolVar(&save, "save", false, "record the guesses that name a place and a quantity; without this flag they are only shown")
	return c
}

func (p *program) importPoints(ctx context.Context, a *app.App, files []string, site string, save bool) error {
	reg, known, err := book(a).Map(ctx)
	if err != nil {
		return err
	}
	if reg, err = registerOf(reg, site); err != nil {
		return err
	}
	saved, open := 0, 0
	for _, name := range files {
		raw, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		tagged, err := points.ReadTagged(name, raw)
		if err != nil {
			return err
		}
		for _, t := range tagged {
			g := points.Guessed(reg, t)
			if err := p.showGuess(g, known); err != nil {
				return err
			}
			if g.Why != "" {
				open++
				continue
			}
			saved++
			if save {
				if _, err := book(a).Assign(ctx, g.Place, g.Point, "import", a.Now()); err != nil {
					return err
				}
			}
		}
	}
	if !save {
		return p.done("%d points understood, %d not. Nothing saved: add --save to record those understood, clogwise points map for the rest.", saved, open)
	}
	return p.done("%d points recorded, %d left: say what they are with clogwise points map.", saved, open)
}

// registerOf is the register of one site; of all where none is named.
func registerOf(reg *plant.Register, site string) (*plant.Register, error) {
	if site == "" {
		return reg, nil
	}
	if _, ok := reg.Site(site); !ok {
		return nil, fmt.Errorf("no site %q in the register", site)
	}
	c := reg.Contents()
	c.Sites = slices.DeleteFunc(slices.Clone(c.Sites), func(s plant.Site) bool { return s.ID != site })
	c.AHUs, c.Banks = maps.Clone(c.AHUs), maps.Clone(c.Banks)
	maps.DeleteFunc(c.AHUs, func(id plant.BankID, _ plant.AHU) bool { return id.Site() != site })
	maps.DeleteFunc(c.Banks, func(id plant.BankID, _ plant.Bank) bool { return id.Site() != site })
	return plant.NewRegister(c), nil
}

func (p *program) showGuess(g points.Guess, known points.Map) error {
	if p.json {
		return p.printJSON(g)
	}
	was := ""
	if m, ok := known.Find(g.Name); ok && (m.Place != g.Place || m.Quantity != g.Quantity) {
		was = fmt.Sprintf(" (now %s of %s)", m.Quantity, m.Place)
	}
	text := fmt.Sprintf("%s of %s%s%s", g.Quantity, g.Place, scaleOf(g.Point), was)
	if g.Why != "" {
		text = "? " + g.Why
	}
	_, err := fmt.Fprintf(p.out, "%s: %s\n", g.Name, text)
	return err
}
