package view_test

import (
	"testing"

	"clogwise/internal/plant"
	"clogwise/internal/view"
)

// A bank that the workers have not come to is worked out for the list, never left out:
// it may be the one that is overdue.
func TestBoardHoldsBanksWithoutProjection(t *testing.T) {
	t.Parallel()
	store := seeded(t)
	v := view.New(store)
	reg, err := v.Register(t.Context())
	must(t, err)
	site := reg.Sites()[0]
	b, err := v.Board(t.Context(), site, now)
	must(t, err)
	if got, want := len(b.Rows), len(reg.Banks(plant.BankID(site.ID))); got != want || b.Behind != 0 {
		t.Errorf("%d banks in the list and %d said to be missing, want all %d", got, b.Behind, want)
	}
}
