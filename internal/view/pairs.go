package view

import (
	"context"
	"math"
	"slices"
	"time"

	"github.com/shopspring/decimal"

	"clogwise/internal/assess"
	"clogwise/internal/digest"
	"clogwise/internal/energy"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Pair weighs how many primaries of an AHU to use up for each set of the secondary
// behind them; ok is false where it has not one of each, or nothing to weigh.
func (v *View) Pair(ctx context.Context, ahu plant.BankID, now time.Time) (p digest.Pair, ok bool, err error) {
	policies, err := v.Pairs(ctx, ahu, now)
	if err != nil || len(policies) == 0 {
		return p, false, err
	}
	reg, err := v.Register(ctx)
	if err != nil {
		return p, false, err
	}
	site, _ := reg.Site(ahu.Site())
	unit, _ := reg.AHU(ahu)
	life := map[plant.Stage]assess.Assessment{}
	for _, id := range reg.Banks(ahu) {
		if b, known := reg.Bank(id); known {
			if life[b.Stage], _, err = v.Assessment(ctx, id); err != nil {
				return p, false, err
			}
		}
	}
	week := life[plant.Primary].HoursWeek
	if !(week > 0) {
		return p, false, nil
	}
	p = digest.Pair{AHU: ahu, Tag: unit.Tag, Now: -1, AtMost: life[plant.Primary].Energy.AtMost()}
	best, _ := energy.BestPair(policies)
	usual := math.Round(life[plant.Secondary].LifeHours / life[plant.Primary].LifeHours)
	for i, x := range policies {
		p.Choices = append(p.Choices, digest.PairChoice{
			K: x.K, PrimaryWeeks: x.PrimaryHours / week, SecondaryWeeks: x.SecondaryHours / week, Pace: x.Effect,
			PerYear: units.Money{Amount: decimal.NewFromFloat(x.PerYear).Round(2), Currency: site.Currency},
		})
		if x.K == best.K {
			p.Best = i
		}
		if float64(x.K) == usual {
			p.Now = i
		}
	}
	return p, true, nil
}

// mostPairs bounds the AHUs of a site whose pairs are weighed for a digest.
const mostPairs = 30

// pairsOf weighs the pairs of a site's AHUs, those whose dirt costs most first.
func (v *View) pairsOf(ctx context.Context, site plant.Site, now time.Time) ([]digest.Pair, error) {
	as, err := v.Assessments(ctx, plant.BankID(site.ID), now)
	if err != nil {
		return nil, err
	}
	kwh := map[plant.BankID]float64{}
	for _, a := range as {
		kwh[a.Bank.AHU()] += a.Energy.KWhPerDay
	}
	var ahus []plant.BankID
	for ahu, x := range kwh {
		if x > 0 {
			ahus = append(ahus, ahu)
		}
	}
	slices.SortFunc(ahus, func(a, b plant.BankID) int {
		if d := kwh[b] - kwh[a]; d != 0 {
			return int(math.Copysign(1, d))
		}
		return slices.Compare([]plant.BankID{a}, []plant.BankID{b})
	})
	var out []digest.Pair
	for _, ahu := range ahus[:min(len(ahus), mostPairs)] {
		p, ok, err := v.Pair(ctx, ahu, now)
		if err != nil {
			return nil, err
		}
		if ok {
			out = append(out, p)
		}
	}
	return out, nil
}
