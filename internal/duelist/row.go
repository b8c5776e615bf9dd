package duelist

import (
	"time"

	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// A Condition is the state of a bank in the only words used for it.
type Condition string

// Conditions, best first.
const (
	Clean    Condition = "clean"
	Loading  Condition = "loading"
	DueSoon  Condition = "due soon"
	Due      Condition = "due"
	Overdue  Condition = "overdue"
	Doubtful Condition = "doubtful" // a reading does not fit
	Unread   Condition = "unread"   // too old a reading, or none, to judge by
)

// A Part is a number of one filter item that a change-out needs.
type Part struct {
	Item  string `json:"item"` // reorder code
	Count int    `json:"count"`
}

// A Row is one bank of the due list. Times are in the site's time zone; a zero
// time is not known, or is not reached within the forecast's reach.
type Row struct {
	Bank      plant.BankID `json:"bank"`
	Name      string       `json:"name"` // as people say it: "AHU-3 secondary"
	AHU       string       `json:"ahu"`  // tag
	Site      string       `json:"site"` // slug
	Condition Condition    `json:"condition"`

	PaNow     float64 `json:"pa_now,omitempty"`    // at design airflow, by the forecast's curve; 0 = never read
	ReadPa    float64 `json:"read_pa,omitempty"`   // last reading, as read, where it does not count and the bank is doubtful
	LimitPa   float64 `json:"limit_pa,omitempty"`  // final resistance at design airflow
	CleanPa   float64 `json:"clean_pa,omitempty"`  // clean resistance at design airflow
	Governing string  `json:"governing,omitempty"` // what comes first: the final resistance, or an age cap
	// LimitSource says where LimitPa comes from: the manufacturer or a rule.
	LimitSource string `json:"limit_source,omitempty"`

	Median      time.Time  `json:"median,omitzero"`     // most likely date of the governing limit
	P10         time.Time  `json:"p10,omitzero"`        // one chance in ten that it comes earlier
	P90         time.Time  `json:"p90,omitzero"`        // one chance in ten that it comes later
	LeastCost   time.Time  `json:"least_cost,omitzero"` // advice, never later than the limit
	Deferred    *time.Time `json:"deferred,omitempty"`  // put off by a supervisor until this day
	DeferReason string     `json:"defer_reason,omitempty"`
	Booked      *time.Time `json:"booked,omitempty"` // start of a booked change-out

	PenaltyPerDay units.Money `json:"penalty_per_day"` // what the dirt costs a day now
	WaitWeek      units.Money `json:"wait_week"`       // what waiting one more week costs
	KWhPerDay     float64     `json:"kwh_per_day"`
	KgCO2PerDay   float64     `json:"kg_co2_per_day"`
	AtMost        bool        `json:"at_most,omitempty"` // fan control not known: those costs are the most there can be
	Parts         []Part      `json:"parts,omitempty"`
	Findings      []string    `json:"findings,omitempty"`
	LastRead      time.Time   `json:"last_read,omitzero"`
}

// ByAge reports whether a cap on age or run hours governs, not the resistance.
func (r Row) ByAge(h units.Habit) bool {
	return r.Governing != "" && r.Governing != units.ShortPressure(r.LimitPa, h)
}

// ReadPast reports whether a bank is overdue because it was read past its limit, or past
// the top of its gauge, before the forecast's curve comes there: its figures and dates
// would contradict what was seen.
func (r Row) ReadPast(now time.Time, h units.Habit) bool {
	return r.Condition == Overdue && !r.ByAge(h) && r.LimitPa > 0 && r.Median.After(now)
}

// ActOn is the day to change the bank: the day it was deferred to while that is
// ahead, else the earlier of the least-cost date and the most likely limit date;
// zero when neither is known.
func (r Row) ActOn(now time.Time) time.Time {
	if r.deferred(now) {
		return *r.Deferred
	}
	if r.Median.IsZero() || !r.LeastCost.IsZero() && r.LeastCost.Before(r.Median) {
		return r.LeastCost
	}
	return r.Median
}

// BookedOn is the start of the change-out that is booked; missed says that its
// day has passed on the calendar of loc without its being reported done.
func (r Row) BookedOn(now time.Time, loc *time.Location) (start time.Time, booked, missed bool) {
	if r.Booked == nil {
		return time.Time{}, false, false
	}
	return *r.Booked, true, Missed(*r.Booked, now, loc)
}

// Missed reports whether the day of a start has passed on the calendar of loc.
func Missed(start, now time.Time, loc *time.Location) bool {
	return dayOf(start, loc) < dayOf(now, loc)
}

func (r Row) deferred(now time.Time) bool { return r.Deferred != nil && r.Deferred.After(now) }
