package webhook_test

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"clogwise/bot/webhook"
	"clogwise/internal/entry"
)

func TestReadingsAreRecordedWithWhatWasKnown(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Signature, nil, nil)
	r := s.post(call{id: "m1", body: `[
		{"bank":"north/ahu-1/secondary","at":"2026-03-02T08:00:00+01:00","pa":120.5,"fan_hz":45,"flow_m3s":2.5,"fan_pct":90,"wet":true},
		{"point":"n.ahu1.secdp","value":0.45,"unit":"in wc","suspect":true},
		{"bank":"north/ahu-1/secondary","over_range":true},
		{"bank":"north/ahu-1/primary","over_range":true,"pa":250,"at":"2026-03-02T12:04:59Z"}]`})
	if r.code != 202 || r.Recorded != 4 || r.header.Get("Content-Type") != "application/json" {
		t.Fatalf("%d %s", r.code, r.raw)
	}
	es := b.entries()
	first := es[0]
	if first.Source != "hook:"+s.key.ID+":msg:m1:000000" || first.By != "hall automation" || first.Place != "north/ahu-1/secondary" ||
		!first.At.Equal(time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)) || !first.Received.Equal(noon) {
		t.Errorf("first %+v", first)
	}
	got := first.Body.(entry.Reading)
	if got.Pa != 120.5 || *got.FanHz != 45 || *got.FlowM3s != 2.5 || *got.FanPct != 90 || !got.Wet || got.Suspect || got.StepPa != 5 {
		t.Errorf("first reading %+v", got)
	}
	got = es[1].Body.(entry.Reading)
	// 0.45 in of conventional water, 249.08891 Pa each (NIST SP 811).
	if math.Abs(got.Pa-112.0900) > 1e-3 || !got.Suspect || got.Unit != "in wc" || !es[1].At.Equal(noon) {
		t.Errorf("second reading %+v at %s", got, es[1].At)
	}
	if top := es[2].Body.(entry.OverRange).TopPa; top != 500 { // the gauge's
		t.Errorf("over range at %g Pa", top)
	}
	if top := es[3].Body.(entry.OverRange).TopPa; top != 250 {
		t.Errorf("over range at %g Pa", top)
	}
	if len(b.queue.told) != 2 { // one notice a bank, however many entries
		t.Errorf("notices %+v", b.queue.told)
	}
	for _, n := range b.queue.told {
		if want := map[string]int64{"north/ahu-1/secondary": es[2].Seq, "north/ahu-1/primary": es[3].Seq}[n.Bank]; n.UpTo != want {
			t.Errorf("notice %+v, want up to %d", n, want)
		}
	}
}

func TestSwapsAreRecorded(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Signature, nil, nil)
	r := s.post(call{path: "/v1/swaps", id: "m1", body: `[
		{"bank":"north/ahu-1/secondary","at":"2026-03-02T08:00:00Z","count":4,"clean_pa":80,"before_pa":190,"item":"XB-1","who":"Tove"},
		{"bank":"north/ahu-1/primary"},
		{"bank":"north/ahu-1/primary","item":"NOPE-1"},
		{"bank":"north/ahu-1/primary","count":0},
		{"bank":"north/ahu-1/primary","count":2.5},
		{"bank":"north/ahu-1/primary","clean_pa":-1},
		{"bank":"north/ahu-1/primary","pa":80}]`})
	if r.code != 202 || r.Recorded != 2 || r.Refused != 5 {
		t.Fatalf("%d %s", r.code, r.raw)
	}
	for i, want := range map[int]string{2: "not in the register", 3: "count is 0", 4: "2.5 is not a whole number", 5: "clean_pa is -1", 6: "a reading's"} {
		if !strings.Contains(r.Results[i].Why, want) {
			t.Errorf("item %d: %q does not say %q", i, r.Results[i].Why, want)
		}
	}
	es := b.entries()
	if got := es[0].Body.(entry.Swap); *got.Count != 4 || *got.CleanPa != 80 || *got.BeforePa != 190 || got.Item != "XB-1" || got.Who != "Tove" || !got.Confirmed {
		t.Errorf("swap %+v", got)
	}
	if got := es[1].Body.(entry.Swap); got.Confirmed {
		t.Errorf("swap without particulars is confirmed: %+v", got)
	}
}

// Items the register or common sense speaks against. Held ones are recorded and
// marked, refused ones are not.
func TestHeldAndRefused(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Bearer, nil, nil)
	const at = `"at":"2026-03-02T08:00:00Z"`
	for _, tc := range []struct{ name, item, outcome, why string }{
		{"plain", `{"bank":"north/ahu-1/secondary","pa":120,` + at + `}`, "recorded", ""},
		{"zero", `{"bank":"north/ahu-1/secondary","pa":0,` + at + `}`, "held", "zero or negative"},
		{"minus zero", `{"bank":"north/ahu-1/primary","pa":-0,` + at + `}`, "held", "zero or negative"},
		{"negative", `{"bank":"north/ahu-1/secondary","pa":-12,` + at + `}`, "held", "zero or negative"},
		{"twice the limit", `{"bank":"north/ahu-1/secondary","pa":401,` + at + `}`, "held", "twice the limit of 200 Pa (0.80 in wc)"},
		{"above the gauge", `{"bank":"north/ahu-1/secondary","pa":501,` + at + `}`, "held", "the gauge's top of 500 Pa"},
		{"no gauge, no limit", `{"bank":"north/ahu-1/primary","pa":501,` + at + `}`, "recorded", ""},
		{"ten years ago", `{"bank":"north/ahu-1/secondary","pa":120,"at":"2016-03-02T08:00:00Z"}`, "held", "more than 400 days ago"},
		{"a year ago", `{"bank":"north/ahu-1/secondary","pa":120,"at":"2025-03-02T08:00:00Z"}`, "recorded", ""},
		{"airflow no AHU of 3 m³/s has", `{"bank":"north/ahu-1/secondary","pa":120,"flow_m3s":14,` + at + `}`, "held", "4.67 times the design airflow"},
		{"hardly any airflow", `{"bank":"north/ahu-1/secondary","pa":120,"flow_m3s":0.5,` + at + `}`, "held", "0.167 times the design airflow"},
		{"clock five minutes ahead", `{"bank":"north/ahu-1/primary","pa":51,"at":"2026-03-02T12:05:00Z"}`, "recorded", ""},

		{"absurd", `{"bank":"north/ahu-1/secondary","pa":5001,` + at + `}`, "refused", "pa is 5001, not between"},
		{"absurdly negative", `{"bank":"north/ahu-1/secondary","pa":-501,` + at + `}`, "refused", "not between"},
		{"absurd in its unit", `{"bank":"north/ahu-1/secondary","value":50,"unit":"kPa",` + at + `}`, "refused", "value in Pa is 50000"},
		{"huge", `{"bank":"north/ahu-1/secondary","pa":1e999,` + at + `}`, "refused", "pa: 1e999 is out of range"},
		{"huge in digits", `{"bank":"north/ahu-1/secondary","pa":` + strings.Repeat("9", 5000) + `,` + at + `}`, "refused", "is out of range"},
		{"text", `{"bank":"north/ahu-1/secondary","pa":"120",` + at + `}`, "refused", `pa: "120" is not a number`},
		{"NaN in quotes", `{"bank":"north/ahu-1/secondary","pa":"NaN",` + at + `}`, "refused", `pa: "NaN" is not a number`},
		{"null", `{"bank":"north/ahu-1/secondary","pa":null,` + at + `}`, "refused", "no pressure"},
		{"true", `{"bank":"north/ahu-1/secondary","pa":true,` + at + `}`, "refused", "pa: true is not a number"},
		{"nested", `{"bank":"north/ahu-1/secondary","pa":{"value":120},` + at + `}`, "refused", "pa: a plain value is needed"},
		{"list", `{"bank":["north/ahu-1/secondary"],"pa":1,` + at + `}`, "refused", "bank: a plain value is needed"},
		{"no pressure", `{"bank":"north/ahu-1/secondary",` + at + `}`, "refused", "no pressure: give pa"},
		{"two pressures", `{"bank":"north/ahu-1/secondary","pa":1,"value":1,"unit":"Pa",` + at + `}`, "refused", "not both"},
		{"no unit", `{"bank":"north/ahu-1/secondary","value":1,` + at + `}`, "refused", `unit "" is not known`},
		{"unknown unit", `{"bank":"north/ahu-1/secondary","value":1,"unit":"psi?",` + at + `}`, "refused", `unit "psi?" is not known`},
		{"no bank", `{"pa":1,` + at + `}`, "refused", "no bank: give bank"},
		{"both names", `{"bank":"north/ahu-1/secondary","point":"N.AHU1.SecDP","pa":1,` + at + `}`, "refused", "bank or point, not both"},
		{"unknown bank", `{"bank":"north/ahu-9/secondary","pa":1,` + at + `}`, "refused", "GET /v1/banks lists them"},
		{"AHU alone", `{"bank":"north/ahu-1","pa":1,` + at + `}`, "refused", "no bank"},
		{"point without a value", `{"point":"N.AHU9.SecDP",` + at + `}`, "refused", "no value: give value"},
		{"point with a change-out's field", `{"point":"N.AHU9.SecDP","value":1,"count":4,` + at + `}`, "refused", "a change-out's"},
		{"airflow beyond belief", `{"point":"n.ahu1.sfhz","value":130,` + at + `}`, "refused", "fan-hz comes to 130, not between 0 and 120"},
		{"future", `{"bank":"north/ahu-1/secondary","pa":1,"at":"2026-03-02T12:05:01Z"}`, "refused", "in the future"},
		{"far future", `{"bank":"north/ahu-1/secondary","pa":1,"at":"9999-12-31T23:59:59Z"}`, "refused", "in the future"},
		{"year nought", `{"bank":"north/ahu-1/secondary","pa":1,"at":"0000-01-01T00:00:00Z"}`, "refused", "more than 20 years ago"},
		{"no offset", `{"bank":"north/ahu-1/secondary","pa":1,"at":"2026-03-02T08:00:00"}`, "refused", "not an RFC 3339 time"},
		{"epoch", `{"bank":"north/ahu-1/secondary","pa":1,"at":1772438400}`, "refused", "not an RFC 3339 time"},
		{"no such day", `{"bank":"north/ahu-1/secondary","pa":1,"at":"2026-02-30T08:00:00Z"}`, "refused", "not an RFC 3339 time"},
		{"airflow", `{"bank":"north/ahu-1/secondary","pa":1,"flow_m3s":3000,` + at + `}`, "refused", "flow_m3s is 3000"},
		{"negative speed", `{"bank":"north/ahu-1/secondary","pa":1,"fan_hz":-1,` + at + `}`, "refused", "fan_hz is -1"},
		{"speed", `{"bank":"north/ahu-1/secondary","pa":1,"fan_pct":1000,` + at + `}`, "refused", "fan_pct is 1000"},
		{"unknown field", `{"bank":"north/ahu-1/secondary","pa":1,"colour":"red",` + at + `}`, "refused", `no field "colour"`},
		{"a change-out's field", `{"bank":"north/ahu-1/secondary","pa":1,"count":4,` + at + `}`, "refused", "POST /v1/swaps"},
		{"same key twice", `{"bank":"north/ahu-1/secondary","pa":120,"pa":130,` + at + `}`, "refused", "pa is given twice"},
		{"same key twice, once null", `{"bank":"north/ahu-1/secondary","pa":null,"pa":130,` + at + `}`, "refused", "pa is given twice"},
		{"key in other case", `{"bank":"north/ahu-1/secondary","pa":120,"PA":130,` + at + `}`, "refused", `no field "PA"; write pa`},
		{"key by folding", `{"bank":"north/ahu-1/secondary","pa":120,"` + "\u017f" + `uspect":true,` + at + `}`, "refused", "no field"},
		{"key in Kelvin", `{"ban` + "\u212a" + `":"north/ahu-1/secondary","pa":120,` + at + `}`, "refused", "no field"},
		{"over range of no gauge", `{"bank":"north/ahu-1/primary","over_range":true,` + at + `}`, "refused", "give the top of the gauge"},
		{"over range in words", `{"bank":"north/ahu-1/secondary","over_range":"yes",` + at + `}`, "refused", "neither true nor false"},
		{"id with a newline", `{"id":"a\nb","bank":"north/ahu-1/secondary","pa":1,` + at + `}`, "refused", "cannot be shown"},
		{"id with half a character", `{"id":"\ud800","bank":"north/ahu-1/secondary","pa":1,` + at + `}`, "refused", "cannot be shown"},
		{"id too long", `{"id":"` + strings.Repeat("x", 257) + `","bank":"north/ahu-1/secondary","pa":1,` + at + `}`, "refused", "longer than 256 bytes"},
		{"not an object", `17`, "refused", "an object is needed"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			b, s := b.in(t), s.in(t)
			before := len(b.entries())
			r := s.post(call{body: "[" + tc.item + "]"})
			if len(r.Results) != 1 || r.Results[0].Outcome != tc.outcome || !strings.Contains(r.Results[0].Why, tc.why) {
				t.Fatalf("%d %s\nwant %s: %s", r.code, r.raw, tc.outcome, tc.why)
			}
			if len(r.Results[0].Why) > 300 {
				t.Errorf("a reason of %d bytes", len(r.Results[0].Why))
			}
			if tc.outcome == "refused" {
				b.problem(r, 422, "every item was refused", "nothing was recorded", "new webhook-id")
				b.count(before)
				return
			}
			if r.code != 202 {
				t.Errorf("status %d", r.code)
			}
			es := b.entries()
			if got := es[len(es)-1].Body.(entry.Reading); got.Suspect != (tc.outcome == "held") {
				t.Errorf("recorded as %+v", got)
			}
		})
	}
}

// Bodies that cannot be read at all: nothing of them is recorded, good items
// before the fault neither.
func TestBodiesThatCannotBeRead(t *testing.T) {
	t.Parallel()
	b := start(t, func(s *webhook.Server) { s.MaxItems = 3 })
	s := b.sender(webhook.Bearer, nil, nil)
	deep := strings.Repeat("[", 5000) + strings.Repeat("]", 5000)
	for name, tc := range map[string]struct {
		kind, body string
		code       int
		says       string
	}{
		"empty":               {"", "", 400, "the body is empty"},
		"blank":               {"", " \n", 400, "the body is empty"},
		"mark alone":          {"", "\xef\xbb\xbf", 400, "the body is empty"},
		"empty list":          {"", "[]", 400, "no item"},
		"no object":           {"", `"hello"`, 400, "an object, or an array"},
		"cut short":           {"", "[" + one + ",{", 400, "ends too early"},
		"cut in a string":     {"", "[" + one + `,{"ba`, 400, "ends too early"},
		"NaN":                 {"", "[" + one + `,{"pa":NaN}]`, 400, "invalid character"},
		"infinite":            {"", "[" + one + `,{"pa":-Infinity}]`, 400, "invalid character"},
		"leading zero":        {"", "[" + one + `,{"pa":012}]`, 400, "invalid character"},
		"trailing comma":      {"", "[" + one + `,]`, 400, "invalid character"},
		"missing comma":       {"", "[" + one + one + `]`, 400, "invalid character"},
		"trailing garbage":    {"", one + "x", 400, "something follows"},
		"two values":          {"", one + one, 400, "something follows"},
		"deep":                {"", deep, 400, "nested deeper than 8"},
		"deep in a field":     {"", `[` + one + `,{"pa":` + deep + `}]`, 400, "nested deeper than 8"},
		"bad UTF-8":           {"", "[" + one + ",{\"bank\":\"\xff\"}]", 400, "not valid UTF-8"},
		"UTF-16":              {"", "\xff\xfe[\x00]\x00", 400, "not valid UTF-8"},
		"too many":            {"", "[" + strings.Repeat(one+",", 3) + one + "]", 400, "more than 3 items"},
		"too many empty":      {"", "[" + strings.Repeat("{},", 300_000) + "{}]", 400, "more than 3 items"},
		"too many numbers":    {"", "[" + strings.Repeat("1,", 300_000) + "1]", 400, "more than 3 items"},
		"lines cut":           {"application/x-ndjson", one + "\n{", 400, "line 2: JSON: the body ends too early"},
		"lines of lists":      {"application/x-ndjson", one + "\n[" + one + "]", 400, "line 2: JSON: an object is needed"},
		"two on a line":       {"application/x-ndjson", one + one, 400, "line 1: JSON: something follows"},
		"too many lines":      {"application/jsonl", strings.Repeat(one+"\n", 4), 400, "more than 3 items"},
		"CSV without rows":    {"text/csv", "bank,pa\n", 400, "no item"},
		"CSV unknown column":  {"text/csv", "bank,pa,colour\n", 400, `no column \"colour\"`},
		"CSV column twice":    {"text/csv", "bank,pa,PA\nx,1,2\n", 400, "column pa is given twice"},
		"CSV with semicolons": {"text/csv", "bank;pa\nx;1\n", 400, "parted by commas"},
		"CSV ragged":          {"text/csv", "bank,pa\nnorth/ahu-1/secondary,120\nx\n", 400, "wrong number of fields"},
		"CSV bare quote":      {"text/csv", "bank,pa\nnorth/ahu-1/secondary,120\nx\"y,1\n", 400, "CSV"},
		"CSV too many":        {"text/csv", "bank,pa\n" + strings.Repeat("x,1\n", 4), 400, "more than 3 items"},
		"no type":             {" ", one, 415, "unsupported content type"},
		"form":                {"application/x-www-form-urlencoded", one, 415, "unsupported content type"},
		"type misspelt":       {"application/json; charset", one, 415, "unsupported content type"},
		"other charset":       {"application/json; charset=utf-16", one, 415, "in UTF-8"},
		"XML":                 {"application/xml", "<a/>", 415, "send application/json"},
	} {
		t.Run(name, func(t *testing.T) {
			b, s := b.in(t), s.in(t)
			r := s.post(call{kind: tc.kind, id: "m-" + fmt.Sprint(len(tc.body)), body: tc.body})
			b.problem(r, tc.code, tc.says, "nothing was recorded")
			if len(r.raw) > 600 {
				t.Errorf("an answer of %d bytes", len(r.raw))
			}
		})
	}
	b.count(0)
}

func TestForms(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Bearer, nil, nil)
	for name, tc := range map[string]struct {
		kind, body string
		items      int
	}{
		"object":           {"application/json", one, 1},
		"charset":          {"application/json; charset=UTF-8", one, 1},
		"byte-order mark":  {"application/json", "\xef\xbb\xbf" + one, 1},
		"list":             {"application/json", "[" + one + "," + one + "]", 2},
		"lines":            {"application/x-ndjson", one + "\n\n" + one, 2},
		"lines of Windows": {"application/jsonl", one + "\r\n" + one + "\r\n", 2},
		"CSV":              {"text/csv", "\xef\xbb\xbfBank, At ,pa\r\nnorth/ahu-1/secondary,2026-03-02T08:00:00Z,120\r\n", 1},
		"CSV with flags":   {"text/csv; charset=utf-8", "point,value,unit,suspect,fan_hz\n\"N.AHU1.SecDP\",0.45,in wc,true,45\n", 1},
	} {
		t.Run(name, func(t *testing.T) {
			s := s.in(t)
			r := s.post(call{kind: tc.kind, id: "form " + name, body: tc.body, header: map[string]string{"webhook-id": "form-" + strings.ReplaceAll(name, " ", "-")}})
			if r.code != 202 || r.Recorded != tc.items {
				t.Errorf("%d %s; want %d recorded", r.code, r.raw, tc.items)
			}
		})
	}
	r := s.post(call{kind: "text/csv", id: "csv", body: "bank,pa,at,over_range,count\n" +
		"north/ahu-1/secondary,NaN,,,\n" + "north/ahu-1/secondary,0x10,,,\n" + "north/ahu-1/secondary,\"0,45\",,,\n" + "north/ahu-1/secondary,1_0,,,\n" +
		"north/ahu-1/secondary,inf,,,\n" + "north/ahu-1/secondary,12,yesterday,,\n" + "north/ahu-1/secondary,12,,maybe,\n" + "north/ahu-1/secondary,12,,,4.5\n" +
		"north/ahu-1/secondary,12,,,\n"})
	if r.code != 202 || r.Recorded != 1 || r.Refused != 8 {
		t.Errorf("%d %s", r.code, r.raw)
	}
}

func TestOnceOnlyForGood(t *testing.T) {
	t.Parallel()
	now := noon
	b := start(t, func(s *webhook.Server) { s.Now = func() time.Time { return now } })
	signs, bears, other := b.sender(webhook.Signature, nil, nil), b.sender(webhook.Bearer, nil, nil), b.sender(webhook.Bearer, nil, nil)
	const (
		noTime   = `{"bank":"north/ahu-1/secondary","pa":120}`
		swap     = `{"bank":"north/ahu-1/secondary","count":4}`
		timed    = `{"bank":"north/ahu-1/secondary","count":4,"at":"2026-03-02T08:00:00Z"}`
		withID   = `{"id":"x1","bank":"north/ahu-1/secondary","pa":120}`
		otherWay = `{"id":"x1","bank":"north/ahu-1/secondary","pa":121}`
	)
	steps := []struct {
		name    string
		from    *sender
		after   time.Duration
		call    call
		outcome string
	}{
		{"first", signs, 0, call{id: "m1", body: noTime}, "recorded"},
		{"resent at once", signs, 0, call{id: "m1", body: noTime}, "duplicate"},
		{"resent a year later", signs, 365 * 24 * time.Hour, call{id: "m1", body: noTime}, "duplicate"},
		{"the same under another id", signs, 0, call{id: "m2", body: noTime}, "recorded"},
		{"another integrator's id", other, 0, call{id: "m1", body: noTime}, "recorded"},
		{"same id, other value", signs, 0, call{id: "m1", body: strings.Replace(noTime, "120", "130", 1)}, "refused"},
		{"same id, other bank", signs, 0, call{id: "m1", body: strings.Replace(noTime, "secondary", "primary", 1)}, "refused"},
		{"same id, as a change-out", signs, 0, call{id: "m1", path: "/v1/swaps", body: swap}, "refused"},

		{"no ids, a time", bears, 0, call{body: one}, "recorded"},
		{"resent", bears, 72 * time.Hour, call{body: one}, "duplicate"},
		{"resent in another zone", bears, 0, call{body: strings.Replace(one, "08:00:00Z", "09:00:00+01:00", 1)}, "duplicate"},
		{"another time", bears, 0, call{body: strings.Replace(one, "08:00", "08:15", 1)}, "recorded"},
		{"neither id nor time", bears, 0, call{body: noTime}, "recorded"},
		{"resent within the minute", bears, 59 * time.Second, call{body: noTime}, "duplicate"},
		{"the same value a minute later", bears, time.Second, call{body: noTime}, "recorded"},
		{"a change-out with neither", bears, 0, call{path: "/v1/swaps", body: swap}, "refused"},
		{"a change-out with a time", bears, 0, call{path: "/v1/swaps", body: timed}, "recorded"},
		{"resent", bears, 0, call{path: "/v1/swaps", body: timed}, "duplicate"},

		{"its own id", bears, 0, call{body: withID}, "recorded"},
		{"resent with a webhook-id", bears, time.Hour, call{id: "m9", body: withID}, "duplicate"},
		{"its id for something else", bears, 0, call{body: otherWay}, "refused"},
		{"an id that looks like another's source", bears, 0, call{id: "x1", body: noTime}, "recorded"},
	}
	for _, st := range steps {
		now = now.Add(st.after)
		c := st.call
		c.at = now
		before := len(b.entries())
		r := st.from.post(c)
		if len(r.Results) != 1 || r.Results[0].Outcome != st.outcome {
			t.Fatalf("%s: %d %s; want %s", st.name, r.code, r.raw, st.outcome)
		}
		want := map[string]struct{ code, added int }{"recorded": {202, 1}, "duplicate": {200, 0}, "refused": {422, 0}}[st.outcome]
		if r.code != want.code {
			t.Errorf("%s: status %d, want %d", st.name, r.code, want.code)
		}
		b.count(before + want.added)
		if strings.HasPrefix(st.name, "same id") && !strings.Contains(r.Results[0].Why, "used before, for something else: entry") {
			t.Errorf("%s: %s", st.name, r.Results[0].Why)
		}
	}
}

// What the register adds to a reading is not what the sender said: an edit of
// the register between sending and resending makes no other reading of it.
func TestResentAfterARegisterEditIsStillKnown(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Signature, nil, nil)
	const high = `{"bank":"north/ahu-1/secondary","pa":450}`
	if r := s.post(call{id: "m1", body: high}); r.Held != 1 {
		t.Fatalf("%s", r.raw)
	}
	edited := portfolio()
	bank := edited.Banks["north/ahu-1/secondary"]
	bank.LimitPa, bank.Gauge.StepPa = 300, 10
	edited.Banks["north/ahu-1/secondary"] = bank
	b.edit(edited)
	if r := s.post(call{id: "m2", body: high}); r.Recorded != 1 {
		t.Fatalf("the edit has no effect: %s", r.raw)
	}
	if r := s.post(call{id: "m1", body: high}); r.Duplicate != 1 {
		t.Errorf("%s", r.raw)
	}
}

func TestDuplicatesWithinOneRequest(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Bearer, nil, nil)
	r := s.post(call{body: "[" + one + "," + one + `,{"id":"a","bank":"north/ahu-1/primary","pa":1},{"id":"a","bank":"north/ahu-1/primary","pa":2}]`})
	if r.code != 202 || r.Recorded != 2 || r.Duplicate != 1 || r.Refused != 1 {
		t.Errorf("%d %s", r.code, r.raw)
	}
	b.count(2)
}

// A held reading leaves the forecast where it was; the same value sent for a
// bank whose limit allows it moves it.
func TestHeldReadingsDoNotMoveTheForecast(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Bearer, nil, nil)
	ctx := context.Background()
	var items []string
	for day := range 20 {
		at := noon.AddDate(0, 0, day-60).Format(time.RFC3339)
		items = append(items, fmt.Sprintf(`{"bank":"north/ahu-1/secondary","at":%q,"pa":%d}`, at, 80+2*day))
	}
	if r := s.post(call{body: "[" + strings.Join(items, ",") + "]"}); r.Recorded != len(items) {
		t.Fatalf("%s", r.raw)
	}
	before, err := b.server.View.Assess(ctx, "north/ahu-1/secondary", noon)
	if err != nil {
		t.Fatal(err)
	}
	send := func(pa string) time.Time {
		t.Helper()
		if r := s.post(call{body: `{"bank":"north/ahu-1/secondary","at":"2026-02-20T08:00:00Z","pa":` + pa + `}`}); r.code != 202 {
			t.Fatalf("%s", r.raw)
		}
		a, err := b.server.View.Assess(ctx, "north/ahu-1/secondary", noon)
		if err != nil {
			t.Fatal(err)
		}
		return a.Dates.Median
	}
	for _, pa := range []string{"450", "-20", "0"} {
		if got := send(pa); !got.Equal(before.Dates.Median) {
			t.Errorf("a held reading of %s Pa moves the date from %s to %s", pa, before.Dates.Median, got)
		}
	}
	if got := send("150"); got.Equal(before.Dates.Median) {
		t.Error("a believed reading does not move the date")
	}
}
