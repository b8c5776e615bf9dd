package main

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"clogwise/internal/backtest"
	"clogwise/internal/series"
)

func (p *program) forecastCommand() *cobra.Command {
	var o series.Options
	c := &cobra.Command{
		Use: "forecast FILE.csv", Short: "Forecast one filter life from a file, without a ledger; prints JSON", Args: cobra.ExactArgs(1),
		Long: "Columns: hours (run hours since the change-out) or time, pa, and optionally flow_m3s or fan_pct.",
		RunE: func(_ *cobra.Command, args []string) error {
			f, err := os.Open(args[0])
			if err != nil {
				return err
			}
			defer f.Close() //nolint:errcheck // read only
			now, err := p.clock()
			if err != nil {
				return err
			}
			o.Now = now()
			out, err := series.Of(f, o)
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			return p.printJSON(out)
		},
	}
	f := c.Flags()
	f.Float64Var(&o.CleanPa, "clean-pa", 0, "clean resistance at design airflow, Pa")
	f.Float64Var(&o.LimitPa, "limit-pa", 0, "final resistance, Pa; default: usual for the stage")
	f.Float64Var(&o.DesignFlowM3s, "design-flow", 0, "design airflow, m³/s")
	f.StringVar(&o.Stage, "stage", "secondary", "primary, secondary, third or return")
	f.Float64Var(&o.HoursPerDay, "hours-per-day", 24, "run hours a day, for a time column")
	return c
}

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
			for _, v := range []*float64{&o.Noise, &o.StepPa} {
				if *v == 0 {
					*v = -1 // none, where 0 stands for the usual
				}
			}
			report, err := backtest.Evaluate(runs, o, backtest.Methods())
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			if p.json {
				return p.printJSON(report)
			}
			return report.Table(p.out)
		},
	}
	c.Flags().StringVar(&axis, "axis", "", "dust or time; default: dust where the file has it")
	c.Flags().Float64Var(&o.LimitPa, "limit-pa", 400, "resistance that ends a life, Pa")
	c.Flags().IntVar(&o.Seeds, "seeds", 5, "how often each cell is drawn")
	c.Flags().Float64Var(&o.Noise, "noise", 0.05, "relative standard deviation added to each reading; 0: none")
	c.Flags().Float64Var(&o.StepPa, "step-pa", 5, "rounding of each reading, Pa; 0: none")
	return c
}
