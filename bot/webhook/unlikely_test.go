package webhook_test

import (
	"strings"
	"testing"

	"clogwise/bot/webhook"
	"clogwise/internal/entry"
)

// What chat would ask about does not count by itself: a change-out is recorded
// without the figure in doubt, and one of long ago not at all.
func TestUnlikelyChangeOutsAreHeld(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Signature, nil, nil)
	r := s.post(call{path: "/v1/swaps", id: "m1", body: `[
		{"bank":"north/ahu-1/secondary","at":"2026-03-02T08:00:00Z","count":4,"clean_pa":630,"item":"XB-1"},
		{"bank":"north/ahu-1/secondary","at":"2016-03-02T08:00:00Z","count":4,"clean_pa":80},
		{"bank":"north/ahu-1/primary","at":"2026-03-02T08:00:00Z","count":400,"clean_pa":40}]`})
	if r.Held != 2 || !strings.Contains(r.Results[2].Why, "count is 400, the bank holds 4") || r.Refused != 1 || !strings.Contains(r.Results[0].Why, "clean_pa is 630") || !strings.Contains(r.Results[1].Why, "more than 400 days ago") {
		t.Fatalf("%d %s", r.code, r.raw)
	}
	if got := b.entries()[0].Body.(entry.Swap); got.Confirmed || got.CleanPa != nil || *got.Count != 4 {
		t.Errorf("%+v", got)
	}
}
