package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"clogwise/internal/app"
	"clogwise/internal/config"
)

// An integrator's afternoon, against the running intake: a key, the first signed
// reading, a resend, a bad batch, a forged request, and a look at what came of it.
func TestIntegratorsAfternoon(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if _, errs, err := clogwise(t, "", "demo", "--data", dir, "--now", present, "--http-listen", "127.0.0.1:0", "--json"); err != nil {
		t.Fatalf("%v\n%s", err, errs)
	}
	var b strings.Builder
	say := func(format string, args ...any) { fmt.Fprintf(&b, format, args...) }

	say("# An integrator's afternoon, played at %s on the demo's data.\n\n", present)
	keyOut, errs, err := clogwise(t, "", "key", "new", "river-bms", "--sites", "clinic", "--data", dir, "--now", present, "--json")
	if err != nil {
		t.Fatalf("%v\n%s", err, errs)
	}
	var key struct{ ID, Secret string }
	if err := json.Unmarshal([]byte(keyOut), &key); err != nil {
		t.Fatal(err)
	}
	say("$ clogwise key new river-bms --sites clinic --json\n%s\n", keyOut)

	now, err := time.Parse(time.RFC3339, present)
	if err != nil {
		t.Fatal(err)
	}
	base := serveWebhook(t, dir, now)
	sign, err := standardwebhooks.NewWebhook(key.Secret)
	if err != nil {
		t.Fatal(err)
	}
	post := func(what, path, id, body string, spoil bool) {
		sig, err := sign.Sign(id, now, []byte(body))
		if err != nil {
			t.Fatal(err)
		}
		if spoil {
			body = strings.Replace(body, "152", "52", 1)
		}
		req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, base+path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		for k, v := range map[string]string{
			"Content-Type": "application/json", "webhook-id": id, "webhook-timestamp": strconv.FormatInt(now.Unix(), 10), "webhook-signature": sig,
		} {
			req.Header.Set(k, v)
		}
		say("## %s\nPOST %s\nwebhook-id: %s\nwebhook-timestamp: %d\nwebhook-signature: %s\n%s\n\n%s\n", what, path, id, now.Unix(), sig, body, answer(t, req))
	}
	first := `{"point":"QC/AHU3/SEC_FILT_DP","pa":152,"fan_hz":48,"at":"2026-11-25T09:55:00Z"}`
	post("The first signed reading, by the building system's point name", "/v1/readings", "msg-0001", first, false)
	post("The same again: the answer was lost on the way", "/v1/readings", "msg-0001", first, false)
	post("A bad batch: each item is answered for", "/v1/readings", "msg-0002", `[{"bank":"clinic/ahu-1/primary","pa":133},`+
		`{"bank":"clinic/ahu-9/primary","pa":120},{"bank":"clinic/ahu-1/secondary","value":1.9,"unit":"furlong"},`+
		`{"bank":"clinic/ahu-1/secondary","pa":-12},{"bank":"hall/ahu-1/primary","pa":200},`+
		`{"bank":"clinic/ahu-2/secondary","pa":110,"at":"2027-01-01T00:00:00Z"}]`, false)
	post("Somebody changed the body on the way", "/v1/readings", "msg-0003", first, true)
	post("A change-out", "/v1/swaps", "msg-0004", `{"bank":"clinic/ahu-2/primary","count":8,"clean_pa":52,"fan_hz":50,"at":"2026-11-25T09:58:00Z"}`, false)
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, base+"/readyz", nil)
	if err != nil {
		t.Fatal(err)
	}
	say("## Is it well?\nGET /readyz\n\n%s", answer(t, req))

	text := masked(dir, b.String())
	text = strings.ReplaceAll(text, key.Secret, "whsec_(shown once)")
	text = strings.ReplaceAll(text, key.ID, "kKEY")
	text = regexp.MustCompile(`v1,[A-Za-z0-9+/=]+`).ReplaceAllString(text, "v1,(signature)")
	golden(t, "integrator.txt", text)
}

// serveWebhook runs worker and intake on a data folder and returns its address.
func serveWebhook(t *testing.T, dir string, now time.Time) string {
	t.Helper()
	cfg, err := config.Load("", nil)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Data, cfg.Ledger, cfg.HTTP.Listen = dir, filepath.Join(dir, "ledger.db"), "127.0.0.1:0"
	a, err := app.Open(t.Context(), cfg, app.Options{Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	})
	services, addr, err := a.Webhook(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- app.Run(t.Context(), a.Log, services...) }()
	t.Cleanup(func() {
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return "http://" + addr
}

// answer sends a request and prints the answer, JSON laid out for reading.
func answer(t *testing.T, req *http.Request) string {
	t.Helper()
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close() //nolint:errcheck // read to its end
	raw, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if json.Indent(&out, bytes.TrimSpace(raw), "", "  ") != nil {
		out.Reset()
		out.Write(raw)
	}
	return res.Status + "\n" + out.String() + "\n"
}
