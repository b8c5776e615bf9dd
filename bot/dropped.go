package bot

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/registerfile"
	"clogwise/internal/say"
)

const (
	maxDropped     = 2 << 20 // bytes of a file dropped into a channel
	maxDroppedRows = 5000    // what is recorded within a chat platform's patience
	actionImport   = "import"
)

// table is a file that was dropped into a channel, kept beside the post that
// summarises it until somebody confirms: after a restart it is still there, and
// who dropped it need not drop it again.
type table struct {
	Name string `json:"name"`
	Data []byte `json:"data"` // gzip
}

// tableIn is the first file of a message that may hold readings.
func tableIn(m channel.Message) (channel.Dropped, bool) {
	for _, f := range m.Files {
		switch strings.ToLower(filepath.Ext(f.Name)) {
		case ".csv", ".tsv", ".xlsx":
			return f, true
		}
	}
	return channel.Dropped{}, false
}

// dropped answers a file of readings with what it would record. Nothing is
// recorded before somebody of the crew confirms. Other files, and files of those
// outside the crew, are no business of the bot unless it is addressed.
func (e *Engine) dropped(ctx context.Context, t *talk) (handled bool, err error) {
	f, ok := tableIn(t.m)
	spokenTo := t.m.Mention || t.m.Direct
	if !ok {
		return false, nil
	}
	if !t.ofAnyCrew() {
		if !spokenTo {
			return false, nil
		}
		return true, e.reply(ctx, t, channel.Post{Text: say.NotAllowed(entry.KindReading, t.sites[0])})
	}
	if f.Size > maxDropped {
		return true, e.reply(ctx, t, channel.Post{Text: say.FileTooLarge(t.in(), f.Name, maxDropped)})
	}
	raw, err := readDropped(ctx, f)
	if errors.Is(err, errTooLarge) {
		return true, e.reply(ctx, t, channel.Post{Text: say.FileTooLarge(t.in(), f.Name, maxDropped)})
	}
	if err != nil {
		return true, fmt.Errorf("file of a message: %w", err)
	}
	in := e.examine(t, f.Name, raw)
	if in.NoTable && !spokenTo {
		return false, nil
	}
	if in.Known, err = e.known(ctx, in.entries); err != nil {
		return true, err
	}
	return true, e.summarise(ctx, t, in, table{Name: f.Name, Data: packed(raw)})
}

func (t *talk) ofAnyCrew() bool {
	return slices.ContainsFunc(t.sites, func(s plant.Site) bool { return t.crewOf(s.ID) || t.supervises(s.ID) })
}

var errTooLarge = errors.New("too large")

func readDropped(ctx context.Context, f channel.Dropped) ([]byte, error) {
	r, err := f.Open(ctx)
	if err != nil {
		return nil, err
	}
	defer r.Close() //nolint:errcheck // only read
	raw, err := io.ReadAll(io.LimitReader(r, maxDropped+1))
	if err == nil && len(raw) > maxDropped {
		err = errTooLarge
	}
	return raw, err
}

// examined is what a file would record.
type examined struct {
	say.FileSummary
	entries []entry.Entry
}

// examine reads a file against the register, for the sites of the talk and the
// person's roles.
func (e *Engine) examine(t *talk, name string, raw []byte) examined {
	cols, guessed := guessedColumns(name, raw)
	entries, faults := registerfile.ReadHistoryAs(name, bytes.NewReader(raw), cols, t.here(), e.Now())
	in := examined{FileSummary: say.FileSummary{Name: name, Guessed: guessed, NoTable: len(entries) == 0 && noHistory(faults)}}
	for _, f := range faults {
		in.Faults = append(in.Faults, f.Words(t.in()))
	}
	banks := map[plant.BankID]bool{}
	for _, x := range entries {
		allowed, _ := t.permitted([]phrase.Item{{Place: x.Place, Body: x.Body}})
		if len(allowed) == 0 {
			in.Barred++
			continue
		}
		if x.By == "file" {
			x.By = t.who
		}
		x.Line = droppedLine(name, t.m, x.Line)
		in.entries = append(in.entries, x)
		banks[x.Place] = true
		if x.Kind == entry.KindSwap {
			in.Swaps++
		} else {
			in.Readings++
		}
		if in.First.IsZero() || x.At.Before(in.First) {
			in.First = x.At
		}
		if x.At.After(in.Last) {
			in.Last = x.At
		}
	}
	in.Banks = len(banks)
	in.TooMany = len(in.entries) > maxDroppedRows
	return in
}

// guessedColumns are what the columns of other names are taken for. The summary
// shows them, and the button under it is what confirms them.
func guessedColumns(name string, raw []byte) (registerfile.Columns, []say.GuessedColumn) {
	all, _ := registerfile.GuessColumns(name, bytes.NewReader(raw), true) // its faults are told when it is read
	cols := registerfile.Columns{}
	var out []say.GuessedColumn
	for _, g := range all {
		if _, twice := cols[g.Header]; g.Why != "" || twice {
			continue
		}
		cols[g.Header] = g.As
		out = append(out, say.GuessedColumn{Header: g.Header, Column: g.Column, Unit: g.Unit, Sample: g.Sample})
	}
	return cols, out
}

// here is the register of the sites that are spoken of: a tag in a site's channel
// is that site's.
func (t *talk) here() *plant.Register {
	c := t.reg.Contents()
	c.Sites = slices.DeleteFunc(slices.Clone(c.Sites), func(s plant.Site) bool { return !slices.Contains(t.scope.Sites, s.ID) })
	elsewhere := func(id plant.BankID) bool { return !slices.Contains(t.scope.Sites, id.Site()) }
	c.AHUs, c.Banks = maps.Clone(c.AHUs), maps.Clone(c.Banks)
	maps.DeleteFunc(c.AHUs, func(id plant.BankID, _ plant.AHU) bool { return elsewhere(id) })
	maps.DeleteFunc(c.Banks, func(id plant.BankID, _ plant.Bank) bool { return elsewhere(id) })
	return plant.NewRegister(c)
}

// noHistory reports whether a file has no columns of readings at all: then it is
// some other table.
func noHistory(faults []registerfile.Fault) bool {
	return slices.ContainsFunc(faults, func(f registerfile.Fault) bool { return f.Row == 0 })
}

// known counts the entries that are in the ledger already.
func (e *Engine) known(ctx context.Context, entries []entry.Entry) (int, error) {
	if len(entries) == 0 {
		return 0, nil
	}
	made, err := e.Store.Entries(ctx, ledger.Filter{Source: fileKey(entries[0].Source) + ":"})
	if err != nil {
		return 0, err
	}
	there := map[string]bool{}
	for _, x := range made {
		there[x.Source] = true
	}
	n := 0
	for _, x := range entries {
		if there[x.Source] {
			n++
		}
	}
	return n, nil
}

// filePrefix begins the once-only keys of rows of files.
const filePrefix = "file:"

// droppedLine is what stands as evidence beside a row: the file, the channel it
// was dropped into, and the row's note. The keys of rows are those of the file
// wherever it is read, so that "undo" finds the channel here.
func droppedLine(name string, m channel.Message, note string) string {
	return strings.TrimSpace(name + droppedAt(m) + " " + note)
}

func droppedAt(m channel.Message) string { return " (" + strings.TrimSuffix(channelKey(m), ":") + ")" }

// droppedIn reports whether an entry is a row of a file that was dropped into a
// message's channel.
func droppedIn(x entry.Entry, m channel.Message) bool {
	return strings.HasPrefix(x.Source, filePrefix) && strings.Contains(x.Line, droppedAt(m))
}

// fileKey is the part of a source key that names the file: "file:" and its hash.
func fileKey(source string) string {
	parts := strings.SplitN(source, ":", 3)
	return strings.Join(parts[:min(2, len(parts))], ":")
}

func (e *Engine) summarise(ctx context.Context, t *talk, in examined, kept table) error {
	p := e.ready(t, ReplyKey(t.m), channel.Post{Text: say.FileFound(in.FileSummary, t.sites[0], e.Now())})
	if list, long := in.FaultList(); long {
		name := strings.TrimSuffix(in.Name, filepath.Ext(in.Name)) + "-faults.txt"
		p.Post.Files = []channel.File{{Name: name, Title: name, Data: list}}
	}
	if n := len(in.entries) - in.Known; n > 0 && !in.TooMany {
		raw, err := json.Marshal(kept)
		if err != nil {
			return err
		}
		p.Recipe = raw
		p.Post.Choices = []channel.Choice{{Label: t.in().Text("Record %d", n), Action: actionImport, Value: p.Key}}
	}
	return e.commit(ctx, ledger.Batch{Posts: []ledger.OutboxPost{p}})
}

// imported records a file that was summarised before. Its rows carry the file's
// own once-only keys, so that a second press finds nothing new.
func (e *Engine) imported(ctx context.Context, t *talk, key string) error {
	post, err := e.Store.Post(ctx, key)
	if err != nil && !errors.Is(err, ledger.ErrNotFound) {
		return err
	}
	var kept table
	raw := []byte(nil)
	if err == nil && json.Unmarshal(post.Recipe, &kept) == nil {
		raw, err = unpacked(kept.Data)
	}
	if err != nil || len(raw) == 0 {
		return e.hint(ctx, t, say.StaleButton(t.in()))
	}
	if !t.ofAnyCrew() {
		return e.reply(ctx, t, channel.Post{Text: say.NotAllowed(entry.KindReading, t.sites[0])})
	}
	in := e.examine(t, kept.Name, raw)
	if in.Known, err = e.known(ctx, in.entries); err != nil {
		return err
	}
	reply := channel.Post{Text: say.FileRecorded(t.in(), in.FileSummary)}
	if len(in.entries) > in.Known {
		reply.Choices = []channel.Choice{say.UndoButton(t.in(), fileKey(in.entries[0].Source))}
	}
	return e.commit(ctx, ledger.Batch{Entries: in.entries, Posts: []ledger.OutboxPost{e.ready(t, ReplyKey(t.m), reply)}})
}

func packed(raw []byte) []byte {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, _ = w.Write(raw) // into memory: it cannot fail
	_ = w.Close()
	return b.Bytes()
}

func unpacked(data []byte) ([]byte, error) {
	r, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	return io.ReadAll(io.LimitReader(r, maxDropped+1))
}
