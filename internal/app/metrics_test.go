package app_test

import (
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
)

// What is told to a monitor: waiting forecasts and posts, and after a first look
// how forecasts fared against the demo's change-outs.
func TestMetricsTellWhatWaitsAndHowForecastsFared(t *testing.T) {
	t.Parallel()
	a := filled(t)
	addr := serveWeb(t, a)
	var text string
	for end := time.Now().Add(time.Minute); ; time.Sleep(50 * time.Millisecond) {
		res, err := http.Get("http://" + addr + "/metrics")
		if err != nil {
			t.Fatal(err)
		}
		raw, err := io.ReadAll(res.Body)
		if cerr := res.Body.Close(); err != nil || cerr != nil {
			t.Fatal(err, cerr)
		}
		if text = string(raw); strings.Contains(text, "clogwise_forecast_outcomes") || time.Now().After(end) {
			break
		}
	}
	for _, want := range []string{
		"clogwise_forecasts_behind_banks 0", "clogwise_outbox_posts ", "clogwise_outbox_oldest_age_seconds ",
		`clogwise_forecast_error_seconds{of="median_abs"} `, "clogwise_forecast_inside_ratio 0.", "clogwise_recompute_duration_seconds_count ",
		"clogwise_ledger_entries_total ", "clogwise_queue_oldest_notice_age_seconds ",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("lacks %q", want)
		}
	}
	// All that a running process tells, by the conventions of Prometheus.
	problems, err := promlint.New(strings.NewReader(text)).Lint()
	if err != nil || len(problems) > 0 {
		t.Errorf("names: %v %v", problems, err)
	}
	for _, line := range strings.Split(text, "\n") {
		if f := strings.Fields(line); strings.HasPrefix(line, "# TYPE ") && !strings.HasPrefix(f[2], "clogwise_") && !strings.HasPrefix(f[2], "go_") && !strings.HasPrefix(f[2], "process_") {
			t.Errorf("%s has no prefix", f[2])
		}
	}
}

// A worker alone has an address of its own for its figures.
func TestWorkerServesItsMetrics(t *testing.T) {
	t.Parallel()
	a := open(t, t.TempDir())
	if got, err := a.MetricsService(t.Context()); err != nil || got != nil {
		t.Errorf("with the bot's role: %v %v", got, err)
	}
	a.Cfg.Roles, a.Cfg.HTTP.MetricsListen = []string{"worker"}, "127.0.0.1:0"
	got, err := a.MetricsService(t.Context())
	if err != nil || len(got) != 1 {
		t.Fatalf("%v %v", got, err)
	}
}
