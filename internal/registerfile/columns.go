package registerfile

import (
	"reflect"
	"strings"
)

// column is one column of a table: a field of a struct, reached by its path.
type column struct {
	name string
	path []int // field indexes, outer first
}

// columnsOf lists the columns of a struct by the yaml names of its fields; the
// fields of inner structs follow with their outer name before them.
func columnsOf(t reflect.Type) []column {
	return appendColumns(nil, t, "", nil)
}

func appendColumns(cols []column, t reflect.Type, prefix string, path []int) []column {
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("yaml"), ",")
		name = prefix + name
		p := append(append([]int{}, path...), i)
		ft := f.Type
		if ft.Kind() == reflect.Pointer {
			ft = ft.Elem()
		}
		if ft.Kind() == reflect.Struct && !isScalar(ft) {
			cols = appendColumns(cols, ft, name+"_", p)
			continue
		}
		cols = append(cols, column{name, p})
	}
	return cols
}

// get writes the column's field of struct v as a cell.
func (c column) get(v reflect.Value) string {
	own := false
	for _, i := range c.path {
		if v.Kind() == reflect.Pointer {
			if v.IsNil() {
				return ""
			}
			own = true
			v = v.Elem()
		}
		v = v.Field(i)
	}
	if own && v.Type() == reflect.TypeFor[map[string]float64]() && v.Len() == 0 {
		return roundTheClock // an AHU's own schedule without hours, as against none of its own
	}
	return format(v)
}

const roundTheClock = "daily:24"

// set reads a cell into the column's field of struct v. Empty cells do not bring
// a missing inner struct into being, and take one away that they leave empty.
func (c column) set(v reflect.Value, cell string) error {
	var inner reflect.Value
	for _, i := range c.path {
		if v.Kind() == reflect.Pointer {
			if v.IsNil() {
				if cell == "" {
					return nil
				}
				v.Set(reflect.New(v.Type().Elem()))
			}
			inner = v
			v = v.Elem()
		}
		v = v.Field(i)
	}
	err := parse(cell, c.name, v)
	if inner.IsValid() && inner.Elem().IsZero() {
		inner.SetZero()
	}
	return err
}
