package wire_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"clogwise/bot/webhook/wire"
)

// A hundred readings as building systems send them.
func BenchmarkDecode(b *testing.B) {
	items := make([]string, 100)
	for i := range items {
		items[i] = fmt.Sprintf(`{"id":"r-%d","bank":"hall/ahu-%02d/secondary","at":"2026-03-02T12:00:00Z","pa":%d.5,"flow_m3s":2.25}`, i, i, 100+i)
	}
	body := []byte("[" + strings.Join(items, ",") + "]")
	b.SetBytes(int64(len(body)))
	for b.Loop() {
		if got, err := wire.Decode(http.Header{"Content-Type": {"application/json"}}, body, 1000); err != nil || len(got) != 100 {
			b.Fatalf("%d items, %v", len(got), err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/100, "ns/item")
}
