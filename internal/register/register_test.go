package register_test

import (
	"encoding/json"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/shopspring/decimal"

	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/register"
)

var same = cmp.Options{cmpopts.EquateEmpty(), cmp.Comparer(decimal.Decimal.Equal)}

// filed is edits as entries of the ledger, one a minute, numbered from seq.
func filed(edits []entry.RegisterEdit, seq int64, from time.Time) []entry.Entry {
	var out []entry.Entry
	for i, e := range edits {
		at := from.Add(time.Duration(i) * time.Minute)
		out = append(out, entry.Entry{Seq: seq + int64(i), Kind: entry.KindRegister, Place: "clinic", At: at, Received: at, Body: e})
	}
	return out
}

var may = time.Date(2026, 5, 1, 9, 0, 0, 0, time.UTC)

func sorted(c plant.Contents) plant.Contents { return plant.NewRegister(c).Contents() }

func fold(t *testing.T, entries []entry.Entry) plant.Contents {
	t.Helper()
	c, err := register.Fold(entries)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestEditsLeadToTheRegisterTheyWereMadeFrom(t *testing.T) {
	t.Parallel()
	want := demo.Portfolio()
	entries := filed(register.Diff(nil, want), 1, may)
	if len(entries) != len(want.Sites)+len(want.Items)+len(want.AHUs)+len(want.Banks) {
		t.Errorf("%d edits", len(entries))
	}
	rand.New(rand.NewPCG(1, 1)).Shuffle(len(entries), func(i, j int) { entries[i], entries[j] = entries[j], entries[i] })
	got := fold(t, entries)
	if diff := cmp.Diff(sorted(want), got, same); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if again := register.Diff(plant.NewRegister(got), want); len(again) != 0 {
		t.Errorf("the same register makes %d edits more, first %+v", len(again), again[0])
	}
}

func TestOneAlteredLimitIsOneEdit(t *testing.T) {
	t.Parallel()
	old, next := demo.Portfolio(), demo.Portfolio()
	const id = "clinic/ahu-3/secondary"
	b := next.Banks[id]
	b.LimitPa = 180
	next.Banks[id] = b
	edits := register.Diff(plant.NewRegister(old), next)
	if len(edits) != 1 || edits[0].Object != register.ObjectBank || edits[0].ID != id || edits[0].Removed {
		t.Fatalf("edits %+v", edits)
	}
	var got plant.Bank
	if err := json.Unmarshal(edits[0].Value, &got); err != nil || got.LimitPa != 180 || got.Item != b.Item {
		t.Errorf("value %+v, %v", got, err)
	}
}

func TestRemovalsComeLastAndFromTheInside(t *testing.T) {
	t.Parallel()
	old := demo.Portfolio()
	next := demo.Portfolio()
	delete(next.AHUs, "hall/ahu-5")
	delete(next.Banks, "hall/ahu-5/primary")
	delete(next.Banks, "hall/ahu-5/return")
	next.Items = next.Items[1:]
	next.Sites[0].Name = "Quillford Health Centre"
	edits := register.Diff(plant.NewRegister(old), next)
	var order []string
	for _, e := range edits {
		word := "set "
		if e.Removed {
			word = "remove "
		}
		order = append(order, word+e.Object+" "+e.ID)
	}
	want := "set site clinic, remove bank hall/ahu-5/return, remove bank hall/ahu-5/primary, remove ahu hall/ahu-5, remove item QC-P48"
	if got := strings.Join(order, ", "); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	entries := append(filed(register.Diff(nil, old), 1, may), filed(edits, 1000, may.AddDate(0, 1, 0))...)
	if diff := cmp.Diff(sorted(next), fold(t, entries), same); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestHistoryKnowsWhichLimitAppliedWhen(t *testing.T) {
	t.Parallel()
	const id = "clinic/ahu-3/secondary"
	first, second := demo.Portfolio(), demo.Portfolio()
	b := second.Banks[id]
	b.LimitPa = 180
	second.Banks[id] = b
	june := may.AddDate(0, 1, 0)
	entries := append(filed(register.Diff(nil, first), 1, may), filed(register.Diff(plant.NewRegister(first), second), 1000, june)...)
	for _, tc := range []struct {
		at    time.Time
		limit float64
		there bool
	}{
		{may.Add(-time.Second), 0, false},
		{june.Add(-time.Second), 0, true}, // the item's limit rules
		{june, 180, true},
	} {
		c, err := register.At(entries, tc.at)
		if err != nil {
			t.Fatal(err)
		}
		got, there := c.Banks[id]
		if there != tc.there || got.LimitPa != tc.limit {
			t.Errorf("at %v: limit %v, there %v; want %v, %v", tc.at, got.LimitPa, there, tc.limit, tc.there)
		}
	}
}

func TestRetractedAndAmendedEdits(t *testing.T) {
	t.Parallel()
	entries := filed(register.Diff(nil, demo.Portfolio()), 1, may)
	raise := func(limit float64) entry.RegisterEdit {
		b := demo.Portfolio().Banks["clinic/ahu-3/secondary"]
		b.LimitPa = limit
		raw, err := json.Marshal(b)
		if err != nil {
			t.Fatal(err)
		}
		return entry.RegisterEdit{Object: register.ObjectBank, ID: "clinic/ahu-3/secondary", Value: raw}
	}
	limit := func(more ...entry.Entry) float64 {
		t.Helper()
		return fold(t, append(entries[:len(entries):len(entries)], more...)).Banks["clinic/ahu-3/secondary"].LimitPa
	}
	edit := entry.Entry{Seq: 900, Kind: entry.KindRegister, At: may, Body: raise(180)}
	if got := limit(edit); got != 180 {
		t.Errorf("edited: %v", got)
	}
	amended := entry.Entry{Seq: 901, Kind: entry.KindAmend, At: may, Body: entry.Amend{Target: 900, Body: raise(190)}}
	if got := limit(edit, amended); got != 190 {
		t.Errorf("amended: %v", got)
	}
	retracted := entry.Entry{Seq: 902, Kind: entry.KindRetract, At: may, Body: entry.Retract{Target: 900}}
	if got := limit(edit, retracted); got != 0 {
		t.Errorf("retracted: %v", got)
	}
	// Of two edits the later in the ledger counts, whatever time it names.
	backdated := entry.Entry{Seq: 903, Kind: entry.KindRegister, At: may.AddDate(0, -1, 0), Body: raise(170)}
	if got := limit(edit, backdated); got != 170 {
		t.Errorf("backdated: %v", got)
	}
}

func TestRemovingAPlaceRemovesWhatIsBelow(t *testing.T) {
	t.Parallel()
	entries := filed(register.Diff(nil, demo.Portfolio()), 1, may)
	next := int64(900)
	remove := func(object, id string) {
		entries = append(entries, entry.Entry{Seq: next, Kind: entry.KindRegister, At: may, Body: entry.RegisterEdit{Object: object, ID: id, Removed: true}})
		next++
	}
	remove(register.ObjectSite, "works")
	remove(register.ObjectAHU, "clinic/ahu-1")
	remove(register.ObjectBank, "clinic/ahu-2/return")
	remove(register.ObjectItem, "EM-V96")
	reg := plant.NewRegister(fold(t, entries))
	if n := len(reg.Banks("works")) + len(reg.AHUs("works")) + len(reg.Banks("clinic/ahu-1")); n != 0 {
		t.Errorf("%d things outlived their place", n)
	}
	if n := len(reg.Banks("clinic/ahu-2")); n != 2 {
		t.Errorf("clinic/ahu-2 has %d banks, want 2", n)
	}
	if n := len(reg.Banks("clinic/ahu-t1")); n != 3 {
		t.Errorf("clinic/ahu-t1 has %d banks, want 3", n)
	}
	if _, ok := reg.Item("EM-V96"); ok {
		t.Error("the item is still there")
	}
}

func TestUnreadableEditsAreNamedAndLeftOut(t *testing.T) {
	t.Parallel()
	entries := filed(register.Diff(nil, demo.Portfolio()), 1, may)
	good := len(entries)
	for i, e := range []entry.RegisterEdit{
		{Object: "bank", ID: "x/y/z", Value: json.RawMessage(`{"limit_pa":"high"}`)},
		{Object: "pump", ID: "p-1", Value: json.RawMessage(`{}`)},
		{Object: "pump", ID: "p-1", Removed: true},
	} {
		entries = append(entries, entry.Entry{Seq: int64(900 + i), Kind: entry.KindRegister, At: may, Body: e})
	}
	c, err := register.Fold(entries)
	if err == nil {
		t.Fatal("no error")
	}
	for _, want := range []string{"#900: x/y/z: ", `#901: object "pump" is unknown`, "#902: object"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("error %q lacks %q", err, want)
		}
	}
	if n := len(c.Sites) + len(c.Items) + len(c.AHUs) + len(c.Banks); n != good {
		t.Errorf("%d objects, want %d", n, good)
	}
}
