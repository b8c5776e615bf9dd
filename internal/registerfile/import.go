package registerfile

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"clogwise/internal/plant"
)

// MaxBytes is the size beyond which a file is refused unread.
const MaxBytes = 32 << 20

// Read reads one file that holds a whole register and validates it. The name
// tells the form (.yaml, .yml, .csv, .xlsx) and stands in the faults. With any
// fault the contents are what could be read, and are not to be used.
func Read(name string, r io.Reader) (plant.Contents, []Fault) {
	var im Import
	im.Add(name, r)
	return im.Finish(plant.Contents{})
}

// Import reads a register out of several files, such as one table each. The zero
// value is ready; Add the files in any order, then Finish.
type Import struct {
	Columns Columns // of tables some of whose columns have other names

	sites  []change[plant.Site]
	items  []change[plant.Item]
	ahus   []change[plant.AHU]
	banks  []change[plant.Bank]
	where  map[[2]string]position // object and id → place in the files
	faults []Fault
}

// position is where an object was read, and what a field of it is called there.
type position struct {
	Fault
	column func(field string) string
}

// change is what a file says of one object: how it becomes from what it was.
type change[T any] struct {
	id    string
	apply func(T) T
}

// whole is a change to v, whatever was before.
func whole[T any](id string, v T) change[T] {
	return change[T]{id, func(T) T { return v }}
}

// Add reads one file. Its faults come out of Finish.
func (im *Import) Add(name string, r io.Reader) {
	raw, fault := slurp(name, r)
	if fault != nil {
		im.fault(*fault)
		return
	}
	switch ext := strings.ToLower(filepath.Ext(name)); ext {
	case ".yaml", ".yml":
		im.addYAML(name, raw)
	case ".csv", ".tsv", ".txt":
		im.addTables(csvTable(name, raw))
	case ".xlsx":
		im.addTables(xlsxTables(name, raw))
	default:
		im.fault(Fault{File: name, Text: fmt.Sprintf("%q is not a form of register file; use .yaml, .csv or .xlsx", ext)})
	}
}

// slurp reads all of r unless it is too large.
func slurp(name string, r io.Reader) ([]byte, *Fault) {
	raw, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err != nil {
		return nil, &Fault{File: name, Text: fmt.Sprintf("cannot be read: %v", err)}
	}
	if len(raw) > MaxBytes {
		return nil, &Fault{File: name, Text: fmt.Sprintf("larger than %d MB; split it", MaxBytes>>20)}
	}
	return bytes.TrimPrefix(raw, []byte("\ufeff")), nil
}

func (im *Import) fault(f Fault) { im.faults = append(im.faults, f) }

// Finish lays what was read over a base (the register in force, or nothing),
// validates the whole and lists every fault, in the order of the files' rows.
// An object of a YAML file replaces the base's of the same id, a table alters the
// fields it has columns for; nothing is removed.
func (im *Import) Finish(base plant.Contents) (plant.Contents, []Fault) {
	c := im.over(base)
	faults := slices.Clone(im.faults)
	for _, f := range plant.Validate(c) {
		at := im.located(f)
		if !slices.ContainsFunc(im.faults, at.follows) {
			faults = append(faults, at)
		}
	}
	slices.SortStableFunc(faults, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Sheet, b.Sheet), cmp.Compare(a.Row, b.Row))
	})
	return c, slices.CompactFunc(faults, func(a, b Fault) bool { return a == b })
}

func (im *Import) over(base plant.Contents) plant.Contents {
	return plant.Contents{
		Sites: listed(base.Sites, im.sites, func(s plant.Site) string { return s.ID }),
		Items: listed(base.Items, im.items, func(it plant.Item) string { return it.Code }),
		AHUs:  mapped(base.AHUs, im.ahus),
		Banks: mapped(base.Banks, im.banks),
	}
}

// listed applies changes to a list: known objects in their place, new ones at
// the end.
func listed[T any](base []T, changes []change[T], id func(T) string) []T {
	out := slices.Clone(base)
	for _, ch := range changes {
		i := slices.IndexFunc(out, func(x T) bool { return id(x) == ch.id })
		if i < 0 {
			var none T
			out = append(out, ch.apply(none))
			continue
		}
		out[i] = ch.apply(out[i])
	}
	return out
}

func mapped[T any](base map[plant.BankID]T, changes []change[T]) map[plant.BankID]T {
	out := make(map[plant.BankID]T, len(base)+len(changes))
	maps.Copy(out, base)
	for _, ch := range changes {
		out[plant.BankID(ch.id)] = ch.apply(out[plant.BankID(ch.id)])
	}
	return out
}

// located turns a fault of the register into one of the file it came from.
func (im *Import) located(f plant.Fault) Fault {
	at, ok := im.where[[2]string{f.Object, f.ID}]
	if !ok {
		return Fault{Text: f.String()}
	}
	at.Column = at.column(f.Field)
	at.Text = fmt.Sprintf("%s %s: %s", f.Object, f.ID, f.Text)
	return at.Fault
}

// once notes where an object was read and reports whether it is the first of
// its id: of two the second would silently win.
func (im *Import) once(at position, object, id string) bool {
	key := [2]string{object, id}
	if first, ok := im.where[key]; ok {
		at.Column = "id"
		at.Text = fmt.Sprintf("%s %q is given twice, first in %s; keep one, or give this one another id", object, id, first.place())
		im.fault(at.Fault)
		return false
	}
	if im.where == nil {
		im.where = map[[2]string]position{}
	}
	im.where[key] = at
	return true
}
