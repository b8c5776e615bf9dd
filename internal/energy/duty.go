package energy

import (
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
	"clogwise/internal/units"
)

// Duty is the work that a bank's resistance gives its fan, and what that costs.
type Duty struct {
	Control    plant.FanControl
	FlowM3s    float64           // through the bank at design
	Profile    []plant.FlowShare // VAV; empty = design airflow always
	Law        resistance.Law    // of the bank: how resistance follows the profile
	Efficiency Efficiency
	Price      Price
	Carbon     plant.Carbon
}

// DutyOf gathers the duty of a bank: law is that of the whole bank, price from
// PriceOver or UsualPrice.
func DutyOf(ahu plant.AHU, bank plant.Bank, site plant.Site, law resistance.Law, price Price) Duty {
	return Duty{
		Control: ahu.FanControl, FlowM3s: resistance.BankFlowM3s(ahu, bank), Profile: ahu.FlowProfile,
		Law: law, Efficiency: EfficiencyOf(ahu.Efficiency), Price: price, Carbon: site.Carbon,
	}
}

// WPerPa is the mean electrical power in W for each Pa at design airflow. Over a
// VAV profile it is the mean of q·Δp(q), not the product of the means: resistance
// falls with airflow, so that low airflows cost far less than their share.
func (d Duty) WPerPa() float64 {
	return d.FlowM3s / d.Efficiency.Eta * d.profileFactor()
}

// profileFactor is the mean over running time of (q/q_d)·Δp(q)/Δp(q_d).
func (d Duty) profileFactor() float64 {
	var sum, time float64
	for _, p := range d.Profile {
		if !(p.Share > 0) {
			continue
		}
		time += p.Share
		if p.Fraction > 0 {
			sum += p.Share * p.Fraction * d.Law.Ratio(d.FlowM3s, p.Fraction*d.FlowM3s)
		}
	}
	if time == 0 {
		return 1
	}
	return sum / time
}

// PowerW is the mean electrical power that a resistance of pa at design airflow
// takes, W.
func (d Duty) PowerW(pa float64) float64 { return d.WPerPa() * pa }

// Claim says how far an energy penalty may be claimed.
type Claim string

// Claims.
const (
	Claimed     Claim = "flow-held"  // the fan speeds up against dirt: the penalty is real
	AtMost      Claim = "at most"    // fan control not known: the penalty lies between none and this
	NotEnergy   Claim = "speed-held" // dirt costs airflow, not energy: none is claimed
	Unavailable Claim = "no airflow" // design airflow of the unit is missing
)

// Claim is what the fan control allows.
func (d Duty) Claim() Claim {
	switch {
	case !positive(d.FlowM3s):
		return Unavailable
	case d.Control == plant.FlowHeld:
		return Claimed
	case d.Control == plant.SpeedHeld:
		return NotEnergy
	}
	return AtMost
}

// Note says a claim in a few words; empty when there is nothing to add.
func (c Claim) Note() string {
	switch c {
	case AtMost:
		return "fan control not known: at most this, nothing if its speed is fixed"
	case NotEnergy:
		return "fan speed is fixed: dirt costs airflow, no energy is claimed"
	case Unavailable:
		return "design airflow of the unit is missing: no energy figure"
	}
	return ""
}

// Spent is energy with its money and carbon.
type Spent struct {
	KWh    float64
	Money  units.Money
	KgCO2e float64
}

func (d Duty) spent(kWh float64) Spent {
	return Spent{kWh, d.Price.Cost(kWh), kWh * d.Carbon.KgPerKWh}
}

// Energy is what paHours, a resistance at design airflow over run hours, takes.
// It is zero where no energy may be claimed.
func (d Duty) Energy(paHours float64) Spent {
	if c := d.Claim(); c == NotEnergy || c == Unavailable {
		return d.spent(0)
	}
	return d.spent(d.WPerPa() * paHours / 1000)
}

// Penalty is what a bank costs because it is dirtier than clean.
type Penalty struct {
	SoFar  Spent   // since the change-out
	NowW   float64 // extra power now
	PerDay Spent   // a day at today's resistance
	Week   Spent   // of waiting one more week
	Claim  Claim
	Note   string
}

// Life is a filter life as far as its cost goes.
type Life struct {
	Curve   Curve   // resistance at design airflow
	CleanPa float64 // at design airflow
	Hours   float64 // run hours since the change-out
}

// Penalty returns what a life has cost over clean filters and costs now. Hours of
// the curve before the change-out are none; weekHours are the run hours of the
// week ahead (plant.Runner.Hours from now to seven days on).
func (d Duty) Penalty(l Life, weekHours float64) Penalty {
	return d.penalty(l, weekHours, func(from, to float64) float64 {
		return excessPaHours(l.Curve, l.CleanPa, from, to)
	})
}

// PenaltyThrough is Penalty for straight lines through points, exactly.
func (d Duty) PenaltyThrough(points []At, cleanPa, hours, weekHours float64) Penalty {
	l := Life{Through(points), cleanPa, hours}
	return d.penalty(l, weekHours, func(from, to float64) float64 {
		return excessThrough(points, cleanPa, from, to)
	})
}

func (d Duty) penalty(l Life, weekHours float64, paHours func(from, to float64) float64) Penalty {
	excess := max(0, l.Curve(l.Hours)-l.CleanPa)
	p := Penalty{
		SoFar:  d.Energy(paHours(0, l.Hours)),
		PerDay: d.Energy(excess * weekHours / 7),
		Week:   d.Energy(paHours(l.Hours, l.Hours+weekHours)),
		Claim:  d.Claim(),
	}
	if p.Claim == Claimed || p.Claim == AtMost {
		p.NowW = d.PowerW(excess)
	}
	p.Note = p.Claim.Note()
	return p
}
