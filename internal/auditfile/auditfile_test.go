package auditfile_test

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/shopspring/decimal"
	"github.com/xuri/excelize/v2"

	"clogwise/internal/auditfile"
	"clogwise/internal/chart"
	"clogwise/internal/digest"
	"clogwise/internal/duelist"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

var now = time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC)

// hostile are cells that a spreadsheet would run. List after the OWASP page on
// CSV injection: = + - @ tab, carriage return; | and % start commands in some.
var hostile = []string{`=HYPERLINK("http://x","y")`, "+1+1", "-2+3", "@SUM(A1)", "\t=1+1", "\r=1+1", "|calc", "%0A=1"}

func TestNoCellIsAFormula(t *testing.T) {
	t.Parallel()
	in := auditfile.Table{Name: "T", Head: []string{"a"}}
	for _, h := range hostile {
		in.Rows = append(in.Rows, []any{h})
	}
	in.Rows = append(in.Rows, []any{-4.5}, []any{"a \"quoted\", line\nbreak"})
	raw, err := auditfile.CSV(in)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(raw, []byte("\ufeff")))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	book, err := auditfile.XLSX(in)
	if err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(bytes.NewReader(book))
	if err != nil {
		t.Fatal(err)
	}
	cells, err := f.GetRows("T")
	if err != nil {
		t.Fatal(err)
	}
	for i, h := range hostile {
		for form, got := range map[string]string{"csv": rows[i+1][0], "xlsx": cells[i+1][0]} {
			if first := got[0]; first != '\'' && first != ' ' {
				t.Errorf("%s: %q stands as %q", form, h, got)
			}
			if strings.HasPrefix(strings.TrimSpace(got), "=") {
				t.Errorf("%s: %q stands as %q", form, h, got)
			}
		}
		if formula, err := f.GetCellFormula("T", "A"+string(rune('2'+i))); err != nil || formula != "" {
			t.Errorf("%q is a formula: %q %v", h, formula, err)
		}
	}
	last := len(rows) - 1
	if rows[last-1][0] != "-4.5" || rows[last][0] != "a \"quoted\", line\nbreak" {
		t.Errorf("honest cells %q", rows[last-1:])
	}
}

func TestDueTable(t *testing.T) {
	t.Parallel()
	booked := now.AddDate(0, 0, 1)
	site := plant.Site{ID: "s", Name: "Site", Currency: "GBP", Zone: "Europe/London"}
	b := digest.Board{Site: site, Now: now, Rows: []duelist.Row{{
		Bank: "s/a/b", Name: "AHU-1 primary", Condition: duelist.Due, PaNow: 151.26, LimitPa: 150, Governing: "150 Pa", LimitSource: "manufacturer",
		P10: now, Median: now.AddDate(0, 0, 2), P90: now.AddDate(0, 0, 9), Booked: &booked,
		WaitWeek: units.Money{Currency: "GBP", Amount: decimal.RequireFromString("12.345")},
		Findings: []string{"=cmd"},
	}}}
	got := auditfile.Due(b)
	cells := map[string]any{}
	for i, h := range got.Head {
		cells[h] = got.Rows[0][i]
	}
	for head, want := range map[string]any{
		"bank": "s/a/b", "condition": "due", "Pa now": 151.3, "limit Pa": 150.0, "clean Pa": nil, "earliest (1 in 10)": "2026-03-04",
		"most likely": "2026-03-06", "booked": "2026-03-05 10:00", "put off until": nil, "cost of a week's wait": 12.35, "currency": "GBP",
	} {
		if d := cmp.Diff(want, cells[head]); d != "" {
			t.Errorf("%s: %s", head, d)
		}
	}
	tables := auditfile.Digest(b, plant.NewRegister(plant.Contents{Sites: []plant.Site{site}}), digest.Since{From: now.AddDate(0, 0, -7), To: now, Readings: 4})
	book, err := auditfile.XLSX(tables...)
	if err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(bytes.NewReader(book))
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(f.GetSheetList(), ", "); got != "Due, Visits, Orders, Doubtful, Owed, Done and energy" {
		t.Errorf("sheets %s", got)
	}
}

func TestChartTables(t *testing.T) {
	t.Parallel()
	in := chart.Input{Title: "AHU-1 primary", Loc: time.UTC, LimitPa: 150, Readings: []chart.Reading{{At: now, Pa: 0}, {At: now, Pa: 99.64, Doubtful: true}}}
	tables := auditfile.Chart(in, locale.Locale{})
	// 99.64 Pa / 249.089 Pa per in wc = 0.400 (conventional inch of water, NIST SP 811).
	want := [][]any{{"2026-03-04 10:00", 0.0, 0.0, nil, nil}, {"2026-03-04 10:00", 99.6, 0.4, "yes", nil}}
	if d := cmp.Diff(want, tables[0].Rows); d != "" {
		t.Error(d)
	}
	if _, err := auditfile.XLSX(tables...); err != nil {
		t.Error(err)
	}
}
