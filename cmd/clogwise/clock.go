//go:build !faults

package main

import "time"

// systemClock is the clock of this machine.
func systemClock() func() time.Time { return time.Now }
