package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// From the demo's ledger to a backup, a rehearsal, a damaged copy and a restore.
func TestBackupAndRestore(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	data, into := filepath.Join(dir, "data"), filepath.Join(dir, "backups")
	must := func(args ...string) string {
		t.Helper()
		out, errs, err := clogwise(t, "", args...)
		if err != nil {
			t.Fatalf("%v: %v\n%s%s", args, err, out, errs)
		}
		return out
	}
	if _, errs, err := clogwise(t, "", "demo", "--data", data, "--now", present, "--http-listen", "127.0.0.1:0"); err != nil {
		t.Fatal(err, errs)
	}

	// Copies of three moments; two stay, and what is not a copy stays as well.
	if err := os.MkdirAll(into, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(into, "clogwise-notes.db"), []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, now := range []string{"2026-11-25T10:00:00Z", "2026-11-25T11:00:00Z", "2026-11-25T12:00:00Z"} {
		must("backup", "--into", into, "--keep", "2", "--data", data, "--now", now)
	}
	left, err := filepath.Glob(filepath.Join(into, "*"))
	if err != nil {
		t.Fatal(err)
	}
	want := "clogwise-20261125T110000Z.db clogwise-20261125T120000Z.db clogwise-notes.db"
	var names []string
	for _, f := range left {
		names = append(names, filepath.Base(f))
	}
	if got := strings.Join(names, " "); got != want {
		t.Errorf("the folder holds %s, want %s", got, want)
	}

	newest := left[1]
	if out := must("restore", newest, "--rehearse", "--now", present); !strings.Contains(out, "32 banks' forecasts") { // the demo has 32
		t.Errorf("rehearsal: %s", out)
	}
	raw, err := os.ReadFile(newest)
	if err != nil {
		t.Fatal(err)
	}
	damaged := filepath.Join(dir, "damaged.db")
	for i := len(raw) / 2; i < len(raw)/2+64<<10 && i < len(raw); i++ {
		raw[i] ^= 0x5a
	}
	if err := os.WriteFile(damaged, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, _, err := clogwise(t, "", "restore", damaged, "--rehearse", "--now", present); err == nil {
		t.Errorf("a damaged backup passes: %s", out)
	}

	back := filepath.Join(dir, "back")
	must("restore", newest, "--data", back)
	if a, b := must("due", "--data", data, "--now", present), must("due", "--data", back, "--now", present); a != b {
		t.Errorf("the due list differs after a restore:\n%s\n%s", a, b)
	}
	if out, _, err := clogwise(t, "", "restore", newest, "--data", back); err == nil {
		t.Errorf("restored over a ledger in use: %s", out)
	}
}
