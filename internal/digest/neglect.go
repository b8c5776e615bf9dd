package digest

import (
	"clogwise/internal/assess"
	"clogwise/internal/duelist"
	"clogwise/internal/plant"
)

// Neglect is a primary past its limit whose secondary loads faster for it.
type Neglect struct {
	Primary   string  // name of the bank
	Secondary string  // name of the bank behind it
	Factor    float64 // how many times as fast as usual the secondary loads
}

// faster is how much faster than usual a secondary must load to be put down to
// its primary: common practice, no source.
const faster = 1.15

// NeglectOf finds the neglected primary in front of a bank, among the
// assessments of its AHU.
func NeglectOf(bank plant.BankID, reg *plant.Register, of []assess.Assessment) (Neglect, bool) {
	b, ok := reg.Bank(bank)
	if !ok || b.Stage != plant.Secondary {
		return Neglect{}, false
	}
	var primary, secondary *assess.Assessment
	for i, a := range of {
		if a.Bank == bank {
			secondary = &of[i]
		}
		if p, ok := reg.Bank(a.Bank); ok && a.Bank.AHU() == bank.AHU() && p.Stage == plant.Primary {
			primary = &of[i]
		}
	}
	if primary == nil || secondary == nil || primary.Condition != duelist.Overdue ||
		!(secondary.LifeHours > 0) || !(secondary.UsualHours > 0) {
		return Neglect{}, false
	}
	f := secondary.UsualHours / secondary.LifeHours
	if f < faster {
		return Neglect{}, false
	}
	return Neglect{primary.Name, secondary.Name, f}, true
}

// Neglects finds every neglected pair.
func Neglects(reg *plant.Register, of []assess.Assessment) []Neglect {
	var out []Neglect
	for _, a := range of {
		if n, ok := NeglectOf(a.Bank, reg, of); ok {
			out = append(out, n)
		}
	}
	return out
}
