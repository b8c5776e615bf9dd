package registerfile

import (
	"cmp"
	"reflect"
	"regexp"
	"slices"

	"clogwise/internal/plant"
)

// Table names one of the flat tables.
type Table string

// The flat tables of a register.
const (
	Sites Table = "sites"
	Items Table = "items"
	Banks Table = "banks"
)

// tableOrder lists them in the order they are written.
var tableOrder = [...]Table{Sites, Items, Banks}

// layout is the columns of a table and where they come from.
type layout struct {
	own []column // of the site, item or bank
	ahu []column // of the bank's AHU, named with ahu_ before; the first is its id
}

func layoutOf(t Table) layout {
	switch t {
	case Sites:
		return layout{own: columnsOf(reflect.TypeFor[plant.Site]())}
	case Items:
		return layout{own: columnsOf(reflect.TypeFor[plant.Item]())}
	}
	l := layout{own: columnsOf(reflect.TypeFor[plant.Bank]()), ahu: columnsOf(reflect.TypeFor[plant.AHU]())}
	for i, c := range l.own {
		if c.name == "id" {
			l.own[i].name = "bank"
		}
	}
	for i, c := range l.ahu {
		l.ahu[i].name = "ahu_" + c.name
		if c.name == "id" {
			l.ahu[i].name = "ahu"
		}
	}
	return l
}

// names lists the columns in the order they are written.
func (l layout) names() []string {
	var out []string
	if l.ahu != nil {
		out = append(out, "site", "ahu", "bank")
	}
	for _, c := range slices.Concat(l.own, l.ahu) {
		if !slices.Contains(out, c.name) {
			out = append(out, c.name)
		}
	}
	return out
}

// tableOf tells the tables apart by their columns.
func tableOf(t table) (Table, bool) {
	switch {
	case t.has("time"):
		return "", false // history
	case t.has("site", "ahu"):
		return Banks, true
	case t.has("code"):
		return Items, true
	case t.has("id"):
		return Sites, true
	}
	return "", false
}

func (im *Import) addTables(tables []table, faults []Fault) {
	im.faults = append(im.faults, faults...)
	for _, t := range tables {
		t = t.as(im.Columns)
		kind, ok := tableOf(t)
		if !ok {
			im.fault(Fault{File: t.file, Sheet: t.sheet, Text: "is none of the register's tables: banks have the columns site and ahu, items code, sites id and zone"})
			continue
		}
		l := layoutOf(kind)
		t.checkHeader(l.names(), im.fault)
		switch kind {
		case Sites:
			im.sites = append(im.sites, objectRows[plant.Site](im, t, l.own, "site", "id")...)
		case Items:
			im.items = append(im.items, objectRows[plant.Item](im, t, l.own, "item", "code")...)
		case Banks:
			im.bankRows(t, l)
		}
	}
}

// objectRows reads a table with one object a row.
func objectRows[T any](im *Import, t table, cols []column, object, key string) []change[T] {
	var out []change[T]
	for _, r := range t.rows {
		id := t.cell(r, key)
		if id == "" {
			f := t.at(r, key)
			f.Text = "missing; every row needs one"
			im.fault(f)
			continue
		}
		if im.once(t.position(r, ""), object, id) {
			out = append(out, rowChange[T](im, t, r, cols, id))
		}
	}
	return out
}

// rowChange is the change that one row makes to an object, the faults of its
// cells reported.
func rowChange[T any](im *Import, t table, r row, cols []column, id string) change[T] {
	fill := func(v T, report func(Fault)) T {
		for _, h := range t.header {
			i := slices.IndexFunc(cols, func(c column) bool { return c.name == h })
			if i < 0 {
				continue
			}
			c := cols[i]
			if err := c.set(reflect.ValueOf(&v).Elem(), t.cell(r, c.name)); err != nil {
				f := t.at(r, c.name)
				f.Text = err.Error()
				report(f)
			}
		}
		return v
	}
	var none T
	fill(none, im.fault)
	return change[T]{id, func(v T) T { return fill(v, func(Fault) {}) }}
}

// bankRows reads the banks table, AHUs included.
func (im *Import) bankRows(t table, l layout) {
	ahus := map[string]row{} // what the rows of an AHU say together
	var order []string
	for _, r := range t.rows {
		site, ahu := t.cell(r, "site"), plant.Slug(t.cell(r, "ahu"))
		if site == "" || ahu == "" {
			f := t.at(r, "")
			f.Text = "site or ahu missing; every row needs both"
			im.fault(f)
			continue
		}
		id := string(plant.MakeBankID(site, ahu, ""))
		if _, ok := ahus[id]; !ok {
			order = append(order, id)
		}
		ahus[id] = im.mergeAHU(t, l, id, ahus[id], r)
		im.bankRow(t, l, site, ahu, r)
	}
	for _, id := range order {
		im.ahuRow(t, l, id, ahus[id])
	}
}

// mergeAHU adds a row's AHU cells to those of the AHU's earlier rows; a row may
// leave them empty, but not contradict.
func (im *Import) mergeAHU(t table, l layout, id string, had, r row) row {
	if had.num == 0 {
		had = row{num: r.num, cells: make([]string, len(t.header))}
	}
	for i, h := range t.header {
		if i >= len(r.cells) || r.cells[i] == "" || !slices.ContainsFunc(l.ahu, func(c column) bool { return c.name == h }) {
			continue
		}
		if had.cells[i] != "" && had.cells[i] != r.cells[i] {
			f := t.at(r, h)
			f.Text = "differs from what row " + number(float64(had.num)) + " says of " + id + "; write the same, or leave it empty"
			im.fault(f)
			continue
		}
		had.cells[i] = r.cells[i]
	}
	return had
}

// ahuRow makes the change of an AHU, unless its rows only name it.
func (im *Import) ahuRow(t table, l layout, id string, r row) {
	says := false
	for _, c := range l.ahu[1:] {
		says = says || t.cell(r, c.name) != ""
	}
	if !says || !im.once(t.position(r, "ahu_"), "ahu", id) {
		return
	}
	ch := rowChange[plant.AHU](im, t, r, l.ahu[1:], id)
	typed := t.cell(r, "ahu")
	im.ahus = append(im.ahus, change[plant.AHU]{id, func(a plant.AHU) plant.AHU {
		a = ch.apply(a)
		a.ID = plant.Slug(typed)
		a.Tag = cmp.Or(a.Tag, typed)
		return a
	}})
}

func (im *Import) bankRow(t table, l layout, site, ahu string, r row) {
	bank := plant.Slug(cmp.Or(t.cell(r, "bank"), t.cell(r, "stage")))
	if bank == "" {
		return // an AHU without banks
	}
	id := string(plant.MakeBankID(site, ahu, bank))
	if !im.once(t.position(r, ""), "bank", id) {
		return
	}
	ch := rowChange[plant.Bank](im, t, r, l.own, id)
	im.banks = append(im.banks, change[plant.Bank]{id, func(b plant.Bank) plant.Bank {
		b = ch.apply(b)
		b.ID = bank
		if b.Stage == "" && slices.Contains([]plant.Stage{plant.Primary, plant.Secondary, plant.Third, plant.Return}, plant.Stage(bank)) {
			b.Stage = plant.Stage(bank)
		}
		return b
	}})
}

// rowsOf lists a table's cells, the header first. Text is guarded against being
// taken for a formula; numbers are left as they are.
func rowsOf(t Table, c plant.Contents) [][]string {
	reg := plant.NewRegister(c)
	l := layoutOf(t)
	out := [][]string{l.names()}
	switch t {
	case Sites:
		for _, s := range reg.Sites() {
			out = append(out, cellsOf(l.own, reflect.ValueOf(s)))
		}
	case Items:
		for _, it := range reg.Items() {
			out = append(out, cellsOf(l.own, reflect.ValueOf(it)))
		}
	case Banks:
		for _, ahuID := range reg.AHUs("") {
			out = append(out, ahuCells(reg, l, ahuID)...)
		}
	}
	return out
}

// ahuCells are the rows of one AHU's banks, or one row for an AHU without.
func ahuCells(reg *plant.Register, l layout, id plant.BankID) [][]string {
	a, _ := reg.AHU(id)
	ids := reg.Banks(id)
	if len(ids) == 0 {
		ids = []plant.BankID{id}
	}
	var out [][]string
	for _, bankID := range ids {
		b, _ := reg.Bank(bankID)
		cells := map[string]string{"site": id.Site()}
		for _, c := range l.own {
			cells[c.name] = cellOf(c, reflect.ValueOf(b))
		}
		for _, c := range l.ahu {
			cells[c.name] = cellOf(c, reflect.ValueOf(a))
		}
		line := make([]string, 0, len(cells))
		for _, n := range l.names() {
			line = append(line, cells[n])
		}
		out = append(out, line)
	}
	return out
}

func cellsOf(cols []column, v reflect.Value) []string {
	out := make([]string, len(cols))
	for i, c := range cols {
		out[i] = cellOf(c, v)
	}
	return out
}

// plainNumber is what a cell may hold without a guard although it begins with a
// sign.
var plainNumber = regexp.MustCompile(`^-?\d+(\.\d+)?$`)

func cellOf(c column, v reflect.Value) string {
	s := c.get(v)
	if plainNumber.MatchString(s) {
		return s
	}
	return guard(s)
}
