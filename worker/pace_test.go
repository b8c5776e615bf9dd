package worker_test

import (
	"fmt"
	"testing"
	"time"

	"clogwise/internal/ledger"
)

// A channel gets its burst at once and then one post a second; another channel is
// not held up.
func TestPaceOfAChannel(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	s := &platform{}
	o := r.outbox(s)
	o.PerSecond, o.Burst, o.Lease = 1, 3, 100*time.Hour
	const posts = 12
	for i := range posts {
		r.say(fmt.Sprintf("p%02d", i), "clinic", fmt.Sprintf("th%d", i))
	}
	r.say("other", "hall", "x")
	during(t, o.Run, func() {
		eventually(t, "the burst", func() bool { return len(s.texts()) == 4 })
		for n := 4; n < posts+1; n++ {
			eventuallyOr(30*time.Millisecond, func() bool { return len(s.texts()) > n })
			if got := len(s.texts()); got > n {
				t.Fatalf("%d posts before the next second", got)
			}
			r.clock.add(time.Second)
			eventually(t, "the next one", func() bool { return len(s.texts()) == n+1 })
		}
	})
	said := map[string]int{}
	for _, text := range s.texts() {
		if said[text]++; said[text] > 1 {
			t.Errorf("%s went out twice", text)
		}
	}
	if left, err := r.store.Posts(t.Context(), ledger.PostReady, 0); err != nil || len(left) != 0 {
		t.Errorf("%d left, %v", len(left), err)
	}
}
