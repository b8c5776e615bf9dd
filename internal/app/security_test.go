package app_test

import (
	"bytes"
	"encoding/json"
	"io/fs"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"clogwise/internal/app"
	"clogwise/internal/channel"
	"clogwise/internal/config"
	"clogwise/internal/demo"
)

var testName = regexp.MustCompile(`\b(?:Test|Fuzz)[A-Z]\w*`)

// Each threat of DEVELOPERS.md names tests, and the tests it names are there.
func TestThreatsNameTheirTests(t *testing.T) {
	t.Parallel()
	root := filepath.Join("..", "..")
	raw, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, section, found := strings.Cut(string(raw), "\n## What it is guarded against\n")
	if !found {
		t.Fatal("DEVELOPERS.md has no such section")
	}
	section, _, _ = strings.Cut(section, "\n## ")
	there := testsUnder(t, root)
	rows := 0
	for line := range strings.Lines(section) {
		if !strings.HasPrefix(line, "| ") || strings.HasPrefix(line, "| threat ") {
			continue
		}
		rows++
		named := testName.FindAllString(line, -1)
		if len(named) == 0 {
			t.Errorf("no test in %q", line)
		}
		for _, n := range named {
			if !there[n] {
				t.Errorf("there is no test %s", n)
			}
		}
	}
	if rows < 10 {
		t.Errorf("%d threats; the table was not read", rows)
	}
}

func testsUnder(t *testing.T, root string) map[string]bool {
	t.Helper()
	declared := regexp.MustCompile(`(?m)^func ((?:Test|Fuzz)[A-Z]\w*)\(`)
	out := map[string]bool{}
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(name, "_test.go") {
			return err
		}
		src, err := os.ReadFile(name)
		for _, m := range declared.FindAllSubmatch(src, -1) {
			out[string(m[1])] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// What is built is what go.sum holds: nothing replaced, each module with both
// its checksums.
func TestDependenciesAreHeld(t *testing.T) {
	t.Parallel()
	root := filepath.Join("..", "..")
	cmd := exec.CommandContext(t.Context(), "go", "mod", "edit", "-json")
	cmd.Dir = root
	raw, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	var mod struct {
		Require          []struct{ Path, Version string }
		Replace, Exclude []any
	}
	if err := json.Unmarshal(raw, &mod); err != nil {
		t.Fatal(err)
	}
	sums, err := os.ReadFile(filepath.Join(root, "go.sum"))
	if err != nil {
		t.Fatal(err)
	}
	if len(mod.Replace)+len(mod.Exclude) > 0 || len(mod.Require) == 0 {
		t.Errorf("%d replaced, %d excluded, %d required", len(mod.Replace), len(mod.Exclude), len(mod.Require))
	}
	for _, r := range mod.Require {
		if line := r.Path + " " + r.Version + "/go.mod h1:"; !bytes.Contains(sums, []byte(line)) {
			t.Errorf("go.sum lacks %s", line)
		}
	}
}

// The log says which entries were recorded at which banks, and nothing of what
// was typed.
func TestLogsHoldIDsAndNoChatText(t *testing.T) {
	t.Parallel()
	var log bytes.Buffer
	cfg, err := config.Load("", nil)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	cfg.Data, cfg.Ledger = dir, filepath.Join(dir, "ledger.db")
	a, err := app.Open(t.Context(), cfg, app.Options{Log: slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	c := demo.Portfolio()
	if err := a.Fill(t.Context(), c, demo.History(c, present, 1)[:1], nil); err != nil {
		t.Fatal(err)
	}
	log.Reset()
	const private = "behind the yellow cupboard"
	for i, text := range []string{"AHU-1 pre 80 Pa", "AHU-1 skip: " + private, private, "AHU-1 bag " + private + " 12"} {
		id := "m" + string(rune('a'+i))
		m := channel.Message{Platform: "terminal", Team: "local", Channel: "clinic", ID: id, User: "Maren", UserName: "Maren", Text: text, At: a.Now(), Mention: true}
		if err := a.Engine.HandleMessage(t.Context(), m); err != nil {
			t.Fatal(err)
		}
	}
	text := log.String()
	for _, want := range []string{"msg=recorded", "banks=[clinic/ahu-1/primary]", "entries=["} {
		if !strings.Contains(text, want) {
			t.Errorf("the log lacks %q:\n%s", want, text)
		}
	}
	for _, secret := range []string{private, "cupboard", "80 Pa", "Maren"} {
		if strings.Contains(text, secret) {
			t.Errorf("the log has %q:\n%s", secret, text)
		}
	}
}
