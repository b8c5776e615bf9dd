package points_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/points"
)

func register() *plant.Register {
	return plant.NewRegister(plant.Contents{
		Sites: []plant.Site{{ID: "north"}, {ID: "south"}},
		AHUs: map[plant.BankID]plant.AHU{
			"north/ahu-3": {ID: "ahu-3", Tag: "AHU-3"}, "north/ef-9": {ID: "ef-9", Tag: "EF-9"}, "south/ahu-3": {ID: "ahu-3", Tag: "AHU-3"},
		},
		Banks: map[plant.BankID]plant.Bank{
			"north/ahu-3/primary":   {ID: "primary", Stage: plant.Primary, Points: []string{"N.AHU3.PreDP"}},
			"north/ahu-3/secondary": {ID: "secondary", Stage: plant.Secondary},
			"north/ef-9/return":     {ID: "return", Stage: plant.Return},
			"south/ahu-3/primary":   {ID: "primary", Stage: plant.Primary},
		},
	})
}

func f(v float64) *float64 { return &v }

func TestFold(t *testing.T) {
	t.Parallel()
	m := points.Fold(register(), []entry.Entry{
		{Seq: 9, Place: "north/ahu-3", Body: entry.Point{Name: "flow", Quantity: "airflow", Unit: "m3/s"}},
		{Seq: 4, Place: "south/ahu-3", Body: entry.Point{Name: "FLOW", Quantity: "airflow", Unit: "cfm"}},
		{Seq: 5, Place: "north/ef-9/return", Body: entry.Point{Name: "gone", Quantity: "pressure"}},
		{Seq: 6, Place: "north/ef-9/return", Body: entry.Point{Name: "gone", Removed: true}},
	})
	if x, ok := m.Find(" Flow "); !ok || x.Place != "north/ahu-3" || x.Seq != 9 {
		t.Errorf("the newest mapping does not count: %+v", x)
	}
	if x, ok := m.Find("n.ahu3.predp"); !ok || x.Place != "north/ahu-3/primary" || x.Of() != points.Pressure {
		t.Errorf("the register's point: %+v", x)
	}
	if _, ok := m.Find("gone"); ok {
		t.Error("a mapping that was taken away still counts")
	}
	if len(m.All()) != 2 || !m.Air("north/ahu-3") || m.Air("south/ahu-3") {
		t.Errorf("%+v", m.All())
	}
}

// A site's points of run hours and status are listed by place and name, and no others.
func TestFoldListsRuns(t *testing.T) {
	t.Parallel()
	m := points.Fold(register(), []entry.Entry{
		{Seq: 1, Place: "north/ahu-3", Body: entry.Point{Name: "run", Quantity: "run-status"}},
		{Seq: 2, Place: "north/ahu-3", Body: entry.Point{Name: "hours", Quantity: "run-hours"}},
		{Seq: 3, Place: "north/ahu-3", Body: entry.Point{Name: "flow", Quantity: "airflow"}},
		{Seq: 4, Place: "south/ahu-3", Body: entry.Point{Name: "s.run", Quantity: "run-status"}},
		{Seq: 5, Place: "north/ahu-1", Body: entry.Point{Name: "z.run", Quantity: "run-status"}},
		{Seq: 6, Place: "north/ahu-1", Body: entry.Point{Name: "gone", Quantity: "run-hours"}},
		{Seq: 7, Place: "north/ahu-1", Body: entry.Point{Name: "gone", Removed: true}},
	})
	var got []string
	for _, x := range m.Runs("north") {
		got = append(got, x.Name)
	}
	if want := []string{"z.run", "hours", "run"}; !slices.Equal(got, want) || len(m.Runs("south")) != 1 || len(m.Runs("west")) != 0 {
		t.Errorf("%v, want %v; south %+v", got, want, m.Runs("south"))
	}
}

func TestValue(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name string
		of   entry.Point
		sent entry.Sample
		want float64
		says string
	}{
		// Factors: NIST SP 811 (2008), Appendix B.8.
		{"inches of water", entry.Point{Quantity: "pressure", Unit: "inH2O"}, entry.Sample{Value: f(0.5)}, 124.544, ""},
		{"the sender's unit wins", entry.Point{Quantity: "pressure", Unit: "inH2O"}, entry.Sample{Value: f(50), Unit: "Pa"}, 50, ""},
		{"pa needs no unit", entry.Point{Quantity: "pressure"}, entry.Sample{Pa: f(51)}, 51, ""},
		{"scale, then offset, then unit", entry.Point{Quantity: "airflow", Unit: "m3/h", Scale: 100, Offset: 360}, entry.Sample{Value: f(32.4)}, 1, ""},
		{"cubic feet", entry.Point{Quantity: "airflow", Unit: "cfm"}, entry.Sample{Value: f(1000)}, 0.4719474, ""},
		{"fraction", entry.Point{Quantity: "fan-pct", Unit: "fraction"}, entry.Sample{Value: f(0.8)}, 80, ""},
		{"minutes", entry.Point{Quantity: "run-hours", Unit: "min"}, entry.Sample{Value: f(90)}, 1.5, ""},
		{"no unit of a pressure", entry.Point{Quantity: "pressure"}, entry.Sample{Value: f(50)}, 0, "is no pressure"},
		{"unit of something else", entry.Point{Quantity: "airflow", Unit: "Pa"}, entry.Sample{Value: f(50)}, 0, "is no airflow"},
		{"pa of an airflow", entry.Point{Name: "x", Quantity: "airflow"}, entry.Sample{Pa: f(50)}, 0, "pa is given"},
		{"beyond belief", entry.Point{Quantity: "fan-hz"}, entry.Sample{Value: f(121)}, 0, "not between 0 and 120"},
		{"not a number", entry.Point{Quantity: "fan-hz", Scale: 1}, entry.Sample{Value: f(math.NaN())}, 0, "not between"},
		{"nothing", entry.Point{Quantity: "fan-hz"}, entry.Sample{}, 0, "no value"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			got, err := points.Mapping{Point: tc.of}.Value(tc.sent)
			if tc.says != "" {
				if err == nil || !strings.Contains(err.Error(), tc.says) {
					t.Errorf("%v, want %q", err, tc.says)
				}
				return
			}
			if err != nil || math.Abs(got-tc.want) > 1e-4*tc.want {
				t.Errorf("%g, %v, want %g", got, err, tc.want)
			}
		})
	}
}

func TestAirAt(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	sample := func(q points.Quantity, v float64, after time.Duration) entry.Entry {
		return entry.Entry{At: at.Add(after), Body: entry.Sample{Quantity: string(q), Value: &v}}
	}
	got := points.AirAt([]entry.Entry{
		sample(points.Airflow, 2, -9*time.Minute), sample(points.Airflow, 3, 4*time.Minute), sample(points.FanHz, 45, 11*time.Minute), sample(points.RunStatus, 1, 0),
	}, at)
	if got.FlowM3s == nil || *got.FlowM3s != 3 || got.FanHz != nil || got.Off {
		t.Errorf("%+v", got)
	}
	if !points.AirAt([]entry.Entry{sample(points.RunStatus, 0, time.Minute)}, at).Off {
		t.Error("a fan that stands still is not seen")
	}
	if points.AirAt(nil, at).Off {
		t.Error("a fan nothing is known of is taken to stand still")
	}
	own := entry.Reading{Pa: 1, FanHz: f(40)}
	if b, _ := points.With(own, got); b.(entry.Reading).FlowM3s != nil {
		t.Error("what the reading says of its air itself is mixed with another's")
	}
}

const brick = `@prefix brick: <https://brickschema.org/schema/Brick#> .
# a comment . with a dot
bldg:AHU-3 a brick:AHU ; brick:hasPart bldg:Bag .
bldg:N.AHU3.SecDP a brick:Filter_Differential_Pressure_Sensor ;
  rdfs:label "AHU-3 bag filter" ; brick:isPointOf bldg:north-AHU-3 ;
  brick:hasUnit unit:PA .
bldg:EF9_Flow a brick:Exhaust_Air_Flow_Sensor, owl:NamedIndividual ; brick:isPointOf bldg:EF-9 ; brick:hasUnit unit:L-PER-SEC .
bldg:EF9_FlowSP a brick:Exhaust_Air_Flow_Setpoint ; brick:isPointOf bldg:EF-9 .
`

// turtle is Brick as other programs write it (RDF 1.1 Turtle): labels in several
// languages, types, escapes, either sort of quotation marks, nodes without a name,
// no space before the dot.
const turtle = `@prefix brick: <https://brickschema.org/schema/Brick#> .
bldg:P1 a brick:Exhaust_Filter_Differential_Pressure_Sensor ; # of the return
  rdfs:label "EF-9 filter DP"@en , "EF-9 Filterdruck"@de ; brick:hasUnit unit:PA ; brick:isPointOf bldg:EF-9 .
bldg:P2 rdf:type brick:Exhaust_Air_Flow_Sensor ; rdfs:label "EF-9 \"EA\" \u00b7 flow"^^xsd:string ;
  brick:lastKnownValue [ brick:value 4.5 ; rdfs:label "not this" ; brick:timestamp "x"^^<http://www.w3.org/2001/XMLSchema#dateTime> ] ;
  brick:hasUnit unit:M3-PER-SEC ; brick:isPointOf bldg:EF-9 .
bldg:P3 a brick:Fan_On_Off_Status ; rdfs:label 'EF-9 fan' ; brick:isPointOf bldg:EF-9.
bldg:P4 a brick:Run_Time_Sensor ; rdfs:label """EF-9 "hours" """ ; brick:hasUnit unit:HR ; brick:isPointOf bldg:EF-9.`

const haystack3 = `{"meta":{"ver":"3.0"},"rows":[
 {"id":"r:p1 EF-9 Filter DP","navName":"EF9.FltDP","air":"m:","filter":"m:","pressure":"m:","delta":"m:","sensor":"m:","point":"m:","unit":"s:inH₂O","equipRef":"r:e1 EF-9"},
 {"id":"r:p2 EF-9 Fan Speed","navName":"EF9.Spd","fan":"m:","speed":"m:","sensor":"m:","unit":"s:%","equipRef":"r:e1 EF-9","customTag":"m:"}]}`

const haystack4 = `[{"dis":"EF-9 run","navName":"EF9.Run","fan":{"_kind":"marker"},"run":{"_kind":"marker"},"sensor":{"_kind":"marker"},"equipRef":{"_kind":"ref","val":"e1","dis":"EF-9"}}]`

// model is Brick where only rows of the equipment name the AHU, and the AHU says
// which points it has; one subject is described in two statements.
const model = `:s1 a brick:Site ; rdfs:label "North" .
:e1 a brick:AHU ; rdfs:label "AHU-3"@en ; brick:hasPoint :p2 ; brick:hasPart :f1 ; brick:isPartOf :s1 .
:f1 a brick:Filter ; rdfs:label "bag" ; brick:hasPoint :p1 .
:p1 a brick:Filter_Differential_Pressure_Sensor ; rdfs:label "DP 17" .
:p1 brick:hasUnit unit:PA .
:p2 a brick:Fan_On_Off_Status .
:p3 a brick:Supply_Air_Flow_Sensor ; brick:isPointOf :e9 ; brick:hasUnit unit:L-PER-SEC .`

// byRef are Haystack's records, 3 and 4, where a point tells its equipment by id.
const (
	byRef3 = `{"meta":{"ver":"3.0"},"rows":[
 {"id":"r:e1","dis":"s:South AHU-3","equip":"m:","ahu":"m:"},
 {"id":"r:p1","dis":"s:Unit 3 filter DP","air":"m:","filter":"m:","pressure":"m:","sensor":"m:","point":"m:","unit":"s:Pa","equipRef":"r:e1"}]}`
	byRef4 = `{"_kind":"grid","rows":[
 {"id":{"_kind":"ref","val":"s1"},"dis":"North","site":{"_kind":"marker"}},
 {"id":{"_kind":"ref","val":"e1"},"dis":"AHU-3","equip":{"_kind":"marker"},"siteRef":{"_kind":"ref","val":"s1"}},
 {"id":{"_kind":"ref","val":"p1"},"navName":"Run","fan":{"_kind":"marker"},"run":{"_kind":"marker"},"point":{"_kind":"marker"},"equipRef":{"_kind":"ref","val":"e1"}}]}`
)

const table = "name,tags,unit,equip\nAHU3.Flt1,filter dp sensor,Pa,South AHU-3\nAHU3.Hz,fan vfd frequency sensor,Hz,AHU-3\nEF9.Temp,air temp sensor,°C,EF-9\n"

func TestTags(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		file, text string
		want       []points.Guess
	}{
		{"model.ttl", brick, []points.Guess{
			{Point: entry.Point{Name: "AHU-3 bag filter", Quantity: "pressure", Unit: "Pa"}, Place: "north/ahu-3/secondary"},
			{Point: entry.Point{Name: "EF9_Flow", Quantity: "airflow", Unit: "L/s"}, Place: "north/ef-9"},
			{Point: entry.Point{Name: "EF9_FlowSP"}, Why: "its tags tell no quantity that is of use here"},
		}},
		{"other.ttl", turtle, []points.Guess{
			{Point: entry.Point{Name: "EF-9 filter DP", Quantity: "pressure", Unit: "Pa"}, Place: "north/ef-9/return"},
			{Point: entry.Point{Name: "EF-9 \"EA\" · flow", Quantity: "airflow", Unit: "m3/s"}, Place: "north/ef-9"},
			{Point: entry.Point{Name: "EF-9 fan", Quantity: "run-status"}, Place: "north/ef-9"},
			{Point: entry.Point{Name: "EF-9 \"hours\" ", Quantity: "run-hours", Unit: "h"}, Place: "north/ef-9"},
		}},
		{"grid.json", haystack3, []points.Guess{
			{Point: entry.Point{Name: "EF9.FltDP", Quantity: "pressure", Unit: "inH2O"}, Place: "north/ef-9/return"},
			{Point: entry.Point{Name: "EF9.Spd", Quantity: "fan-pct", Unit: "%"}, Place: "north/ef-9"},
		}},
		{"list.json", haystack4, []points.Guess{{Point: entry.Point{Name: "EF9.Run", Quantity: "run-status"}, Place: "north/ef-9"}}},
		{"owned.ttl", model, []points.Guess{
			{Point: entry.Point{Name: "DP 17", Quantity: "pressure", Unit: "Pa"}, Place: "north/ahu-3/secondary"},
			{Point: entry.Point{Name: "p2", Quantity: "run-status"}, Place: "north/ahu-3"},
			{Point: entry.Point{Name: "p3", Quantity: "airflow", Unit: "L/s"}, Why: "names no AHU of the register"},
		}},
		{"refs3.json", byRef3, []points.Guess{{Point: entry.Point{Name: "Unit 3 filter DP", Quantity: "pressure", Unit: "Pa"}, Place: "south/ahu-3/primary"}}},
		{"refs4.json", byRef4, []points.Guess{{Point: entry.Point{Name: "Run", Quantity: "run-status"}, Place: "north/ahu-3"}}},
		{"points.csv", table, []points.Guess{
			{Point: entry.Point{Name: "AHU3.Flt1", Quantity: "pressure", Unit: "Pa"}, Place: "south/ahu-3/primary"},
			{Point: entry.Point{Name: "AHU3.Hz", Quantity: "fan-hz", Unit: "Hz"}, Why: "2 AHUs could be meant: [north/ahu-3 south/ahu-3]"},
			{Point: entry.Point{Name: "EF9.Temp"}, Why: "its tags tell no quantity that is of use here"},
		}},
	} {
		t.Run(tc.file, func(t *testing.T) {
			t.Parallel()
			tagged, err := points.ReadTagged(tc.file, []byte(tc.text))
			if err != nil || len(tagged) != len(tc.want) {
				t.Fatalf("%+v, %v; want %d points", tagged, err, len(tc.want))
			}
			for i, x := range tagged {
				if got := points.Guessed(register(), x); got != tc.want[i] {
					t.Errorf("got  %+v\nwant %+v", got, tc.want[i])
				}
			}
		})
	}
	for name, text := range map[string]string{"x.csv": "", "x.json": "{", "x.ttl": "a b c", "y.csv": "name\n"} {
		if _, err := points.ReadTagged(name, []byte(text)); err == nil {
			t.Errorf("%s is read", name)
		}
	}
}

// Whatever a file holds, reading it ends and nothing panics.
func FuzzReadTagged(f *testing.F) {
	f.Add("a.ttl", brick)
	f.Add("a.ttl", turtle)
	f.Add("a.ttl", model)
	f.Add("a.json", haystack3)
	f.Add("a.json", byRef4)
	f.Add("a.csv", table)
	reg := register()
	f.Fuzz(func(t *testing.T, name, text string) {
		tagged, err := points.ReadTagged(name, []byte(text))
		if err != nil {
			return
		}
		for _, x := range tagged {
			if g := points.Guessed(reg, x); g.Why == "" && points.Check(reg, g.Place, g.Point) != nil {
				t.Errorf("guess %+v is certain and would be refused: %v", g, points.Check(reg, g.Place, g.Point))
			}
		}
	})
}

func TestCheck(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name  string
		place plant.BankID
		p     entry.Point
		says  string
	}{
		{"pressure", "north/ahu-3/primary", entry.Point{Name: "x", Quantity: "pressure", Unit: "Pa"}, ""},
		{"trend", "north/ahu-3/primary", entry.Point{Name: "x", Quantity: "pressure", Trend: true, KeepDays: 35}, ""},
		{"airflow", "north/ahu-3", entry.Point{Name: "x", Quantity: "airflow", Unit: "cfm"}, ""},
		{"no name", "north/ahu-3", entry.Point{Name: " ", Quantity: "airflow"}, "no name"},
		{"no such quantity", "north/ahu-3", entry.Point{Name: "x", Quantity: "smell"}, `quantity "smell"`},
		{"pressure of an AHU", "north/ahu-3", entry.Point{Name: "x", Quantity: "pressure"}, "is no bank"},
		{"airflow of a bank", "north/ahu-3/primary", entry.Point{Name: "x", Quantity: "airflow"}, "is no AHU"},
		{"unknown bank", "north/ahu-3/third", entry.Point{Name: "x", Quantity: "pressure"}, "is no bank"},
		{"wrong unit", "north/ahu-3", entry.Point{Name: "x", Quantity: "airflow", Unit: "Pa"}, "is no airflow"},
		{"scale beyond numbers", "north/ahu-3", entry.Point{Name: "x", Quantity: "airflow", Scale: math.Inf(1)}, "plain numbers"},
		{"trend of airflow", "north/ahu-3", entry.Point{Name: "x", Quantity: "airflow", Trend: true}, "only a pressure is thinned"},
		{"let go too soon", "north/ahu-3/primary", entry.Point{Name: "x", Quantity: "pressure", Trend: true, KeepDays: 34}, "not before 35 days"},
		{"let go what is no trend", "north/ahu-3/primary", entry.Point{Name: "x", Quantity: "pressure", KeepDays: 40}, "only the values of a trend"},
	} {
		err := points.Check(register(), tc.place, tc.p)
		if (err == nil) != (tc.says == "") || err != nil && !strings.Contains(err.Error(), tc.says) {
			t.Errorf("%s: %v, want %q", tc.name, err, tc.says)
		}
	}
}
