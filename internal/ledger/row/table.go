package row

import "context"

// A Table is a table as every SQL store has it, its columns in the same order.
type Table struct {
	Name    string
	Key     string // the order in which its rows are dumped
	Columns []Column
}

// A Column's values are int64, string, []byte or nil, or bool where Bool says so.
type Column struct {
	Name string
	Bool bool
}

// Tables is all a ledger keeps, in an order in which they can be filled.
func Tables() []Table {
	return []Table{
		{"entry", "seq", columns("seq", "source", "kind", "place", "at", "received", "reporter", "line", "body")},
		{"tally", "kind", columns("kind", "count")},
		{"head", "bank", columns("bank", "head", "done", "since")},
		{"projection", "bank", columns("bank", "upto", "at", "data")},
		{"post", "id", columns("id", "key", "site", "state", "platform", "channel", "thread", "post", "files", "rendered?",
			"recipe", "waits", "created", "not_before", "lease_until", "attempts", "last_error", "post_id", "sent_at", "uncertain?")},
		{"post_wait", "bank, post", columns("bank", "post")},
		{"firing", "job, site, scheduled", columns("job", "site", "scheduled", "at", "late?")},
		{"api_key", "id", columns("id", "name", "scheme", "hash", "secret", "sites", "points", "created", "revoked", "expires")},
	}
}

// columns takes names; a question mark marks a bool.
func columns(names ...string) []Column {
	out := make([]Column, len(names))
	for i, n := range names {
		bare := n
		if n[len(n)-1] == '?' {
			bare = n[:len(n)-1]
		}
		out[i] = Column{Name: bare, Bool: bare != n}
	}
	return out
}

// Names are the table's column names.
func (t Table) Names() []string {
	out := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		out[i] = c.Name
	}
	return out
}

// A Dumper is a store whose whole contents can be read as of one moment, table
// after table in the order of Tables. The values of a row are valid during the
// call only.
type Dumper interface {
	Dump(ctx context.Context, each func(t Table, values []any) error) error
}

// A Restorer is a store that can be filled with another's contents. It must be
// empty; it is filled whole or not at all.
type Restorer interface {
	Restore(ctx context.Context, from Dumper) error
}
