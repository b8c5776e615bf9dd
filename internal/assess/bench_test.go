package assess_test

import (
	"fmt"
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
)

// A bank's whole recompute, from entries to figures, by readings in the life. It
// must not grow faster than their number.
func BenchmarkBank(b *testing.B) {
	for _, n := range []int{10, 100, 1000, 10_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			reg := oneBank("")
			entries := []entry.Entry{{Seq: 1, Kind: entry.KindSwap, Place: axisBank, At: began, Body: entry.Swap{}}}
			step := 120 * 24 * time.Hour / time.Duration(n)
			for i := range n {
				at := began.Add(time.Duration(i+1) * step)
				wobble := float64((i*7919)%11-5) / 2
				entries = append(entries, entry.Entry{Seq: int64(i + 2), Kind: entry.KindReading, Place: axisBank, At: at,
					Body: entry.Reading{Pa: 60 + 80*float64(i+1)/float64(n) + wobble}})
			}
			in := assess.Input{Register: reg, Bank: axisBank, Entries: entries, Prior: forecast.ClassPrior("secondary"), Now: began.AddDate(0, 0, 121)}
			for b.Loop() {
				assess.Bank(in)
			}
		})
	}
}
