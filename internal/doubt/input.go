package doubt

import (
	"time"

	"clogwise/internal/locale"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Reading is one reading of a filter life.
type Reading struct {
	At       time.Time
	Seq      int64
	X        float64 // run hours since the change-out; from any origin where that is not known
	RawPa    float64 // as read, Pa
	Pa       float64 // corrected to design airflow, Pa
	Weight   float64 // 0..1, information relative to a reading at measured design airflow
	StepPa   float64 // resolution of what was read, Pa as read
	Censored bool    // needle on its stop: the true value is at or above
	Clean    bool    // taken with the change-out that began the life
	NoAir    bool    // the fan stood still
	Wet      bool    // reported as wet: explained, left alone
	Suspect  bool    // already doubted by its reporter, or taken under a fault put right since
	Dusty    bool    // an outside event (smoke, building work) was on record
}

// Sibling is another bank of the same AHU, for readings given for the wrong one.
type Sibling struct {
	Name   string
	Values []Value // by time
}

// Value is what a gauge showed, Pa.
type Value struct {
	At time.Time
	Pa float64
}

// ZeroCheck is a look at the gauge with both ports open.
type ZeroCheck struct {
	At       time.Time
	Seq      int64
	OffsetPa float64 // what it showed
}

// Input is one filter life. Order of the slices does not matter. Zero figures
// are unknown.
type Input struct {
	Readings  []Reading
	LifeHours float64 // run hours that such a bank takes from clean to limit
	Scatter   float64 // of readings, share of the resistance
	CleanPa   float64 // clean resistance at design airflow, from wherever it is known
	LimitPa   float64 // final resistance at design airflow

	Start        time.Time // change-out that began the life; zero: not known
	Sure         bool      // somebody confirmed the change-out though readings did not fall
	PrevCleanPa  float64   // clean resistance read at the change-out before, at design airflow
	ItemCleanPa  float64   // clean resistance by the item's data, at design airflow
	BeforeSwapPa float64   // last resistance before the change-out, at design airflow

	Gauge    plant.Gauge
	Zeros    []ZeroCheck // of this life
	Fixed    []time.Time // faults reported as put right
	Siblings []Sibling

	Habit units.Habit    // which unit comes first in texts
	Loc   *time.Location // of dates in texts; nil: UTC
	In    locale.Locale  // of texts; the zero value is English
}

// Code names a kind of finding. The names are stable.
type Code string

// Codes.
const (
	Fall           Code = "fall"            // lower than before without a change-out
	Dip            Code = "dip"             // one or few low readings, recovered
	SwapUnreported Code = "swap-unreported" // fell to about the clean value
	Jump           Code = "jump"            // higher than loading explains
	Spike          Code = "spike"           // high readings that recovered
	AboveTwice     Code = "above-twice"     // above twice the limit
	Stuck          Code = "stuck"           // the same value again and again
	Sag            Code = "sag"             // creeps down
	Zero           Code = "zero"
	Negative       Code = "negative"
	TubesSwapped   Code = "tubes-swapped" // fits with its sign turned
	ZeroOff        Code = "zero-off"      // the gauge's zero is off
	OverTop        Code = "over-top"      // more than the gauge can show
	WrongUnit      Code = "wrong-unit"    // fits in another unit, or with the point moved
	WrongBank      Code = "wrong-bank"    // fits another bank of the AHU
	SwapNoDrop     Code = "swap-no-drop"  // changed, yet as high as before
	CleanOff       Code = "clean-off"     // clean value unlike the last one or the item's data
)

// Finding is something about a life's readings that does not fit.
type Finding struct {
	Code  Code
	Index int // of the first reading concerned, in the order of time; -1: none
	At    time.Time
	Seq   int64
	// Evidence is figures by name, Pa as read unless the name ends otherwise;
	// which ones depends on Code.
	Evidence map[string]float64
	// Text and Check are in the language of the Input. Who stores them keeps that
	// language until the readings are examined anew.
	Text   string // what was seen, with figures
	Check  string // what to look at
	Open   bool   // still stands after the last reading
	Blocks bool   // readings cannot be judged by until it is settled
}
