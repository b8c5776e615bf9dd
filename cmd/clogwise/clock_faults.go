//go:build faults

package main

import (
	"os"
	"path/filepath"
	"strings"
	"time"
)

// systemClock is the clock of this machine, moved by the duration that the file
// "clock" of CLOGWISE_FAULTS holds: only in builds for the tests of faults.
func systemClock() func() time.Time {
	file := filepath.Join(os.Getenv("CLOGWISE_FAULTS"), "clock")
	return func() time.Time {
		now := time.Now()
		raw, err := os.ReadFile(file)
		if err != nil {
			return now
		}
		step, err := time.ParseDuration(strings.TrimSpace(string(raw)))
		if err != nil {
			return now
		}
		return now.Add(step)
	}
}
