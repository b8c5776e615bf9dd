package digest

import (
	"math"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/units"
)

// MonthBefore is when the month began over which a digest tells what was wasted and
// saved.
func MonthBefore(now time.Time) time.Time { return now.AddDate(0, -1, 0) }

// Spent is what the dirt in filters cost over some time.
type Spent struct {
	KWh     float64
	Money   units.Money
	Kg      float64 // kgCO2e
	LeftOut int     // banks whose part is not known, or is priced in another currency
}

// SpentSince estimates what dirt cost from a time until the board's. A bank's
// assessment tells the total K of its life of T days so far and the rate r a day
// now; the curve through both that grows as a power of time has spent
// K·(1 − (1 − d/T)^(rT/K)) in the last d days. For a bank that was changed since,
// that is all of its present life; the end of the one before is not counted. Banks
// behind fans whose control is not known are left out.
func (b Board) SpentSince(from time.Time) Spent {
	s := Spent{Money: units.Money{Currency: b.Site.Currency}}
	for _, a := range b.Assessed {
		if !(a.Energy.KWhLife > 0) || a.Energy.AtMost() {
			continue
		}
		share, ok := lately(a, from)
		if !ok {
			s.LeftOut++
			continue
		}
		sum, err := s.Money.Add(a.Energy.MoneyLife.Times(share))
		if err != nil {
			s.LeftOut++
			continue
		}
		s.Money = sum
		s.KWh += share * a.Energy.KWhLife
		s.Kg += share * a.Energy.KgLife
	}
	return s
}

// Saved is what change-outs have saved over some time.
type Saved struct {
	Spent
	Swaps int // that are counted
}

// SavedSince estimates what the change-outs since a time have saved until the
// board's: the energy over clean that the filters before would have used, had they
// stayed as they were last read, less what the new ones have used over clean. Filters
// of a fan of fixed speed save none; change-outs before which nothing was read are
// left out.
func (b Board) SavedSince(from time.Time) Saved {
	s := Saved{Spent: Spent{Money: units.Money{Currency: b.Site.Currency}}}
	for _, a := range b.Assessed {
		e := a.Energy
		if a.LifeStart == nil || a.LastSwap == nil || !a.LifeStart.After(from) || !(e.KWhPerPaDay > 0) {
			continue
		}
		if a.LastSwap.BeforePa == nil {
			s.LeftOut++
			continue
		}
		paDays := (*a.LastSwap.BeforePa - a.CleanPa) * a.Now.Sub(*a.LifeStart).Hours() / 24
		kWh := e.KWhPerPaDay*paDays - e.KWhLife
		sum, err := s.Money.Add(e.MoneyPerKPaDay.Times(paDays / 1000))
		if err == nil {
			sum, err = sum.Add(e.MoneyLife.Times(-1))
		}
		if err != nil {
			s.LeftOut++
			continue
		}
		s.Money = sum
		s.KWh += kWh
		s.Kg += kWh * b.Site.Carbon.KgPerKWh
		s.Swaps++
	}
	return s
}

// lately is the part of a life's energy that fell after a time.
func lately(a assess.Assessment, from time.Time) (share float64, ok bool) {
	if a.LifeStart == nil || a.Now.IsZero() {
		return 0, false
	}
	life, last := a.Now.Sub(*a.LifeStart).Hours()/24, a.Now.Sub(from).Hours()/24
	switch {
	case last >= life:
		return 1, true
	case last <= 0:
		return 0, true
	}
	growth := a.Energy.KWhPerDay * life / a.Energy.KWhLife
	share = 1 - math.Pow(1-last/life, growth)
	return share, !math.IsNaN(share)
}
