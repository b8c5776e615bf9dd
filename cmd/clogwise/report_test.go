package main

import (
	"os"
	"strings"
	"testing"
)

// A report on a folder without a ledger says so and leaves nothing behind.
func TestReportsLeaveNothingBehind(t *testing.T) {
	for _, report := range [][]string{{"due"}, {"digest"}, {"chart", "AHU-3"}} {
		dir := t.TempDir()
		_, _, err := clogwise(t, "", append(report, "--data", dir)...)
		if err == nil || !strings.Contains(err.Error(), "clogwise import FILE") {
			t.Errorf("%s: %v, want what to type", report[0], err)
		}
		left, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range left {
			t.Errorf("%s left %s behind", report[0], f.Name())
		}
	}
}
