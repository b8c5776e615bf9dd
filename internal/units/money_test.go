package units_test

import (
	"errors"
	"math"
	"testing"

	"github.com/shopspring/decimal"

	"clogwise/internal/units"
)

func money(amount, currency string) units.Money {
	return units.Money{Amount: decimal.RequireFromString(amount), Currency: currency}
}

func TestMoneyAdd(t *testing.T) {
	t.Parallel()
	sum, err := money("0.10", "GBP").Add(money("0.20", "GBP"))
	if err != nil || !sum.Amount.Equal(decimal.RequireFromString("0.30")) {
		t.Errorf("0.10 + 0.20 = %v, %v", sum, err)
	}
	if sum, err = (units.Money{}).Add(money("5", "EUR")); err != nil || sum.String() != "€5.00" {
		t.Errorf("nothing + 5 EUR = %v, %v", sum, err)
	}
	if _, err = money("1", "GBP").Add(money("1", "EUR")); !errors.Is(err, units.ErrCurrency) {
		t.Errorf("GBP + EUR: %v, want ErrCurrency", err)
	}
}

func TestMoneyTimes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		price  units.Money
		factor float64
		want   string
	}{
		{money("0.20", "GBP"), 10.5, "£2.10"},
		{money("0.125", "EUR"), 1, "€0.13"}, // half away from zero
		{money("-0.125", "EUR"), 1, "-€0.13"},
		{money("31.4", "JPY"), 3, "JPY 94"},       // ISO 4217: no minor unit
		{money("0.0123", "KWD"), 10, "KWD 0.123"}, // ISO 4217: three decimals
		{money("3.5", "CHF"), 1, "CHF 3.50"},
		{money("3.5", "GBP"), math.NaN(), "£0.00"},
		{money("3.5", "GBP"), math.Inf(1), "£0.00"},
	} {
		if got := c.price.Times(c.factor).String(); got != c.want {
			t.Errorf("%v × %g = %s, want %s", c.price.Amount, c.factor, got, c.want)
		}
	}
}
