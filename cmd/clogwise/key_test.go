package main

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"testing"
)

// keys runs a key command on a data folder at a moment and gives its output.
func keys(t *testing.T, data, now string, args ...string) (string, error) {
	t.Helper()
	var out bytes.Buffer
	p := &program{in: strings.NewReader(""), out: &out, err: &out}
	err := p.run(context.Background(), append([]string{"key", "--data", data, "--now", now}, args...))
	return out.String(), err
}

func TestKeyLife(t *testing.T) {
	data := t.TempDir()
	must := func(now string, args ...string) string {
		t.Helper()
		out, err := keys(t, data, now, args...)
		if err != nil {
			t.Fatalf("%v: %v", args, err)
		}
		return out
	}
	const day1, day2, day3 = "2026-03-02T08:00:00Z", "2026-03-03T07:59:59Z", "2026-03-03T08:00:00Z"
	if out := must(day1, "list"); !strings.Contains(out, "clogwise key new NAME") {
		t.Errorf("no keys: %s", out)
	}
	var made keyRow
	if err := json.Unmarshal([]byte(must(day1, "new", "hall automation", "--points", "bf.", "--json")), &made); err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(made.Secret, "whsec_") || made.Scheme != "signature" {
		t.Errorf("made %+v", made)
	}
	out := must(day1, "rotate", made.ID)
	if !strings.Contains(out, "Key "+made.ID+".2 for hall automation (signature)") || !strings.Contains(out, "taken until "+day3) {
		t.Errorf("rotated: %s", out)
	}
	if strings.Contains(out, made.Secret) {
		t.Error("the old secret is shown again")
	}
	if out := must(day2, "list"); !strings.Contains(out, made.ID+"  hall automation  signature  all sites, points bf.  valid until "+day3) || !strings.Contains(out, made.ID+".2  hall automation  signature  all sites, points bf.  valid\n") {
		t.Errorf("listed: %s", out)
	}
	must(day2, "revoke", made.ID+".2")
	must(day3, "revoke", made.ID+".2") // again: the first stands
	out = must(day3, "list")
	if !strings.Contains(out, "ended "+day3) || !strings.Contains(out, "revoked "+day2) {
		t.Errorf("listed: %s", out)
	}
	if listed := must(day3, "list", "--json"); strings.Contains(listed, "secret") || strings.Count(listed, "\n") != 2 {
		t.Errorf("listed: %s", listed)
	}
	for _, tc := range []struct {
		want string
		args []string
	}{
		{"no key k0", []string{"revoke", "k0"}},
		{"is revoked", []string{"rotate", made.ID + ".2"}},
		{"has been rotated", []string{"rotate", made.ID}},
		{`no site "moon"`, []string{"new", "x", "--sites", "moon"}},
		{"neither signature nor bearer", []string{"new", "x", "--scheme", "password"}},
	} {
		if _, err := keys(t, data, day3, tc.args...); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v: %v, want %q", tc.args, err, tc.want)
		}
	}
}
