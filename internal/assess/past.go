package assess

import "clogwise/internal/forecast"

// Past is what a bank's finished lives teach, without the cost of a forecast.
type Past struct {
	Lives  []forecast.FinishedLife // as Assessment.Lives
	Months [][12]float64           // as Assessment.LifeMonths

	doubted []doubtedSwap
}

// PastOf is the past that Bank would find in the same input: neither the prior
// nor the season bears on it. Nothing for a bank that is not in the register.
func PastOf(in Input) Past {
	in.Carried, in.Past = nil, nil
	w, ok := settle(in)
	if !ok {
		return Past{}
	}
	return Past{w.out.Lives, w.out.LifeMonths, w.doubted}
}
