package assess_test

import (
	"runtime"
	"testing"
	"time"
	"weak"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
)

// An assessment that is kept must not keep the one it was carried on from, or a
// worker that remembers the latest would remember them all.
func TestAnAssessmentKeepsNoOlderOne(t *testing.T) {
	in := assess.Input{
		Register: oneBank(""), Bank: axisBank, Prior: forecast.ClassPrior("secondary"), Now: began.AddDate(0, 0, 60),
		Entries: []entry.Entry{
			{Seq: 1, Kind: entry.KindSwap, Place: axisBank, At: began, Body: entry.Swap{}},
			{Seq: 2, Kind: entry.KindReading, Place: axisBank, At: began.Add(30 * 24 * time.Hour), Body: entry.Reading{Pa: 90}},
		},
	}
	old := new(assess.Assessment)
	*old = assess.Bank(in)
	if old.LifeSeq == 0 {
		t.Fatal("nothing to carry on from")
	}
	in.Carried = old
	next, ok := assess.Next(in)
	if !ok {
		t.Fatal("not carried on")
	}
	kept := weak.Make(old)
	in.Carried, old = nil, nil
	runtime.GC()
	if kept.Value() != nil {
		t.Error("the assessment before is still held")
	}
	runtime.KeepAlive(next)
}
