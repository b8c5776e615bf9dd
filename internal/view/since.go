package view

import (
	"context"
	"time"

	"clogwise/internal/digest"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// Since is what was recorded at a site in [from, to); a zero from is a week
// before to.
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
	return digest.SinceOf(entries, from, to), nil
}
