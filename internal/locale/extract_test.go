package locale_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"clogwise/configs"
	"clogwise/internal/safework"
)

// source is a text found in the program.
type source struct {
	one, many string   // many is empty but for counts
	places    []string // files that say it
}

// extract reads every text that the program says through a Locale: literal
// arguments of Text, Say, Count and Mark in files that are no tests.
func extract(t *testing.T) map[string]source {
	t.Helper()
	out := map[string]source{}
	root := filepath.Join("..", "..")
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (strings.HasPrefix(d.Name(), ".") && d.Name() != ".." || d.Name() == "testdata"):
			return fs.SkipDir
		case d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go"):
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		if slices.Contains(told, filepath.ToSlash(rel)) {
			retold(file, func(text string) {
				s := out[text]
				s.one, s.places = text, append(s.places, filepath.ToSlash(rel))
				slices.Sort(s.places)
				s.places = slices.Compact(s.places)
				out[text] = s
			})
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if one, many, ok := said(n); ok {
				s := out[one]
				if s.many != "" && many != "" && s.many != many {
					t.Errorf("%s: %q has two plurals, %q and %q", rel, one, s.many, many)
				}
				if many == "" {
					many = s.many
				}
				places := append(s.places, filepath.ToSlash(rel))
				slices.Sort(places)
				out[one] = source{one: one, many: many, places: slices.Compact(places)}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	steps, err := safework.Load(configs.SafeWorkSteps)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range steps.Steps() {
		out[s.Text] = source{one: s.Text, places: []string{"configs/safe-work-steps.json"}}
	}
	return out
}

// told are the files of the core whose words people see through Locale.Retell: every
// literal of several words in them is a text of the catalogue.
var told = []string{
	"internal/assess/weigh.go", "internal/assess/energy.go", "internal/assess/bank.go", "internal/assess/dates.go",
	"internal/duelist/day.go", "internal/duelist/problem.go", "internal/duelist/visits.go",
	"internal/energy/change.go", "internal/energy/compare.go", "internal/energy/duty.go", "internal/energy/efficiency.go",
	"internal/energy/leastcost.go", "internal/energy/motor.go", "internal/energy/price.go", "internal/energy/speedheld.go",
	"internal/resistance/bank.go", "internal/resistance/class.go", "internal/resistance/correct.go",
	"internal/resistance/exponent.go", "internal/resistance/fan.go", "internal/resistance/law.go",
	"internal/resistance/limit.go", "internal/resistance/meets.go",
	"internal/plant/schedule.go", "internal/units/money.go",
	"internal/registerfile/clock.go", "internal/registerfile/codec.go", "internal/registerfile/csv.go",
	"internal/registerfile/history.go", "internal/registerfile/historyrow.go", "internal/registerfile/import.go",
	"internal/registerfile/table.go", "internal/registerfile/xlsx.go", "internal/registerfile/yamlcheck.go",
}

// words tells a text from a name, a key or a format without words.
var words = regexp.MustCompile(`[A-Za-z]{2,}[^A-Za-z]+[A-Za-z]{2,}|[a-z]{3,}[^a-z]+%|%.* [a-z]{3,}`)

// retold takes the texts of a file: its literals of several words, but for those that
// only the program's own people see.
func retold(file *ast.File, take func(string)) {
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.ImportSpec, *ast.Field:
			return false
		case *ast.CallExpr:
			if f, ok := n.Fun.(*ast.SelectorExpr); ok && f.Sel.Name == "MustCompile" {
				return false
			}
		case *ast.BinaryExpr:
			if s, ok := literal(n); ok {
				take(s)
				return false
			}
		case *ast.BasicLit:
			if s, ok := literal(n); ok && strings.Contains(strings.TrimSpace(s), " ") && words.MatchString(s) && !strings.HasPrefix(s, "write ") {
				take(s)
			}
		}
		return true
	})
}

// said takes the texts from a call of Text, Say, Mark or Count with literal texts.
func said(n ast.Node) (one, many string, ok bool) {
	call, isCall := n.(*ast.CallExpr)
	if !isCall {
		return "", "", false
	}
	sel, isSel := call.Fun.(*ast.SelectorExpr)
	if !isSel {
		return "", "", false
	}
	switch sel.Sel.Name {
	case "Text", "Say", "Mark":
		if len(call.Args) >= 1 {
			one, ok = literal(call.Args[0])
		}
	case "Count":
		if len(call.Args) >= 3 {
			var a, b bool
			one, a = literal(call.Args[1])
			many, b = literal(call.Args[2])
			ok = a && b
		}
	}
	return one, many, ok && one != ""
}

// literal evaluates a string literal or a sum of them.
func literal(e ast.Expr) (string, bool) {
	switch x := e.(type) {
	case *ast.BasicLit:
		if x.Kind != token.STRING {
			return "", false
		}
		s, err := strconv.Unquote(x.Value)
		return s, err == nil
	case *ast.BinaryExpr:
		a, ok := literal(x.X)
		b, ok2 := literal(x.Y)
		return a + b, ok && ok2 && x.Op == token.ADD
	case *ast.ParenExpr:
		return literal(x.X)
	}
	return "", false
}

// template prints the texts as a PO template, sorted.
func template(texts map[string]source) string {
	var b strings.Builder
	b.WriteString("# Every text of the program. Written by: go test ./internal/locale -update\n")
	b.WriteString("msgid \"\"\nmsgstr \"\"\n\"Content-Type: text/plain; charset=UTF-8\\n\"\n\"Content-Transfer-Encoding: 8bit\\n\"\n")
	for _, id := range slices.Sorted(maps.Keys(texts)) {
		s := texts[id]
		fmt.Fprintf(&b, "\n#: %s\nmsgid %s\n", strings.Join(s.places, " "), quote(s.one))
		if s.many != "" {
			fmt.Fprintf(&b, "msgid_plural %s\nmsgstr[0] \"\"\nmsgstr[1] \"\"\n", quote(s.many))
		} else {
			b.WriteString("msgstr \"\"\n")
		}
	}
	return b.String()
}

// quote writes a PO string: C escapes, other signs as they are.
func quote(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`, "\t", `\t`).Replace(s) + `"`
}

func readFile(t *testing.T, name string) string {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}
