package energy

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/shopspring/decimal"

	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// ErrTariff is returned for a tariff that cannot be read.
var ErrTariff = errors.New("tariff")

// Price is a price of electricity and how it came about.
type Price struct {
	PerKWh   decimal.Decimal
	Currency string
	Basis    string // "flat", or which hours it is a mean over
	Source   string
}

// Cost is the money that an amount of energy takes.
func (p Price) Cost(kWh float64) units.Money {
	return units.Money{Amount: p.PerKWh, Currency: p.Currency}.Times(kWh)
}

// PriceOver returns the mean price over the hours the fan runs between from and
// to, each hour at its own band in the site's time. Which hours of a day these
// are comes from Schedule.From; without it they are taken as centred on 13:00,
// and Basis says so. When the fan does not run at all in that time, the base
// price is returned. It returns ErrTariff for bands that cannot be read.
func PriceOver(t plant.Tariff, currency string, s plant.Schedule, loc *time.Location, from, to time.Time) (Price, error) {
	p := Price{PerKWh: t.PerKWh, Currency: currency, Basis: "flat", Source: t.Source}
	if len(t.Bands) == 0 {
		return p, nil
	}
	bands, err := readBands(t.Bands)
	if err != nil {
		return Price{}, err
	}
	run := s.Runner(loc)
	p.Basis = "by the hour, fan hours as scheduled"
	if !run.StartStated() {
		p.Basis = "by the hour, fan hours taken as centred on 13:00"
	}
	var sum, all decimal.Decimal
	for r := range run.Runs(from, to) {
		bands.cut(r, loc, func(at time.Time, length time.Duration) {
			d := decimal.NewFromInt(int64(length))
			sum = sum.Add(bands.at(at, t.PerKWh).Mul(d))
			all = all.Add(d)
		})
	}
	if all.IsPositive() {
		p.PerKWh = sum.DivRound(all, 8)
	}
	return p, nil
}

// UsualPrice is PriceOver an ordinary week: no holidays, no change of clocks.
func UsualPrice(t plant.Tariff, currency string, s plant.Schedule) (Price, error) {
	monday := time.Date(2024, time.January, 1, 0, 0, 0, 0, time.UTC)
	s.Holidays = nil
	return PriceOver(t, currency, s, time.UTC, monday, monday.AddDate(0, 0, 7))
}

// band is a tariff band in minutes of the day.
type band struct {
	days     [7]bool
	from, to int
	price    decimal.Decimal
}

type bandSet struct {
	bands []band
	edges []int // minutes of the day at which a price may change, sorted
}

func readBands(bs []plant.TariffBand) (bandSet, error) {
	set := bandSet{edges: []int{0}}
	for _, b := range bs {
		days, err := plant.ParseDays(b.Days)
		if err != nil {
			return bandSet{}, fmt.Errorf("%w: %w", ErrTariff, err)
		}
		from, err := plant.ParseClock(b.From)
		if err != nil {
			return bandSet{}, fmt.Errorf("%w: %w", ErrTariff, err)
		}
		to, err := plant.ParseClock(b.To)
		if err != nil {
			return bandSet{}, fmt.Errorf("%w: %w", ErrTariff, err)
		}
		set.bands = append(set.bands, band{days, from, to, b.PerKWh})
		set.edges = append(set.edges, from%dayMinutes, to%dayMinutes)
	}
	slices.Sort(set.edges)
	set.edges = slices.Compact(set.edges)
	return set, nil
}

const dayMinutes = 24 * 60

// at is the price at a moment: that of the first band that holds it.
func (s bandSet) at(t time.Time, base decimal.Decimal) decimal.Decimal {
	minute := t.Hour()*60 + t.Minute()
	today := t.Weekday()
	yesterday := (today + 6) % 7
	for _, b := range s.bands {
		overnight := b.to <= b.from
		switch {
		case !overnight && b.days[today] && minute >= b.from && minute < b.to,
			overnight && b.days[today] && minute >= b.from,
			overnight && b.days[yesterday] && minute < b.to:
			return b.price
		}
	}
	return base
}

// cut divides a run at every edge, in the site's time.
func (s bandSet) cut(r plant.Run, loc *time.Location, piece func(at time.Time, length time.Duration)) {
	for t := r.From.In(loc); t.Before(r.To); {
		next := s.nextEdge(t, loc)
		if next.After(r.To) {
			next = r.To
		}
		piece(t, next.Sub(t))
		t = next.In(loc)
	}
}

// nextEdge is the first edge after t. An hour shown twice by the clocks is cut
// again at its second edge, since t only moves forward.
func (s bandSet) nextEdge(t time.Time, loc *time.Location) time.Time {
	y, m, d := t.Date()
	for day := 0; ; day++ {
		for _, e := range s.edges {
			if at := time.Date(y, m, d+day, 0, e, 0, 0, loc); at.After(t) {
				return at
			}
		}
	}
}
