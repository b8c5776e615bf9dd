package webhook

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"

	"clogwise/bot/webhook/proof"
	"clogwise/bot/webhook/wire"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/points"
	"clogwise/internal/queue"
)

// Outcomes of one item.
const (
	recorded  = "recorded"
	duplicate = "duplicate" // known by its once-only id; nothing was added
	held      = "held"      // recorded, kept out of the trend until somebody looks
	aside     = "aside"     // recorded for a point that nobody has mapped yet; brought in when somebody does
	refused   = "refused"   // not recorded
)

// Kinds of item, by path.
const (
	kindReading = "reading"
	kindSwap    = "swap"
)

// result is what became of one item.
type result struct {
	Index   int    `json:"index"`
	Outcome string `json:"outcome"`
	Seq     int64  `json:"seq,omitempty"` // of its entry
	Bank    string `json:"bank,omitempty"`
	Why     string `json:"why,omitempty"`
}

// report is what became of a request's items.
type report struct {
	Recorded  int      `json:"recorded"`
	Held      int      `json:"held"`
	Aside     int      `json:"aside"`
	Duplicate int      `json:"duplicate"`
	Refused   int      `json:"refused"`
	Results   []result `json:"results"`
}

func (r *report) count() {
	for _, x := range r.Results {
		switch x.Outcome {
		case recorded:
			r.Recorded++
		case held:
			r.Held++
		case aside:
			r.Aside++
		case duplicate:
			r.Duplicate++
		case refused:
			r.Refused++
		}
	}
}

// status is 202 when something was recorded, whose forecast follows, and 200
// when all was known.
func (r *report) status() int {
	if r.Recorded+r.Held+r.Aside > 0 {
		return http.StatusAccepted
	}
	return http.StatusOK
}

// futureSlack is how far a sender's clock may run ahead.
const futureSlack = 5 * time.Minute

// oldest is how far back an item may lie, in years.
const oldest = 20

func (s *api) intake(kind string, build maker) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		k, body, err := s.admit(w, r)
		if err != nil {
			return err
		}
		items, err := s.items(r, body)
		if err != nil {
			return err
		}
		t := taking{api: s, key: k, kind: kind, build: build, id: r.Header.Get(proof.HeaderID), now: s.Now()}
		rep, err := t.take(r.Context(), items)
		if err != nil {
			return err
		}
		s.metrics.took(kind, rep)
		if rep.Refused == len(items) {
			return allRefused(rep, t.outside)
		}
		s.answer(w, rep.status(), rep)
		return nil
	}
}

func allRefused(rep report, outside int) error {
	f := faultf(http.StatusUnprocessableEntity, "every item was refused, for the reasons in results; %s. Mend them and send them under a new webhook-id", nothingKept)
	if outside == len(rep.Results) {
		f = faultf(http.StatusForbidden, "%v; %s. Use a key for that site or point, or have this one widened", errScope, nothingKept)
	}
	f.results = rep.Results
	return f
}

// taking is one request's items on their way into the ledger.
type taking struct {
	*api
	key   ledger.Key
	kind  string
	build maker
	id    string // webhook-id
	now   time.Time

	batch   ledger.Batch
	index   []int // of each entry's item
	results []result
	outside int // items refused for the key's scope
}

// take commits every item that can be taken, in one transaction.
func (t *taking) take(ctx context.Context, items []wire.Parsed) (report, error) {
	now, err := t.plant.lately(ctx)
	if err == nil && strangers(now, items) {
		now, err = t.plant.fresh(ctx)
	}
	if err != nil {
		return report{}, err
	}
	t.results = make([]result, len(items))
	for i, p := range items {
		t.results[i] = t.judge(now, i, p)
	}
	if err := t.air(ctx, now, items); err != nil {
		return report{}, err
	}
	if len(t.batch.Entries) > 0 {
		if err := t.commit(ctx, items); err != nil {
			return report{}, err
		}
	}
	if err := t.mappedMeanwhile(ctx, items); err != nil {
		return report{}, err
	}
	rep := report{Results: t.results}
	rep.count()
	return rep, nil
}

// strangers reports whether an item names a bank, point or filter item that the
// register does not know.
func strangers(now known, items []wire.Parsed) bool {
	for _, p := range items {
		_, bank := now.Bank(plant.BankID(p.Bank))
		_, point := now.points.Find(p.Point)
		_, item := now.Item(p.Item.Item)
		if p.Bank != "" && !bank || p.Point != "" && !point || p.Item.Item != "" && !item {
			return true
		}
	}
	return false
}

// judge puts an item's entry into the batch, or says why not.
func (t *taking) judge(now known, i int, p wire.Parsed) result {
	x, why, err := t.entry(now, i, p)
	if err != nil {
		if errors.Is(err, errScope) {
			t.outside++
		}
		return result{Index: i, Outcome: refused, Why: err.Error()}
	}
	t.batch.Entries, t.index = append(t.batch.Entries, x), append(t.index, i)
	res := result{Index: i, Outcome: recorded, Why: why}
	switch {
	case x.Place.Site() == string(entry.AsidePlace):
		res.Outcome = aside
		return res
	case x.Kind == entry.KindSample: // of an AHU
		return res
	case why != "":
		res.Outcome = held
	}
	res.Bank = string(x.Place)
	return res
}

func (t *taking) commit(ctx context.Context, items []wire.Parsed) error {
	done, err := t.Store.Commit(ctx, t.batch)
	if err != nil {
		return err
	}
	heads := map[plant.BankID]int64{}
	for n, d := range done {
		i := t.index[n]
		t.results[i].Seq = d.Seq
		if !d.Duplicate {
			if place := t.batch.Entries[n].Place; place.Whole() {
				heads[place] = d.Seq
			}
			continue
		}
		if err := t.known(ctx, t.batch.Entries[n], items[i].Item, &t.results[i]); err != nil {
			return err
		}
	}
	notices := make([]queue.Notice, 0, len(heads))
	for bank, seq := range heads {
		notices = append(notices, queue.Notice{Bank: string(bank), UpTo: seq})
	}
	t.shared.notify(ctx, notices)
	return nil
}

// known tells what became of an item whose once-only key was there: the same
// thing sent again is a duplicate; another one under a used id is refused, for
// it would else be lost without a word.
func (t *taking) known(ctx context.Context, x entry.Entry, it wire.Item, res *result) error {
	old, err := t.Store.Entry(ctx, res.Seq)
	if err != nil {
		return err
	}
	if sameSaid(old, x, it) {
		res.Outcome, res.Why = duplicate, "known by its id; nothing was added"
		return nil
	}
	res.Outcome, res.Seq = refused, 0
	res.Why = fmt.Sprintf("its id was used before, for something else: entry %d of %s, which stands. Send this one under a new id",
		old.Seq, old.Received.UTC().Format(time.RFC3339))
	return nil
}

// entry makes the ledger entry of one item. why says what becomes of it when it
// is not simply recorded.
func (t *taking) entry(now known, i int, p wire.Parsed) (x entry.Entry, why string, err error) {
	if p.Err != nil {
		return x, "", p.Err
	}
	place, body, why, err := t.said(now, p.Item)
	if err != nil {
		return x, "", err
	}
	at, err := t.when(p.Item)
	if err != nil {
		return x, "", err
	}
	if body, why, err = t.hold(now, place, body, at, why); err != nil {
		return x, "", err
	}
	source, err := sourceOf(lineage(t.key.ID), t.kind, t.id, i, p, t.now)
	if err != nil {
		return x, "", err
	}
	if p.Item.Item != "" {
		if _, known := now.Item(p.Item.Item); !known {
			return x, "", fmt.Errorf("item %q is not in the register", wire.Clip(p.Item.Item))
		}
	}
	return entry.Entry{
		Source: source, Kind: body.Kind(), Place: place, At: at, Received: t.now.UTC(), By: t.key.Name, Body: body,
	}, why, nil
}

// said is what an item says of which place.
func (t *taking) said(now known, it wire.Item) (plant.BankID, entry.Body, string, error) {
	if it.Point != "" && it.Bank == "" && t.kind == kindReading {
		return t.saidOfPoint(now, it)
	}
	id, err := bankOf(now, t.key, it)
	if err != nil {
		return "", nil, "", err
	}
	bank, _ := now.Bank(id)
	body, why, err := t.build(it, bank, points.Limit(now.Register, bank))
	return id, body, why, err
}

func (t *taking) when(it wire.Item) (time.Time, error) {
	switch {
	case it.At == nil:
		return t.now.UTC(), nil
	case it.At.After(t.now.Add(futureSlack)):
		return time.Time{}, fmt.Errorf("at is %s, in the future; check the clock and the offset from UTC", it.At.Format(time.RFC3339))
	case it.At.Before(t.now.AddDate(-oldest, 0, 0)):
		return time.Time{}, fmt.Errorf("at is %s, more than %d years ago; check the year", it.At.Format(time.RFC3339), oldest)
	}
	return it.At.UTC(), nil
}

// bankOf finds the bank an item speaks of. What lies outside the key's scope is
// answered alike whether it exists or not.
func bankOf(now known, k ledger.Key, it wire.Item) (plant.BankID, error) {
	switch {
	case it.Bank != "" && it.Point != "":
		return "", errors.New("give bank or point, not both")
	case it.Bank != "":
		id := plant.BankID(it.Bank)
		if !covers(k, id, "") {
			return "", fmt.Errorf("%w: %s", errScope, wire.Clip(it.Bank))
		}
		if _, ok := now.Bank(id); !ok {
			return "", fmt.Errorf("no bank %q; GET /v1/banks lists them", wire.Clip(it.Bank))
		}
		return id, nil
	case it.Point != "":
		if !coversPoint(k, it.Point) {
			return "", fmt.Errorf("%w: point %s", errScope, wire.Clip(it.Point))
		}
		m, ok := now.points.Find(it.Point)
		if !ok || m.Of() != points.Pressure || !coversSite(k, m.Place.Site()) {
			return "", fmt.Errorf("point %q belongs to no bank of this key; map it with clogwise points map", wire.Clip(it.Point))
		}
		return m.Place, nil
	}
	return "", errors.New("no bank: give bank (\"site/ahu/bank\") or point")
}
