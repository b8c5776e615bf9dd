package digest

import (
	"math"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/units"
)

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
// that is all of its present life; the end of the one before is not counted.
func (b Board) SpentSince(from time.Time) Spent {
	s := Spent{Money: units.Money{Currency: b.Site.Currency}}
	for _, a := range b.Assessed {
		if !(a.Energy.KWhLife > 0) {
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
