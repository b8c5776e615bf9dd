package webhook_test

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"clogwise/bot/webhook"
	"clogwise/internal/entry"
)

// The worked clients in configs sign as the server checks, tell their caller
// what to do next, and a resend of theirs is known.
func TestWorkedClient(t *testing.T) {
	t.Parallel()
	t.Run("shell", func(t *testing.T) {
		t.Parallel()
		needTools(t)
		workedClient(t, "../../configs/integrator/send.sh", 75)
	})
	t.Run("Go", func(t *testing.T) {
		t.Parallel()
		path := filepath.Join(t.TempDir(), "send")
		if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", path, "../../configs/integrator/send").CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		workedClient(t, path, 0) // it sends again by itself
	})
}

func needTools(t *testing.T) {
	t.Helper()
	for _, tool := range []string{"sh", "curl", "openssl", "od"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("no %s on this machine", tool)
		}
	}
}

// workedClient tries a client; away is its exit while the ledger is away for one
// request.
func workedClient(t *testing.T, program string, away int) {
	t.Helper()
	b := start(t, func(s *webhook.Server) { s.Now = time.Now }) // the script's clock is the real one
	s := b.sender(webhook.Signature, nil, nil)
	run := func(secret, path, id, body string, more ...string) (string, int) {
		t.Helper()
		cmd := exec.CommandContext(t.Context(), program, append([]string{b.url + path, id}, more...)...)
		cmd.Env = append(os.Environ(), "CLOGWISE_SECRET="+secret, "NO_PROXY=*", "no_proxy=*")
		cmd.Stdin = strings.NewReader(body)
		out, err := cmd.CombinedOutput()
		var exit *exec.ExitError
		if err != nil && !errors.As(err, &exit) {
			t.Fatal(err)
		}
		if strings.Contains(string(out), strings.TrimPrefix(secret, "whsec_")) {
			t.Error("the secret is printed")
		}
		return string(out), cmd.ProcessState.ExitCode()
	}
	const body = "[" + one + ",\n  " + `{"point":"N.AHU1.SecDP","value":0.5,"unit":"in wc"}]` + "\n\n" // kept to the byte
	const stranger = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
	for _, tc := range []struct {
		name               string
		secret, path, id   string
		body, kind, answer string
		exit               int
	}{
		{"sent", s.secret, "/v1/readings", "m1", body, "application/json", `"recorded":2`, 0},
		{"resent", s.secret, "/v1/readings", "m1", body, "application/json", `"duplicate":2`, 0},
		{"CSV", s.secret, "/v1/swaps", "m2", "bank,count\nnorth/ahu-1/primary,4\n", "text/csv", `"recorded":1`, 0},
		{"wrong secret", stranger, "/v1/readings", "m3", body, "application/json", `"status":401`, 1},
		{"refused", s.secret, "/v1/readings", "m4", "[]", "application/json", `"status":400`, 1},
	} {
		if out, code := run(tc.secret, tc.path, tc.id, tc.body, tc.kind); code != tc.exit || !strings.Contains(out, tc.answer) {
			t.Errorf("%s: exit %d, %s", tc.name, code, out)
		}
	}
	b.store.FailCommits(1)
	first, again := `"status":503`, `"recorded":1`
	if away == 0 {
		first, again = `"recorded":1`, `"duplicate":1`
	}
	if out, code := run(s.secret, "/v1/readings", "m5", one); code != away || !strings.Contains(out, first) {
		t.Errorf("ledger away: exit %d, %s", code, out)
	}
	if out, code := run(s.secret, "/v1/readings", "m5", one); code != 0 || !strings.Contains(out, again) {
		t.Errorf("sent again: exit %d, %s", code, out)
	}
	if es := b.entries(); len(es) != 4 || es[2].Kind != entry.KindSwap {
		t.Errorf("%d entries", len(es))
	}
}
