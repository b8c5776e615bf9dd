package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A history with other headers shows its guesses first and is read when they are
// confirmed, or put right.
func TestImportByGuess(t *testing.T) {
	dir := t.TempDir()
	if out, err := inFolder(t, dir, "import", "../../configs/demo/clinic.yaml", "--save"); err != nil {
		t.Fatal(out, err)
	}
	file := filepath.Join(t.TempDir(), "rounds.csv")
	if err := os.WriteFile(file, []byte("Measured at,Equipment,Filter stage,Filter DP (in wc),Weather\n2026-11-20 08:00,AHU-3,secondary,0.5,fine\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := inFolder(t, dir, "import", "--readings", file, "--save")
	if err == nil || !strings.Contains(err.Error(), "--guess takes them") || !strings.Contains(out, `column "Filter DP (in wc)" is value in inH2O (first: 0.5)`) || !strings.Contains(out, `column "Weather" ?`) {
		t.Fatalf("%s %v", out, err)
	}
	if out, err := inFolder(t, dir, "import", "--readings", file, "--guess"); err == nil || !strings.Contains(out, "Weather") {
		t.Errorf("a column that is nothing is passed over: %s %v", out, err)
	}
	if out, err := inFolder(t, dir, "import", "--readings", file, "--guess", "--columns", "Weather=note", "--save"); err != nil || !strings.Contains(out, "1 recorded") {
		t.Errorf("%s %v", out, err)
	}
	if _, err := inFolder(t, dir, "import", "--readings", file, "--columns", "Weather"); err == nil || !strings.Contains(err.Error(), "is not HEADER=COLUMN") {
		t.Errorf("%v", err)
	}
}
