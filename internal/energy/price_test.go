package energy_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/shopspring/decimal"

	"clogwise/internal/energy"
	"clogwise/internal/plant"
)

func dec(s string) decimal.Decimal { return decimal.RequireFromString(s) }

var night = plant.Tariff{
	PerKWh: dec("0.30"),
	Bands:  []plant.TariffBand{{Days: "daily", From: "00:00", To: "06:00", PerKWh: dec("0.10")}},
}

func TestPriceOver(t *testing.T) {
	t.Parallel()
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	day := func(m time.Month, d int) time.Time { return time.Date(2026, m, d, 0, 0, 0, 0, london) }
	everyDay := func(h float64, from string) plant.Schedule {
		return plant.Schedule{Hours: map[string]float64{"daily": h}, From: from}
	}
	weekNights := plant.Tariff{
		PerKWh: dec("0.30"),
		Bands: []plant.TariffBand{
			{Days: "Mon-Fri", From: "22:00", To: "06:00", PerKWh: dec("0.10")},
			{Days: "Sat,Sun", From: "00:00", To: "24:00", PerKWh: dec("0.20")},
		},
	}
	for _, c := range []struct {
		name     string
		tariff   plant.Tariff
		s        plant.Schedule
		from, to time.Time
		want     float64 // by the hours of each band
		basis    string
	}{
		{"flat", plant.Tariff{PerKWh: dec("0.25")}, plant.Schedule{}, day(3, 2), day(3, 9), 0.25, "flat"},
		{"round the clock", night, plant.Schedule{}, day(3, 2), day(3, 3), (6*0.10 + 18*0.30) / 24, "by the hour, fan hours as scheduled"},
		{"day fan never meets the night", night, everyDay(12, "06:00"), day(3, 2), day(3, 3), 0.30, "by the hour, fan hours as scheduled"},
		{"start not stated: 07:00 to 19:00", night, everyDay(12, ""), day(3, 2), day(3, 3), 0.30, "by the hour, fan hours taken as centred on 13:00"},
		{"from 04:00", night, everyDay(12, "04:00"), day(3, 2), day(3, 3), (2*0.10 + 10*0.30) / 12, "by the hour, fan hours as scheduled"},
		{"23 h day: five night hours", night, plant.Schedule{}, day(3, 29), day(3, 30), (5*0.10 + 18*0.30) / 23, "by the hour, fan hours as scheduled"},
		{"25 h day: seven night hours", night, plant.Schedule{}, day(10, 25), day(10, 26), (7*0.10 + 18*0.30) / 25, "by the hour, fan hours as scheduled"},
		// Friday's night band reaches into Saturday; Sunday night is the weekend's.
		{"bands past midnight", weekNights, plant.Schedule{}, day(3, 6), day(3, 7), (6*0.10 + 16*0.30 + 2*0.10) / 24, "by the hour, fan hours as scheduled"},
		{"the first band that fits rules", weekNights, plant.Schedule{}, day(3, 7), day(3, 8), (6*0.10 + 18*0.20) / 24, "by the hour, fan hours as scheduled"},
		{"weekend night", weekNights, plant.Schedule{}, day(3, 9), day(3, 10), (6*0.30 + 16*0.30 + 2*0.10) / 24, "by the hour, fan hours as scheduled"},
		{"fan standing still", night, everyDay(0, ""), day(3, 2), day(3, 3), 0.30, "by the hour, fan hours as scheduled"},
		{"part of a day", night, plant.Schedule{}, day(3, 2), day(3, 2).Add(8 * time.Hour), (6*0.10 + 2*0.30) / 8, "by the hour, fan hours as scheduled"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p, err := energy.PriceOver(c.tariff, "GBP", c.s, london, c.from, c.to)
			if err != nil {
				t.Fatal(err)
			}
			if got := p.PerKWh.InexactFloat64(); math.Abs(got-c.want) > 1e-8 {
				t.Errorf("%g, want %g (hours of each band)", got, c.want)
			}
			if p.Basis != c.basis {
				t.Errorf("basis %q, want %q", p.Basis, c.basis)
			}
		})
	}
}

func TestUsualPrice(t *testing.T) {
	t.Parallel()
	s := plant.Schedule{Hours: map[string]float64{"Mon-Fri": 12, "Sat": 6}, From: "05:00", Holidays: []string{"2024-01-01"}}
	p, err := energy.UsualPrice(night, "EUR", s)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "price", p.PerKWh.InexactFloat64(), (6*0.10+(66-6)*0.30)/66, 1e-7, "six running days begin one hour inside the night band; 66 hours a week")
	if got := p.Cost(1000).String(); !strings.HasPrefix(got, "€281.8") {
		t.Errorf("1000 kWh cost %s, want about €281.82", got)
	}
}

func TestTariffRefused(t *testing.T) {
	t.Parallel()
	for name, b := range map[string]plant.TariffBand{
		"days": {Days: "someday", From: "00:00", To: "06:00"}, "from": {Days: "daily", From: "noon", To: "06:00"}, "to": {Days: "daily", From: "00:00", To: "25:00"},
	} {
		if _, err := energy.UsualPrice(plant.Tariff{Bands: []plant.TariffBand{b}}, "EUR", plant.Schedule{}); !errors.Is(err, energy.ErrTariff) {
			t.Errorf("%s: %v, want ErrTariff", name, err)
		}
	}
}
