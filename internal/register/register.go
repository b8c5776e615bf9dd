// Package register keeps the register of the plant in the ledger: it turns a new
// register into the edits that lead to it, and edits back into a register.
//
// It is pure. It stands apart from package plant because entries refer to plant.
package register

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// Objects of an edit, as written in entry.RegisterEdit.Object.
const (
	ObjectSite = "site"
	ObjectAHU  = "ahu"
	ObjectBank = "bank"
	ObjectItem = "item"
	// ObjectPerson is no object of the register: removing one hides a name from
	// what is shown (package veil). Its ID is a hash.
	ObjectPerson = "person"
)

// Diff lists the edits that turn the old register into the new contents: what is
// new or altered first, the wider place before the narrower one, then what is
// removed, the narrower place first. The order is the same for the same input.
// A nil old register is an empty one; what is equal makes no edit.
func Diff(old *plant.Register, next plant.Contents) []entry.RegisterEdit {
	if old == nil {
		old = plant.NewRegister(plant.Contents{})
	}
	was, is := objects(old.Contents()), objects(next)
	var set, removed []entry.RegisterEdit
	for _, o := range is {
		if before, ok := find(was, o); !ok || !bytes.Equal(before.value, o.value) {
			set = append(set, entry.RegisterEdit{Object: o.kind, ID: o.id, Value: o.value})
		}
	}
	for _, o := range slices.Backward(was) {
		if _, ok := find(is, o); !ok {
			removed = append(removed, entry.RegisterEdit{Object: o.kind, ID: o.id, Removed: true})
		}
	}
	return append(set, removed...)
}

// object is one thing of the register in the form it is stored.
type object struct {
	order int // place of its kind among the edits
	kind  string
	id    string
	value json.RawMessage
}

func compare(a, b object) int {
	return cmp.Or(cmp.Compare(a.order, b.order), cmp.Compare(a.id, b.id))
}

func find(sorted []object, o object) (object, bool) {
	i, ok := slices.BinarySearchFunc(sorted, o, compare)
	if !ok {
		return object{}, false
	}
	return sorted[i], true
}

// objects lists contents in the order of edits. Of two sites or items with one
// id the later one counts, as it does in plant.NewRegister.
func objects(c plant.Contents) []object {
	found := map[[2]string]object{}
	add := func(order int, kind, id string, v any) {
		raw, err := json.Marshal(v)
		if err != nil {
			return // only a NaN or an infinity can do that; plant.Validate refuses both
		}
		found[[2]string{kind, id}] = object{order, kind, id, raw}
	}
	for _, s := range c.Sites {
		add(0, ObjectSite, s.ID, s)
	}
	for _, it := range c.Items {
		add(1, ObjectItem, it.Code, it)
	}
	for id, a := range c.AHUs {
		add(2, ObjectAHU, string(id), a)
	}
	for id, b := range c.Banks {
		add(3, ObjectBank, string(id), b)
	}
	return slices.SortedFunc(maps.Values(found), compare)
}

// Fold is the register that the standing edits among entries lead to, applied in
// order of Seq. Removing a site or an AHU removes what is below it. Other kinds
// of entries are passed over, and the order of the input does not matter.
//
// An edit that cannot be read is left out and named in the error; the contents
// are good without it.
func Fold(entries []entry.Entry) (plant.Contents, error) {
	return fold(entries, func(entry.Entry) bool { return true })
}

// At is the register as it was in force at t: only edits whose entry happened at
// or before t count. An edit may take effect before it was recorded, so that
// history can be told which limit applied when.
func At(entries []entry.Entry, t time.Time) (plant.Contents, error) {
	return fold(entries, func(e entry.Entry) bool { return !e.At.After(t) })
}

func fold(entries []entry.Entry, counts func(entry.Entry) bool) (plant.Contents, error) {
	edits := entry.Standing(entries)
	slices.SortStableFunc(edits, func(a, b entry.Entry) int { return cmp.Compare(a.Seq, b.Seq) })
	f := folding{
		sites: map[string]plant.Site{}, ahus: map[plant.BankID]plant.AHU{},
		banks: map[plant.BankID]plant.Bank{}, items: map[string]plant.Item{},
	}
	var faults []error
	for _, e := range edits {
		edit, ok := e.Body.(entry.RegisterEdit)
		if !ok || !counts(e) {
			continue
		}
		if err := f.apply(edit); err != nil {
			faults = append(faults, fmt.Errorf("register edit #%d: %w", e.Seq, err))
		}
	}
	return f.contents(), errors.Join(faults...)
}

type folding struct {
	sites map[string]plant.Site
	ahus  map[plant.BankID]plant.AHU
	banks map[plant.BankID]plant.Bank
	items map[string]plant.Item
}

func (f folding) apply(e entry.RegisterEdit) error {
	if e.Removed {
		return f.remove(e)
	}
	switch e.Object {
	case ObjectSite:
		return put(f.sites, e.ID, e.Value)
	case ObjectAHU:
		return put(f.ahus, plant.BankID(e.ID), e.Value)
	case ObjectBank:
		return put(f.banks, plant.BankID(e.ID), e.Value)
	case ObjectItem:
		return put(f.items, e.ID, e.Value)
	}
	return fmt.Errorf("object %q is unknown to this version", e.Object)
}

func put[K comparable, V any](m map[K]V, id K, raw json.RawMessage) error {
	var v V
	if err := json.Unmarshal(raw, &v); err != nil {
		return fmt.Errorf("%v: %w", id, err)
	}
	m[id] = v
	return nil
}

func (f folding) remove(e entry.RegisterEdit) error {
	id := plant.BankID(e.ID)
	switch e.Object {
	case ObjectSite:
		delete(f.sites, e.ID)
	case ObjectAHU:
		delete(f.ahus, id)
	case ObjectBank:
		delete(f.banks, id)
		return nil
	case ObjectItem:
		delete(f.items, e.ID)
		return nil
	case ObjectPerson:
		return nil
	default:
		return fmt.Errorf("object %q is unknown to this version", e.Object)
	}
	below := func(x plant.BankID) bool { return strings.HasPrefix(string(x), e.ID+"/") }
	maps.DeleteFunc(f.ahus, func(x plant.BankID, _ plant.AHU) bool { return below(x) })
	maps.DeleteFunc(f.banks, func(x plant.BankID, _ plant.Bank) bool { return below(x) })
	return nil
}

func (f folding) contents() plant.Contents {
	c := plant.Contents{AHUs: f.ahus, Banks: f.banks}
	for _, id := range slices.Sorted(maps.Keys(f.sites)) {
		c.Sites = append(c.Sites, f.sites[id])
	}
	for _, code := range slices.Sorted(maps.Keys(f.items)) {
		c.Items = append(c.Items, f.items[code])
	}
	return c
}
