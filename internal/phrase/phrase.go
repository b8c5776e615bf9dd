// Package phrase turns what people type in a team channel into meanings: things
// to record, questions to answer, or one short question back. It is pure: what
// it must know of the plant, the clock and the last readings comes in a Scope.
package phrase

import (
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
)

// Scope is what a message is understood against.
type Scope struct {
	Register *plant.Register
	Sites    []string      // sites the channel serves, in order; a message may name another only by its full name
	HomeSite string        // taken first when a tag exists at several sites and the person's home decides (direct messages); may be empty
	Now      time.Time     // of the message
	By       string        // who typed it
	In       locale.Locale // that is answered in; the zero value is English

	// Last is the last standing reading of a bank corrected to nothing, in Pa,
	// used to choose a credible unit; nil or false when there is none.
	Last func(plant.BankID) (pa float64, at time.Time, ok bool)
	// Booked lists banks with an open booking or job, for "done" and "about to start".
	Booked []plant.BankID
	// Here is the place the talk is about (last bank or AHU in this thread), or empty.
	Here plant.BankID

	// Index is NewIndex(Register), kept by a caller that reads many messages
	// against one register; nil builds one for this message alone.
	Index *Index
}

// Outcome is how a message was understood.
type Outcome string

// Outcomes.
const (
	Entry    Outcome = "entry"    // Items are to be recorded
	Question Outcome = "question" // Query is to be answered
	Ask      Outcome = "ask"      // unclear: nothing is saved, Asks says what to ask
	Refused  Outcome = "refused"  // understood and not to be done; Reply says why
	Chatter  Outcome = "chatter"  // not for us
)

// Meaning is what one message says. A message of several lines gives one Meaning.
type Meaning struct {
	Outcome Outcome
	Items   []Item // Entry: what to record
	Query   *Query // Question; may stand beside Items ("pre 1.05 wg DIRTY pls order" records and orders)
	Ask     *Asking
	Code    string         // Refused: one of the Refuse… codes
	Reply   string         // Refused: the sentence to say; what other lines of the message reported stands in Items all the same
	Notes   []Note         // things worth echoing: letter O read as zero, airflow not given …
	About   []plant.BankID // every place the message names, in order; also when refused or asked
}

// Item is one thing to record.
type Item struct {
	Place plant.BankID // bank, AHU or site
	At    time.Time
	Body  entry.Body
	Line  string   // the part of the message it came from
	Flags []string // "assumed-unit", "letter-o", "high", "negative", "zero", "over-top", "urgent", "before-swap", "unplaced" …
	// Unstated names what a swap lacks and is asked for once: "bank", "count", "clean_pa", "fan".
	Unstated []string
	// CorrectsLast says that the item amends the last standing entry of its kind
	// at Place; the caller turns it into an entry.Amend.
	CorrectsLast bool
	// Was is the value in Pa that the message says stood there before, or nil
	// ("should be 0.54 not 0.45 iwc").
	Was *float64
}

// Note is an aside to be echoed.
type Note struct{ Code, Text string }

// Asking is one short question with at most three choices.
type Asking struct {
	Code    string // one of the Ask… codes
	Text    string
	Choices []Choice
	Kept    []Item // what in the message was clear; not saved either until the answer completes it
}

// Choice is one answer. Choosing it is the same as typing Means in place of the
// whole original message: Means is a complete message in this same grammar that
// parses without a question about the same thing.
type Choice struct {
	Keys  []string // words that pick it when typed: "pa", "1", "ahu-3"; the grammar's, and those of the label
	Label string   // in the language of the Scope
	Means string
}

// QueryKind is what is asked of the bot.
type QueryKind string

// Query kinds.
const (
	QueryDue   QueryKind = "due"
	QueryHow   QueryKind = "how" // how is a bank or AHU
	QueryChart QueryKind = "chart"
	QueryCost  QueryKind = "cost"
	QueryWhy   QueryKind = "why"
	QuerySteps QueryKind = "steps"
	// QueryStepsRead is no question: the person says that the steps were read.
	QueryStepsRead QueryKind = "steps-read"
	QueryStock     QueryKind = "stock"
	QueryOrders    QueryKind = "orders"
	QueryCompare   QueryKind = "compare"
	QueryOwed      QueryKind = "owed" // readings owed
	QueryVisits    QueryKind = "visits"
	QueryHelp      QueryKind = "help"
	QueryUndo      QueryKind = "undo" // Seq 0 = my last; else "undo 4127"
	QueryStatus    QueryKind = "status"
	QueryDigest    QueryKind = "digest"
	QueryPairs     QueryKind = "pairs" // how many primaries to use up for each secondary
	// QueryConfirm is no question either: a change-out that readings speak against
	// was made. Seq is its entry, or Places its bank.
	QueryConfirm QueryKind = "confirm"
	// QueryNotChanged says of the bank in Places that it was not changed after all.
	QueryNotChanged QueryKind = "not-changed"
)

// Query is a question to the bot.
type Query struct {
	Kind   QueryKind
	Places []plant.BankID // banks, AHUs or sites asked about; empty = all of the channel
	Items  []string       // reorder codes (compare, stock)
	Seq    int64          // undo, confirm
	Within time.Duration  // due within; 0 = not said
	// Defer, register limits and the like are Items, not queries.
}

// FlagRunning marks a change-out that is said to have been done with the fan running.
const FlagRunning = "running-fan"

// Codes of an Asking.
const (
	AskSite       = "site"        // the tag exists at several sites
	AskAHU        = "ahu"         // no such tag, or none given
	AskBank       = "bank"        // the AHU has several banks and none was named, or not that one
	AskUnit       = "unit"        // no unit, or several are credible
	AskMixedUnits = "mixed-units" // bare numbers that only make sense in different units
	AskOrder      = "order"       // several values without words for the banks
	AskSign       = "sign"        // minus or dash
	AskHigh       = "high"        // above twice the limit or over the gauge's top
	AskZero       = "zero"        // 0 Pa: fan off, zero check or plugged?
	AskNegative   = "negative"    // minus, and meant
	AskRange      = "range"       // "112-205": bouncing, or two banks?
	AskImpossible = "impossible"  // outside what a filter gauge can show
	AskNumber     = "number"      // a number that fits nothing
	AskFuture     = "future"      // a reading or swap that has yet to happen
	AskDate       = "date"        // 31 Feb
	AskWhen       = "when"        // a booking or deferral without a day
	AskReason     = "reason"      // a skip or deferral without a reason
	AskJob        = "which-job"   // "done", with several jobs open
	AskItem       = "item"        // no such item or size in the register
	AskChange     = "change"      // changed already, or to be changed?
	AskMoved      = "moved"       // what was saved belongs to another AHU
	AskFanOff     = "fan-off"     // a reading beside "fan off"
)

// Codes of a refusal.
const (
	RefuseEmergency = "emergency" // fire, smoke, gas or an injury: nothing is recorded, help comes first
	RefuseRunning   = "running-fan"
	RefuseEnter     = "enter" // whether it is safe to go in, or isolated, is not for a program to say
	RefuseLock      = "lock"
	RefuseShorten   = "shorten"
	RefuseOverride  = "override"
	RefuseCopy      = "copy"
	RefuseRegister  = "register"
	RefuseLong      = "too-long"
)

// MaxLength is the length in bytes beyond which a message is not read.
const MaxLength = 8000
