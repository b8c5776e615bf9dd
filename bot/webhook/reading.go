package webhook

import (
	"cmp"
	"errors"
	"fmt"

	"clogwise/bot/webhook/wire"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/points"
)

// maker makes the body of an entry from an item for a bank with its limit (0:
// not known). held says why it is kept out of the trend, err why it is refused.
type maker func(it wire.Item, bank plant.Bank, limitPa float64) (body entry.Body, held string, err error)

// makeReading makes the body of a reading.
func makeReading(it wire.Item, bank plant.Bank, limitPa float64) (entry.Body, string, error) {
	if err := cmp.Or(none("a change-out's; send it to POST /v1/swaps", it.Count != nil, it.CleanPa != nil, it.BeforePa != nil, it.Item != ""), it.CheckAir()); err != nil {
		return nil, "", err
	}
	if it.OverRange {
		return makeOverRange(it, bank)
	}
	pa, err := it.Pressure()
	if err != nil {
		return nil, "", err
	}
	r := entry.Reading{
		Pa: pa, FlowM3s: it.FlowM3s, FanHz: it.FanHz, FanPct: it.FanPct, StepPa: bank.Gauge.StepPa,
		Wet: it.Wet, Suspect: it.Suspect, Unit: it.Unit,
	}
	held := points.Doubt(pa, bank, limitPa)
	r.Suspect = r.Suspect || held != ""
	return r, held, nil
}

// makeOverRange takes a reading at the stop: its value, else the gauge's top.
func makeOverRange(it wire.Item, bank plant.Bank) (entry.Body, string, error) {
	top := bank.Gauge.TopPa
	if it.Pa != nil || it.Value != nil {
		var err error
		if top, err = it.Pressure(); err != nil {
			return nil, "", err
		}
	}
	if top <= 0 {
		return nil, "", errors.New("over_range: give the top of the gauge in pa; it is not in the register")
	}
	return entry.OverRange{TopPa: top, FlowM3s: it.FlowM3s, FanHz: it.FanHz, FanPct: it.FanPct}, "", nil
}

// makeSwap makes the body of a change-out. Without count and clean reading it is
// recorded as unconfirmed.
func makeSwap(it wire.Item, _ plant.Bank, _ float64) (entry.Body, string, error) {
	err := cmp.Or(
		none("a reading's; for a change-out give clean_pa or before_pa", it.Pa != nil, it.Value != nil, it.Unit != "", it.OverRange, it.Suspect, it.Wet),
		it.CheckAir(), it.CheckSwap(),
	)
	if err != nil {
		return nil, "", err
	}
	return entry.Swap{
		Count: it.Count, CleanPa: it.CleanPa, BeforePa: it.BeforePa, FlowM3s: it.FlowM3s, FanHz: it.FanHz, FanPct: it.FanPct,
		Item: it.Item, Who: it.Who, Confirmed: it.Count != nil && it.CleanPa != nil,
	}, "", nil
}

// none refuses fields that belong elsewhere rather than dropping them.
func none(whose string, given ...bool) error {
	for _, g := range given {
		if g {
			return fmt.Errorf("a field is %s", whose)
		}
	}
	return nil
}
