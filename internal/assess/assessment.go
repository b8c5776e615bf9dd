// Package assess says how one filter bank stands: it brings the register, the
// bank's entries and the fleet's prior together into a forecast, an energy
// penalty, a due date and the doubts about them. It is a pure function; the same
// entries in any order give the same answer to the last digit.
package assess

import (
	"time"

	"clogwise/internal/duelist"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
	"clogwise/internal/units"
)

// Assessment is everything clogwise says about one bank at one time. Stored as
// the bank's projection; field names in JSON are stable.
type Assessment struct {
	Bank plant.BankID `json:"bank"`
	Name string       `json:"name"`
	UpTo int64        `json:"up_to"` // newest entry taken into account
	// LifeSeq is the oldest entry that bears on the present life: together with
	// Lives it lets the next assessment start there. 0 where it may not.
	LifeSeq int64     `json:"life_seq,omitempty"`
	Now     time.Time `json:"now"`

	Condition duelist.Condition `json:"condition"`
	Governing string            `json:"governing"` // which limit governs, in words
	// CapGoverns says that it is the cap on age or run hours: Median is its date then.
	CapGoverns bool `json:"cap_governs,omitempty"`

	CleanPa     float64 `json:"clean_pa"`
	CleanBasis  string  `json:"clean_basis"` // where it comes from
	LimitPa     float64 `json:"limit_pa"`
	LimitSource string  `json:"limit_source"`
	NowPa       float64 `json:"now_pa"` // expected resistance now, at design airflow
	Last        *Seen   `json:"last,omitempty"`
	Readings    int     `json:"readings"` // of this life, trusted ones
	LawBasis    string  `json:"law_basis"`
	PriorLevel  string  `json:"prior"` // class, fleet or bank
	PriorLives  int     `json:"prior_lives"`

	LifeStart   *time.Time `json:"life_start,omitempty"` // last change-out; nil: not known
	HoursRun    float64    `json:"hours_run"`
	HoursWeek   float64    `json:"hours_week"`
	LifeHours   float64    `json:"life_hours"`            // expected run hours from change-out to limit, median
	UsualHours  float64    `json:"usual_hours"`           // what the prior expects before any reading of this life
	Unconfirmed bool       `json:"unconfirmed,omitempty"` // the last change-out still lacks particulars
	LastSwap    *SwapSeen  `json:"last_swap,omitempty"`
	// DoubtedSwap is the newest change-out that was reported while readings did not
	// fall. As long as nobody confirms it the life before goes on.
	DoubtedSwap *SwapSeen `json:"doubted_swap,omitempty"`

	// Dates of reaching the limit that governs. Zero times: beyond twenty years.
	Dates     Dates     `json:"dates"`
	Hours     Hours     `json:"hours"` // the same in remaining run hours, resistance limit alone
	ProbWeek  float64   `json:"prob_week"`
	Prob30    float64   `json:"prob_30_days"`
	LeastCost time.Time `json:"least_cost"`

	Evidence Evidence `json:"evidence"`

	Energy Energy `json:"energy"`

	Findings []Finding `json:"findings,omitempty"`
	// Odd are the times of readings that the banks beside had a say about, or would
	// have had if they had been at hand.
	Odd         []time.Time    `json:"odd,omitempty"`
	Booking     *Booking       `json:"booking,omitempty"`
	Deferred    *Deferral      `json:"deferred,omitempty"`
	NoGauge     bool           `json:"no_gauge,omitempty"`
	Skipped     *Skipped       `json:"skipped,omitempty"` // the last round found no reading, and why
	Parts       []duelist.Part `json:"parts,omitempty"`
	LabourHours float64        `json:"labour_hours,omitempty"` // person-hours of a change-out
	ReadEvery   int            `json:"read_every_days"`

	Lives  []forecast.FinishedLife `json:"lives,omitempty"` // this bank's finished lives, thinned: the fleet's prior is learnt from them
	learnt *learnt                 // from them; nil where it was read from a projection
	// LifeMonths are the axis units (run hours, or air moved) by month, January first, of
	// the finished lives that reached their limit: the site's season is learnt from them.
	LifeMonths [][12]float64 `json:"life_months,omitempty"`
}

// Seen is the last reading as it was read and as it counts.
type Seen struct {
	Seq       int64     `json:"seq"`
	At        time.Time `json:"at"`
	Pa        float64   `json:"pa"`
	DesignPa  float64   `json:"design_pa"` // corrected to design airflow and standard air
	Basis     string    `json:"basis"`     // how the airflow was known
	FanHz     *float64  `json:"fan_hz,omitempty"`
	Weight    float64   `json:"weight"`
	OverRange bool      `json:"over_range,omitempty"`
	Doubtful  bool      `json:"doubtful,omitempty"`
	By        string    `json:"by,omitempty"`
}

// HidesFaults reports whether the airflow varies and was not told, so that a fall or
// a rise of the reading is mostly taken for one of the airflow.
func (s Seen) HidesFaults() bool { return s.Basis == resistance.UntoldVarying }

// SwapSeen is the change-out that opened this life.
type SwapSeen struct {
	Seq     int64     `json:"seq"`
	At      time.Time `json:"at"`
	CleanPa *float64  `json:"clean_pa,omitempty"`
	Count   *int      `json:"count,omitempty"`
	Who     string    `json:"who,omitempty"`
	// BeforePa and AfterPa are the corrected resistances around it, where read.
	BeforePa *float64 `json:"before_pa,omitempty"`
	LateDays float64  `json:"late_days,omitempty"` // after the limit was reached
}

// Dates is a distribution of a date: the median with the central 80 and 95 %
// ranges. A zero time means more than twenty years ahead.
type Dates struct {
	Median time.Time `json:"median"`
	P10    time.Time `json:"p10"`
	P90    time.Time `json:"p90"`
	P025   time.Time `json:"p025"`
	P975   time.Time `json:"p975"`
}

// Hours is the same distribution in run hours from now.
type Hours struct {
	Median float64 `json:"median"`
	P10    float64 `json:"p10"`
	P90    float64 `json:"p90"`
	P025   float64 `json:"p025"`
	P975   float64 `json:"p975"`
}

// Energy is what the dirt costs. For a speed-held fan there is no saving to
// claim: AirLostPct says what the rooms lose instead.
type Energy struct {
	Held        string      `json:"held"` // flow-held, speed-held, unknown
	KWNow       float64     `json:"kw_now"`
	KWhPerDay   float64     `json:"kwh_per_day"`
	MoneyPerDay units.Money `json:"money_per_day"`
	KgPerDay    float64     `json:"kgco2e_per_day"`
	KWhLife     float64     `json:"kwh_life"`
	MoneyLife   units.Money `json:"money_life"`
	KgLife      float64     `json:"kgco2e_life"`
	// KWhPerPaDay is what a pascal more takes on a day of usual hours, where the fan
	// holds its airflow; MoneyPerKPaDay what a thousand cost, so that little is rounded.
	KWhPerPaDay    float64     `json:"kwh_per_pa_day,omitempty"`
	MoneyPerKPaDay units.Money `json:"money_per_kpa_day,omitzero"`
	WaitWeek       units.Money `json:"wait_week"` // extra cost of waiting seven days more
	AirLostPct     float64     `json:"air_lost_pct,omitempty"`
	// FanChangeW is by how much the power of a speed-held fan differs from that with
	// clean filters, where its curve is known.
	FanChangeW float64     `json:"fan_change_w,omitempty"`
	Note       string      `json:"note,omitempty"`
	ChangeCost units.Money `json:"change_cost"` // one change-out on a visit of its own
	// LeastPerYear is the yearly cost of filters and dirt at the least-cost interval.
	LeastPerYear units.Money `json:"least_per_year"`
}

// AtMost reports whether the figures are the most that dirt can cost: the fan's
// control is not known, and one of fixed speed costs air instead.
func (e Energy) AtMost() bool { return e.Held == string(plant.FanUnknown) }

// Finding is a reading that does not fit, or a bank that behaves oddly.
// Its words are in the language that the site had when the assessment was made; a
// rebuild renews them.
type Finding struct {
	Code     string             `json:"code"`
	At       time.Time          `json:"at"`
	Seq      int64              `json:"seq,omitempty"`
	Text     string             `json:"text"`             // what was seen, with figures
	Check    string             `json:"check"`            // what to look at
	Open     bool               `json:"open"`             // still stands at the end of the life
	Blocks   bool               `json:"blocks,omitempty"` // readings cannot be judged by until it is settled
	Evidence map[string]float64 `json:"evidence,omitempty"`
}

// Booking is the change-out that is planned.
type Booking struct {
	Seq   int64      `json:"seq"`
	Start time.Time  `json:"start"`
	Crew  []string   `json:"crew,omitempty"`
	By    string     `json:"by,omitempty"`
	Begun *time.Time `json:"begun,omitempty"`
}

// Deferral is a supervisor's decision to wait.
type Deferral struct {
	Until  time.Time `json:"until"`
	Reason string    `json:"reason"`
	By     string    `json:"by,omitempty"`
}

// Skipped is a round that found no reading.
type Skipped struct {
	At     time.Time `json:"at"`
	Reason string    `json:"reason"`
}
