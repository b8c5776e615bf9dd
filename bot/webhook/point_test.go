package webhook_test

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"clogwise/bot/webhook"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/pointbook"
)

func (b *bundle) book() *pointbook.Book { return &pointbook.Book{Store: b.store, View: b.server.View} }

func (b *bundle) assign(place plant.BankID, p entry.Point) int {
	b.Helper()
	n, err := b.book().Assign(context.Background(), place, p, "Maren", noon)
	if err != nil {
		b.Fatal(err)
	}
	return n
}

func (b *bundle) of(place plant.BankID, k entry.Kind) []entry.Entry {
	b.Helper()
	es, err := b.store.Entries(context.Background(), ledger.Filter{Place: place, Exact: true, Kinds: []entry.Kind{k}})
	if err != nil {
		b.Fatal(err)
	}
	return es
}

// Values of an unknown point are kept aside, told of, and brought in once the
// point is mapped, each once, at the time it was measured.
func TestUnknownPointIsKeptAndBroughtIn(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Bearer, []string{"north"}, nil)
	const body = `[{"point":"N.AHU1.PriDP","value":0.3,"at":"2026-03-02T08:00:00Z"},{"point":"n.ahu1.pridp","value":0.31,"at":"2026-03-02T09:00:00Z"},
		{"point":"N.Elsewhere","value":7,"at":"2026-03-02T09:00:00Z"}]`
	if r := s.post(call{id: "m1", body: body}); r.code != 202 || r.Aside != 3 {
		t.Fatalf("%d %s", r.code, r.raw)
	}
	if r := s.post(call{id: "m1", body: body}); r.code != 200 || r.Duplicate != 3 {
		t.Errorf("resent: %d %s", r.code, r.raw)
	}
	all, err := b.book().Unknown(t.Context())
	if err != nil || len(all) != 2 || all[0].Count != 2 || *all[0].Value != 0.31 || all[0].By != "hall automation" || all[0].Why != "not mapped" ||
		!all[0].First.Equal(noon.Add(-4*time.Hour)) || !all[0].Last.Equal(noon.Add(-3*time.Hour)) {
		t.Fatalf("%+v, %v", all, err)
	}
	if r := s.post(call{method: "GET", path: "/v1/points"}); !strings.Contains(r.raw, `"point":"N.AHU1.PriDP","count":2`) || !strings.Contains(r.raw, `"place":"north/ahu-1/secondary"`) || strings.Contains(r.raw, "south") {
		t.Errorf("told: %s", r.raw)
	}

	if n := b.assign("north/ahu-1/primary", entry.Point{Name: "N.AHU1.PriDP", Quantity: "pressure", Unit: "inH2O"}); n != 2 {
		t.Errorf("%d brought in", n)
	}
	rs := b.of("north/ahu-1/primary", entry.KindReading)
	// 0.3 in of conventional water, 249.08891 Pa each (NIST SP 811).
	if len(rs) != 2 || rs[0].By != "hall automation" || !rs[0].At.Equal(noon.Add(-4*time.Hour)) || rs[0].Body.(entry.Reading).Pa < 74.72 || rs[0].Body.(entry.Reading).Pa > 74.73 {
		t.Fatalf("%+v", rs)
	}
	if n, err := b.book().BringIn(t.Context(), "N.AHU1.PRIDP", noon); n != 0 || err != nil {
		t.Errorf("again: %d, %v", n, err)
	}
	if r := s.post(call{id: "m1", body: body}); r.code != 200 || r.Duplicate != 3 {
		t.Errorf("resent after the mapping: %d %s", r.code, r.raw)
	}
	if r := s.post(call{id: "m2", body: strings.ReplaceAll(body, "02T0", "01T0")}); r.Recorded != 2 || r.Aside != 1 {
		t.Errorf("sent after the mapping: %s", r.raw)
	}
	if all, err := b.book().Unknown(t.Context()); err != nil || len(all) != 1 || all[0].Point != "N.Elsewhere" {
		t.Errorf("%+v, %v", all, err)
	}
}

// A mapping put right puts right what was brought in by it: the unit, then the
// bank; what a person corrected stays as he said.
func TestMappingPutRight(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Bearer, nil, nil)
	s.post(call{id: "m1", body: `[{"point":"N.X","value":0.3,"at":"2026-03-02T08:00:00Z"},{"point":"N.X","value":0.4,"at":"2026-03-02T09:00:00Z"},
		{"point":"N.X","value":0.5,"at":"2026-03-02T10:00:00Z"}]`})
	says := func(place plant.BankID) []float64 {
		t.Helper()
		all, err := b.store.Entries(t.Context(), ledger.Filter{Place: place, Exact: true})
		if err != nil {
			t.Fatal(err)
		}
		var out []float64
		for _, x := range entry.Standing(all) {
			if r, ok := x.Body.(entry.Reading); ok {
				out = append(out, math.Round(r.Pa*10)/10)
			}
		}
		return out
	}
	const wrong, right plant.BankID = "north/ahu-1/secondary", "north/ahu-1/primary"
	if n := b.assign(wrong, entry.Point{Name: "N.X", Quantity: "pressure", Unit: "Pa"}); n != 3 {
		t.Errorf("%d brought in", n)
	}
	third := b.of(wrong, entry.KindReading)[2]
	if _, err := b.store.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{{
		Source: "chat:1", Kind: entry.KindAmend, Place: wrong, At: noon, Received: noon, Body: entry.Amend{Target: third.Seq, Body: entry.Reading{Pa: 125}},
	}}}); err != nil {
		t.Fatal(err)
	}
	// In inches of conventional water, 249.08891 Pa each (NIST SP 811).
	inches := entry.Point{Name: "N.X", Quantity: "pressure", Unit: "inH2O"}
	for i, want := range []int{2, 0} {
		if n := b.assign(wrong, inches); n != want {
			t.Errorf("time %d: %d put right, want %d", i, n, want)
		}
	}
	if got := says(wrong); !slices.Equal(got, []float64{74.7, 99.6, 125}) {
		t.Errorf("unit: %v", got)
	}
	if n := b.assign(right, inches); n != 2 {
		t.Errorf("bank: %d", n)
	}
	if got, left := says(right), says(wrong); !slices.Equal(got, []float64{74.7, 99.6}) || !slices.Equal(left, []float64{125}) {
		t.Errorf("bank: %v, left %v", got, left)
	}
	if n := b.assign(wrong, inches); n != 2 { // and back
		t.Errorf("back: %d", n)
	}
	if got, left := says(wrong), says(right); !slices.Equal(got, []float64{74.7, 99.6, 125}) || len(left) != 0 {
		t.Errorf("back: %v, left %v", got, left)
	}
}

// What a key may not write is not brought in by mapping it either.
func TestMappingDoesNotWidenAKey(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Bearer, []string{"south"}, nil)
	s.post(call{body: `{"point":"N.AHU1.PriDP","value":50,"unit":"Pa"}`})
	if n := b.assign("north/ahu-1/primary", entry.Point{Name: "N.AHU1.PriDP", Quantity: "pressure"}); n != 0 {
		t.Errorf("%d brought in beyond the key's sites", n)
	}
	if r := s.post(call{body: `{"point":"N.AHU1.PriDP","value":51,"unit":"Pa"}`}); r.Aside != 1 {
		t.Errorf("%s", r.raw)
	}
	if all, err := b.book().Unknown(t.Context()); err != nil || len(all) != 1 || !strings.Contains(all[0].Why, "may not write") {
		t.Errorf("%+v, %v", all, err)
	}
}

// Points of the air of an AHU go with the readings of its banks: with those of
// the same request and of the ten minutes around.
func TestAirOfPointsGoesWithReadings(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Bearer, nil, nil)
	b.assign("north/ahu-1", entry.Point{Name: "N.AHU1.Flow", Quantity: "airflow", Unit: "m3/h", Scale: 100})
	b.assign("north/ahu-1", entry.Point{Name: "N.AHU1.Run", Quantity: "run-status"})
	const dp = `{"point":"N.AHU1.SecDP","value":120,"unit":"Pa","at":"2026-03-02T08:00:00Z"}`
	r := s.post(call{id: "m1", body: `[` + dp + `,{"point":"N.AHU1.Flow","value":90,"at":"2026-03-02T08:04:00Z"},{"point":"N.AHU1.Flow","value":10,"at":"2026-03-02T08:06:00Z"}]`})
	if r.Recorded != 3 {
		t.Fatalf("%s", r.raw)
	}
	rs := b.of("north/ahu-1/secondary", entry.KindReading)
	// 90 × 100 m³/h = 2.5 m³/s, the nearer of the two.
	if got := rs[0].Body.(entry.Reading); got.FlowM3s == nil || *got.FlowM3s != 2.5 || got.FanHz != nil {
		t.Errorf("%+v", got)
	}
	if r := s.post(call{id: "m1", body: `[` + dp + `,{"point":"N.AHU1.Flow","value":90,"at":"2026-03-02T08:04:00Z"},{"point":"N.AHU1.Flow","value":10,"at":"2026-03-02T08:06:00Z"}]`}); r.Duplicate != 3 {
		t.Errorf("resent: %s", r.raw)
	}
	later := strings.Replace(dp, "08:00", "09:00", 1)
	s.post(call{id: "m2", body: `{"point":"N.AHU1.Run","value":0,"at":"2026-03-02T08:55:00Z"}`})
	if r := s.post(call{id: "m3", body: later}); r.Held != 1 || !strings.Contains(r.raw, "stood still") {
		t.Errorf("fan off: %s", r.raw)
	}
	if r := s.post(call{id: "m4", body: strings.Replace(dp, "08:00", "09:30", 1)}); r.Recorded != 1 {
		t.Errorf("long after: %s", r.raw)
	}
	rs = b.of("north/ahu-1/secondary", entry.KindReading)
	if got := rs[2].Body.(entry.Reading); got.FlowM3s != nil || got.Suspect {
		t.Errorf("long after: %+v", got)
	}
}
