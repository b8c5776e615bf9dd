package units

import (
	"errors"
	"fmt"
	"math"

	"github.com/shopspring/decimal"
)

// ErrCurrency is returned when amounts of two currencies meet.
var ErrCurrency = errors.New("amounts of different currencies are never added")

// Money is an exact amount in one currency (ISO 4217 code). The zero value is
// nothing in no currency and adds to anything.
type Money struct {
	Amount   decimal.Decimal `json:"amount" yaml:"amount"`
	Currency string          `json:"currency" yaml:"currency"`
}

// Add returns m + n, or ErrCurrency when both carry different currencies.
func (m Money) Add(n Money) (Money, error) {
	switch {
	case m.Currency == "":
		return n, nil
	case n.Currency == "" || n.Currency == m.Currency:
		return Money{m.Amount.Add(n.Amount), m.Currency}, nil
	}
	return Money{}, fmt.Errorf("%w: %s and %s", ErrCurrency, m.Currency, n.Currency)
}

// Times returns m multiplied by a dimensionless or physical factor (kWh, hours,
// pieces), rounded half away from zero to the currency's minor unit. A factor that
// is no finite number gives nothing.
func (m Money) Times(f float64) Money {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return Money{Currency: m.Currency}
	}
	return Money{m.Amount.Mul(decimal.NewFromFloat(f)).Round(minor(m.Currency)), m.Currency}
}

// minor is the number of decimals of a currency's minor unit (ISO 4217).
func minor(currency string) int32 {
	switch currency {
	case "JPY", "KRW", "CLP", "ISK", "VND":
		return 0
	case "KWD", "BHD", "OMR", "JOD", "TND":
		return 3
	}
	return 2
}

var symbols = map[string]string{"GBP": "£", "EUR": "€", "USD": "$"}

// String prints the amount with its currency: "£2.10", "€12.00", "CHF 3.50".
func (m Money) String() string {
	n := m.Amount.Abs().StringFixed(minor(m.Currency))
	sign := ""
	if m.Amount.IsNegative() {
		sign = "-"
	}
	if s, ok := symbols[m.Currency]; ok {
		return sign + s + n
	}
	if m.Currency == "" {
		return sign + n
	}
	return sign + m.Currency + " " + n
}
