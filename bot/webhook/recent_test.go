package webhook

import (
	"context"
	"errors"
	"testing"
	"time"

	"clogwise/internal/plant"
	"clogwise/internal/points"
)

// While one request asks the ledger anew, the others go by what was known a
// moment ago; what is too old is waited for.
func TestRecent(t *testing.T) {
	t.Parallel()
	asked, answer := make(chan struct{}), make(chan error)
	r := &recent{hold: time.Hour, read: func(context.Context) (*plant.Register, points.Map, error) {
		asked <- struct{}{}
		return plant.NewRegister(plant.Contents{}), points.Map{}, <-answer
	}}
	got := make(chan error)
	ask := func() {
		go func() {
			_, err := r.lately(context.Background())
			got <- err
		}()
	}
	ask()
	<-asked
	answer <- errors.New("away")
	if err := <-got; err == nil {
		t.Error("a ledger that is away is taken for an empty register")
	}
	ask()
	<-asked
	answer <- nil
	if err := <-got; err != nil {
		t.Error(err)
	}
	ask() // known: nobody is asked
	if err := <-got; err != nil {
		t.Error(err)
	}
	age := func(d time.Duration) {
		r.mu.Lock()
		r.at = time.Now().Add(-d)
		r.mu.Unlock()
	}
	age(2 * time.Hour)
	ask()
	<-asked
	ask() // while the first is still asking
	if err := <-got; err != nil {
		t.Error(err)
	}
	answer <- nil
	if err := <-got; err != nil {
		t.Error(err)
	}
	age(stale * time.Hour)
	ask()
	<-asked
	ask()
	select {
	case <-got:
		t.Error("what is too old is used")
	case <-time.After(20 * time.Millisecond):
	}
	answer <- nil
	for range 2 { // the second finds what the first has brought
		if err := <-got; err != nil {
			t.Error(err)
		}
	}
}
