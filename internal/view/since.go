package view

import (
	"context"
	"time"

	"clogwise/internal/digest"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// Since is what was recorded at a site in [from, to), and what its pairs of banks
// would cost; a zero from is a week before to.
func (v *View) Since(ctx context.Context, site plant.Site, from, to time.Time) (digest.Since, error) {
	if from.IsZero() {
		from = to.AddDate(0, 0, -7)
	}
	entries, err := v.Store.Entries(ctx, ledger.Filter{
		Place: plant.BankID(site.ID), Kinds: digest.SinceKinds, From: from.Add(-digest.LateReport),
	})
	if err != nil {
		return digest.Since{}, err
	}
	s := digest.SinceOf(entries, from, to)
	s.Pairs, err = v.pairsOf(ctx, site, to)
	return s, err
}
