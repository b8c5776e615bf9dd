package main

import (
	"errors"
	"fmt"
	"math"
	"os"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"clogwise/bot/webhook/load"
	"clogwise/internal/trial"
)

type trendFlags struct {
	on            bool
	days, history int
	speed         float64
	growth        bool
}

func (f *trendFlags) define(on *pflag.FlagSet) {
	on.BoolVar(&f.on, "trends", false, "with --trial: values of each bank every 15 minutes of a faster clock, thinned to one reading a day and forecast from")
	on.IntVar(&f.days, "days", 7, "of --trends")
	on.IntVar(&f.history, "history-days", 30, "of one reading each before them")
	on.Float64Var(&f.speed, "speed", 100, "of the clock of --trends; where it cannot be held simulated time waits")
	on.BoolVar(&f.growth, "growth", false, "do --trends with a quarter and half of the banks first, and tell how costs grow")
}

// trends drives installations of their own by a faster clock and removes them
// afterwards.
func (p *program) trends(c *cobra.Command, plan load.Plan, f trialFlags) (err error) {
	cfg, err := p.config(c)
	if err != nil {
		return err
	}
	if f.profile != "" {
		stop, perr := profileTo(f.profile)
		if perr != nil {
			return perr
		}
		defer func() { err = errors.Join(err, stop()) }()
	}
	sizes := []int{f.banks}
	if f.trends.growth {
		sizes = []int{max(f.banks/4, 1), max(f.banks/2, 1), f.banks}
	}
	var all []trial.TrendReport
	for _, banks := range sizes {
		o := trial.Trends{
			Redis: cfg.Redis, Banks: banks, Days: f.trends.days, History: f.trends.history, Speed: f.trends.speed,
			Batch: plan.Batch, Parallel: plan.Parallel, Worker: cfg.Worker, Log: p.logger(cfg),
		}
		if !p.json {
			fmt.Fprintf(p.out, "%d banks, %d days at %g times the clock's speed, after %d days of history:\n", banks, o.Days, o.Speed, o.History)
			o.Tell = p.showTrendDay
		}
		rep, err := trendsIn(c, o)
		if err != nil {
			return err
		}
		all = append(all, rep)
		if err := p.showTrends(rep); err != nil {
			return err
		}
		if !rep.Sound() {
			return errors.New("not every value is in the ledger once, or not every day of every bank has its reading and forecast")
		}
	}
	if p.json {
		return nil
	}
	return p.showGrowth(all)
}

func trendsIn(c *cobra.Command, o trial.Trends) (rep trial.TrendReport, err error) {
	if o.Dir, err = os.MkdirTemp("", "clogwise-trial-"); err != nil {
		return rep, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(o.Dir)) }()
	return trial.RunTrends(c.Context(), o)
}

func (p *program) showTrendDay(d trial.TrendDay) {
	fmt.Fprintf(p.out, "Day %d: %d values in %.1f s, %.0f values/s%s. Answers: median %.1f ms, 99%% %.1f ms. From the day's end to its last forecast %.1f s.\n"+
		"  Processor %.1f s, memory %s (heap %s), ledger %s with %d entries: %.0f bytes a value, %.0f a reading with its values.\n",
		d.Day, d.Values, d.Seconds, d.PerSecond, behind(d.BehindS), d.P50Ms, d.P99Ms, d.LagS,
		d.CPUS, megabytes(float64(d.RSS)), megabytes(float64(d.Heap)), megabytes(float64(d.Ledger)), d.Entries, d.PerValue, d.PerReading)
}

func behind(seconds float64) string {
	if seconds < 0.05 {
		return ""
	}
	return fmt.Sprintf(", %.1f s behind", seconds)
}

func megabytes(bytes float64) string { return fmt.Sprintf("%.0f MB", bytes/1e6) }

func (p *program) showTrends(r trial.TrendReport) error {
	if p.json {
		return p.printJSON(r)
	}
	held := fmt.Sprintf("the clock ran %.0f times as fast, as asked", r.Reached)
	if r.Reached < 0.99*r.Speed {
		held = fmt.Sprintf("the clock ran only %.0f times as fast, %.0f s behind", r.Reached, r.BehindS)
	}
	_, err := fmt.Fprintf(p.out, "%d values sent, %d recorded, %d in the ledger, %d refused, %d requests sent again; %d readings made, %d missing, %d of other than a day's values, %d banks without their last forecast; %s.\n",
		r.Values, r.Recorded, r.Kept, r.Refused, r.Again, r.Readings, r.Missing, r.Uneven, r.Lagging, held)
	return err
}

// showGrowth tells how costs grow with days and with banks, as the power of the
// number that they go with: 1 is linear, less is better.
func (p *program) showGrowth(all []trial.TrendReport) error {
	for _, r := range all {
		// The first day has set-up in it, the last nothing after it that it shares the processors with.
		if n := len(r.Days); n > 2 {
			a, b := r.Days[1], r.Days[n-1]
			fmt.Fprintf(p.out, "%d banks, day %d against day 2: processor time %.2f times, memory %.2f, bytes a value %.2f, lag %.2f.\n",
				r.Banks, b.Day, b.CPUS/a.CPUS, float64(b.RSS)/float64(a.RSS), b.PerValue/a.PerValue, b.LagS/a.LagS)
		}
	}
	for i := 1; i < len(all); i++ {
		a, b := all[i-1], all[i]
		power := func(of func(trial.TrendReport) float64) float64 {
			return math.Log(of(b)/of(a)) / math.Log(float64(b.Banks)/float64(a.Banks))
		}
		fmt.Fprintf(p.out, "From %d to %d banks: processor time grew as banks^%.2f (%.0f to %.0f µs a value), memory as banks^%.2f (%s to %s), the ledger as banks^%.2f (%.0f to %.0f bytes a value), lag as banks^%.2f.\n",
			a.Banks, b.Banks, power(processor), processor(a)/float64(a.Values)*1e6, processor(b)/float64(b.Values)*1e6,
			power(memory), megabytes(memory(a)), megabytes(memory(b)), power(stored), last(a).PerValue, last(b).PerValue,
			power(func(r trial.TrendReport) float64 { return last(r).LagS }))
	}
	return nil
}

func last(r trial.TrendReport) trial.TrendDay { return r.Days[len(r.Days)-1] }

func processor(r trial.TrendReport) (seconds float64) {
	for _, d := range r.Days {
		seconds += d.CPUS
	}
	return seconds
}

func memory(r trial.TrendReport) (bytes float64) {
	for _, d := range r.Days {
		bytes = max(bytes, float64(d.RSS))
	}
	return bytes
}

func stored(r trial.TrendReport) float64 { return float64(last(r).Ledger) }
