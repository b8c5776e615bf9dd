package plant

// A Fault is something wrong with a register: which object, which field, what
// is wrong and what to write instead.
type Fault struct {
	Object string // "site", "ahu", "bank", "item"
	ID     string // place id, or item code
	Field  string // name in the register file; empty when the whole object is meant
	Text   string // what is wrong, and what to write instead
}

// String is the fault in one line: "bank clinic/ahu-3/secondary, limit_pa: …".
func (f Fault) String() string {
	s := f.Object
	if f.ID != "" {
		s += " " + f.ID
	}
	if f.Field != "" {
		s += ", " + f.Field
	}
	return s + ": " + f.Text
}
