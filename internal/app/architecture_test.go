package app_test

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The import graph is compared with the table in DEVELOPERS.md, both ways: an
// import the table does not allow fails, and so does a line that allows what
// nobody imports any more.
func TestImportsFollowTheTable(t *testing.T) {
	root := filepath.Join("..", "..")
	allowed := tableOf(t, filepath.Join(root, "DEVELOPERS.md"))
	actual := importsOf(t, root)
	for pkg, imports := range actual {
		want, listed := allowed[pkg]
		if !listed {
			t.Errorf("package %s is not in the table of DEVELOPERS.md", pkg)
			continue
		}
		for _, imp := range imports {
			if !slices.Contains(want, imp) {
				t.Errorf("%s imports %s, which the table does not allow", pkg, imp)
			}
		}
		for _, imp := range want {
			if !slices.Contains(imports, imp) {
				t.Errorf("the table lets %s import %s, but it does not", pkg, imp)
			}
		}
	}
	for pkg := range allowed {
		if _, exists := actual[pkg]; !exists {
			t.Errorf("the table lists %s, which does not exist", pkg)
		}
	}
}

// impure are imports that the pure core must not have.
var impure = []string{"os", "net", "net/http", "log", "log/slog", "context", "database/sql", "os/exec", "syscall"}

// The pure core has no I/O, clock, context or logging.
func TestCoreIsPure(t *testing.T) {
	core := []string{
		"internal/units", "internal/plant", "internal/entry", "internal/phrase", "internal/resistance", "internal/forecast",
		"internal/energy", "internal/doubt", "internal/duelist", "internal/safework", "internal/digest", "internal/chart", "internal/assess",
		"internal/say", "internal/register", "internal/locale",
	}
	root := filepath.Join("..", "..")
	for _, pkg := range core {
		files, err := filepath.Glob(filepath.Join(root, pkg, "*.go"))
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: no files (%v)", pkg, err)
		}
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			for _, imp := range fileImports(t, name) {
				if slices.Contains(impure, imp) {
					t.Errorf("%s imports %s", name, imp)
				}
			}
			src, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			for _, call := range []string{"time.Now(", "time.Since(", "time.Until(", "time.Sleep("} {
				if strings.Contains(string(src), call) {
					t.Errorf("%s calls %s…)", name, call)
				}
			}
		}
	}
}

const module = "clogwise/"

// tableOf reads the fenced block "dependencies" of the guide: a package, an
// arrow, and what it may import.
func tableOf(t *testing.T, name string) map[string][]string {
	t.Helper()
	raw, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	_, after, ok := strings.Cut(string(raw), "```dependencies\n")
	block, _, closed := strings.Cut(after, "```")
	if !ok || !closed {
		t.Fatal("DEVELOPERS.md has no block ```dependencies")
	}
	out := map[string][]string{}
	for _, line := range strings.Split(strings.TrimSpace(block), "\n") {
		pkg, imports, _ := strings.Cut(line, "→")
		out[strings.TrimSpace(pkg)] = strings.Fields(imports)
	}
	return out
}

func importsOf(t *testing.T, root string) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	for _, top := range []string{"cmd", "bot", "worker", "internal", "configs"} {
		err := filepath.WalkDir(filepath.Join(root, top), func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
				return err
			}
			rel, err := filepath.Rel(root, filepath.Dir(name))
			if err != nil {
				return err
			}
			pkg := filepath.ToSlash(rel)
			if _, seen := out[pkg]; !seen {
				out[pkg] = nil
			}
			for _, imp := range fileImports(t, name) {
				if own, ok := strings.CutPrefix(imp, module); ok && !slices.Contains(out[pkg], own) {
					out[pkg] = append(out[pkg], path.Clean(own))
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return out
}

func fileImports(t *testing.T, name string) []string {
	t.Helper()
	f, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ImportsOnly)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, spec := range f.Imports {
		imp, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, imp)
	}
	return out
}
