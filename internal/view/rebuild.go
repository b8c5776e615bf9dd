package view

import (
	"context"
	"errors"
	"runtime"
	"slices"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// Rebuild drops every projection and makes them again from the entries: it first
// gathers what the fleet's finished lives teach, then assesses every bank with
// that. AHUs are worked on side by side, each read once in each of the two
// rounds, and no more of the fleet is held in memory than its register and a
// sample of its lives. It returns the number of banks. progress, if not nil, is
// called after each bank of each round, by one at a time.
func (v *View) Rebuild(ctx context.Context, now time.Time, progress func(done, total int)) (int, error) {
	reg, err := v.Register(ctx)
	if err != nil {
		return 0, err
	}
	if err := v.Store.DropProjections(ctx); err != nil {
		return 0, err
	}
	head, err := v.Store.Head(ctx)
	if err != nil {
		return 0, err
	}
	total := len(reg.Banks(""))
	r := rebuilding{View: v, now: now, taught: map[plant.Stage]forecast.Prior{}, seasons: map[string]*forecast.Season{}}
	if progress != nil {
		r.step = func() {
			r.done++
			progress(min(r.done, 2*total), 2*total)
		}
	}
	if err := r.eachBank(ctx, reg, r.learn); err != nil {
		return 0, err
	}
	if err := v.teach(ctx, reg, &r.school, head, now); err != nil {
		return 0, err
	}
	if err := r.recall(ctx, reg); err != nil {
		return 0, err
	}
	return total, r.eachBank(ctx, reg, r.assess)
}

// rebuilding is a Rebuild under way.
type rebuilding struct {
	*View
	now     time.Time
	taught  map[plant.Stage]forecast.Prior
	seasons map[string]*forecast.Season

	mu     sync.Mutex
	school school
	made   []ledger.Projection // not yet stored
	done   int
	step   func() // nil: nobody is told
}

// recall reads what was taught, once for all banks.
func (r *rebuilding) recall(ctx context.Context, reg *plant.Register) error {
	var errs []error
	for _, s := range []plant.Stage{plant.Primary, plant.Secondary, plant.Third, plant.Return} {
		prior, err := r.Prior(ctx, s)
		r.taught[s] = prior
		errs = append(errs, err)
	}
	for _, s := range reg.Sites() {
		season, err := r.season(ctx, s.ID)
		r.seasons[s.ID] = season
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

// learn takes the past of one bank.
func (r *rebuilding) learn(_ context.Context, in assess.Input, _ int64) error {
	past := assess.PastOf(in)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.school.add(in.Register, in.Bank, past)
	return nil
}

// assess makes the projection of one bank.
func (r *rebuilding) assess(ctx context.Context, in assess.Input, head int64) error {
	a, err := r.conclude(ctx, &in)
	if err != nil {
		return err
	}
	a.UpTo = max(a.UpTo, head)
	p, err := projectionOf(a)
	if err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.made = append(r.made, p)
	return nil
}

// store writes the projections made so far, all at once: a store may have to
// forget what it holds of its file in memory whenever something is written.
func (r *rebuilding) store(ctx context.Context) error {
	g, ctx := errgroup.WithContext(ctx)
	for _, p := range r.made {
		g.Go(func() error { return r.Store.PutProjection(ctx, p) })
	}
	r.made = nil
	return g.Wait()
}

// unitsAtOnce is the number of AHUs between two writes to the store.
const unitsAtOnce = 200

// eachBank does something with the input of every bank, some AHUs at a time: as
// many as keep the processors busy while others wait for the disk.
func (r *rebuilding) eachBank(ctx context.Context, reg *plant.Register, do func(context.Context, assess.Input, int64) error) error {
	for some := range slices.Chunk(reg.AHUs(""), unitsAtOnce) {
		g, unitCtx := errgroup.WithContext(ctx)
		g.SetLimit(2 * runtime.GOMAXPROCS(0))
		for _, ahu := range some {
			g.Go(func() error { return r.unit(unitCtx, ahu, do) })
		}
		if err := g.Wait(); err != nil {
			return err
		}
		if err := r.store(ctx); err != nil {
			return err
		}
	}
	return nil
}

// unit does something with each bank of an AHU. As in View.assess the head is
// read first, so that what arrives meanwhile leaves the bank lagging.
func (r *rebuilding) unit(ctx context.Context, ahu plant.BankID, do func(context.Context, assess.Input, int64) error) error {
	head, err := r.Store.Head(ctx)
	if err != nil {
		return err
	}
	reg, err := r.Register(ctx)
	if err != nil {
		return err
	}
	banks := reg.Banks(ahu)
	own, wider, err := r.readUnit(ctx, ahu, banks)
	if err != nil {
		return err
	}
	for i, id := range banks {
		in := assess.Input{Register: reg, Bank: id, Entries: slices.Concat(own[i], wider), Now: r.now, Season: r.seasons[id.Site()]}
		b, _ := reg.Bank(id)
		if in.Prior = r.taught[b.Stage]; in.Prior.Check() != nil {
			in.Prior = forecast.ClassPrior(string(b.Stage))
		}
		if err := do(ctx, in, head); err != nil {
			return err
		}
		r.tell()
	}
	return nil
}

// readUnit reads the entries of each bank, and those of the AHU and its site that
// bear on all of them.
func (r *rebuilding) readUnit(ctx context.Context, ahu plant.BankID, banks []plant.BankID) (own [][]entry.Entry, wider []entry.Entry, err error) {
	own = make([][]entry.Entry, len(banks))
	for i, id := range banks {
		if own[i], err = r.Store.Entries(ctx, ledger.Filter{Place: id, Exact: true}); err != nil {
			return nil, nil, err
		}
	}
	for _, place := range []plant.BankID{ahu, plant.BankID(ahu.Site())} {
		more, err := r.Store.Entries(ctx, ledger.Filter{Place: place, Exact: true, Kinds: assess.WiderKinds})
		if err != nil {
			return nil, nil, err
		}
		wider = append(wider, more...)
	}
	return own, wider, nil
}

func (r *rebuilding) tell() {
	if r.step == nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.step()
}
