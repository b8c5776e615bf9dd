package entry_test

import (
	"encoding/json"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

var day = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func reading(seq int64, hours int, pa float64) entry.Entry {
	return entry.Entry{Seq: seq, Kind: entry.KindReading, Place: "s/a/b", At: day.Add(time.Duration(hours) * time.Hour), Body: entry.Reading{Pa: pa}}
}

func retract(seq, target int64) entry.Entry {
	return entry.Entry{Seq: seq, Kind: entry.KindRetract, Place: "s/a/b", At: day, Body: entry.Retract{Target: target}}
}

func amend(seq, target int64, pa float64) entry.Entry {
	return entry.Entry{Seq: seq, Kind: entry.KindAmend, Place: "s/a/b", At: day, Body: entry.Amend{Target: target, Body: entry.Reading{Pa: pa}}}
}

func TestStanding(t *testing.T) {
	for _, tc := range []struct {
		name string
		in   []entry.Entry
		want map[int64]float64 // standing readings by Seq
	}{
		{"plain", []entry.Entry{reading(1, 0, 100), reading(2, 1, 110)}, map[int64]float64{1: 100, 2: 110}},
		{"retracted", []entry.Entry{reading(1, 0, 100), retract(2, 1)}, map[int64]float64{}},
		{"a retraction taken back", []entry.Entry{reading(1, 0, 100), retract(2, 1), retract(3, 2)}, map[int64]float64{1: 100}},
		{"retracted again after that", []entry.Entry{reading(1, 0, 100), retract(2, 1), retract(3, 2), retract(4, 1)}, map[int64]float64{}},
		{"amended", []entry.Entry{reading(1, 0, 100), amend(2, 1, 105)}, map[int64]float64{1: 105}},
		{"amended twice: the newest counts", []entry.Entry{reading(1, 0, 100), amend(2, 1, 105), amend(3, 1, 107)}, map[int64]float64{1: 107}},
		{"an amendment taken back: the one before counts", []entry.Entry{reading(1, 0, 100), amend(2, 1, 105), amend(3, 1, 107), retract(4, 3)}, map[int64]float64{1: 105}},
		{"amended and retracted", []entry.Entry{reading(1, 0, 100), amend(2, 1, 105), retract(3, 1)}, map[int64]float64{}},
		{"nothing acts on what comes after it", []entry.Entry{retract(1, 2), reading(2, 0, 100)}, map[int64]float64{2: 100}},
		{"duplicates count once", []entry.Entry{reading(1, 0, 100), reading(1, 0, 100)}, map[int64]float64{1: 100}},
		{"an amendment of another kind is passed over", []entry.Entry{reading(1, 0, 100),
			{Seq: 2, Kind: entry.KindAmend, Body: entry.Amend{Target: 1, Body: entry.Skip{Reason: "x"}}}}, map[int64]float64{1: 100}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			for range 5 { // the order of the input does not matter
				rand.Shuffle(len(tc.in), func(i, j int) { tc.in[i], tc.in[j] = tc.in[j], tc.in[i] })
				got := map[int64]float64{}
				for _, x := range entry.Standing(tc.in) {
					got[x.Seq] = x.Body.(entry.Reading).Pa
				}
				if d := cmp.Diff(tc.want, got); d != "" {
					t.Fatal(d)
				}
			}
		})
	}
}

func TestStandingIsByTime(t *testing.T) {
	got := entry.Standing([]entry.Entry{reading(1, 5, 100), reading(2, 1, 90), reading(3, 5, 101)})
	var seqs []int64
	for _, x := range got {
		seqs = append(seqs, x.Seq)
	}
	if d := cmp.Diff([]int64{2, 1, 3}, seqs); d != "" {
		t.Error(d)
	}
}

func TestJSONKeepsEveryBody(t *testing.T) {
	f, n, until := 3.1, 12, day.Add(48*time.Hour)
	for _, body := range []entry.Body{
		entry.Reading{Pa: 145, FlowM3s: &f, StepPa: 1}, entry.Swap{Count: &n, CleanPa: &f, Confirmed: true}, entry.ZeroCheck{OffsetPa: -2},
		entry.OverRange{TopPa: 500}, entry.Range{LowPa: 100, HighPa: 150}, entry.Skip{Reason: "locked"}, entry.FanOff{},
		entry.Defect{Note: "belt", Fixed: true, From: &until}, entry.Amend{Target: 3, Body: entry.Swap{Count: &n}}, entry.Retract{Target: 4},
		entry.Event{What: "smoke", Until: &until}, entry.Booking{Start: day, Crew: []string{"a"}}, entry.JobStart{}, entry.JobDone{CleanPa: &f, ZeroOK: true},
		entry.Stock{Item: "x", Count: 3}, entry.Order{Item: "x", Count: 4, Due: &until}, entry.Defer{Until: until, Reason: "r"},
		entry.StepsSent{When: "day-before", Start: day, Steps: []string{"D01"}}, entry.StepsRead{When: "after", Start: day},
		entry.Point{Name: "p", Quantity: "airflow", Scale: 2}, entry.Sample{Point: "p", Value: &f, Sites: []string{"s"}},
		entry.RegisterEdit{Object: "bank", ID: "s/a/b", Value: json.RawMessage(`{"id":"b"}`)},
	} {
		t.Run(string(body.Kind()), func(t *testing.T) {
			want := entry.Entry{Seq: 7, Source: "t:1", Kind: body.Kind(), Place: plant.BankID("s/a/b"), At: day, Received: day, By: "x", Line: "l", Body: body}
			raw, err := json.Marshal(want)
			if err != nil {
				t.Fatal(err)
			}
			var got entry.Entry
			if err := json.Unmarshal(raw, &got); err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(want, got); d != "" {
				t.Error(d)
			}
		})
	}
	if _, err := entry.DecodeBody("moon-phase", []byte(`{}`)); err == nil {
		t.Error("an unknown kind was read")
	}
}
