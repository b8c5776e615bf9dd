package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
)

func (p *program) doctorCommand() *cobra.Command {
	return &cobra.Command{
		Use: "doctor", Short: "Check configuration, ledger, queue and chat tokens, and say what to mend", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return p.doctor(c) },
	}
}

func (p *program) doctor(c *cobra.Command) error {
	checks := []app.Check{}
	cfg, err := p.config(c)
	if err != nil {
		checks = append(checks, app.Check{What: "configuration", Says: err.Error()})
	} else {
		checks = append(checks, app.Check{What: "configuration", OK: true, Says: "read; roles " + strings.Join(cfg.Roles, ", ")})
		a, err := p.openWith(c, cfg)
		if err != nil {
			checks = append(checks, app.Check{What: "ledger", Says: err.Error()})
		} else {
			checks = append(checks, a.Doctor(c.Context())...)
			if err := a.Close(); err != nil {
				return err
			}
		}
	}
	well := true
	for _, k := range checks {
		well = well && k.OK
		if err := p.printCheck(k); err != nil {
			return err
		}
	}
	if !well {
		return errors.New("not well: mend what is marked above and run doctor again")
	}
	return nil
}

func (p *program) printCheck(k app.Check) error {
	if p.json {
		return p.printJSON(k)
	}
	mark := "well"
	if !k.OK {
		mark = "MEND"
	}
	_, err := fmt.Fprintf(p.out, "%s  %s: %s\n", mark, k.What, k.Says)
	return err
}
