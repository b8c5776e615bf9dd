package row_test

import (
	"testing"
	"time"

	"clogwise/internal/ledger/row"
)

// TestPrefix checks the bounds against their meaning: what begins with p lies
// between them, its neighbours in byte order do not.
func TestPrefix(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		p       string
		in, out []string
	}{
		{"hook:a:", []string{"hook:a:", "hook:a:1", "hook:a:\xff\xff"}, []string{"hook:a", "hook:a9", "hook:b", "hook:a;"}},
		{"a\xff", []string{"a\xff", "a\xff\xff", "a\xff1"}, []string{"a\xfe", "b", "a"}},
		{"\xff", []string{"\xff", "\xff\xff"}, []string{"\xfe", ""}},
		{"hö", []string{"hö", "höre"}, []string{"h", "hø", "i"}},
	} {
		lo, hi := row.Prefix(c.p)
		within := func(s string) bool { return s >= lo && (hi == "" || s < hi) }
		for _, s := range c.in {
			if !within(s) {
				t.Errorf("%q is outside the bounds of %q", s, c.p)
			}
		}
		for _, s := range c.out {
			if within(s) {
				t.Errorf("%q is within the bounds of %q", s, c.p)
			}
		}
	}
}

func TestTimes(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 2, 7, 0, 0, 123456789, time.UTC)
	for _, want := range []time.Time{{}, now, time.Unix(0, 0).UTC()} {
		if got := row.Time(row.Nanos(want)); !got.Equal(want) || got.IsZero() != want.IsZero() {
			t.Errorf("%s came back as %s", want, got)
		}
		if got := row.TimePtr(row.NanosPtr(&want)); got == nil || !got.Equal(want) {
			t.Errorf("a pointer to %s came back as %v", want, got)
		}
	}
	if row.TimePtr(row.NanosPtr(nil)) != nil {
		t.Error("no time came back as one")
	}
}
