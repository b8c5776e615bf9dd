// Package backtest measures forecasts on recorded lives. It is pure: it reads from
// an io.Reader and writes to an io.Writer, and given the same options it gives the
// same figures.
//
// The evaluation leaves one life out, lets every method learn from the others,
// cuts the life at shares of its length, thins it to a few gauge readings with
// stated noise and rounding, and scores the forecast of its end.
package backtest

import (
	"fmt"
	"io"
)

// File evaluates the loading model and the baselines on a CSV file of lives
// and writes the table: what the backtest command does.
func File(r io.Reader, opt Options, w io.Writer) error {
	runs, err := ReadRuns(r)
	if err != nil {
		return err
	}
	rep, err := Evaluate(runs, opt, Methods())
	if err != nil {
		return fmt.Errorf("backtest: %w", err)
	}
	return rep.Table(w)
}
