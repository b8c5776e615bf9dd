package registerfile_test

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/registerfile"
)

var (
	register = plant.NewRegister(demo.Portfolio())
	today    = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
)

func history(name, text string) ([]entry.Entry, []registerfile.Fault) {
	return registerfile.ReadHistory(name, strings.NewReader(text), register, today)
}

func TestReadingsAndSwapsOfOneFile(t *testing.T) {
	t.Parallel()
	entries, faults := history("past.csv", `time,site,ahu,bank,kind,pa,value,unit,flow,flow unit,fan_hz,fan_pct,wet,count,by,note
2026-03-02 08:15,clinic,ahu 3,secondary,,145,,,,,45,,,,Tove,gauge tapped
2026-03-02T08:15:00+01:00,Musikhaus Ellernbrück,RLT-1,Taschen,,,"0,45",in wc,12000,m3/h,,,yes,,,
2026-03-03 10:00,works,RTU-7,,swap,,0.21,inwc,,,,100,,4,Bea,
`)
	for _, f := range faults {
		t.Error(f)
	}
	if len(entries) != 3 {
		t.Fatalf("%d entries, want 3", len(entries))
	}
	first := entries[0]
	if first.Place != "clinic/ahu-3/secondary" || first.By != "Tove" || first.Line != "gauge tapped" || !first.Received.Equal(today) {
		t.Errorf("first %+v", first)
	}
	if want := time.Date(2026, 3, 2, 8, 15, 0, 0, time.UTC); !first.At.Equal(want) { // London winter time is UTC
		t.Errorf("first at %v, want %v", first.At, want)
	}
	r, _ := first.Body.(entry.Reading)
	if r.Pa != 145 || r.StepPa != 1 || r.FanHz == nil || *r.FanHz != 45 || r.FlowM3s != nil {
		t.Errorf("first reading %+v", r)
	}
	r, _ = entries[1].Body.(entry.Reading)
	// 0.45 in of conventional water, 249.08891 Pa each (NIST SP 811); 12000/3600 m³/s.
	if math.Abs(r.Pa-112.09001) > 1e-4 || math.Abs(r.StepPa-2.4908891) > 1e-6 || math.Abs(*r.FlowM3s-12000.0/3600) > 1e-12 || !r.Wet || r.Unit != "inH2O" {
		t.Errorf("second reading %+v", r)
	}
	if want := time.Date(2026, 3, 2, 7, 15, 0, 0, time.UTC); !entries[1].At.Equal(want) || entries[1].Place != "hall/ahu-1/secondary" {
		t.Errorf("second at %v, place %s", entries[1].At, entries[1].Place)
	}
	s, ok := entries[2].Body.(entry.Swap)
	if !ok || entries[2].Kind != entry.KindSwap || *s.Count != 4 || math.Abs(*s.CleanPa-52.30867) > 1e-4 || *s.FanPct != 100 || !s.Confirmed || s.Who != "Bea" {
		t.Errorf("swap %+v", s)
	}
	if want := time.Date(2026, 3, 3, 16, 0, 0, 0, time.UTC); !entries[2].At.Equal(want) { // Chicago winter time is UTC−6
		t.Errorf("swap at %v, want %v", entries[2].At, want)
	}
}

func TestSourceKeysAreTheFileAndTheRow(t *testing.T) {
	t.Parallel()
	const text = "time,ahu,bank,pa\n2026-03-02 08:00,AHU-T1,primary,60\n2026-03-03 08:00,AHU-T1,primary,61\n"
	a, _ := history("a.csv", text)
	b, _ := history("renamed.csv", text)
	c, _ := history("a.csv", text+"\n")
	if len(a) != 2 || len(b) != 2 || len(c) != 2 {
		t.Fatal(len(a), len(b), len(c))
	}
	if a[0].Source != b[0].Source {
		t.Error("the same bytes under another name are another source")
	}
	if a[0].Source == a[1].Source || a[0].Source == c[0].Source {
		t.Error("other rows or other bytes have the same source")
	}
	if !strings.HasPrefix(a[0].Source, "file:") || !strings.HasSuffix(a[0].Source, ":2") || len(a[0].Source) != len("file:")+16+len(":2") {
		t.Errorf("source %q", a[0].Source)
	}
}

func TestHistoryFaults(t *testing.T) {
	t.Parallel()
	row := func(cells string) string {
		return "time,site,ahu,bank,kind,pa,value,unit,flow,flow_unit,fan_hz,count,item,wet,point\n" + cells + "\n"
	}
	const when = "2026-03-02 08:00,"
	cases := []struct{ name, text, want string }{
		{"future", row("2026-11-26 08:00,clinic,AHU-3,secondary,,145"), "time: 2026-11-26 08:00 lies in the future"},
		{"long ago", row("1926-11-26 08:00,clinic,AHU-3,secondary,,145"), "time: 1926-11-26 08:00 is too long ago"},
		{"no time", row(",clinic,AHU-3,secondary,,145"), "time: missing; write a time such as"},
		{"day or month", row("03/02/2026 08:00,clinic,AHU-3,secondary,,145"), `time: "03/02/2026 08:00": day or month first?`},
		{"no time at all", row("last week,clinic,AHU-3,secondary,,145"), `time: "last week" is not a time`},
		{"skipped hour", row("2026-03-29 01:30,clinic,AHU-3,secondary,,145"), "time: 2026-03-29 01:30 did not exist in Europe/London"},
		{"unknown site", row(when + "moon,AHU-3,secondary,,145"), `site: "moon" is not a site of the register`},
		{"tag at two sites", row(when + ",AHU-3,secondary,,145"), `site: "AHU-3" is at 2 sites; write which`},
		{"unknown ahu", row(when + "clinic,AHU-33,secondary,,145"), `ahu: "AHU-33" is no AHU`},
		{"unknown bank", row(when + "clinic,AHU-3,fourth,,145"), `bank: "fourth" is not a bank of AHU-3; it has primary, secondary`},
		{"which of the banks", row(when + "clinic,AHU-3,,,145"), `bank: "" is not a bank of AHU-3`},
		{"unknown point", row(when + ",,,,145,,,,,,,,,X.Y"), `point: "X.Y" feeds no bank`},
		{"unknown kind", row(when + "clinic,AHU-3,secondary,wish,145"), `kind: "wish" is unknown; write reading or swap`},
		{"no reading", row(when + "clinic,AHU-3,secondary,,"), "pa: missing; write the reading"},
		{"not a number", row(when + "clinic,AHU-3,secondary,,lots"), `pa: "lots" is not a number`},
		{"unknown unit", row(when + "clinic,AHU-3,secondary,,,145,bananas"), `unit: "bananas" is not a unit of pressure`},
		{"unknown unit in the cell", row(when + "clinic,AHU-3,secondary,,145 feet"), `pa: "feet" is not a unit of pressure`},
		{"no unit", row(when + "clinic,AHU-3,secondary,,,145"), "unit: missing; write the unit of the value"},
		{"over-large", row(when + "clinic,AHU-3,secondary,,145000"), "pa: 145000 is more than any filter gauge shows; check the unit"},
		{"endless", row(when + "clinic,AHU-3,secondary,,1e999"), "pa: 1e999 is more than any filter gauge shows"},
		{"airflow unit", row(when + "clinic,AHU-3,secondary,,145,,,3"), `flow: "" is not a unit of airflow`},
		{"airflow", row(when + "clinic,AHU-3,secondary,,145,,,fast,L/s"), `flow: "fast" is not a number`},
		{"airflow too large", row(when + "clinic,AHU-3,secondary,,145,,,3000,m3/s"), "flow: 3000 is not possible"},
		{"fan speed", row(when + "clinic,AHU-3,secondary,,145,,,,,4500"), "fan_hz: 4500 is not possible; write a number from 0 to 120"},
		{"fan speed no number", row(when + "clinic,AHU-3,secondary,,145,,,,,full"), `fan_hz: "full" does not fit`},
		{"count", row(when + "clinic,AHU-3,secondary,swap,65,,,,,,four"), `count: "four" is no count of filters`},
		{"item", row(when + "clinic,AHU-3,secondary,swap,65,,,,,,4,XX-1"), `item: "XX-1" is not an item of the register`},
		{"flag", row(when + "clinic,AHU-3,secondary,,65,,,,,,,,damp"), `wet: "damp" does not fit`},
		{"unknown column", "time,ahu,pa,colour\n", "colour: unknown column"},
		{"no columns", "when,what\n1,2\n", "has no history: columns time and ahu (or point) are needed"},
	}
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			entries, faults := history("past.csv", tc.text)
			if len(entries) > 0 {
				t.Errorf("entries in spite of it: %+v", entries)
			}
			var said []string
			for _, f := range faults {
				said = append(said, f.String())
			}
			if !strings.Contains(strings.Join(said, "\n"), tc.want) {
				t.Errorf("want %s\ngot %s", tc.want, strings.Join(said, "\n"))
			}
		})
	}
	if _, faults := history("past.pdf", ""); len(faults) != 1 || !strings.Contains(faults[0].Text, `".pdf" is not a form`) {
		t.Error(faults)
	}
}

func TestGoodRowsBesideBadOnesAndAllFaultsAreTold(t *testing.T) {
	t.Parallel()
	entries, faults := history("past.csv", "time,ahu,bank,pa\n2026-03-02 08:00,AHU-T1,primary,60\nsoon,AHU-T1,primary,60\n2026-03-04 08:00,AHU-T1,primary,x\n2026-03-05 08:00,AHU-T1,primary,-3\n")
	if len(entries) != 2 || len(faults) != 2 || faults[0].Row != 3 || faults[1].Row != 4 {
		t.Errorf("%d entries, faults %v", len(entries), faults)
	}
	if r, _ := entries[1].Body.(entry.Reading); r.Pa != -3 { // kept as evidence: hoses may be swapped
		t.Errorf("negative reading %+v", r)
	}
}

// Zone rule: of an hour that the clocks repeat the first is meant. In London
// they go back on 25 October 2026 at 02:00 BST; in Chicago on 1 November.
func TestRepeatedHourMeansTheFirst(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		row  string
		want time.Time
	}{
		{"2026-10-25 01:30,clinic,AHU-3,primary,100", time.Date(2026, 10, 25, 0, 30, 0, 0, time.UTC)},
		{"2026-11-01 01:30,works,MAU-2,primary,100", time.Date(2026, 11, 1, 6, 30, 0, 0, time.UTC)},
		{"2026-10-25 00:30,clinic,AHU-3,primary,100", time.Date(2026, 10, 24, 23, 30, 0, 0, time.UTC)},
		{"2026-10-25 02:30,clinic,AHU-3,primary,100", time.Date(2026, 10, 25, 2, 30, 0, 0, time.UTC)},
		{"25.10.2026,clinic,AHU-3,primary,100", time.Date(2026, 10, 25, 12, 0, 0, 0, time.UTC)}, // a day alone is its noon
	} {
		entries, faults := history("past.csv", "time,site,ahu,bank,pa\n"+tc.row+"\n")
		if len(faults) > 0 || len(entries) != 1 || !entries[0].At.Equal(tc.want) {
			t.Errorf("%s: %v %v, want %v", tc.row, entries, faults, tc.want)
		}
	}
}

// A table may name banks as the crew does.
func TestHistoryKnowsTheCrewsWords(t *testing.T) {
	t.Parallel()
	for word, want := range map[string]plant.BankID{
		"bag": "clinic/ahu-3/secondary", "Pocket filters": "clinic/ahu-3/secondary", "pleats": "clinic/ahu-3/primary", "Vorfilter": "clinic/ahu-3/primary",
	} {
		entries, faults := history("past.csv", "time,site,ahu,bank,pa\n2026-03-02 08:00,clinic,AHU-3,"+word+",145\n")
		if len(faults) > 0 || len(entries) != 1 || entries[0].Place != want {
			t.Errorf("%s: %v %v, want %s", word, entries, faults, want)
		}
	}
}

func TestHistoryFromAWorkbook(t *testing.T) {
	t.Parallel()
	f := excelize.NewFile()
	defer f.Close()
	cells := []struct {
		at string
		v  any
	}{
		{"A1", "Time"}, {"B1", "Point"}, {"C1", "Value"}, {"D1", "Unit"},
		{"A2", time.Date(2026, 3, 2, 14, 30, 0, 0, time.UTC)}, {"B2", "bf.ahu11.final_dp"}, {"C2", 0.62}, {"D2", "in. w.c."},
	}
	for _, c := range cells {
		if err := f.SetCellValue("Sheet1", c.at, c.v); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	entries, faults := registerfile.ReadHistory("trend.xlsx", &b, register, today)
	if len(faults) > 0 || len(entries) != 1 {
		t.Fatal(faults, entries)
	}
	if want := time.Date(2026, 3, 2, 20, 30, 0, 0, time.UTC); !entries[0].At.Equal(want) { // 14:30 in Chicago
		t.Errorf("at %v, want %v", entries[0].At, want)
	}
	if entries[0].Place != "works/ahu-11/secondary" || !strings.HasSuffix(entries[0].Source, ":Sheet1:2") {
		t.Errorf("entry %+v", entries[0])
	}
}

// The demo's own history, written as a file, comes back as it was.
func TestDemoHistoryThroughAFile(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	b.WriteString("time,site,ahu,bank,pa\n")
	n := 0
	for _, e := range demo.History(demo.Portfolio(), today, 3) {
		if r, ok := e.Body.(entry.Reading); ok {
			site, ahu, bank := e.Place.Split()
			fmt.Fprintf(&b, "%s,%s,%s,%s,%g\n", e.At.In(register.Location(site)).Format("2006-01-02 15:04:05"), site, ahu, bank, r.Pa)
			n++
		}
	}
	entries, faults := history("demo.csv", b.String())
	if len(faults) > 0 || len(entries) != n {
		t.Errorf("%d entries of %d, faults %v", len(entries), n, faults)
	}
}

func FuzzReadHistory(f *testing.F) {
	f.Add("time,site,ahu,bank,pa\n2026-03-02 08:00,clinic,AHU-3,primary,100\n")
	f.Add("time;point;value;unit\n46083.6;bf.ahu11.final_dp;0,62;in wc\n")
	f.Add("time,ahu,bank,kind,count,pa\n02.03.2026,AHU-T1,third,swap,4,1e-400\n")
	f.Fuzz(func(t *testing.T, text string) {
		entries, _ := history("past.csv", text)
		for _, e := range entries {
			if e.At.After(today) || e.Place == "" || e.Source == "" || e.Body == nil || e.Body.Kind() != e.Kind {
				t.Errorf("entry %+v", e)
			}
			if r, ok := e.Body.(entry.Reading); ok && !(math.Abs(r.Pa) <= 5000) {
				t.Errorf("reading %+v", r)
			}
		}
	})
}
