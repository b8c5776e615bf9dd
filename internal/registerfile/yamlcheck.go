package registerfile

import (
	"encoding"
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// checkNode reports every key of the document that the register does not know
// and every value that does not fit its field, each with its line. The yaml
// decoder would stop at some of them and name Go types. Values that do not fit
// are taken out of the document, so that the rest of it can be read.
func checkNode(file string, doc *yaml.Node, report func(Fault)) {
	c := yamlCheck{file: file, report: report, seen: map[checked]bool{}}
	if len(doc.Content) > 0 {
		c.value(doc.Content[0], reflect.TypeFor[yamlFile](), "")
	}
}

type yamlCheck struct {
	file   string
	report func(Fault)
	seen   map[checked]bool // an anchor used many times is looked at once per type
}

type checked struct {
	node *yaml.Node
	t    reflect.Type
}

func (c yamlCheck) fault(n *yaml.Node, key, format string, args ...any) {
	c.report(Fault{File: c.file, Row: n.Line, Column: key, Text: fmt.Sprintf(format, args...)})
}

// misfit reports a value that does not fit and takes it out.
func (c yamlCheck) misfit(n *yaml.Node, key, format string, args ...any) {
	c.fault(n, key, format, args...)
	*n = yaml.Node{Kind: yaml.ScalarNode, Tag: "!!null", Value: "null", Line: n.Line}
}

func (c yamlCheck) value(n *yaml.Node, t reflect.Type, key string) {
	n = resolve(n)
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if n.Tag == "!!null" || c.seen[checked{n, t}] {
		return
	}
	c.seen[checked{n, t}] = true
	switch {
	case isScalar(t):
		c.scalar(n, t, key)
	case t.Kind() == reflect.Struct:
		c.mapping(n, t, key)
	case t.Kind() == reflect.Map:
		c.entries(n, t, key)
	default:
		c.list(n, t, key)
	}
}

// isScalar reports whether a type is written as one word or number.
func isScalar(t reflect.Type) bool {
	if reflect.PointerTo(t).Implements(reflect.TypeFor[encoding.TextUnmarshaler]()) {
		return true
	}
	k := t.Kind()
	return k != reflect.Struct && k != reflect.Map && k != reflect.Slice
}

func (c yamlCheck) scalar(n *yaml.Node, t reflect.Type, key string) {
	if n.Kind != yaml.ScalarNode {
		c.misfit(n, key, "is a list or has keys of its own; write %s", wanted(t))
		return
	}
	if err := n.Decode(reflect.New(t).Interface()); err != nil {
		c.misfit(n, key, "%q does not fit; write %s", n.Value, wanted(t))
	}
}

func wanted(t reflect.Type) string {
	switch t.Kind() {
	case reflect.String:
		return "a word"
	case reflect.Bool:
		return "true or false"
	case reflect.Int:
		return "a whole number"
	case reflect.Struct:
		return "an amount such as 12.50"
	}
	return "a number such as 1.5"
}

func (c yamlCheck) list(n *yaml.Node, t reflect.Type, key string) {
	if n.Kind != yaml.SequenceNode {
		c.misfit(n, key, "is not a list; write each entry on a line of its own after a hyphen")
		return
	}
	for _, e := range n.Content {
		c.value(e, t.Elem(), key)
	}
}

func (c yamlCheck) entries(n *yaml.Node, t reflect.Type, key string) {
	if n.Kind != yaml.MappingNode {
		c.misfit(n, key, "has no keys; write lines such as \"Mon-Fri: 14\"")
		return
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		c.value(n.Content[i+1], t.Elem(), n.Content[i].Value)
	}
}

func (c yamlCheck) mapping(n *yaml.Node, t reflect.Type, key string) {
	if n.Kind != yaml.MappingNode {
		c.misfit(n, key, "has no keys; write lines such as \"id: ahu-3\"")
		return
	}
	known := map[string]reflect.Type{}
	yamlKeys(t, known)
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		if k.Tag == "!!merge" {
			c.fault(k, k.Value, "merging is not read here; write the keys out")
			continue
		}
		ft, ok := known[k.Value]
		if !ok {
			c.fault(k, k.Value, "unknown key %q%s", k.Value, didYouMean(k.Value, sorted(known)))
			continue
		}
		c.value(v, ft, k.Value)
	}
}

// yamlKeys collects the keys of a struct, inlined structs included.
func yamlKeys(t reflect.Type, into map[string]reflect.Type) {
	for i := range t.NumField() {
		f := t.Field(i)
		name, opts, _ := strings.Cut(f.Tag.Get("yaml"), ",")
		if strings.Contains(opts, "inline") {
			yamlKeys(f.Type, into)
		} else {
			into[name] = f.Type
		}
	}
}

func sorted[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// didYouMean proposes the nearest of the words, if one is near.
func didYouMean(word string, words []string) string {
	best, least := "", len(word)/3+2
	for _, w := range words {
		if d := distance(strings.ToLower(word), w); d < least {
			best, least = w, d
		}
	}
	if best == "" {
		return fmt.Sprintf("; allowed here: %s", strings.Join(words, ", "))
	}
	return fmt.Sprintf("; did you mean %q?", best)
}

// distance counts the single-byte edits between two words. A long word is far
// from everything and not worth the count.
func distance(a, b string) int {
	if len(a) > 64 {
		return len(a)
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diag := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diag
			if a[i] != b[j] {
				cost = 1 + min(diag, row[j], row[j+1])
			}
			diag, row[j+1] = row[j+1], cost
		}
	}
	return row[len(b)]
}

var yamlLine = regexp.MustCompile(`^(?:yaml: )?(?:line (\d+): )?(.*)$`)

// yamlFault takes the line out of a message of the yaml decoder.
func yamlFault(file, msg string) Fault {
	f := Fault{File: file, Text: strings.TrimPrefix(msg, "yaml: ")}
	if m := yamlLine.FindStringSubmatch(msg); m != nil {
		f.Row, _ = strconv.Atoi(m[1])
		f.Text = m[2]
	}
	return f
}
