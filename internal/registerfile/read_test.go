package registerfile_test

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"clogwise/internal/demo"
	"clogwise/internal/plant"
	"clogwise/internal/registerfile"
	"clogwise/internal/units"
)

const tinyYAML = `sites:
  - id: mill
    name: Mill Lane
    zone: Europe/London
    currency: GBP
    units: SI
    jurisdiction: UK
    channel: mill
    supervisors: [Ada]
    crew: [Ben]
    ahus:
      - tag: AHU-1
        design_flow_m3s: 3
        fan_control: flow-held
        banks:
          - stage: primary
            limit_pa: 150
            item: P48
items:
  - {code: P48, name: panel, class: ISO coarse 60%, width_mm: 592, height_mm: 592, depth_mm: 48, price: 9.80, currency: GBP, lead_days: 5}
`

func faultsOf(name, text string) []string {
	_, faults := registerfile.Read(name, strings.NewReader(text))
	var said []string
	for _, f := range faults {
		said = append(said, f.String())
	}
	return said
}

func TestIDsLeftOutAreMade(t *testing.T) {
	t.Parallel()
	c, faults := registerfile.Read("r.yaml", strings.NewReader(tinyYAML))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	if b, ok := c.Banks["mill/ahu-1/primary"]; !ok || b.LimitPa != 150 {
		t.Errorf("banks %v", c.Banks)
	}
	if got := c.Items[0].Price.String(); got != "9.8" {
		t.Errorf("price %s", got)
	}
}

func TestFaultsSayWhere(t *testing.T) {
	t.Parallel()
	yaml := func(old, new string) string { return strings.Replace(tinyYAML, old, new, 1) }
	cases := []struct {
		name, file, text string
		want             []string // each the beginning of a fault, in order
	}{
		{"unknown key", "r.yaml", yaml("limit_pa", "limt_pa"), []string{
			`r.yaml, line 17, limt_pa: unknown key "limt_pa"; did you mean "limit_pa"?`}},
		{"unknown key, nothing near", "r.yaml", yaml("items:", "shoes:"), []string{
			`r.yaml, line 19, shoes: unknown key "shoes"; `}},
		{"all faults, not the first", "r.yaml", strings.NewReplacer("price: 9.80", "price: cheap", "lead_days: 5", "lead_days: soon", "limit_pa: 150", "limit_pa: high").Replace(tinyYAML), []string{
			`r.yaml, line 17, limit_pa: "high" does not fit; write a number such as 1.5`,
			`r.yaml, line 20, price: "cheap" does not fit; write an amount such as 12.50`,
			`r.yaml, line 20, lead_days: "soon" does not fit; write a whole number`}},
		{"a value that does not fit hides nothing else", "r.yaml", yaml("price: 9.80", "price: cheap, dust_g: -1"), []string{
			`r.yaml, line 20, price: "cheap" does not fit`, "r.yaml, line 20, dust_g: item P48: -1 g is not possible"}},
		{"list expected", "r.yaml", yaml("[Ada]", "Ada"), []string{`r.yaml, line 9, supervisors: is not a list`}},
		{"word expected", "r.yaml", yaml("units: SI", "units: [SI]"), []string{`r.yaml, line 6, units: is a list or has keys of its own; write a word`}},
		{"keys expected", "r.yaml", yaml("    ahus:", "    tariff: 0.2\n    ahus:"), []string{`r.yaml, line 11, tariff: has no keys`}},
		{"hours expected", "r.yaml", yaml("    ahus:", "    schedule: {hours: 14}\n    ahus:"), []string{`r.yaml, line 11, hours: has no keys`}},
		{"key twice", "r.yaml", yaml("units: SI", "units: SI\n    units: IP"), []string{`r.yaml, line 7: mapping key "units" already defined at line 6`}},
		{"bank twice", "r.yaml", yaml("          - stage: primary\n", "          - stage: primary\n          - stage: primary\n"), []string{
			`r.yaml, line 17, id: bank "mill/ahu-1/primary" is given twice, first in r.yaml, line 16`}},
		{"merging", "r.yaml", "sites:\n  - &a {id: mill}\n  - {<<: *a, name: x}\n", []string{`r.yaml, line 3, <<: merging is not read here`}},
		{"not yaml", "r.yaml", "sites: [", []string{"r.yaml, line 1: did not find expected node content"}},
		{"two documents", "r.yaml", tinyYAML + "---\nsites: []\n", []string{"r.yaml: more than one document"}},
		{"empty yaml", "r.yaml", "", []string{"r.yaml: empty; write a list of sites"}},
		{"fault of the register has its line", "r.yaml", yaml("limit_pa: 150", "limit_pa: 15000"), []string{
			"r.yaml, line 16, limit_pa: bank mill/ahu-1/primary: 15000 Pa is not possible"}},
		{"unknown form", "r.docx", "x", []string{`r.docx: ".docx" is not a form of register file; use .yaml, .csv or .xlsx`}},

		{"csv unknown column", "b.csv", "Site,AHU,Bank,Limt Pa\nmill,ahu-1,primary,150\n", []string{
			`b.csv, Limt Pa: unknown column; did you mean "limit_pa"?`}},
		{"csv column twice", "b.csv", "site,ahu,ahu\nmill,a,b\n", []string{"b.csv, ahu: column ahu is there twice"}},
		{"csv cells", "b.csv", "site,ahu,bank,limit_pa,fronts,clean_pa,read_every_days\nmill,ahu-1,primary,high,4 big ones,0.2 furlong,7.5\n", []string{
			`b.csv, row 2, limit_pa: "high" does not fit; write a number such as 1.5`,
			`b.csv, row 2, fronts: "4 big ones" does not fit; write count and size in mm`,
			`b.csv, row 2, clean_pa: "0.2 furlong" does not fit; write Pa, or a number with its unit`,
			`b.csv, row 2, read_every_days: "7.5" does not fit; write a whole number`}},
		{"csv more cells", "i.csv", "code,points,stock,price\nA,0.5;60,1,x\nB,0.5:x,1,\n", []string{
			`i.csv, row 2, points: "0.5" does not fit; write 0.944:87 (m³/s : Pa)`,
			`i.csv, row 2, price: "x" does not fit; write an amount`,
			`i.csv, row 3, points: "0.5:x" does not fit`}},
		{"csv of sites", "s.csv", "id,tariff_bands,schedule_hours,altitude_m\nmill,nights cheap,Mon 14,60 ft\n", []string{
			`s.csv, row 2, tariff_bands: "nights cheap" does not fit; write days, hours and price`,
			`s.csv, row 2, schedule_hours: "Mon 14" does not fit; write days and hours`,
			`s.csv, row 2, altitude_m: "60 ft" does not fit; write the number alone`}},
		{"csv flag and profile", "b.csv", "site,ahu,bank,gauge_absent,ahu_flow_profile,ahu_design_flow_m3s\nmill,ahu-1,primary,perhaps,0.5,6 buckets\n", []string{
			`b.csv, row 2, gauge_absent: "perhaps" does not fit; write yes or no`,
			`b.csv, row 2, ahu_flow_profile: "0.5" does not fit; write 0.6:0.3`,
			`b.csv, row 2, ahu_design_flow_m3s: "6 buckets" does not fit; write m³/s, or a number with its unit`}},
		{"csv without header", "b.csv", "site,ahu,bank,\nmill,ahu-1,primary,x\n", []string{`b.csv, row 2, column 4: "x" stands under no header`}},
		{"csv row without place", "b.csv", "site,ahu,bank\n,ahu-1,primary\n", []string{"b.csv, row 2: site or ahu missing"}},
		{"csv row without code", "i.csv", "code,name\n,panel\n", []string{"i.csv, row 2, code: missing; every row needs one"}},
		{"csv contradicts itself", "b.csv", "site,ahu,bank,ahu_tag\nmill,ahu-1,primary,AHU-1\nmill,ahu-1,secondary,AHU-2\n", []string{
			`b.csv, row 3, ahu_tag: differs from what row 2 says of mill/ahu-1`}},
		{"csv twice", "i.csv", "code,name\nA,x\nA,y\n", []string{`i.csv, row 3, id: item "A" is given twice, first in i.csv, row 2`}},
		{"csv of something else", "x.csv", "name,shoe size\nAda,38\n", []string{"x.csv: is none of the register's tables"}},
		{"csv quotes", "b.csv", "site,ahu\nmill,\"ahu\n", []string{"b.csv, row 2: quotes do not match"}},
		{"csv not utf-8", "b.csv", "site,ahu\nm\xfchle,1\n", []string{`b.csv: is not UTF-8 text; save it as "CSV UTF-8"`}},
		{"empty csv", "b.csv", "\n\n", []string{"b.csv: empty; the first row names the columns"}},
		{"not a workbook", "b.xlsx", "PK", []string{"b.xlsx: is not a workbook that can be read"}},
	}
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			said := faultsOf(tc.file, tc.text)
			at := 0
			for _, s := range said {
				if at < len(tc.want) && strings.HasPrefix(s, tc.want[at]) {
					at++
				}
			}
			if at < len(tc.want) {
				t.Errorf("want, in this order,\n\t%s\ngot\n\t%s", strings.Join(tc.want, "\n\t"), strings.Join(said, "\n\t"))
			}
		})
	}
}

func TestTooLargeAndUnreadableFiles(t *testing.T) {
	t.Parallel()
	_, faults := registerfile.Read("r.yaml", bytes.NewReader(make([]byte, registerfile.MaxBytes+1)))
	if len(faults) != 1 || !strings.Contains(faults[0].Text, "larger than 32 MB") {
		t.Error(faults)
	}
	_, faults = registerfile.Read("r.yaml", iotest.ErrReader(errors.New("disk on fire")))
	if len(faults) != 1 || !strings.Contains(faults[0].Text, "disk on fire") {
		t.Error(faults)
	}
}

// An anchor used again and again must not make reading slow or endless.
func TestAliasesOfAliases(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	b.WriteString("sites:\n- &a0 {id: x}\n")
	for i := range 30 {
		b.WriteString("- &a" + string(rune('A'+i)) + " {ahus: [*a0, *a0, *a0, *a0]}\n")
	}
	b.WriteString("- &loop {ahus: [*loop]}\n")
	if len(faultsOf("r.yaml", b.String())) == 0 {
		t.Error("no fault")
	}
}

func TestTablesAsPeopleWriteThem(t *testing.T) {
	t.Parallel()
	var im registerfile.Import
	im.Add("r.yaml", strings.NewReader(tinyYAML))
	// A semicolon file with a byte order mark, blank rows, a remark, other
	// spellings of headers, units in cells and AHU cells only in the first row.
	im.Add("more.csv", strings.NewReader("\ufeff\n# our second unit\nSite;AHU;Bank;AHU Design-Flow (m3s);ahu fan control;Limit (Pa);Gauge Unit;Fronts\n"+
		";;;;;;;\nmill;AHU-7;primary;6400 cfm;flow-held;0.8 in wc;inH2O;4 off 592 x 592 x 48 P48\nmill;AHU-7;secondary;;;1 in wc;;\n"))
	c, faults := im.Finish(plant.Contents{})
	for _, f := range faults {
		t.Error(f)
	}
	a := c.AHUs["mill/ahu-7"]
	if a.Tag != "AHU-7" || a.DesignFlowM3s != units.Cfm.ToM3s(6400) {
		t.Errorf("AHU %+v", a)
	}
	want := plant.Bank{ID: "primary", Stage: plant.Primary, LimitPa: units.InH2O.ToPa(0.8), Gauge: plant.Gauge{Unit: units.InH2O},
		Fronts: []plant.Front{{WidthMM: 592, HeightMM: 592, DepthMM: 48, Count: 4, Item: "P48"}}}
	if diff := cmp.Diff(want, c.Banks["mill/ahu-7/primary"], same); diff != "" {
		t.Errorf("bank (-want +got):\n%s", diff)
	}
}

func TestATableAltersOnlyItsColumns(t *testing.T) {
	t.Parallel()
	base := demo.Portfolio()
	var im registerfile.Import
	im.Add("limits.csv", strings.NewReader("site,ahu,bank,limit_pa,min_class\nclinic,ahu-3,secondary,180,\n"))
	c, faults := im.Finish(base)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	const id = "clinic/ahu-3/secondary"
	want := base.Banks[id]
	want.LimitPa, want.MinClass = 180, "" // an empty cell clears its field
	if diff := cmp.Diff(want, c.Banks[id], same); diff != "" {
		t.Errorf("bank (-want +got):\n%s", diff)
	}
	if base.Banks[id].LimitPa == 180 {
		t.Error("the base was altered too")
	}
	if diff := cmp.Diff(base.AHUs, c.AHUs, same); diff != "" {
		t.Errorf("a table that only names AHUs altered them:\n%s", diff)
	}
	if len(c.Banks) != len(base.Banks) || len(c.Items) != len(base.Items) || len(c.Sites) != len(base.Sites) {
		t.Error("something was lost")
	}
}

func TestUnderscoredAndEmptySheetsArePassedOver(t *testing.T) {
	t.Parallel()
	f := excelize.NewFile()
	defer f.Close()
	for _, s := range []string{"_notes", "Stores", "Empty"} {
		if _, err := f.NewSheet(s); err != nil {
			t.Fatal(err)
		}
	}
	set := func(sheet, cell string, v any) {
		t.Helper()
		if err := f.SetCellValue(sheet, cell, v); err != nil {
			t.Fatal(err)
		}
	}
	set("_notes", "A1", "ask Ada about the roof key")
	set("Stores", "A1", "Reorder code")
	set("Stores", "B1", "stock")
	set("Stores", "A2", "P48")
	set("Stores", "B2", 12)
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	var im registerfile.Import
	im.Add("r.yaml", strings.NewReader(tinyYAML))
	base, _ := im.Finish(plant.Contents{})
	var second registerfile.Import
	second.Add("stores.xlsx", &b)
	c, faults := second.Finish(base)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	if c.Items[0].Stock != 12 || c.Items[0].Name != "panel" {
		t.Errorf("item %+v", c.Items[0])
	}
}

func TestFaultsOfAWorkbookNameTheSheet(t *testing.T) {
	t.Parallel()
	f := excelize.NewFile()
	defer f.Close()
	for cell, v := range map[string]string{"A1": "code", "B1": "price", "A2": "P48", "B2": "dear"} {
		if err := f.SetCellStr("Sheet1", cell, v); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	said := faultsOf("stores.xlsx", b.String())
	const want = `stores.xlsx, sheet Sheet1, row 2, price: "dear" does not fit`
	if !strings.Contains(strings.Join(said, "\n"), want) {
		t.Errorf("want %s\ngot %s", want, strings.Join(said, "\n"))
	}
}

func FuzzReadYAML(f *testing.F) {
	f.Add(tinyYAML)
	f.Add("sites: [&a {ahus: [*a]}]\nitems: {}\n")
	f.Add("sites:\n- schedule: {hours: {daily: .nan}}\n  tariff: {per_kwh: 1e999999}\n")
	f.Fuzz(func(t *testing.T, text string) { sane(t, "r.yaml", text) })
}

func FuzzReadCSV(f *testing.F) {
	f.Add("site,ahu,bank,limit_pa,fronts\nmill,ahu-1,primary,0.8 in wc,4 x 592x592x48\n")
	f.Add("code;points;price\nA;0.5:30\\;0.9:60;1e9\n")
	f.Add("id,schedule_hours,tariff_bands\nmill,Mon:1;Tue:2,daily 1-2 3\n")
	f.Fuzz(func(t *testing.T, text string) { sane(t, "r.csv", text) })
}

// sane checks that what reads without a fault can be written and read again.
func sane(t *testing.T, name, text string) {
	c, faults := registerfile.Read(name, strings.NewReader(text))
	for _, f := range faults {
		if f.Text == "" {
			t.Errorf("fault without text: %+v", f)
		}
	}
	if len(faults) > 0 {
		return
	}
	var b bytes.Buffer
	if err := registerfile.WriteYAML(&b, c); err != nil {
		t.Fatal(err)
	}
	again, faults := registerfile.Read("again.yaml", &b)
	if len(faults) > 0 {
		t.Fatalf("written and read again: %v", faults)
	}
	if diff := cmp.Diff(plant.NewRegister(c).Contents(), plant.NewRegister(again).Contents(), same); diff != "" {
		t.Errorf("written and read again (-want +got):\n%s", diff)
	}
}

// An amount whose digits would fill all memory is refused without writing it
// out, by the decimal library or by ourselves.
func TestAmountsBeyondAllBounds(t *testing.T) {
	t.Parallel()
	for price, want := range map[string]string{
		"1e999999999":  `price: "1e999999999" does not fit; write an amount such as 12.50`,
		"-1e-99999999": `price: "-1e-99999999" does not fit; write an amount such as 12.50`,
		"1e40":         "price: item P48: is no amount of money; write one such as 12.50",
		"1e-40":        "price: item P48: is no amount of money; write one such as 12.50",
	} {
		said := faultsOf("r.yaml", strings.Replace(tinyYAML, "9.80", price, 1))
		if len(said) != 1 || said[0] != "r.yaml, line 20, "+want {
			t.Errorf("got %.300q, want %q", said, want)
		}
		said = faultsOf("i.csv", "code,price\nP48,"+price+"\n")
		if !strings.Contains(strings.Join(said, "\n"), "i.csv, row 2, "+want) {
			t.Errorf("got %.300q, want %q", said, want)
		}
	}
}

// A damaged workbook gives faults, never a panic.
func TestDamagedWorkbooks(t *testing.T) {
	t.Parallel()
	whole := written(t, func(b *bytes.Buffer) error { return registerfile.WriteXLSX(b, everything(1)) })
	rng := rand.New(rand.NewPCG(4, 2))
	for range 60 {
		raw := bytes.Clone(whole)
		for range 1 + rng.IntN(8) {
			raw[rng.IntN(len(raw))] ^= byte(1 + rng.IntN(255))
		}
		raw = raw[:len(raw)-rng.IntN(2)*rng.IntN(100)]
		if _, faults := registerfile.Read("r.xlsx", bytes.NewReader(raw)); len(faults) == 0 {
			t.Error("no fault, and even whole this register has some")
		}
	}
}
