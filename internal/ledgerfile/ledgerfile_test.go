package ledgerfile_test

import (
	"bytes"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/entry"
	"clogwise/internal/ledgerfile"
	"clogwise/internal/plant"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 123456789, time.UTC)

var forms = []string{"l.ndjson", "l.csv", "l.xlsx"}

func entries(texts ...string) []entry.Entry {
	var out []entry.Entry
	add := func(place plant.BankID, text string, b entry.Body) {
		out = append(out, entry.Entry{
			Seq: int64(len(out) + 1), Source: fmt.Sprintf("s:%d:%s", len(out), text), Kind: b.Kind(), Place: place, At: noon, Received: noon.Add(time.Second),
			By: text, Line: text, Body: b,
		})
	}
	pa := 62.5
	add("north/ahu-1/secondary", "ahu1 bag 145pa", entry.Reading{Pa: 145, Quality: "x"})
	add("north/ahu-1/secondary", "", entry.Amend{Target: 1, Body: entry.Reading{Pa: 154}})
	add("north/ahu-1/secondary", "undo", entry.Retract{Target: 2, Reason: "wrong bank"})
	add("", "", entry.Order{Item: "XB-1", Count: 12})
	add("north/ahu-1/secondary", "", entry.Swap{CleanPa: &pa})
	for _, text := range texts {
		add("north", text, entry.Event{What: text})
	}
	return out
}

// hard are texts that spreadsheets and table formats are known to lose or to run.
var hard = []string{
	"=1+1", "+1", "-1", "@sum(a1)", "'quoted", "''", "' ", " led", "trailing ", "a\r\nb\nc\rd\te", `back\slash \n \u0041`, `a "quote", and; more`,
	"_x000D_", "_x0041_", "\u2028\u00a0\u0085é€𝄞", "1e5", "007", "2026-03-02", "TRUE", strings.Repeat("long ", 2000), "\x01\x1f\x7f", "#N/A", "\ufeffmark",
}

func TestRoundTrip(t *testing.T) {
	t.Parallel()
	for _, form := range forms {
		t.Run(form, func(t *testing.T) {
			t.Parallel()
			want := entries(hard...)
			want = append(want, entry.Entry{Seq: int64(len(want) + 1), Source: "long body", Kind: entry.KindEvent, Place: "north", At: noon, Body: entry.Event{What: strings.Repeat("ä=1,", 20_000)}})
			got := roundTrip(t, form, want)
			if d := cmp.Diff(want, got); d != "" {
				t.Error(d)
			}
		})
	}
}

func roundTrip(t *testing.T, form string, in []entry.Entry) []entry.Entry {
	t.Helper()
	var file bytes.Buffer
	w, err := ledgerfile.NewWriter(form, &file)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range in {
		if err := w.Add(e); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	var out []entry.Entry
	if err := ledgerfile.Read(form, &file, func(e entry.Entry) error { out = append(out, e); return nil }); err != nil {
		t.Fatal(err)
	}
	return out
}

// No cell of a table begins as a formula does.
func TestFormulasAreNeutralised(t *testing.T) {
	t.Parallel()
	var file bytes.Buffer
	w, err := ledgerfile.NewWriter("l.csv", &file)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries("=cmd|' /c calc'!A1", "+1", "-1", "@x", "\t=1") {
		if err := w.Add(e); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	for _, cell := range strings.FieldsFunc(file.String(), func(r rune) bool { return r == ',' || r == '\n' }) {
		if strings.ContainsRune("=+-@\t\r", rune(strings.Trim(cell, `"`+" ")[:1][0])) {
			t.Errorf("cell %q", cell)
		}
	}
}

func TestReadRefuses(t *testing.T) {
	t.Parallel()
	const head = "seq,source,kind,place,at,received,by,line,body\n"
	for _, tc := range []struct{ name, text, want string }{
		{"l.csv", "", "no header"},
		{"l.csv", "time,pa\n", `no column "seq"`},
		{"l.csv", head + "1,s,reading,a/b/c,2026-03-02T12:00:00Z,,,,\"{\"\"pa\"\":1}\"\nx,s,reading,a/b/c,,,,,{}\n", `row 3: seq: "x"`},
		{"l.csv", head + "1,s,reading,a/b/c,02/03/2026,,,,{}\n", "row 2: at:"},
		{"l.csv", head + "1,s,wishes,a/b/c,,,,,{}\n", `kind "wishes"`},
		{"l.csv", head + `1,s\q,reading,a/b/c,,,,,{}` + "\n", "row 2: source:"},
		{"l.ndjson", "{}\n", "line 1"},
		{"l.ndjson", "\n{", "line 2"},
		{"l.xlsx", "no workbook", "not a workbook"},
		{"l.doc", "", "not a form"},
	} {
		err := ledgerfile.Read(tc.name, strings.NewReader(tc.text), func(entry.Entry) error { return nil })
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s %q: %v, want %q", tc.name, tc.text, err, tc.want)
		}
	}
}

func FuzzRoundTrip(f *testing.F) {
	for _, s := range hard {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		s = strings.ToValidUTF8(s, "\uFFFD") // as a ledger keeps it
		want := entries(s)
		for _, form := range forms[:2] {
			if d := cmp.Diff(want, roundTrip(t, form, want)); d != "" {
				t.Errorf("%s: %s", form, d)
			}
		}
	})
}

// Every kind of entry there is goes through every form, with all its fields; a
// kind that is new fails here until it is listed.
func TestEveryKindGoesThroughEveryForm(t *testing.T) {
	t.Parallel()
	f, n, day := 12.345678901234567, 7, noon.AddDate(0, 0, 1)
	reading := entry.Reading{Pa: -0.1, FlowM3s: &f, FanHz: &f, FanPct: &f, StepPa: 5, Wet: true, Suspect: true, Quality: "median of 2 of 3", Unit: "inH2O", Assumed: true,
		Window: &entry.Window{Count: 3, Used: 2, MinPa: 1e-300, MaxPa: 4999.999999999999, LowPa: 1, HighPa: 2}}
	bodies := []entry.Body{
		reading, entry.Swap{Count: &n, CleanPa: &f, BeforePa: &f, FlowM3s: &f, FanHz: &f, FanPct: &f, Item: "XB-1", Who: "Tove", Confirmed: true, Sure: true},
		entry.ZeroCheck{OffsetPa: -3}, entry.OverRange{TopPa: 500, FlowM3s: &f, FanHz: &f, FanPct: &f}, entry.Range{LowPa: 1, HighPa: 2}, entry.Skip{Reason: "=locked"},
		entry.FanOff{Reason: "works"}, entry.Defect{Note: "belt", Fixed: true, From: &day}, entry.Amend{Target: 1, Body: reading}, entry.Retract{Target: 1, Reason: "x"},
		entry.Event{What: "smoke", Until: &day}, entry.Booking{Start: day, Crew: []string{"Tove", "Idris"}, Cancelled: true}, entry.JobStart{},
		entry.JobDone{CleanPa: &f, FanHz: &f, ZeroOK: true}, entry.Stock{Item: "XB-1", Count: 3}, entry.Order{Item: "XB-1", Count: 3, Due: &day, Requested: true, Received: true},
		entry.Defer{Until: day, Reason: "y"}, entry.StepsSent{When: "during", Start: day, To: []string{"Tove"}, Steps: []string{"a"}}, entry.StepsRead{When: "during", Start: day},
		entry.RegisterEdit{Object: "item", ID: "XB-1", Removed: true, Value: []byte(`{"code":"XB-1"}`)},
		entry.Point{Name: "N.DP", Quantity: "pressure", Unit: "Pa", Scale: 0.1, Offset: -1, Trend: true, KeepDays: 35, Removed: true},
		entry.Sample{Point: "N.DP", Quantity: "pressure", Value: &f, Unit: "Pa", Pa: &f, FlowM3s: &f, FanHz: &f, FanPct: &f, OverRange: true, Wet: true, Suspect: true, Sites: []string{"north"}},
		entry.Sample{Point: "let go"}, entry.RunDay{Day: "2026-03-01", Hours: 10.25},
	}
	var want []entry.Entry
	listed := map[entry.Kind]bool{}
	for i, b := range bodies {
		listed[b.Kind()] = true
		want = append(want, entry.Entry{Seq: int64(i + 1), Source: fmt.Sprint("s:", i), Kind: b.Kind(), Place: "north/ahu-1", At: noon, Received: noon, By: "Tove", Line: "x", Body: b})
	}
	for _, k := range kindsDeclared(t) {
		if !listed[k] {
			t.Errorf("kind %q is not tried", k)
		}
	}
	for _, form := range forms {
		if d := cmp.Diff(want, roundTrip(t, form, want)); d != "" {
			t.Errorf("%s: %s", form, d)
		}
	}
}

// kindsDeclared are the constants of type Kind in package entry.
func kindsDeclared(t *testing.T) []entry.Kind {
	t.Helper()
	src, err := os.ReadFile("../entry/entry.go")
	if err != nil {
		t.Fatal(err)
	}
	var out []entry.Kind
	for _, m := range regexp.MustCompile(`Kind\w+ +Kind = "([^"]+)"`).FindAllSubmatch(src, -1) {
		out = append(out, entry.Kind(m[1]))
	}
	if len(out) < 20 {
		t.Fatalf("only %v found", out)
	}
	return out
}
