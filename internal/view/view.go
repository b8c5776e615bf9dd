// Package view reads what the ledger says now: the register, the assessment of
// each bank, the fleet's priors. It only reads, except for keeping projections.
package view

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/chart"
	"clogwise/internal/energy"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/register"
)

// View reads a ledger. It is safe for concurrent use.
type View struct {
	Store ledger.Store

	mu    sync.Mutex
	seen  int64         // head of the ledger when the register was last looked up
	edits []entry.Entry // register edits so far
	reg   *plant.Register
	fault error // edits that cannot be read

	priors map[plant.Stage]cachedPrior
	memory *memory
	tail   tail
	turns  chan struct{} // of those who assess banks; nil: as many as like

	jobs jobs
}

type cachedPrior struct {
	prior forecast.Prior
	upTo  int64
	at    time.Time
}

// New reads from store.
func New(store ledger.Store) *View {
	v := &View{
		Store: store, reg: plant.NewRegister(plant.Contents{}), priors: map[plant.Stage]cachedPrior{}, memory: newMemory(usualRoom),
	}
	v.Remember(usualRoom)
	v.tail.begin(0, 0)
	return v
}

// Remember sets how many entries RecomputeTogether keeps in memory between its
// calls, each of some 300 bytes; 0 for none. It must be called before the first.
func (v *View) Remember(entries int) {
	v.memory.room = entries - entries/tailShare
	v.tail.room = entries / tailShare
}

// tailShare is the part of the memory that is for the newest entries of all banks.
const tailShare = 4

// AtOnce sets how many calls of RecomputeTogether work at a time; others read or
// write meanwhile. It must be called before the first.
func (v *View) AtOnce(n int) { v.turns = make(chan struct{}, n) }

// Register is the register as it stands. It looks at the ledger only for edits
// newer than those it has seen. An edit that cannot be read is left out, see
// RegisterFault: people must be able to record readings all the same.
func (v *View) Register(ctx context.Context) (*plant.Register, error) {
	reg, _, err := v.registerUpTo(ctx)
	return reg, err
}

// RegisterFault says which edits of the register were left out since they cannot
// be read, as of the last call of Register.
func (v *View) RegisterFault() error {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.fault
}

// registerUpTo is the register with the Seq of its newest edit.
func (v *View) registerUpTo(ctx context.Context) (reg *plant.Register, edited int64, err error) {
	reg, edited, _, err = v.registerAtHead(ctx)
	return reg, edited, err
}

// registerAtHead is registerUpTo with the head of the ledger that it is read at.
func (v *View) registerAtHead(ctx context.Context) (reg *plant.Register, edited, head int64, err error) {
	head, err = v.Store.Head(ctx)
	if err != nil {
		return nil, 0, 0, err
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	if head > v.seen {
		fresh, err := v.Store.Entries(ctx, ledger.Filter{Kinds: []entry.Kind{entry.KindRegister}, AfterSeq: v.seen})
		if err != nil {
			return nil, 0, 0, err
		}
		v.seen = head
		if len(fresh) > 0 {
			v.edits = append(v.edits, fresh...)
			v.seen = max(head, fresh[len(fresh)-1].Seq)
			contents, fault := register.Fold(v.edits)
			v.reg, v.fault = plant.NewRegister(contents), fault
		}
	}
	if n := len(v.edits); n > 0 {
		edited = v.edits[n-1].Seq
	}
	return v.reg, edited, head, nil
}

// Assessment is the latest projection of a bank; ok is false when there is none.
// An error wrapping ErrUnreadable means that it must be made anew.
func (v *View) Assessment(ctx context.Context, bank plant.BankID) (a assess.Assessment, ok bool, err error) {
	p, err := v.Store.Projection(ctx, bank)
	if errors.Is(err, ledger.ErrNotFound) {
		return a, false, nil
	}
	if err != nil {
		return a, false, err
	}
	if err := json.Unmarshal(p.Data, &a); err != nil {
		return a, false, fmt.Errorf("projection of %s: %w: %w", bank, ErrUnreadable, err)
	}
	return a, true, nil
}

// Assessments are the latest projections of every bank below place, brought to
// now: what depends on the date alone is worked out anew. A bank that has none yet is
// worked out here, up to a bound; beyond it banks are missing.
func (v *View) Assessments(ctx context.Context, place plant.BankID, now time.Time) ([]assess.Assessment, error) {
	reg, err := v.Register(ctx)
	if err != nil {
		return nil, err
	}
	ps, err := v.Store.Projections(ctx, place)
	if err != nil {
		return nil, err
	}
	byBank := make(map[plant.BankID]assess.Assessment, len(ps))
	for _, p := range ps {
		if p.Bank.Site() == fleet {
			continue
		}
		var a assess.Assessment
		if err := json.Unmarshal(p.Data, &a); err != nil {
			return nil, fmt.Errorf("projection of %s: %w", p.Bank, err)
		}
		byBank[p.Bank] = a
	}
	var out []assess.Assessment
	made := 0
	for _, id := range reg.Banks(place) {
		a, ok := byBank[id]
		switch {
		case ok:
			out = append(out, a.AsOf(now))
		case made < onTheSpot: // the workers have not come to it yet
			if a, err = v.Assess(ctx, id, now); err != nil {
				return nil, err
			}
			out = append(out, a)
			made++
		}
	}
	return out, nil
}

// onTheSpot bounds how many banks without a projection an answer works out itself.
const onTheSpot = 200

// Entries are all entries that bear on a bank: its own, its AHU's and its
// site's. With after, only those of a later Seq.
func (v *View) Entries(ctx context.Context, bank plant.BankID, after int64) ([]entry.Entry, error) {
	out, err := v.Store.Entries(ctx, ledger.Filter{Place: bank, Exact: true, AfterSeq: after})
	if err != nil {
		return nil, err
	}
	for _, wider := range []plant.BankID{bank.AHU(), plant.BankID(bank.Site())} {
		more, err := v.Store.Entries(ctx, ledger.Filter{Place: wider, Exact: true, Kinds: assess.WiderKinds, AfterSeq: after})
		if err != nil {
			return nil, err
		}
		out = append(out, more...)
	}
	return out, nil
}

// entriesOf are the Entries of several banks, read together.
func (v *View) entriesOf(ctx context.Context, banks []plant.BankID, after int64) (map[plant.BankID][]entry.Entry, error) {
	if len(banks) == 0 {
		return nil, nil
	}
	own, err := v.Store.Entries(ctx, ledger.Filter{Places: banks, AfterSeq: after})
	if err != nil {
		return nil, err
	}
	var above []plant.BankID
	for _, id := range banks {
		above = append(above, id.AHU(), plant.BankID(id.Site()))
	}
	slices.Sort(above)
	wider, err := v.Store.Entries(ctx, ledger.Filter{Places: slices.Compact(above), Kinds: assess.WiderKinds, AfterSeq: after})
	if err != nil {
		return nil, err
	}
	at := map[plant.BankID][]entry.Entry{}
	for _, x := range append(own, wider...) {
		at[x.Place] = append(at[x.Place], x)
	}
	of := make(map[plant.BankID][]entry.Entry, len(banks))
	for _, id := range banks {
		of[id] = slices.Concat(at[id], at[id.AHU()], at[plant.BankID(id.Site())])
	}
	return of, nil
}

// Assess works out a bank anew from its entries, whatever its projection says.
func (v *View) Assess(ctx context.Context, bank plant.BankID, now time.Time) (assess.Assessment, error) {
	return v.assess(ctx, bank, now, nil)
}

// AssessNext works out a bank from its projection and what came since, reading
// no more of the ledger than the present filter life where that is enough.
func (v *View) AssessNext(ctx context.Context, bank plant.BankID, now time.Time) (assess.Assessment, error) {
	prev, ok, err := v.previous(ctx, bank)
	if err != nil {
		return assess.Assessment{}, err
	}
	if !ok {
		return v.assess(ctx, bank, now, nil)
	}
	return v.assess(ctx, bank, now, &prev)
}

// previous is the projection of a bank to carry on from, if there is one.
func (v *View) previous(ctx context.Context, bank plant.BankID) (assess.Assessment, bool, error) {
	prev, ok, err := v.Assessment(ctx, bank)
	if errors.Is(err, ErrUnreadable) { // of another version: make it anew
		return assess.Assessment{}, false, nil
	}
	return prev, ok, err
}

// assess reads the head of the ledger before the entries: all up to there bear on
// the result, whichever of them concern the bank. So a projection keeps up with
// edits of the register and with entries that do not touch its forecast.
func (v *View) assess(ctx context.Context, bank plant.BankID, now time.Time, prev *assess.Assessment) (assess.Assessment, error) {
	head, err := v.Store.Head(ctx)
	if err != nil {
		return assess.Assessment{}, err
	}
	in, err := v.input(ctx, bank, now, prev)
	if errors.Is(err, ErrNoBank) {
		return assess.Assessment{Bank: bank, UpTo: head, Now: now}, err
	}
	if err != nil {
		return assess.Assessment{}, err
	}
	a, err := v.conclude(ctx, &in)
	a.UpTo = max(a.UpTo, head)
	return a, err
}

func (v *View) input(ctx context.Context, bank plant.BankID, now time.Time, prev *assess.Assessment) (assess.Input, error) {
	reg, edited, err := v.registerUpTo(ctx)
	if err != nil {
		return assess.Input{}, err
	}
	b, ok := reg.Bank(bank)
	if !ok {
		return assess.Input{}, fmt.Errorf("%s: %w", bank, ErrNoBank)
	}
	prior, err := v.Prior(ctx, b.Stage)
	if err != nil {
		return assess.Input{}, err
	}
	in := assess.Input{Register: reg, Bank: bank, Prior: prior, Now: now}
	if in.Season, err = v.season(ctx, bank.Site()); err != nil {
		return in, err
	}
	if prev != nil && prev.LifeSeq > 0 && edited <= prev.UpTo {
		fresh, err := v.Entries(ctx, bank, prev.UpTo)
		if err != nil {
			return in, err
		}
		if assess.CanCarry(*prev, fresh) {
			in.Carried = prev
			return in, v.read(ctx, &in, prev.LifeSeq-1)
		}
	}
	return in, v.read(ctx, &in, 0)
}

// read fills in the bank's entries after a Seq.
func (v *View) read(ctx context.Context, in *assess.Input, after int64) (err error) {
	in.Entries, err = v.Entries(ctx, in.Bank, after)
	return err
}

// whole is the input of a bank from its whole history, with what the banks beside
// it say of odd readings.
func (v *View) whole(ctx context.Context, bank plant.BankID, now time.Time) (assess.Input, error) {
	in, err := v.input(ctx, bank, now, nil)
	if err != nil {
		return in, err
	}
	_, err = v.conclude(ctx, &in)
	return in, err
}

// Errors of a View.
var (
	// ErrNoBank says that a bank is not in the register.
	ErrNoBank = errors.New("not in the register")
	// ErrUnreadable says that a projection was made by another version.
	ErrUnreadable = errors.New("cannot be read by this version")
)

// fleet stands for a site among the projections where the whole fleet is meant.
const fleet = "@fleet"

// priorPlace is where the prior of a stage is kept among the projections; no
// bank can have this id, since slugs have no @.
func priorPlace(s plant.Stage) plant.BankID { return plant.MakeBankID(fleet, "prior", string(s)) }

// Prior is the fleet's prior for a stage, or the class default as long as no
// life has been learnt from.
func (v *View) Prior(ctx context.Context, s plant.Stage) (forecast.Prior, error) {
	p, err := v.Store.Projection(ctx, priorPlace(s))
	if errors.Is(err, ledger.ErrNotFound) {
		return forecast.ClassPrior(string(s)), nil
	}
	if err != nil {
		return forecast.Prior{}, err
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	if c, ok := v.priors[s]; ok && c.upTo == p.UpTo && c.at.Equal(p.At) {
		return c.prior, nil
	}
	var prior forecast.Prior
	if err := json.Unmarshal(p.Data, &prior); err != nil {
		return forecast.Prior{}, fmt.Errorf("prior of %s banks: %w", s, err)
	}
	v.priors[s] = cachedPrior{prior, p.UpTo, p.At}
	return prior, nil
}

// seasonPlace is where the season of a site is kept among the projections.
func seasonPlace(site string) plant.BankID { return plant.MakeBankID(fleet, "season", site) }

// season is the dust of each month at a site; nil while nothing is known of it.
func (v *View) season(ctx context.Context, site string) (*forecast.Season, error) {
	p, err := v.Store.Projection(ctx, seasonPlace(site))
	if errors.Is(err, ledger.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var s forecast.Season
	if err := json.Unmarshal(p.Data, &s); err != nil {
		return nil, fmt.Errorf("season of %s: %w", site, err)
	}
	if s == forecast.FlatSeason() {
		return nil, nil
	}
	return &s, nil
}

// learnt stores what was learnt. Where nothing was, only something learnt before
// is unlearnt.
func (v *View) learnt(ctx context.Context, place plant.BankID, what any, something bool, head int64, now time.Time) error {
	if !something {
		if _, err := v.Store.Projection(ctx, place); errors.Is(err, ledger.ErrNotFound) {
			return nil
		}
	}
	raw, err := json.Marshal(what)
	if err != nil {
		return err
	}
	return v.Store.PutProjection(ctx, ledger.Projection{Bank: place, UpTo: head, At: now, Data: raw})
}

// Picture is what the chart of a bank shows now.
func (v *View) Picture(ctx context.Context, bank plant.BankID, now time.Time) (chart.Input, error) {
	in, err := v.whole(ctx, bank, now)
	if err != nil {
		return chart.Input{}, err
	}
	c, ok := assess.Picture(in)
	if !ok {
		return chart.Input{}, fmt.Errorf("%s: %w", bank, ErrNoBank)
	}
	return c, nil
}

// Compare weighs items against the one fitted in a bank.
func (v *View) Compare(ctx context.Context, bank plant.BankID, codes []string, now time.Time) ([]energy.Option, error) {
	in, err := v.whole(ctx, bank, now)
	if err != nil {
		return nil, err
	}
	return assess.Compare(in, codes)
}

// Firmness says how firm the advice on a bank's least-cost date is.
func (v *View) Firmness(ctx context.Context, bank plant.BankID, now time.Time) ([]energy.Sensitivity, error) {
	in, err := v.whole(ctx, bank, now)
	if err != nil {
		return nil, err
	}
	return assess.Firmness(in)
}

// Pairs weighs how many primaries of an AHU to use up for each set of the
// secondary behind them; empty where it has not one of each or nothing to weigh.
func (v *View) Pairs(ctx context.Context, ahu plant.BankID, now time.Time) ([]energy.PairPolicy, error) {
	reg, err := v.Register(ctx)
	if err != nil {
		return nil, err
	}
	of := map[plant.Stage][]assess.Input{}
	for _, id := range reg.Banks(ahu) {
		b, _ := reg.Bank(id)
		in, err := v.whole(ctx, id, now)
		if err != nil {
			return nil, err
		}
		of[b.Stage] = append(of[b.Stage], in)
	}
	primary, secondary := of[plant.Primary], of[plant.Secondary]
	if len(primary) != 1 || len(secondary) != 1 {
		return nil, nil
	}
	return assess.Pairs(primary[0], secondary[0])
}

// Recompute brings a bank's projection up to date and returns it. A bank that is
// not in the register (any more) gets an empty one beside ErrNoBank, so that it
// does not lag behind its entries for ever.
func (v *View) Recompute(ctx context.Context, bank plant.BankID, now time.Time) (assess.Assessment, error) {
	r := v.RecomputeTogether(ctx, []plant.BankID{bank}, now)[0]
	return r.Assessment, r.Err
}

func (v *View) put(ctx context.Context, a assess.Assessment) error {
	p, err := projectionOf(a)
	if err != nil {
		return err
	}
	return v.Store.PutProjection(ctx, p)
}

func projectionOf(a assess.Assessment) (ledger.Projection, error) {
	raw, err := json.Marshal(a)
	return ledger.Projection{Bank: a.Bank, UpTo: a.UpTo, At: a.Now, Data: raw}, err
}
