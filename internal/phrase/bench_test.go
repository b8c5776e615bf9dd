package phrase_test

import (
	"strings"
	"testing"

	"clogwise/internal/phrase"
)

func BenchmarkUnderstand(b *testing.B) {
	var round strings.Builder
	for _, tag := range []string{"AHU-1", "AHU-2", "AHU-3", "AHU-4", "AHU-5", "AHU-6", "AHU-8", "AHU-10", "AHU-23"} {
		round.WriteString(tag + " pre 0.45 in wc, bag 0.82, 42 Hz\n")
	}
	for name, text := range map[string]string{
		"short":   "ahu3 bag 145pa",
		"typical": "AHU-11 pre 95 bag 160 hepa 300 Pa @ 42 Hz",
		"swap":    "AHU-2 pres changed today 24 off, now 62pa -MK",
		"ask":     "ahu 3 pre 45",
		"chatter": "anyone want lunch at 12? the canteen has soup",
		"round":   round.String(),
		"longest": strings.Repeat("AHU-3 pre 112 pa bag 205 pa\n", phrase.MaxLength/28),
	} {
		b.Run(name, func(b *testing.B) {
			sc := scopeNamed("north")
			b.SetBytes(int64(len(text)))
			b.ReportAllocs()
			for b.Loop() {
				phrase.Understand(text, sc)
			}
		})
	}
	b.Run("without index", func(b *testing.B) {
		sc := scopeNamed("north")
		sc.Index = nil
		b.ReportAllocs()
		for b.Loop() {
			phrase.Understand("ahu3 bag 145pa", sc)
		}
	})
}
