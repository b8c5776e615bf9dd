package webhook_test

import (
	"net/http"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"

	"clogwise/bot/webhook"
)

func TestMetrics(t *testing.T) {
	t.Parallel()
	reg := prometheus.NewRegistry()
	b := start(t, func(s *webhook.Server) { s.Metrics = reg })
	s := b.sender(webhook.Bearer, nil, nil)
	s.post(call{id: "m1", body: "[" + one + `,{"bank":"north/ahu-1/primary","pa":-1},{"pa":1}]`})
	s.post(call{id: "m1", body: "[" + one + `,{"bank":"north/ahu-1/primary","pa":-1},{"pa":1}]`})
	s.post(call{method: "GET", path: "/v1/banks/north/ahu-1/nonesuch"})
	s.post(call{method: "BREW", path: "/invented/" + s.key.ID})
	b.queue.down.Store(true)
	s.post(call{id: "m2", body: one})
	res, err := http.Get(b.url + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	r := b.read(res)
	for _, want := range []string{
		`clogwise_intake_items_total{kind="reading",outcome="recorded"} 2`,
		`clogwise_intake_items_total{kind="reading",outcome="held"} 1`,
		`clogwise_intake_items_total{kind="reading",outcome="duplicate"} 2`,
		`clogwise_intake_items_total{kind="reading",outcome="refused"} 2`,
		`clogwise_http_requests_total{code="202",method="POST",route="/v1/readings"} 2`,
		`clogwise_http_requests_total{code="200",method="POST",route="/v1/readings"} 1`,
		`clogwise_http_requests_total{code="404",method="GET",route="/v1/banks/{site}/{ahu}/{bank}"} 1`,
		`clogwise_http_requests_total{code="404",method="other",route="other"} 1`,
		`clogwise_http_request_duration_seconds_count{route="/v1/readings"} 3`,
		`clogwise_intake_queue_failures_total 1`,
	} {
		if !strings.Contains(r.raw, want+"\n") {
			t.Errorf("no line %s in\n%s", want, r.raw)
		}
	}
	if strings.Contains(r.raw, s.key.ID) {
		t.Error("what a sender chose is a label")
	}
	problems, err := promlint.New(strings.NewReader(r.raw)).Lint()
	if err != nil || len(problems) > 0 {
		t.Errorf("names: %v %v", problems, err)
	}
}
