package view

import (
	"context"
	"time"

	"clogwise/internal/digest"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// supplyKinds are the entries a store's stock follows from.
var supplyKinds = []entry.Kind{entry.KindStock, entry.KindOrder, entry.KindSwap, entry.KindAmend, entry.KindRetract}

// Board is how a site stands now.
func (v *View) Board(ctx context.Context, site plant.Site, now time.Time) (digest.Board, error) {
	reg, err := v.Register(ctx)
	if err != nil {
		return digest.Board{}, err
	}
	as, err := v.Assessments(ctx, plant.BankID(site.ID), now)
	if err != nil {
		return digest.Board{}, err
	}
	supplies, err := v.Store.Entries(ctx, ledger.Filter{Place: plant.BankID(site.ID), Kinds: supplyKinds})
	if err != nil {
		return digest.Board{}, err
	}
	b := digest.NewBoard(digest.Input{Register: reg, Site: site, Assessments: as, Supplies: supplies, Now: now})
	b.Behind = len(reg.Banks(plant.BankID(site.ID))) - len(as)
	return b, nil
}
