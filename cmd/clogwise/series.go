package main

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"clogwise/internal/backtest"
)

func (p *program) backtestCommand() *cobra.Command {
	var o backtest.Options
	var axis string
	c := &cobra.Command{
		Use: "backtest FILE.csv", Short: "Measure the forecast on finished lives, against simple methods", Args: cobra.ExactArgs(1),
		Long: "Columns: run, pa, and seconds (or hours) or dust. Leaves one life out, cuts it at 30, 50, 70 and 85 % of its life, thins it to 5, 10 and 20 readings and forecasts the rest.",
		RunE: func(_ *cobra.Command, args []string) error {
			f, err := os.Open(args[0])
			if err != nil {
				return err
			}
			defer f.Close() //nolint:errcheck // read only
			runs, err := backtest.ReadRuns(f)
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			o.Axis = backtest.Axis(axis)
			report, err := backtest.Evaluate(runs, o, backtest.Methods())
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			if p.json {
				return p.printJSON(report)
			}
			_, err = fmt.Fprint(p.out, report)
			return err
		},
	}
	c.Flags().StringVar(&axis, "axis", "dust", "dust or time")
	c.Flags().Float64Var(&o.LimitPa, "limit-pa", 400, "resistance that ends a life, Pa")
	c.Flags().IntVar(&o.Seeds, "seeds", 3, "how often each cell is drawn")
	return c
}
