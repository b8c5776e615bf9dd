package points

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// ReadTagged reads points with their tags: a CSV file with a column a tag (marked
// ✓, M, m:, true or x) or a column "tags" of several; JSON as Project Haystack
// writes it, or a plain list of objects; Turtle (.ttl) of a Brick model.
func ReadTagged(name string, raw []byte) ([]Tagged, error) {
	read := readCSV
	switch strings.ToLower(filepath.Ext(name)) {
	case ".json":
		read = readJSON
	case ".ttl":
		read = readTurtle
	}
	out, err := read(raw)
	if err == nil && len(out) == 0 {
		err = errors.New("no points in it")
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return out, nil
}

// Names of fields that say what a point is called and what it belongs to, the
// best first.
var (
	nameFields  = []string{"point", "name", "navname", "dis", "label", "id"}
	equipFields = []string{"equip", "equipref", "ispointof", "equipment", "device", "ahu"}
	unitFields  = []string{"unit", "units", "hasunit"}
	tagFields   = []string{"tags", "class", "type", "brick", "brickclass", "kind_of"}
)

// ofFields makes a point of fields and their texts; a marker's text is "m:".
func ofFields(fields map[string]string) (Tagged, bool) {
	t := Tagged{Words: map[string]bool{}}
	first := func(names []string) string {
		for _, n := range names {
			if v := fields[n]; v != "" && !marker(v) {
				return plainText(v)
			}
		}
		return ""
	}
	t.Name, t.Equip, t.Unit = first(nameFields), first(equipFields), first(unitFields)
	for field, v := range fields {
		switch {
		case marker(v):
			for _, w := range words(field) {
				t.Words[w] = true
			}
		case slices.Contains(tagFields, field):
			for _, w := range words(v) {
				t.Words[w] = true
			}
		}
	}
	return t, t.Name != ""
}

func marker(v string) bool {
	switch strings.ToLower(strings.TrimSpace(v)) {
	case "m:", "m", "✓", "x", "true", "marker":
		return true
	}
	return false
}

// plainText takes Haystack's JSON prefixes away: "s:text", "r:id Name", "u:uri".
func plainText(v string) string {
	if len(v) > 2 && v[1] == ':' && strings.ContainsRune("srunz", rune(v[0])) {
		v = v[2:]
		if _, dis, ok := strings.Cut(v, " "); ok {
			return dis
		}
	}
	return strings.TrimPrefix(v, "@")
}

func readCSV(raw []byte) ([]Tagged, error) {
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(raw, []byte("\xef\xbb\xbf"))))
	r.TrimLeadingSpace = true
	head, err := r.Read()
	if err != nil {
		return nil, fmt.Errorf("no header row: %w", err)
	}
	for i := range head {
		head[i] = strings.ToLower(strings.TrimSpace(head[i]))
	}
	var out []Tagged
	for {
		rec, err := r.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, err
		}
		fields := map[string]string{}
		for i, v := range rec {
			fields[head[i]] = strings.TrimSpace(v)
		}
		if t, ok := ofFields(fields); ok {
			out = append(out, t)
		}
	}
}

func readJSON(raw []byte) ([]Tagged, error) {
	var grid struct {
		Rows []map[string]any `json:"rows"`
	}
	if err := json.Unmarshal(raw, &grid.Rows); err != nil {
		if err := json.Unmarshal(raw, &grid); err != nil {
			return nil, err
		}
	}
	var out []Tagged
	for _, row := range grid.Rows {
		fields := map[string]string{}
		for k, v := range row {
			fields[strings.ToLower(k)] = textOf(v)
		}
		if t, ok := ofFields(fields); ok {
			out = append(out, t)
		}
	}
	return out, nil
}

// textOf is a JSON value as text; Haystack 4 marks kinds by objects.
func textOf(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case bool:
		return fmt.Sprint(v)
	case []any:
		var parts []string
		for _, x := range v {
			parts = append(parts, textOf(x))
		}
		return strings.Join(parts, " ")
	case map[string]any:
		if v["_kind"] == "marker" {
			return "m:"
		}
		return cmp.Or(textOf(v["dis"]), textOf(v["val"]))
	}
	return ""
}

// readTurtle reads as much of Turtle as Brick models need: subjects with
// predicates and objects parted by ; and , and ended by a dot.
func readTurtle(raw []byte) ([]Tagged, error) {
	var out []Tagged
	var st []string
	for _, tok := range turtleTokens(string(raw)) {
		if tok != "." {
			st = append(st, tok)
			continue
		}
		if len(st) > 2 && !strings.HasPrefix(st[0], "@") && !strings.EqualFold(st[0], "prefix") {
			if t, ok := ofFields(turtleFields(st)); ok {
				out = append(out, t)
			}
		}
		st = st[:0]
	}
	if len(st) > 0 {
		return nil, fmt.Errorf("the statement of %q is not ended by a dot", st[0])
	}
	return slices.DeleteFunc(out, func(t Tagged) bool { _, ok := quantityOf(t); return !ok && !isPoint(t) }), nil
}

// isPoint tells points from equipment and places by the last words of their
// Brick class.
func isPoint(t Tagged) bool {
	for _, w := range []string{"sensor", "status", "setpoint", "command", "alarm", "parameter", "point"} {
		if t.Words[w] {
			return true
		}
	}
	return false
}

// turtleFields are a statement's predicates with their objects: of texts, such as
// labels in several languages, the first; of names, such as classes, all.
func turtleFields(st []string) map[string]string {
	fields := map[string]string{"id": local(st[0])}
	predicate, deep := "", 0
	for _, tok := range st[1:] {
		switch {
		case tok == "[" || tok == "(":
			deep++
		case tok == "]" || tok == ")":
			deep--
		case deep > 0: // a node without a name: nothing of it is looked for
		case tok == ";":
			predicate = ""
		case tok == ",":
		case predicate == "":
			predicate = strings.ToLower(local(tok))
			if tok == "a" {
				predicate = "class"
			}
		default:
			text, isText := strings.CutPrefix(tok, `"`)
			if !isText {
				text = local(tok)
			}
			switch was := fields[predicate]; {
			case was == "" || predicate == "id":
				fields[predicate] = text
			case !isText:
				fields[predicate] = was + " " + text
			}
		}
	}
	return fields
}

// local is the last part of a name with a prefix or of an address.
func local(s string) string {
	s = strings.Trim(s, "<>")
	if i := strings.LastIndexAny(s, "#/:"); i >= 0 {
		s = s[i+1:]
	}
	return s
}

// turtleTokens takes Turtle apart. A text is a token that begins with a quotation
// mark and has no other around it; its language and its type are left out.
func turtleTokens(s string) []string {
	var out []string
	for len(s) > 0 {
		switch c := s[0]; {
		case c == ' ' || c == '\t' || c == '\n' || c == '\r':
			s = s[1:]
		case c == '#':
			_, s, _ = strings.Cut(s, "\n")
		case c == '"' || c == '\'':
			text, rest := turtleText(s)
			out, s = append(out, `"`+text), rest
			if strings.HasPrefix(s, "@") || strings.HasPrefix(s, "^^") {
				_, s = turtleWord(s)
			}
		case c == '<':
			end := strings.IndexByte(s, '>')
			if end < 0 {
				return append(out, s)
			}
			out, s = append(out, s[:end+1]), s[end+1:]
		case strings.IndexByte(";,[]().", c) >= 0:
			out, s = append(out, string(c)), s[1:]
		default:
			word, rest := turtleWord(s)
			out, s = append(out, word), rest
		}
	}
	return out
}

// turtleWord cuts a name off. A dot ends a statement where nothing of the name
// follows it.
func turtleWord(s string) (word, rest string) {
	end := strings.IndexAny(s[1:], " \t\r\n;,[]()\"'") + 1
	if i := strings.IndexByte(s, '<'); i > 0 && strings.HasPrefix(s, "^^<") { // a type by its address
		end = strings.IndexByte(s, '>') + 1
	}
	if end <= 0 {
		end = len(s)
	}
	word = strings.TrimRight(s[:end], ".")
	if word == "" {
		word = s[:end]
	}
	return word, s[len(word):]
}

// turtleText cuts a text off: in one or three quotation marks of either sort, with
// escapes undone. One that is not ended goes to the end.
func turtleText(s string) (text, rest string) {
	mark := s[:1]
	if triple := strings.Repeat(mark, 3); strings.HasPrefix(s, triple) {
		mark = triple
	}
	var b strings.Builder
	for i := len(mark); i < len(s); i++ {
		switch {
		case strings.HasPrefix(s[i:], mark):
			return b.String(), s[i+len(mark):]
		case s[i] == '\\' && i+1 < len(s):
			i++
			switch c := s[i]; c {
			case 'n', 'r', 't', 'b', 'f':
				b.WriteByte(' ')
			case 'u', 'U':
				digits := map[byte]int{'u': 4, 'U': 8}[c]
				if i+digits < len(s) {
					if n, err := strconv.ParseUint(s[i+1:i+1+digits], 16, 32); err == nil {
						b.WriteRune(rune(n))
						i += digits
						continue
					}
				}
				b.WriteByte(c)
			default:
				b.WriteByte(c)
			}
		default:
			b.WriteByte(s[i])
		}
	}
	return b.String(), ""
}
