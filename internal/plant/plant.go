// Package plant holds what is known of the plant before anybody reads a gauge:
// sites, air handling units, filter banks, the items that fit them, and the
// register that finds them by the names people type.
package plant

import (
	"strings"
	"sync"
	"time"

	"github.com/shopspring/decimal"

	"clogwise/internal/locale"
	"clogwise/internal/units"
)

// A Site is a place with one time zone, currency, tariff and crew.
type Site struct {
	ID           string      `yaml:"id" json:"id"` // slug, stable
	Name         string      `yaml:"name" json:"name"`
	Aliases      []string    `yaml:"aliases,omitempty" json:"aliases,omitempty"`
	Zone         string      `yaml:"zone" json:"zone"`         // IANA time zone
	Currency     string      `yaml:"currency" json:"currency"` // ISO 4217
	Units        units.Habit `yaml:"units" json:"units"`       // SI or IP
	Language     string      `yaml:"language,omitempty" json:"language,omitempty"`
	Jurisdiction string      `yaml:"jurisdiction" json:"jurisdiction"` // US, UK, EU or other; chooses safe-work sources
	AltitudeM    float64     `yaml:"altitude_m,omitempty" json:"altitude_m,omitempty"`

	Tariff Tariff `yaml:"tariff" json:"tariff"`
	Carbon Carbon `yaml:"carbon" json:"carbon"`

	Schedule  Schedule  `yaml:"schedule" json:"schedule"`     // running hours of its AHUs unless they say otherwise
	WorkHours WorkHours `yaml:"work_hours" json:"work_hours"` // when the bot may speak unasked

	Channel     string   `yaml:"channel" json:"channel"`                             // team channel, in the chat platform's own id
	Supervisors []string `yaml:"supervisors" json:"supervisors"`                     // chat names or ids
	Crew        []string `yaml:"crew" json:"crew"`                                   // chat names or ids
	DigestAt    string   `yaml:"digest_at,omitempty" json:"digest_at,omitempty"`     // cron, site time; default Monday 07:00
	ReminderAt  string   `yaml:"reminder_at,omitempty" json:"reminder_at,omitempty"` // cron, site time; default working days 15:00

	LimitRule LimitRule `yaml:"limit_rule,omitempty" json:"limit_rule,omitempty"` // when an item gives no final resistance
	AgeRule   AgeRule   `yaml:"age_rule,omitempty" json:"age_rule,omitempty"`     // when a bank gives no cap on age or run hours; empty = no cap
	// FlowExponent is that of resistance against airflow where neither an item's
	// points nor readings tell; 0 = 1/0.85.
	FlowExponent float64 `yaml:"flow_exponent,omitempty" json:"flow_exponent,omitempty"`
	// LoadingAxis is what filter lives are measured along; empty = hours.
	LoadingAxis LoadingAxis `yaml:"loading_axis,omitempty" json:"loading_axis,omitempty"`

	VisitCost     decimal.Decimal `yaml:"visit_cost,omitempty" json:"visit_cost,omitempty"`         // call-out or travel for one visit
	IsolationCost decimal.Decimal `yaml:"isolation_cost,omitempty" json:"isolation_cost,omitempty"` // stopping and isolating one AHU
	LabourRate    decimal.Decimal `yaml:"labour_rate,omitempty" json:"labour_rate,omitempty"`       // per person-hour
	// Interest a year that costs of filter lives are discounted with, 0.05 = 5 %;
	// 0 = no discounting.
	Interest float64 `yaml:"interest,omitempty" json:"interest,omitempty"`
}

// LoadingAxis is what a filter life is measured along.
type LoadingAxis string

// Loading axes.
const (
	AxisHours LoadingAxis = "hours" // run hours
	AxisAir   LoadingAxis = "air"   // air moved: better where airflow varies much and is known
)

// Tariff is the price of electricity, and where the figure comes from.
type Tariff struct {
	PerKWh decimal.Decimal `yaml:"per_kwh" json:"per_kwh"`
	Bands  []TariffBand    `yaml:"bands,omitempty" json:"bands,omitempty"` // hours at another price; the first that fits rules
	Source string          `yaml:"source,omitempty" json:"source,omitempty"`
}

// TariffBand is a price for some hours of some weekdays, in site time. To at or
// before From runs past midnight.
type TariffBand struct {
	Days   string          `yaml:"days" json:"days"` // "Mon-Fri", "Sat,Sun", "daily"
	From   string          `yaml:"from" json:"from"` // "22:00"
	To     string          `yaml:"to" json:"to"`     // "06:00"
	PerKWh decimal.Decimal `yaml:"per_kwh" json:"per_kwh"`
}

// Carbon is the emission factor of the electricity used.
type Carbon struct {
	KgPerKWh float64 `yaml:"kg_per_kwh" json:"kg_per_kwh"` // kgCO2e per kWh
	Source   string  `yaml:"source" json:"source"`
	Year     int     `yaml:"year" json:"year"`
}

// WorkHours says when people of a site are at work, in site time.
type WorkHours struct {
	Days string `yaml:"days,omitempty" json:"days,omitempty"` // "Mon-Fri"
	From string `yaml:"from,omitempty" json:"from,omitempty"` // "07:00"
	To   string `yaml:"to,omitempty" json:"to,omitempty"`     // "17:00"
}

// FanControl says what the fan does when a filter gets dirtier.
type FanControl string

// Fan controls.
const (
	FlowHeld   FanControl = "flow-held"  // speed follows so that airflow stays
	SpeedHeld  FanControl = "speed-held" // speed stays, airflow falls
	FanUnknown FanControl = "unknown"
)

// An AHU is a supply, extract or combined air handling unit.
type AHU struct {
	ID             string      `yaml:"id" json:"id"`   // slug within the site
	Tag            string      `yaml:"tag" json:"tag"` // what people type: "AHU-3"
	Aliases        []string    `yaml:"aliases,omitempty" json:"aliases,omitempty"`
	Serves         string      `yaml:"serves,omitempty" json:"serves,omitempty"`
	PlantRoom      string      `yaml:"plant_room,omitempty" json:"plant_room,omitempty"` // where it stands, as the crew calls it: a round may be of one room
	Kind           string      `yaml:"kind,omitempty" json:"kind,omitempty"`             // supply, extract or combined
	DesignFlowM3s  float64     `yaml:"design_flow_m3s" json:"design_flow_m3s"`
	FanControl     FanControl  `yaml:"fan_control" json:"fan_control"`
	DesignHz       float64     `yaml:"design_hz,omitempty" json:"design_hz,omitempty"` // fan frequency at design airflow; 0 = 50 Hz (60 Hz on IP sites)
	Efficiency     Efficiency  `yaml:"efficiency,omitempty" json:"efficiency,omitempty"`
	FanCurve       []FlowPoint `yaml:"fan_curve,omitempty" json:"fan_curve,omitempty"`               // at design speed
	DesignSystemPa float64     `yaml:"design_system_pa,omitempty" json:"design_system_pa,omitempty"` // fan total pressure at design airflow, clean filters
	FlowProfile    []FlowShare `yaml:"flow_profile,omitempty" json:"flow_profile,omitempty"`         // VAV: shares of running time at fractions of design airflow
	Schedule       *Schedule   `yaml:"schedule,omitempty" json:"schedule,omitempty"`
	AirTempC       *float64    `yaml:"air_temp_c,omitempty" json:"air_temp_c,omitempty"` // usual air temperature at the filters, for density
	RHPct          *float64    `yaml:"rh_pct,omitempty" json:"rh_pct,omitempty"`
	Conditions     []Condition `yaml:"conditions,omitempty" json:"conditions,omitempty"`   // present
	NotPresent     []Condition `yaml:"not_present,omitempty" json:"not_present,omitempty"` // answered: absent
}

// A Condition is a fact of the plant that changes how work on it is made safe.
type Condition string

// Conditions. One that is in neither list of an AHU has not been answered and
// is asked about, never taken as absent.
const (
	Roof       Condition = "roof"
	Ladder     Condition = "ladder"
	Confined   Condition = "confined"
	UVC        Condition = "uvc"
	VFD        Condition = "vfd"
	ElecHeat   Condition = "elecheat"
	GasHeat    Condition = "gasheat"
	Belt       Condition = "belt"
	PressDoor  Condition = "pressdoor"
	Healthcare Condition = "healthcare"
	Asbestos   Condition = "asbestos"
	Wet        Condition = "wet"
	Droppings  Condition = "droppings"
	HazExhaust Condition = "hazexhaust" // isolation, laboratory or safe-change exhaust
	Atex       Condition = "atex"       // explosive atmosphere
	Grease     Condition = "grease"
)

// Conditions lists every condition in the order they are asked about.
var Conditions = [...]Condition{
	HazExhaust, Atex, Grease, Asbestos, Healthcare, Confined, Roof, Ladder,
	UVC, VFD, ElecHeat, GasHeat, Belt, PressDoor, Wet, Droppings,
}

// Unanswered lists the conditions nobody has said yes or no to.
func (a AHU) Unanswered() []Condition {
	var out []Condition
	for _, c := range Conditions {
		if !contains(a.Conditions, c) && !contains(a.NotPresent, c) {
			out = append(out, c)
		}
	}
	return out
}

// Has reports whether condition c is present.
func (a AHU) Has(c Condition) bool { return contains(a.Conditions, c) }

func contains(cs []Condition, c Condition) bool {
	for _, x := range cs {
		if x == c {
			return true
		}
	}
	return false
}

// Efficiency is the fan's overall efficiency, or its parts. Zero fields are
// unknown; Overall, when given, rules.
type Efficiency struct {
	Overall    float64 `yaml:"overall,omitempty" json:"overall,omitempty"`
	Fan        float64 `yaml:"fan,omitempty" json:"fan,omitempty"`
	Belt       float64 `yaml:"belt,omitempty" json:"belt,omitempty"`
	Motor      float64 `yaml:"motor,omitempty" json:"motor,omitempty"`
	Drive      float64 `yaml:"drive,omitempty" json:"drive,omitempty"`             // speed control
	MotorClass string  `yaml:"motor_class,omitempty" json:"motor_class,omitempty"` // IEC 60034-30-1: IE1 to IE4
	MotorKW    float64 `yaml:"motor_kw,omitempty" json:"motor_kw,omitempty"`
}

// FlowPoint is a pressure at an airflow.
type FlowPoint struct {
	FlowM3s float64 `yaml:"flow_m3s" json:"flow_m3s"`
	Pa      float64 `yaml:"pa" json:"pa"`
}

// FlowShare is a share of running time spent at a fraction of design airflow.
type FlowShare struct {
	Fraction float64 `yaml:"fraction" json:"fraction"` // of design airflow, 0..1.2
	Share    float64 `yaml:"share" json:"share"`       // of running time; shares add to 1
}

// A Stage is the place of a filter bank in the air's way.
type Stage string

// Stages.
const (
	Primary   Stage = "primary"
	Secondary Stage = "secondary"
	Third     Stage = "third"
	Return    Stage = "return"
)

// Words is the stage as people call it in a language, in a word that the grammar
// reads back: "primary", "Vorfilter", "prefiltro".
func (s Stage) Words(in locale.Locale) string {
	switch s {
	case Primary:
		return in.Text("primary")
	case Secondary:
		return in.Text("secondary")
	case Third:
		return in.Text("third")
	case Return:
		return in.Text("return")
	}
	return string(s)
}

// A Bank is one stage of filters in one AHU.
type Bank struct {
	ID        string    `yaml:"id" json:"id"` // slug within the AHU, usually the stage
	Stage     Stage     `yaml:"stage" json:"stage"`
	Aliases   []string  `yaml:"aliases,omitempty" json:"aliases,omitempty"`
	Points    []string  `yaml:"points,omitempty" json:"points,omitempty"` // building-system point names of its Δp
	Fronts    []Front   `yaml:"fronts,omitempty" json:"fronts,omitempty"`
	Item      string    `yaml:"item,omitempty" json:"item,omitempty"` // reorder code of the fitted filter
	Gauge     Gauge     `yaml:"gauge,omitempty" json:"gauge,omitempty"`
	CleanPa   float64   `yaml:"clean_pa,omitempty" json:"clean_pa,omitempty"` // clean resistance at design airflow; 0 = the item's
	LimitPa   float64   `yaml:"limit_pa,omitempty" json:"limit_pa,omitempty"` // manufacturer's final resistance; 0 = the item's, else the site's rule
	Rule      LimitRule `yaml:"limit_rule,omitempty" json:"limit_rule,omitempty"`
	MaxMonths float64   `yaml:"max_months,omitempty" json:"max_months,omitempty"` // age cap
	MaxHours  float64   `yaml:"max_hours,omitempty" json:"max_hours,omitempty"`   // run-hour cap
	MinClass  string    `yaml:"min_class,omitempty" json:"min_class,omitempty"`   // filtration class the rooms require
	FlowShare float64   `yaml:"flow_share,omitempty" json:"flow_share,omitempty"` // part of the AHU's airflow through this bank; 0 = all

	LabourHours  float64         `yaml:"labour_hours,omitempty" json:"labour_hours,omitempty"` // person-hours of a change-out
	DisposalCost decimal.Decimal `yaml:"disposal_cost,omitempty" json:"disposal_cost,omitempty"`
	ReadEvery    int             `yaml:"read_every_days,omitempty" json:"read_every_days,omitempty"` // days between readings owed; 0 = 7
}

// Count is the number of filters in the bank.
func (b Bank) Count() int {
	n := 0
	for _, f := range b.Fronts {
		n += f.Count
	}
	return n
}

// Front is one filter front size and how many of them a bank holds.
type Front struct {
	WidthMM  int    `yaml:"width_mm" json:"width_mm"`
	HeightMM int    `yaml:"height_mm" json:"height_mm"`
	DepthMM  int    `yaml:"depth_mm" json:"depth_mm"`
	Count    int    `yaml:"count" json:"count"`
	Item     string `yaml:"item,omitempty" json:"item,omitempty"` // reorder code when the bank mixes items
}

// Gauge is the differential pressure gauge across a bank.
type Gauge struct {
	Absent     bool               `yaml:"absent,omitempty" json:"absent,omitempty"` // no gauge: judged by time alone
	Unit       units.PressureUnit `yaml:"unit,omitempty" json:"unit,omitempty"`     // as printed on its face
	TopPa      float64            `yaml:"top_pa,omitempty" json:"top_pa,omitempty"`
	StepPa     float64            `yaml:"step_pa,omitempty" json:"step_pa,omitempty"`           // finest division read
	AccuracyPc float64            `yaml:"accuracy_pct,omitempty" json:"accuracy_pct,omitempty"` // of full scale
}

// LimitRule names how a final resistance follows from the clean one where the
// manufacturer gives none.
type LimitRule string

// Limit rules. Sources in package resistance.
const (
	RuleEN13053y2019 LimitRule = "en13053-2019" // lower of clean +50 (coarse) or +100 Pa (ePM), and 3 × clean
	RuleEN13053y2006 LimitRule = "en13053-2006" // fixed table by EN 779 class
	RuleTwiceClean   LimitRule = "twice-clean"
	RulePlus50       LimitRule = "clean+50"
	RulePlus100      LimitRule = "clean+100"
)

// AgeRule names a standard's cap on the age of filters, beside their resistance.
type AgeRule string

// Age rules. Sources in package resistance.
const (
	AgeVDI6022 AgeRule = "vdi-6022" // first stage 12 months, later stages 24
	AgeEN13779 AgeRule = "en-13779" // first stage 2000 h or 1 year, later and exhaust 4000 h or 2 years
	AgeCCT105  AgeRule = "cct-105"  // a single stage or the first one 12 months, main filters 24
)

// An Item is something orderable.
type Item struct {
	Code     string          `yaml:"code" json:"code"` // reorder code
	Name     string          `yaml:"name" json:"name"`
	Class    string          `yaml:"class" json:"class"` // "ISO ePM1 60%", "F7", "MERV 13"
	WidthMM  int             `yaml:"width_mm" json:"width_mm"`
	HeightMM int             `yaml:"height_mm" json:"height_mm"`
	DepthMM  int             `yaml:"depth_mm" json:"depth_mm"`
	Points   []FlowPoint     `yaml:"points,omitempty" json:"points,omitempty"` // clean resistance of one filter against its own airflow
	FinalPa  float64         `yaml:"final_pa,omitempty" json:"final_pa,omitempty"`
	DustG    float64         `yaml:"dust_g,omitempty" json:"dust_g,omitempty"` // test dust held to final resistance, g
	Price    decimal.Decimal `yaml:"price" json:"price"`
	Currency string          `yaml:"currency" json:"currency"`
	LeadDays int             `yaml:"lead_days" json:"lead_days"`
	Stock    int             `yaml:"stock,omitempty" json:"stock,omitempty"` // opening stock; later counts are ledger entries
	Site     string          `yaml:"site,omitempty" json:"site,omitempty"`   // store that holds it; empty = every site
}

// A BankID names a bank for good: "site/ahu/bank" slugs.
type BankID string

// MakeBankID joins slugs; an empty bank or AHU gives the id of the wider place.
func MakeBankID(site, ahu, bank string) BankID {
	s := site
	if ahu != "" {
		s += "/" + ahu
		if bank != "" {
			s += "/" + bank
		}
	}
	return BankID(s)
}

// Split returns the slugs of an id; missing parts are empty.
func (id BankID) Split() (site, ahu, bank string) {
	p := strings.SplitN(string(id), "/", 3)
	p = append(p, "", "", "")
	return p[0], p[1], p[2]
}

// Site is the site's slug.
func (id BankID) Site() string { s, _, _ := id.Split(); return s }

// AHU is the id of the bank's AHU: "site/ahu".
func (id BankID) AHU() BankID { s, a, _ := id.Split(); return MakeBankID(s, a, "") }

// Whole reports whether the id names a bank, not only a site or an AHU.
func (id BankID) Whole() bool { _, _, b := id.Split(); return b != "" }

// Location loads the site's time zone; the register's validation has made sure
// that it exists, so an unknown one falls back to UTC.
func (s Site) Location() *time.Location {
	if loc, ok := zones.Load(s.Zone); ok {
		return loc.(*time.Location)
	}
	loc, err := time.LoadLocation(s.Zone)
	if err != nil {
		return time.UTC
	}
	zones.Store(s.Zone, loc)
	return loc
}

// zones are those that were loaded, by name: time.LoadLocation reads a file each
// time. There are some hundreds at most.
var zones sync.Map

// Slug turns a tag into an id part: lower case, runs of anything but letters
// and digits become one hyphen.
func Slug(tag string) string {
	var b strings.Builder
	gap := false
	for _, r := range strings.ToLower(strings.TrimSpace(tag)) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			if gap && b.Len() > 0 {
				b.WriteByte('-')
			}
			b.WriteRune(r)
			gap = false
			continue
		}
		gap = true
	}
	return b.String()
}
