package resistance

import (
	"time"

	"clogwise/internal/plant"
)

// Caps are the longest life of a bank by age and by run hours; zero is no cap.
type Caps struct {
	Months float64
	Hours  float64
	Rule   string // for people; empty without caps
}

// CapsFor returns the caps of a bank: its own, else those of the site's rule for
// its stage; none where the site has chosen no rule. Each of months and hours that
// the bank gives itself stands alone.
//
// Sources: VDI 6022 Part 1; EN 13779:2007, annex (from memory); CCT 105:2023,
// article C16.
func CapsFor(site plant.Site, bank plant.Bank) Caps {
	if bank.MaxMonths > 0 || bank.MaxHours > 0 {
		return Caps{Months: bank.MaxMonths, Hours: bank.MaxHours, Rule: "age cap of this bank"}
	}
	first := bank.Stage == plant.Primary
	switch site.AgeRule {
	case plant.AgeVDI6022:
		if first {
			return Caps{Months: 12, Rule: "VDI 6022, first stage 12 months"}
		}
		return Caps{Months: 24, Rule: "VDI 6022, later stage 24 months"}
	case plant.AgeEN13779:
		if first {
			return Caps{Months: 12, Hours: 2000, Rule: "EN 13779:2007, first stage 2000 h or 1 year"}
		}
		return Caps{Months: 24, Hours: 4000, Rule: "EN 13779:2007, later stage 4000 h or 2 years"}
	case plant.AgeCCT105:
		if first {
			return Caps{Months: 12, Rule: "CCT 105, prefilter 12 months"}
		}
		return Caps{Months: 24, Rule: "CCT 105, main filter 24 months"}
	}
	return Caps{}
}

// Due is the moment a life opened at opened reaches its first cap; zero without
// caps. Months are calendar months in the zone of opened, a part of a month
// counts as that part of 30.4375 days.
func (c Caps) Due(opened time.Time, run plant.Runner) time.Time {
	var due time.Time
	if c.Months > 0 {
		whole := int(c.Months)
		due = addMonths(opened, whole).Add(time.Duration((c.Months - float64(whole)) * 30.4375 * 24 * float64(time.Hour)))
	}
	if c.Hours > 0 {
		if t := run.After(opened, c.Hours); !t.IsZero() && (due.IsZero() || t.Before(due)) {
			due = t
		}
	}
	return due
}

// addMonths keeps to the last day of a shorter month: 31 January and one month
// is the end of February.
func addMonths(t time.Time, months int) time.Time {
	out := t.AddDate(0, months, 0)
	if out.Day() < t.Day() {
		out = out.AddDate(0, 0, -out.Day())
	}
	return out
}
