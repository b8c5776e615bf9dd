package main

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
)

func (p *program) statusCommand() *cobra.Command {
	return &cobra.Command{
		Use: "status", Short: "Say in a few lines whether all goes well: intake, forecasts, posts, chat, doubts, backup", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				s, err := a.Status(ctx)
				if err != nil {
					return err
				}
				if p.json {
					return p.printJSON(s)
				}
				for _, line := range statusLines(s) {
					fmt.Fprintln(p.out, line)
				}
				return nil
			})
		},
	}
}

// A backup older than this is called old, a wait longer than that is pointed out.
const (
	backupOld = 8 * 24 * time.Hour
	waitLong  = 5 * time.Minute
)

func statusLines(s app.Status) []string {
	mark := func(well bool) string {
		if well {
			return "well  "
		}
		return "LOOK  "
	}
	out := []string{
		fmt.Sprintf("%sIntake: %d entries in the last 24 hours, %d in all; the newest %s.", mark(s.Intake.Last24h > 0), s.Intake.Last24h, s.Intake.Total, ago(s.At, s.Intake.Newest)),
		mark(s.Behind.Oldest < waitLong) + waits("Forecasts", "up to date with every reading", s.Behind.Banks, "banks wait for a new forecast", s.Behind.Oldest),
		mark(s.Outbox.Oldest < waitLong) + waits("Posts", "all sent", s.Outbox.Posts, "wait to be sent", s.Outbox.Oldest),
	}
	if s.Parked > 0 {
		out = append(out, fmt.Sprintf("%sParked: %d failed too often. Type: clogwise parked list", mark(false), s.Parked))
	}
	if s.Queue != "" {
		out = append(out, mark(false)+"Queue: no answer; readings are taken, forecasts follow later. Type: clogwise doctor")
	}
	out = append(out, mark(s.ChatOK)+"Chat: "+s.Chat+".")
	for _, site := range slices.Sorted(maps.Keys(s.Digests)) {
		out = append(out, fmt.Sprintf("%sDigest of %s: last %s.", mark(!s.Digests[site].IsZero()), site, ago(s.At, s.Digests[site])))
	}
	out = append(out,
		fmt.Sprintf("%sBanks: %d, %d overdue, %d doubtful (readings that do not fit; clogwise due shows what to check).", mark(s.Doubtful == 0), s.Banks, s.Overdue, s.Doubtful),
		realisedLine(s),
		fmt.Sprintf("%sLedger: %.1f MB; last backup %s.%s", mark(backedUp(s)), float64(s.Bytes)/1e6, ago(s.At, s.Backup), backupHint(s)),
	)
	return out
}

func waits(what, none string, n int, of string, oldest time.Duration) string {
	if n == 0 {
		return what + ": " + none + "."
	}
	return fmt.Sprintf("%s: %d %s, the oldest for %s.", what, n, of, span(oldest))
}

func realisedLine(s app.Status) string {
	r := s.Realised
	if r.Count == 0 {
		return "      Forecasts against what happened: no change-out yet that had a forecast 30 days before."
	}
	return fmt.Sprintf("      Forecasts against what happened: of %d change-outs in a year, half were within %.0f days of the date given 30 days before; %.0f %% fell into the range given (80 %% should).",
		r.Count, r.MedianAbsDays, 100*r.InsideShare)
}

func backedUp(s app.Status) bool { return !s.Backup.IsZero() && s.At.Sub(s.Backup) < backupOld }

func backupHint(s app.Status) string {
	if backedUp(s) {
		return ""
	}
	return " Type: clogwise backup --into DIR"
}

func ago(now, t time.Time) string {
	if t.IsZero() {
		return "never"
	}
	return span(now.Sub(t)) + " ago"
}

// span is a duration as people say it.
func span(d time.Duration) string {
	switch d = max(d, 0); {
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", int(d.Seconds()))
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h", int(d.Hours()))
	}
	return fmt.Sprintf("%d days", int(d.Hours()/24))
}
