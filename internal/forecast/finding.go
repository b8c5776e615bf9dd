package forecast

// Code names a kind of finding. Codes are stable: they are stored and shown to
// integrators.
type Code string

// Findings, in the order of their seriousness.
const (
	Torn       Code = "fall"            // resistance fell and stayed down without a swap
	Bypass     Code = "bypass"          // far below clean: air goes round the filter, or a tube is off
	UnseenSwap Code = "unreported-swap" // fell to about the clean value
	NoDrop     Code = "swap-no-drop"    // a swap was reported but resistance did not fall
	CleanFar   Code = "clean-far"       // clean value far from the last one or the item's data
	Spike      Code = "spike"           // rose and came back: wet
	Jump       Code = "jump"            // rose at once and stayed
	Dip        Code = "dip"             // fell and came back: door, fan speed
	Stuck      Code = "stuck"           // the same value too often
	Zero       Code = "zero"            // nothing on the gauge
	Negative   Code = "negative"        // tubes swapped
	ZeroDrift  Code = "zero-drift"      // the gauge does not return to zero
	WrongBank  Code = "wrong-bank"      // fits another bank far better
	WrongUnit  Code = "wrong-unit"      // fits after a change of unit
	OverTop    Code = "over-top"        // above the gauge's range
	AboveTwice Code = "above-twice"     // above twice the limit
)

// Finding is one thing that does not fit, with its evidence. A figure that
// does not apply is 0.
type Finding struct {
	Code     Code    `json:"code"`
	Index    int     `json:"index"`            // of the reading that settled it, in ExamineInput.Life.Obs; −1 for zero checks
	First    int     `json:"first"`            // of the first reading concerned
	X        float64 `json:"x"`                // axis value of the reading that settled it
	Pa       float64 `json:"pa"`               // what was read (corrected, Pa)
	ExpectPa float64 `json:"expect_pa"`        // what was expected
	LowPa    float64 `json:"low_pa,omitempty"` // range the reading should have been in, 1 in 1000 outside
	HighPa   float64 `json:"high_pa,omitempty"`
	Count    int     `json:"count,omitempty"`  // readings that agree
	Factor   float64 `json:"factor,omitempty"` // unit factor that makes it fit: read value × factor = Pa meant
	Other    string  `json:"other,omitempty"`  // the bank that fits, or the unit
	What     string  `json:"what"`             // in one sentence
	Check    string  `json:"check"`            // what to check, in one sentence
}

// Sibling is another bank that a reading may have been meant for.
type Sibling struct {
	Name     string
	ExpectPa float64 // its expected reading now, Pa
	SDPa     float64 // and the spread of that
}

// ZeroCheck is a reading of the gauge with both ports open.
type ZeroCheck struct {
	X, Pa float64
}

// GaugeFacts is what is known of the gauge.
type GaugeFacts struct {
	TopPa  float64 // full scale; 0 = unknown
	StepPa float64 // graduation; 0 = taken from the readings
}

// ExamineInput is a life to be looked at.
type ExamineInput struct {
	Prior       Prior
	Life        Life // Obs in any order; Doubtful marks are set anew
	Gauge       GaugeFacts
	ItemCleanPa float64 // clean resistance of the item at design airflow; 0 = unknown
	LastCleanPa float64 // clean resistance of the life before; 0 = unknown
	BeforePa    float64 // last resistance before the swap that opened this life; 0 = unknown
	Siblings    []Sibling
	Zeros       []ZeroCheck
}
