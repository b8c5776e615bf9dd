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
	rows, err := read(raw)
	out := tagged(rows)
	if err == nil && len(out) == 0 {
		err = errors.New("no points in it")
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return out, nil
}

// A row is a point, a piece of equipment or a place as a file describes it.
type row struct {
	Tagged
	id        string
	up        []string // ids of what it belongs to
	equipment bool     // or a place: no point
}

// mostUp bounds how far a row's owners are followed: point, filter, AHU, floor, site.
const mostUp = 5

// tagged are the points among rows. Where what a point belongs to is told by its
// id, as both vocabularies do, its names and those of what it in turn belongs to
// are found in their own rows.
func tagged(rows []row) []Tagged {
	byID := map[string]row{}
	for _, r := range rows {
		if r.id != "" {
			byID[r.id] = r
		}
	}
	var out []Tagged
	for _, r := range rows {
		if r.equipment {
			continue
		}
		names, next := []string{r.Equip}, r.up
		seen := map[string]bool{r.id: true}
		for range mostUp {
			var further []string
			for _, id := range next {
				owner, ok := byID[id]
				if !ok || seen[id] {
					continue
				}
				seen[id] = true
				names, further = append(names, id, owner.Name), append(further, owner.up...)
			}
			next = further
		}
		t := r.Tagged
		t.Equip = strings.Join(slices.DeleteFunc(names, func(s string) bool { return s == "" }), ", ")
		out = append(out, t)
	}
	return out
}

// Names of fields that say what a point is called and what it belongs to, the
// best first.
var (
	nameFields  = []string{"point", "name", "navname", "dis", "label", "id"}
	equipFields = []string{"equip", "equipref", "ispointof", "equipment", "device", "ahu"}
	ownerFields = []string{"equip", "equipref", "ispointof", "ispartof", "spaceref", "siteref"}
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
		kind := v[0]
		v = v[2:]
		if _, dis, ok := strings.Cut(v, " "); ok && kind == 'r' {
			return dis
		}
	}
	return strings.TrimPrefix(v, "@")
}

// refID is the id of a reference: "r:id Name", "@id Name" or the id alone.
func refID(v string) string {
	id, _, _ := strings.Cut(strings.TrimPrefix(strings.TrimPrefix(v, "r:"), "@"), " ")
	return id
}

// rowOf makes a row of fields and their texts; refs are the fields that refer to
// others, as they stand in the file.
func rowOf(fields, refs map[string]string) (row, bool) {
	t, ok := ofFields(fields)
	_, measures := quantityOf(t)
	r := row{
		Tagged: t, id: refID(refs["id"]),
		equipment: !measures && !t.Words["point"] && (t.Words["equip"] || t.Words["site"] || t.Words["space"]), // Haystack's tags
	}
	for _, f := range ownerFields {
		if v := refs[f]; v != "" && !marker(v) {
			r.up = append(r.up, refID(v))
		}
	}
	return r, ok
}

func readCSV(raw []byte) ([]row, error) {
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(raw, []byte("\xef\xbb\xbf"))))
	r.TrimLeadingSpace = true
	head, err := r.Read()
	if err != nil {
		return nil, fmt.Errorf("no header row: %w", err)
	}
	for i := range head {
		head[i] = strings.ToLower(strings.TrimSpace(head[i]))
	}
	var out []row
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
		if r, ok := rowOf(fields, fields); ok {
			out = append(out, r)
		}
	}
}

func readJSON(raw []byte) ([]row, error) {
	var grid struct {
		Rows []map[string]any `json:"rows"`
	}
	if err := json.Unmarshal(raw, &grid.Rows); err != nil {
		if err := json.Unmarshal(raw, &grid); err != nil {
			return nil, err
		}
	}
	var out []row
	for _, of := range grid.Rows {
		fields, refs := map[string]string{}, map[string]string{}
		for k, v := range of {
			k = strings.ToLower(k)
			fields[k], refs[k] = textOf(v), textOf(v)
			if ref, ok := v.(map[string]any); ok && ref["_kind"] == "ref" {
				refs[k] = textOf(ref["val"])
			}
		}
		if r, ok := rowOf(fields, refs); ok {
			out = append(out, r)
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
// predicates and objects parted by ; and , and ended by a dot. What a point
// belongs to may be said of either (isPointOf, hasPoint).
func readTurtle(raw []byte) ([]row, error) {
	var subjects []string
	said := map[string][]string{} // of each subject, in however many statements
	var st []string
	for _, tok := range turtleTokens(string(raw)) {
		if tok != "." {
			st = append(st, tok)
			continue
		}
		if len(st) > 2 && !strings.HasPrefix(st[0], "@") && !strings.EqualFold(st[0], "prefix") {
			id := local(st[0])
			if said[id] == nil {
				subjects = append(subjects, id)
			}
			said[id] = append(append(said[id], st[1:]...), ";")
		}
		st = st[:0]
	}
	if len(st) > 0 {
		return nil, fmt.Errorf("the statement of %q is not ended by a dot", st[0])
	}
	var out []row
	owners := map[string][]string{}
	for _, id := range subjects {
		fields := turtleFields(id, said[id])
		for _, owned := range strings.Fields(fields["haspoint"] + " " + fields["haspart"]) {
			owners[owned] = append(owners[owned], id)
		}
		t, ok := ofFields(fields)
		if !ok {
			continue
		}
		_, measures := quantityOf(t)
		r := row{Tagged: t, id: id, equipment: !measures && !isPoint(t)}
		for _, f := range ownerFields {
			r.up = append(r.up, strings.Fields(fields[f])...)
		}
		out = append(out, r)
	}
	for i := range out {
		out[i].up = append(out[i].up, owners[out[i].id]...)
	}
	return out, nil
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

// turtleFields are the predicates said of a subject with their objects: of texts, such as
// labels in several languages, the first; of names, such as classes, all.
func turtleFields(id string, said []string) map[string]string {
	fields := map[string]string{"id": id}
	predicate, deep := "", 0
	for _, tok := range said {
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
