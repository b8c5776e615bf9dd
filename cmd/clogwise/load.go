package main

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"clogwise/bot/webhook/load"
)

func (p *program) loadCommand() *cobra.Command {
	plan := load.Plan{}
	var secretFile string
	var try trialFlags
	c := &cobra.Command{
		Use: "load", Short: "Drive an intake on this machine with signed, invented readings and count what became of them", Args: cobra.NoArgs,
		Long: "Sends invented readings, marked suspect so that they move no forecast, to an intake on 127.0.0.1 and counts afterwards\n" +
			"that each is in the ledger once. Entries are for good: use a data folder made for the trial, and raise\n" +
			"http.rate_per_second and http.burst there. The secret comes from CLOGWISE_SECRET or --secret-file.",
		RunE: func(c *cobra.Command, _ []string) error {
			if try.trends.on {
				return p.trends(c, plan, try)
			}
			if try.on {
				return p.trial(c, plan, try)
			}
			var err error
			if plan.Secret, err = readSecret(secretFile); err != nil {
				return err
			}
			rep, err := load.Run(c.Context(), plan)
			if err != nil {
				return err
			}
			if err := p.showLoad(rep); err != nil {
				return err
			}
			return sound(rep)
		},
	}
	f := c.Flags()
	f.StringVar(&plan.URL, "url", "http://127.0.0.1:8086", "of the intake; this machine alone")
	f.StringVar(&secretFile, "secret-file", "", "file that holds the secret and nothing else")
	f.StringSliceVar(&plan.Banks, "banks", nil, "site/ahu/bank, several parted by commas; default: all that the intake lists")
	f.IntVar(&plan.Requests, "requests", 1000, "at most so many")
	f.IntVar(&plan.Batch, "batch", 100, "readings a request")
	f.IntVar(&plan.Parallel, "parallel", 8, "senders")
	f.DurationVar(&plan.For, "for", 10*time.Second, "at most so long")
	f.Float64Var(&plan.PerSecond, "per-second", 0, "requests a second at most; 0: as fast as they are answered")
	f.IntVar(&plan.Resend, "resend", 50, "requests sent again afterwards, to be known as duplicates")
	f.IntVar(&plan.Follow, "follow", 2, "readings followed at a time until the forecast of their bank covers them; 0: none")
	f.BoolVar(&try.on, "trial", false, "build an installation for the purpose in a folder of its own, drive it, and measure its parts by themselves")
	f.IntVar(&try.banks, "trial-banks", 5000, "invented banks of the trial")
	f.DurationVar(&try.parts, "trial-parts", 5*time.Second, "how long each part is measured by itself; 0: not at all")
	try.trends.define(f)
	f.StringVar(&try.profile, "trial-profile", "", "file to write the processor profile of the driven time to")
	return c
}

func sound(r load.Report) error {
	if !r.Sound() {
		return errors.New("not every reading is in the ledger once")
	}
	return nil
}

func readSecret(file string) (string, error) {
	if file == "" {
		if s := os.Getenv("CLOGWISE_SECRET"); s != "" {
			return s, nil
		}
		return "", errors.New("no secret: set CLOGWISE_SECRET or --secret-file to what clogwise key new printed")
	}
	raw, err := os.ReadFile(file)
	return strings.TrimSpace(string(raw)), err
}

func (p *program) showLoad(r load.Report) error {
	if p.json {
		return p.printJSON(r)
	}
	_, err := fmt.Fprintf(p.out, "%d requests, %d readings in %.1f s: %.0f requests/s, %.0f readings/s.\n"+
		"Answers: median %.1f ms, 95%% %.1f ms, 99%% %.1f ms, slowest %.1f ms. Turned away %d times, %d failed, %d readings refused.\n"+
		"%d entries, %d doubled; of %d requests resent, %d readings not known. The ledger grew by %d.\n%s",
		r.Requests, r.Readings, r.Seconds, r.RequestsPerSec, r.ReadingsPerSec, r.P50Ms, r.P95Ms, r.P99Ms, r.MaxMs,
		r.TurnedAway, r.Failed, r.Refused, r.Entries, r.Doubled, r.Resent, r.Forgotten, r.LedgerEntries, lagOf(r))
	return err
}

func lagOf(r load.Report) string {
	if r.Followed == 0 {
		return ""
	}
	return fmt.Sprintf("From the answer to the forecast: median %.0f ms, 95%% %.0f ms, slowest %.0f ms, of %d readings followed; %d given up after a minute.\n",
		r.LagP50Ms, r.LagP95Ms, r.LagMaxMs, r.Followed, r.Unfollowed)
}
