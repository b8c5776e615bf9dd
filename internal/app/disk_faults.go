//go:build faults

package app

import (
	"os"
	"path/filepath"
	"strings"
	"time"
)

// beforeCommit makes the disk as slow as the file "disk" of CLOGWISE_FAULTS says:
// only in builds for the tests of faults.
var beforeCommit = func(int) {
	raw, err := os.ReadFile(filepath.Join(os.Getenv("CLOGWISE_FAULTS"), "disk"))
	if err != nil {
		return
	}
	if d, err := time.ParseDuration(strings.TrimSpace(string(raw))); err == nil {
		time.Sleep(d)
	}
}
