package main

import (
	"bytes"
	"context"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden files anew")

// clogwise runs the program as main does, on a folder of the test's own.
func clogwise(t *testing.T, in string, args ...string) (out, errs string, err error) {
	t.Helper()
	var o, e bytes.Buffer
	p := &program{in: strings.NewReader(in), out: &o, err: &e}
	err = p.run(context.Background(), args)
	return o.String(), e.String(), err
}

// present is the moment the transcripts are played at: a Wednesday in winter.
const present = "2026-11-25T10:00:00Z"

// golden compares with a file under testdata, or writes it with -update.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "transcripts", name)
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("%s differs (-want +got); if the new one reads better, go test ./cmd/clogwise -update\n%s", name, d)
	}
}

// masked takes the test's own folder out of what is printed.
func masked(dir, s string) string {
	s = strings.ReplaceAll(s, dir, "DATA")
	return regexp.MustCompile(`127\.0\.0\.1:\d+`).ReplaceAllString(s, "127.0.0.1:8086")
}

// Each file testdata/transcripts/*.say is typed into the demo's channel; what
// is printed is compared with the .txt beside it. Lines beginning with # are
// comments; the first line says who types where: "# Ines at clinic".
func TestTranscripts(t *testing.T) {
	scripts, err := filepath.Glob(filepath.Join("..", "..", "testdata", "transcripts", "*.say"))
	if err != nil || len(scripts) == 0 {
		t.Fatalf("no transcripts: %v", err)
	}
	for _, script := range scripts {
		name := strings.TrimSuffix(filepath.Base(script), ".say")
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			raw, err := os.ReadFile(script)
			if err != nil {
				t.Fatal(err)
			}
			var lines []string
			args := []string{"demo", "--now", present, "--http-listen", "127.0.0.1:0"}
			for i, line := range strings.Split(string(raw), "\n") {
				if who, where, ok := strings.Cut(strings.TrimPrefix(line, "# "), " at "); i == 0 && ok {
					args = append(args, "--as", who, "--site", where)
				}
				if !strings.HasPrefix(line, "#") {
					lines = append(lines, line)
				}
			}
			dir := t.TempDir()
			out, errs, err := clogwise(t, strings.Join(lines, "\n"), append(args, "--data", dir)...)
			if err != nil {
				t.Fatalf("%v\n%s", err, errs)
			}
			golden(t, name+".txt", masked(dir, out))
		})
	}
}

// What the README shows as a session is what the program prints.
func TestReadmeShowsARealSession(t *testing.T) {
	readme, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	session, err := os.ReadFile(filepath.Join("..", "..", "testdata", "transcripts", "dozen.txt"))
	if err != nil {
		t.Fatal(err)
	}
	_, after, ok := strings.Cut(string(readme), "```text\n")
	block, _, closed := strings.Cut(after, "```")
	if !ok || !closed || len(block) < 500 {
		t.Fatal("the README has no session")
	}
	for _, turn := range regexp.MustCompile(`(?m)^> `).Split(strings.TrimSpace(block), -1)[1:] {
		if !strings.Contains(string(session), "> "+strings.TrimSpace(turn)) {
			t.Errorf("the README shows what the program does not print:\n> %s", turn)
		}
	}
}
