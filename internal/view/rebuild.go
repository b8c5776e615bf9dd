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
	"clogwise/internal/forecast"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// Rebuild drops every projection and makes them again from the entries. What the
// fleet's finished lives teach comes first, from a sample of its banks; then it
// goes from site to site, learns the season there and assesses every bank. AHUs
// are worked on side by side, and no more is held in memory than the register and
// a share of a site's entries. It returns the number of banks. progress, if not
// nil, is called after each bank, by one at a time.
func (v *View) Rebuild(ctx context.Context, now time.Time, progress func(done, total int)) (int, error) {
	return v.rebuild(ctx, now, mostKept, progress)
}

// rebuild is Rebuild with room for so many entries of a site in memory.
func (v *View) rebuild(ctx context.Context, now time.Time, room int, progress func(done, total int)) (int, error) {
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
	banks := reg.Banks("")
	r := rebuilding{View: v, now: now, head: head, room: room, total: len(banks), progress: progress, priors: map[plant.Stage]forecast.Prior{}}
	if err := r.learn(ctx, reg, banks); err != nil {
		return 0, err
	}
	bySite := func(a, b plant.BankID) bool { return a.Site() == b.Site() }
	for site := range chunksBy(banks, bySite) {
		if err := r.site(ctx, site); err != nil {
			return 0, err
		}
	}
	return len(banks), nil
}

// rebuilding is a Rebuild under way.
type rebuilding struct {
	*View
	now      time.Time
	head     int64 // of the ledger when it began
	room     int   // for entries of a site
	priors   map[plant.Stage]forecast.Prior
	total    int
	progress func(done, total int)

	mu   sync.Mutex
	made []ledger.Projection // not yet stored
	done int
}

// chunksBy yields the runs of neighbours that are alike.
func chunksBy(ids []plant.BankID, alike func(a, b plant.BankID) bool) func(yield func([]plant.BankID) bool) {
	return func(yield func([]plant.BankID) bool) {
		for start := 0; start < len(ids); {
			end := start + 1
			for end < len(ids) && alike(ids[start], ids[end]) {
				end++
			}
			if !yield(ids[start:end:end]) {
				return
			}
			start = end
		}
	}
}

// sideBySide does something for each of n, as many at a time as keep the
// processors busy while others wait for the disk.
func sideBySide(ctx context.Context, n int, do func(ctx context.Context, i int) error) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(2 * runtime.GOMAXPROCS(0))
	for i := range n {
		g.Go(func() error { return do(ctx, i) })
	}
	return g.Wait()
}

// learn learns the prior of each stage and stores it.
func (r *rebuilding) learn(ctx context.Context, reg *plant.Register, banks []plant.BankID) error {
	of := map[plant.Stage][]string{}
	for _, id := range banks {
		b, _ := reg.Bank(id)
		of[b.Stage] = append(of[b.Stage], string(id))
	}
	lives := map[plant.Stage]*forecast.Sample{}
	for _, stage := range stages {
		var err error
		if lives[stage], err = r.sample(ctx, of[stage]); err != nil {
			return err
		}
	}
	if err := r.teachStages(ctx, lives, r.head, r.now); err != nil {
		return err
	}
	for stage := range of {
		var err error
		if r.priors[stage], err = r.Prior(ctx, stage); err != nil {
			return err
		}
	}
	return nil
}

// sampledAtOnce is the number of banks read before it is looked whether there are
// lives enough.
const sampledAtOnce = 64

// sample gathers the finished lives that a Sample of all these banks would keep,
// and reads no others.
func (r *rebuilding) sample(ctx context.Context, banks []string) (*forecast.Sample, error) {
	s := &forecast.Sample{}
	for some := range slices.Chunk(forecast.SampleOrder(banks), sampledAtOnce) {
		pasts := make([]assess.Past, len(some))
		err := sideBySide(ctx, len(some), func(ctx context.Context, i int) error {
			in, err := r.input(ctx, plant.BankID(some[i]), r.now, nil)
			if err != nil && !errors.Is(err, ErrNoBank) {
				return err
			}
			pasts[i] = assess.PastOf(in)
			return nil
		})
		if err != nil {
			return nil, err
		}
		for _, p := range pasts {
			if s.Full() {
				return s, nil
			}
			s.Add(p.Lives)
		}
	}
	return s, nil
}

// unit is a few AHUs as they were read: as in View.assess the head before the
// entries, so that what arrives meanwhile leaves their banks lagging.
type unit struct {
	head   int64
	inputs []assess.Input // of their banks, without prior and season
}

func (u unit) entries() int {
	n := 0
	for _, in := range u.inputs {
		n += len(in.Entries)
	}
	return n
}

const (
	mostKept     = 200_000 // entries of a site held in memory; what is beyond is read twice
	ahusTogether = 16      // AHUs read at once: what was told of neighbours lies together in the ledger
	unitsAtOnce  = 12      // units between two writes to the store
)

// site assesses the banks of one site, after learning its season from them.
func (r *rebuilding) site(ctx context.Context, banks []plant.BankID) error {
	var ahus []plant.BankID
	for some := range chunksBy(banks, func(a, b plant.BankID) bool { return a.AHU() == b.AHU() }) {
		ahus = append(ahus, some[0].AHU())
	}
	units := slices.Collect(slices.Chunk(ahus, ahusTogether))
	var (
		mu     sync.Mutex
		months []forecast.SeasonLife
		room   = r.room
		kept   = make([]*unit, len(units))
	)
	err := sideBySide(ctx, len(units), func(ctx context.Context, i int) error {
		u, err := r.readUnit(ctx, units[i])
		if err != nil {
			return err
		}
		var here []forecast.SeasonLife
		for k := range u.inputs {
			in := &u.inputs[k]
			past := assess.PastOf(*in)
			in.Past = &past
			here = append(here, monthsOf(in.Bank, past)...)
		}
		mu.Lock()
		defer mu.Unlock()
		months = append(months, here...)
		if n := u.entries(); n <= room {
			room -= n
			kept[i] = &u
		}
		return nil
	})
	if err != nil {
		return err
	}
	season, err := r.teachSeason(ctx, banks[0].Site(), months, r.head, r.now)
	if err != nil {
		return err
	}
	for start := 0; start < len(units); start += unitsAtOnce {
		n := min(unitsAtOnce, len(units)-start)
		err := sideBySide(ctx, n, func(ctx context.Context, i int) error {
			i += start
			u := kept[i]
			kept[i] = nil // let the entries go
			return r.unit(ctx, units[i], u, season)
		})
		if err != nil {
			return err
		}
		if err := r.store(ctx); err != nil {
			return err
		}
	}
	return nil
}

// unit makes the projections of some AHUs' banks; a nil one is read first.
func (r *rebuilding) unit(ctx context.Context, ahus []plant.BankID, u *unit, season *forecast.Season) error {
	if u == nil {
		again, err := r.readUnit(ctx, ahus)
		if err != nil {
			return err
		}
		u = &again
	}
	for _, in := range u.inputs {
		b, _ := in.Register.Bank(in.Bank)
		in.Prior, in.Season = r.priors[b.Stage], season
		a, err := r.conclude(ctx, &in)
		if err != nil {
			return err
		}
		a.UpTo = max(a.UpTo, u.head)
		p, err := projectionOf(a)
		if err != nil {
			return err
		}
		r.keep(p)
	}
	return nil
}

// keep holds a projection until the next write and tells of it.
func (r *rebuilding) keep(p ledger.Projection) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.made = append(r.made, p)
	r.done++
	if r.progress != nil {
		r.progress(min(r.done, r.total), r.total)
	}
}

// store writes the projections made so far, all at once: a store may have to
// forget what it holds of its file in memory whenever something is written.
func (r *rebuilding) store(ctx context.Context) error {
	made := r.made
	r.made = nil
	return r.Store.PutProjections(ctx, made)
}

// readUnit reads some AHUs of a site: the entries of each bank, and those of its AHU
// and of the site that bear on it.
func (r *rebuilding) readUnit(ctx context.Context, ahus []plant.BankID) (unit, error) {
	head, err := r.Store.Head(ctx)
	if err != nil {
		return unit{}, err
	}
	reg, err := r.Register(ctx)
	if err != nil {
		return unit{}, err
	}
	var banks []plant.BankID
	for _, ahu := range ahus {
		banks = append(banks, reg.Banks(ahu)...)
	}
	of, err := r.entriesOf(ctx, banks, 0)
	if err != nil {
		return unit{}, err
	}
	u := unit{head: head}
	for _, id := range banks {
		u.inputs = append(u.inputs, assess.Input{Register: reg, Bank: id, Entries: of[id], Now: r.now})
	}
	return u, nil
}
