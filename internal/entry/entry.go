// Package entry defines the lines of the ledger. An entry says what somebody or
// some device reported, when it happened and when it arrived. It is never
// altered; a later entry may retract or amend it.
package entry

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"strconv"
	"strings"
	"time"

	"clogwise/internal/plant"
)

// Kind names what an entry reports; it is stable and shown to integrators.
type Kind string

// Kinds.
const (
	KindReading   Kind = "reading"
	KindSwap      Kind = "swap"
	KindZeroCheck Kind = "zero-check"
	KindOverRange Kind = "over-range"
	KindRange     Kind = "range"
	KindSkip      Kind = "skip"
	KindFanOff    Kind = "fan-off"
	KindDefect    Kind = "defect"
	KindAmend     Kind = "amend"
	KindRetract   Kind = "retract"
	KindEvent     Kind = "event"
	KindBooking   Kind = "booking"
	KindJobStart  Kind = "job-start"
	KindJobDone   Kind = "job-done"
	KindStock     Kind = "stock"
	KindOrder     Kind = "order"

	// Kinds people do not type as a line of a round.
	KindDefer     Kind = "defer"      // a supervisor puts a date off, with a reason
	KindStepsSent Kind = "steps-sent" // safe-work steps were sent
	KindStepsRead Kind = "steps-read" // somebody pressed "steps read"
	KindRegister  Kind = "register"   // the register was edited
	KindPoint     Kind = "point"      // a building system's point was mapped to a place
	KindSample    Kind = "sample"     // a value of a point that is no reading of a bank (yet)
	KindRunDay    Kind = "run-day"    // the run hours of a day, as an AHU's points counted them
)

// An Entry is one line of the ledger.
type Entry struct {
	Seq      int64        `json:"seq"`    // place in the ledger, given at commit, growing
	Source   string       `json:"source"` // once-only key: chat team+channel+timestamp+line, webhook integrator+id+index, file hash+row
	Kind     Kind         `json:"kind"`
	Place    plant.BankID `json:"place"`          // bank, AHU ("site/ahu") or site it speaks of; never empty but for items
	At       time.Time    `json:"at"`             // when it happened
	Received time.Time    `json:"received"`       // when it arrived
	By       string       `json:"by,omitempty"`   // person or integrator
	Line     string       `json:"line,omitempty"` // what was typed, as evidence
	Body     Body         `json:"body"`
}

// Body is the part of an entry that depends on its kind.
type Body interface{ Kind() Kind }

// Reading is a differential pressure seen at a time, with whatever was known of
// airflow. Nil means not known. Pa may be zero or negative: such readings are
// kept as evidence and marked doubtful.
type Reading struct {
	Pa      float64  `json:"pa"`
	FlowM3s *float64 `json:"flow_m3s,omitempty"` // through the AHU
	FanHz   *float64 `json:"fan_hz,omitempty"`
	FanPct  *float64 `json:"fan_pct,omitempty"`
	StepPa  float64  `json:"step_pa,omitempty"` // rounding seen in what was typed: 0.45 in wc is read to 0.01 in
	Wet     bool     `json:"wet,omitempty"`     // rain, fog or a washed coil: kept out of the trend
	Suspect bool     `json:"suspect,omitempty"` // the reporter or the building system doubted it
	Quality string   `json:"quality,omitempty"` // of a trend window: "median of 96"
	Window  *Window  `json:"window,omitempty"`  // the trend that it stands for
	Unit    string   `json:"unit,omitempty"`    // unit as typed or assumed
	Assumed bool     `json:"assumed,omitempty"` // the unit was not typed
}

// Window is what one reading of a trend stands for: the values of a day, of which
// those with the fan running steadily were used.
type Window struct {
	Count  int     `json:"count"`
	Used   int     `json:"used"`
	MinPa  float64 `json:"min_pa"` // of all values
	MaxPa  float64 `json:"max_pa"`
	LowPa  float64 `json:"low_pa"` // quarters of those used
	HighPa float64 `json:"high_pa"`
}

// Swap is a change-out of a bank's filters.
type Swap struct {
	Count     *int     `json:"count,omitempty"`
	CleanPa   *float64 `json:"clean_pa,omitempty"`
	BeforePa  *float64 `json:"before_pa,omitempty"`
	FlowM3s   *float64 `json:"flow_m3s,omitempty"`
	FanHz     *float64 `json:"fan_hz,omitempty"`
	FanPct    *float64 `json:"fan_pct,omitempty"`
	Item      string   `json:"item,omitempty"` // reorder code now fitted, if it changed
	Who       string   `json:"who,omitempty"`
	Confirmed bool     `json:"confirmed"`      // count and clean reading are known; an unconfirmed swap still closes the life
	Sure      bool     `json:"sure,omitempty"` // somebody said that it was changed though readings did not fall
}

// ZeroCheck says that the gauge was looked at with both ports open.
type ZeroCheck struct {
	OffsetPa float64 `json:"offset_pa"` // what it showed; 0 = good
}

// OverRange is a needle on the stop: the true value is at or above TopPa.
type OverRange struct {
	TopPa   float64  `json:"top_pa"`
	FlowM3s *float64 `json:"flow_m3s,omitempty"`
	FanHz   *float64 `json:"fan_hz,omitempty"`
	FanPct  *float64 `json:"fan_pct,omitempty"`
}

// Range is a bouncing needle: kept, never trended.
type Range struct {
	LowPa  float64 `json:"low_pa"`
	HighPa float64 `json:"high_pa"`
}

// Skip is a reading that could not be taken.
type Skip struct {
	Reason string `json:"reason"`
}

// FanOff says that the fan stood still: nothing to read.
type FanOff struct {
	Reason string `json:"reason,omitempty"`
}

// Defect is something the supervisor should know: belt squealing, tube off.
// With Fixed the earlier readings of the bank since From are suspect.
type Defect struct {
	Note  string     `json:"note"`
	Fixed bool       `json:"fixed,omitempty"`
	From  *time.Time `json:"from,omitempty"`
}

// Amend replaces what an earlier entry said; the old entry stays in the ledger.
type Amend struct {
	Target int64 `json:"target"` // Seq
	Body   Body  `json:"body"`   // the whole new body, of the same kind as the target's
}

// Retract takes an earlier entry back; the old entry stays in the ledger.
type Retract struct {
	Target int64  `json:"target"` // Seq
	Reason string `json:"reason,omitempty"`
}

// Event is something outside that dirties filters faster for a while.
type Event struct {
	What  string     `json:"what"` // "smoke", "building work", …
	Until *time.Time `json:"until,omitempty"`
}

// Booking gives a change-out a start and a crew. A later booking for the same
// bank replaces the earlier one; Cancelled takes it away.
type Booking struct {
	Start     time.Time `json:"start"`
	Crew      []string  `json:"crew,omitempty"`
	Cancelled bool      `json:"cancelled,omitempty"`
}

// JobStart and JobDone bracket a change-out. They never say "isolated" or "safe".
type JobStart struct{}

// JobDone says the unit is back on.
type JobDone struct {
	CleanPa *float64 `json:"clean_pa,omitempty"`
	FanHz   *float64 `json:"fan_hz,omitempty"`
	ZeroOK  bool     `json:"zero_ok,omitempty"`
}

// Stock is a count of an item in the site's store.
type Stock struct {
	Item  string `json:"item"`
	Count int    `json:"count"`
}

// Order is an order placed, or with Requested a wish for one.
type Order struct {
	Item      string     `json:"item"`
	Count     int        `json:"count"`
	Due       *time.Time `json:"due,omitempty"`
	Requested bool       `json:"requested,omitempty"`
	Received  bool       `json:"received,omitempty"` // goods came in: adds to stock
}

// Defer puts a bank's due date off until a day, by a supervisor, with a reason.
type Defer struct {
	Until  time.Time `json:"until"`
	Reason string    `json:"reason"`
}

// StepsSent records that safe-work steps were sent to people for a job.
type StepsSent struct {
	When  string    `json:"when"` // "day-before", "before-start", "during", "after"
	Start time.Time `json:"start"`
	To    []string  `json:"to,omitempty"`
	Steps []string  `json:"steps"` // step ids
}

// StepsRead records that a person said they had read the steps.
type StepsRead struct {
	When  string    `json:"when"`
	Start time.Time `json:"start"` // of the booking
}

// RegisterEdit sets or removes one object of the register.
type RegisterEdit struct {
	Object  string          `json:"object"` // "site", "ahu", "bank", "item"
	ID      string          `json:"id"`     // place id, or item code
	Removed bool            `json:"removed,omitempty"`
	Value   json.RawMessage `json:"value,omitempty"` // plant.Site, AHU, Bank or Item
}

// Point says what a building system's point measures, at the entry's place: a
// bank for differential pressure, an AHU for the rest. A later one for the same
// name replaces it; Removed takes it away.
type Point struct {
	Name     string  `json:"name"`
	Quantity string  `json:"quantity"` // as in package points
	Unit     string  `json:"unit,omitempty"`
	Scale    float64 `json:"scale,omitempty"`     // of what is sent, before the unit; 0 = 1
	Offset   float64 `json:"offset,omitempty"`    // added after the scale
	Trend    bool    `json:"trend,omitempty"`     // of a pressure: values every few minutes, of which one reading a day is made
	KeepDays int     `json:"keep_days,omitempty"` // of a trend: values are let go after so many days; 0: kept for good
	Removed  bool    `json:"removed,omitempty"`
}

// Sample is a value that a building system sent for a point. At an AHU it is
// what was measured there; at AsidePlace nobody has said yet what the point is,
// and the value is kept as it was sent.
type Sample struct {
	Point     string   `json:"point"`
	Quantity  string   `json:"quantity,omitempty"` // of a mapped point, in SI: m³/s, Hz, %, h, 0 or 1
	Value     *float64 `json:"value,omitempty"`
	Unit      string   `json:"unit,omitempty"` // as sent
	Pa        *float64 `json:"pa,omitempty"`
	FlowM3s   *float64 `json:"flow_m3s,omitempty"`
	FanHz     *float64 `json:"fan_hz,omitempty"`
	FanPct    *float64 `json:"fan_pct,omitempty"`
	OverRange bool     `json:"over_range,omitempty"`
	Wet       bool     `json:"wet,omitempty"`
	Suspect   bool     `json:"suspect,omitempty"`
	Sites     []string `json:"sites,omitempty"` // that the key may write to; empty: all
}

// RunDay says how long the fan of an AHU ran on a day, by its run-hour meter or
// its run status; its entry is at that day's midnight. It counts in place of the
// schedule's hours.
type RunDay struct {
	Day   string  `json:"day"`   // of the site's calendar, 2006-01-02
	Hours float64 `json:"hours"` // 0 to the length of the day
}

// AsidePlace is where samples of points are kept that nobody has mapped: no
// site can have this id, since slugs have no @. Each point has a place below it.
const AsidePlace plant.BankID = "@aside"

// Aside is the place of one point below AsidePlace. Names differing in case
// alone share it; so may others, by chance.
func Aside(point string) plant.BankID {
	h := fnv.New64a()
	_, _ = h.Write([]byte(strings.ToLower(strings.TrimSpace(point)))) // never fails
	return plant.MakeBankID(string(AsidePlace), strconv.FormatUint(h.Sum64(), 36), "")
}

// Kind methods.
func (Reading) Kind() Kind      { return KindReading }
func (Swap) Kind() Kind         { return KindSwap }
func (ZeroCheck) Kind() Kind    { return KindZeroCheck }
func (OverRange) Kind() Kind    { return KindOverRange }
func (Range) Kind() Kind        { return KindRange }
func (Skip) Kind() Kind         { return KindSkip }
func (FanOff) Kind() Kind       { return KindFanOff }
func (Defect) Kind() Kind       { return KindDefect }
func (Amend) Kind() Kind        { return KindAmend }
func (Retract) Kind() Kind      { return KindRetract }
func (Event) Kind() Kind        { return KindEvent }
func (Booking) Kind() Kind      { return KindBooking }
func (JobStart) Kind() Kind     { return KindJobStart }
func (JobDone) Kind() Kind      { return KindJobDone }
func (Stock) Kind() Kind        { return KindStock }
func (Order) Kind() Kind        { return KindOrder }
func (Defer) Kind() Kind        { return KindDefer }
func (StepsSent) Kind() Kind    { return KindStepsSent }
func (StepsRead) Kind() Kind    { return KindStepsRead }
func (RegisterEdit) Kind() Kind { return KindRegister }
func (Point) Kind() Kind        { return KindPoint }
func (Sample) Kind() Kind       { return KindSample }
func (RunDay) Kind() Kind       { return KindRunDay }

// DecodeBody reads the JSON body of an entry of kind k. The result is a value,
// never a pointer. Unknown kinds are an error: an old program must not guess at
// a newer ledger.
func DecodeBody(k Kind, raw []byte) (Body, error) {
	switch k {
	case KindReading:
		return decode[Reading](raw)
	case KindSwap:
		return decode[Swap](raw)
	case KindZeroCheck:
		return decode[ZeroCheck](raw)
	case KindOverRange:
		return decode[OverRange](raw)
	case KindRange:
		return decode[Range](raw)
	case KindSkip:
		return decode[Skip](raw)
	case KindFanOff:
		return decode[FanOff](raw)
	case KindDefect:
		return decode[Defect](raw)
	case KindAmend:
		return decode[Amend](raw)
	case KindRetract:
		return decode[Retract](raw)
	case KindEvent:
		return decode[Event](raw)
	case KindBooking:
		return decode[Booking](raw)
	case KindJobStart:
		return decode[JobStart](raw)
	case KindJobDone:
		return decode[JobDone](raw)
	case KindStock:
		return decode[Stock](raw)
	case KindOrder:
		return decode[Order](raw)
	case KindDefer:
		return decode[Defer](raw)
	case KindStepsSent:
		return decode[StepsSent](raw)
	case KindStepsRead:
		return decode[StepsRead](raw)
	case KindRegister:
		return decode[RegisterEdit](raw)
	case KindPoint:
		return decode[Point](raw)
	case KindSample:
		return decode[Sample](raw)
	case KindRunDay:
		return decode[RunDay](raw)
	}
	return nil, fmt.Errorf("entry kind %q is unknown to this version", k)
}

func decode[B Body](raw []byte) (Body, error) {
	var b B
	if err := json.Unmarshal(raw, &b); err != nil {
		return nil, fmt.Errorf("%s entry: %w", b.Kind(), err)
	}
	return b, nil
}

type amendJSON struct {
	Target int64           `json:"target"`
	Kind   Kind            `json:"kind"`
	Body   json.RawMessage `json:"body"`
}

// MarshalJSON keeps the kind of the new body beside it.
func (a Amend) MarshalJSON() ([]byte, error) {
	raw, err := json.Marshal(a.Body)
	if err != nil {
		return nil, err
	}
	return json.Marshal(amendJSON{a.Target, a.Body.Kind(), raw})
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (a *Amend) UnmarshalJSON(raw []byte) error {
	var j amendJSON
	if err := json.Unmarshal(raw, &j); err != nil {
		return err
	}
	b, err := DecodeBody(j.Kind, j.Body)
	if err != nil {
		return err
	}
	a.Target, a.Body = j.Target, b
	return nil
}

// UnmarshalJSON reads an entry whose body is chosen by its kind.
func (e *Entry) UnmarshalJSON(raw []byte) error {
	type plain Entry
	j := struct {
		*plain
		Body json.RawMessage `json:"body"`
	}{plain: (*plain)(e)}
	if err := json.Unmarshal(raw, &j); err != nil {
		return err
	}
	b, err := DecodeBody(e.Kind, j.Body)
	if err != nil {
		return err
	}
	e.Body = b
	return nil
}
