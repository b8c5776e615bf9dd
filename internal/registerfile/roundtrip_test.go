package registerfile_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/shopspring/decimal"
	"github.com/xuri/excelize/v2"

	"clogwise/internal/demo"
	"clogwise/internal/plant"
	"clogwise/internal/registerfile"
)

// same compares registers: nil and empty lists are one, amounts by value.
var same = cmp.Options{cmpopts.EquateEmpty(), cmp.Comparer(decimal.Decimal.Equal)}

// nasty are texts that a careless writer or spreadsheet would spoil.
var nasty = []string{
	"=1+1", "+44 20", "-5 =cmd", "@SUM(A1)", "'quoted", "'=x", "a; b", `back\slash`, `say "so", twice`, "#1", "Vorfilter Süd", "0012",
}

// filled is a value of type t with every field set to something but zero.
func filled(t reflect.Type, rng *rand.Rand) reflect.Value {
	v := reflect.New(t).Elem()
	switch {
	case t == reflect.TypeFor[decimal.Decimal]():
		v.Set(reflect.ValueOf(decimal.New(1+rng.Int64N(1e6), -2)))
	case t == reflect.TypeFor[plant.TariffBand]():
		v.Set(reflect.ValueOf(plant.TariffBand{Days: "Mon-Fri,Sun", From: "22:00", To: "06:00", PerKWh: decimal.RequireFromString("0.125")}))
	case t == reflect.TypeFor[map[string]float64]():
		v.Set(reflect.ValueOf(map[string]float64{"Mon-Fri": 10 * rng.Float64(), "Sat": 1.5}))
	case t.Kind() == reflect.Struct:
		for i := range t.NumField() {
			v.Field(i).Set(filled(t.Field(i).Type, rng))
		}
	case t.Kind() == reflect.Slice:
		for range 1 + rng.IntN(3) {
			v = reflect.Append(v, filled(t.Elem(), rng))
		}
	case t.Kind() == reflect.Pointer:
		v.Set(reflect.New(t.Elem()))
		v.Elem().Set(filled(t.Elem(), rng))
	case t.Kind() == reflect.String:
		v.SetString(nasty[rng.IntN(len(nasty))])
	case t.Kind() == reflect.Bool:
		v.SetBool(true)
	case t.Kind() == reflect.Int:
		v.SetInt(1 + rng.Int64N(9999))
	case t.Kind() == reflect.Float64:
		v.SetFloat(rng.NormFloat64() * 100)
	}
	return v
}

func fill[T any](rng *rand.Rand) T {
	v, _ := filled(reflect.TypeFor[T](), rng).Interface().(T)
	return v
}

// everything is a register in which no field is empty.
func everything(seed uint64) plant.Contents {
	rng := rand.New(rand.NewPCG(seed, 0))
	c := plant.Contents{AHUs: map[plant.BankID]plant.AHU{}, Banks: map[plant.BankID]plant.Bank{}}
	for i := range 2 {
		s := fill[plant.Site](rng)
		s.ID = fmt.Sprintf("site-%d", i)
		c.Sites = append(c.Sites, s)
		it := fill[plant.Item](rng)
		it.Code = fmt.Sprintf("#=item %d", i)
		c.Items = append(c.Items, it)
		for j := range 3 {
			a := fill[plant.AHU](rng)
			a.ID = fmt.Sprintf("ahu-%d", j)
			if j == 1 {
				a.Schedule = nil
			}
			id := plant.MakeBankID(s.ID, a.ID, "")
			c.AHUs[id] = a
			for k := range j { // the first AHU has no banks
				b := fill[plant.Bank](rng)
				b.ID = fmt.Sprintf("bank-%d", k)
				c.Banks[plant.MakeBankID(s.ID, a.ID, b.ID)] = b
			}
		}
	}
	return c
}

// reread reads files back and leaves aside that the register makes no sense.
func reread(files map[string][]byte) plant.Contents {
	var im registerfile.Import
	for name, raw := range files {
		im.Add(name, bytes.NewReader(raw))
	}
	c, _ := im.Finish(plant.Contents{})
	return c
}

// forms writes a register in each form.
var forms = map[string]func(t *testing.T, c plant.Contents) map[string][]byte{
	"yaml": func(t *testing.T, c plant.Contents) map[string][]byte {
		return map[string][]byte{"register.yaml": written(t, func(b *bytes.Buffer) error { return registerfile.WriteYAML(b, c) })}
	},
	"csv": func(t *testing.T, c plant.Contents) map[string][]byte {
		files := map[string][]byte{}
		for _, table := range []registerfile.Table{registerfile.Sites, registerfile.Items, registerfile.Banks} {
			files[string(table)+".csv"] = written(t, func(b *bytes.Buffer) error { return registerfile.WriteCSV(b, table, c) })
		}
		return files
	},
	"xlsx": func(t *testing.T, c plant.Contents) map[string][]byte {
		return map[string][]byte{"register.xlsx": written(t, func(b *bytes.Buffer) error { return registerfile.WriteXLSX(b, c) })}
	},
}

func written(t *testing.T, write func(*bytes.Buffer) error) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestNothingIsLostOnTheWayThroughAFile(t *testing.T) {
	t.Parallel()
	for form, write := range forms {
		t.Run(form, func(t *testing.T) {
			t.Parallel()
			for seed := range uint64(8) {
				want := everything(seed)
				if diff := cmp.Diff(want, reread(write(t, want)), same); diff != "" {
					t.Fatalf("seed %d: written and read again (-want +got):\n%s", seed, diff)
				}
			}
		})
	}
}

func TestDemoGoesThroughEveryFormWithoutFaults(t *testing.T) {
	t.Parallel()
	want := demo.Portfolio()
	for form, write := range forms {
		t.Run(form, func(t *testing.T) {
			t.Parallel()
			var im registerfile.Import
			for name, raw := range write(t, want) {
				im.Add(name, bytes.NewReader(raw))
			}
			got, faults := im.Finish(plant.Contents{})
			for _, f := range faults {
				t.Error(f)
			}
			if diff := cmp.Diff(plant.NewRegister(want).Contents(), plant.NewRegister(got).Contents(), same); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

// An AHU that runs round the clock by a schedule of its own is not one that
// follows its site.
func TestOwnScheduleWithoutHoursStaysItsOwn(t *testing.T) {
	t.Parallel()
	c := demo.Portfolio()
	a := c.AHUs["clinic/ahu-1"]
	a.Schedule = &plant.Schedule{}
	c.AHUs["clinic/ahu-1"] = a
	for form, write := range forms {
		t.Run(form, func(t *testing.T) {
			t.Parallel()
			got := plant.NewRegister(reread(write(t, c)))
			loc := got.Location("clinic")
			if h := got.ScheduleOf("clinic/ahu-1").Runner(loc).PerWeek(); h != 168 { // 7 × 24
				t.Errorf("runs %v h a week, want 168", h)
			}
		})
	}
}

func TestNoCellIsAFormula(t *testing.T) {
	t.Parallel()
	c := everything(1)
	bad := func(s string) bool {
		var x float64
		_, err := fmt.Sscanf(s, "%g", &x)
		isNumber := err == nil && !strings.ContainsAny(s[1:], " =@")
		return s != "" && strings.ContainsRune("=+-@", rune(s[0])) && !isNumber
	}
	for _, table := range []registerfile.Table{registerfile.Sites, registerfile.Items, registerfile.Banks} {
		raw := written(t, func(b *bytes.Buffer) error { return registerfile.WriteCSV(b, table, c) })
		rows, err := csv.NewReader(bytes.NewReader(raw)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range rows {
			for _, cell := range r {
				if bad(cell) {
					t.Errorf("%s.csv has the cell %q", table, cell)
				}
			}
		}
	}
	f, err := excelize.OpenReader(bytes.NewReader(written(t, func(b *bytes.Buffer) error { return registerfile.WriteXLSX(b, c) })))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if got := f.GetSheetList(); !reflect.DeepEqual(got, []string{"sites", "items", "banks"}) {
		t.Errorf("sheets %v", got)
	}
	for _, sheet := range f.GetSheetList() {
		rows, err := f.GetRows(sheet)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range rows {
			for _, cell := range r {
				if bad(cell) {
					t.Errorf("sheet %s has the cell %q", sheet, cell)
				}
			}
		}
	}
}
