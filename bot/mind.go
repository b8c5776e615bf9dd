package bot

import (
	"context"
	"slices"
	"strings"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
	"clogwise/internal/say"
)

const (
	// againWithin is how soon a second change-out of a bank is taken for the first
	// one told twice. Common practice, no source.
	againWithin = 12 * time.Hour

	// mostOfDesign and leastOfDesign bound the airflow that an AHU can have, as a
	// share of its design airflow, before it is asked about. Common practice, no source.
	mostOfDesign  = 1.6
	leastOfDesign = 0.2

	// soonAfter and farAboveClean tell when a reading after a change-out speaks
	// against it. Common practice, no source.
	soonAfter     = 14 * 24 * time.Hour
	farAboveClean = 2

	// sureTail ends the text of a message whose figures were confirmed.
	sureTail = " (sure)"
)

// unlikely asks about what a message says that can hardly be: far more filters
// than the bank holds, an airflow no such AHU has, a second change-out the same day.
func (e *Engine) unlikely(ctx context.Context, t *talk, meaning phrase.Meaning, text string) (a phrase.Asking, ask bool, err error) {
	if t.sure {
		return a, false, nil
	}
	var doubts []string
	d := draft{engine: e, talk: t}
	for _, it := range meaning.Items {
		said, err := d.unlikely(ctx, it)
		if err != nil {
			return a, false, err
		}
		for _, s := range said {
			if !slices.Contains(doubts, s) {
				doubts = append(doubts, s)
			}
		}
	}
	if len(doubts) == 0 {
		return a, false, nil
	}
	in := t.in()
	return phrase.Asking{Code: "unlikely", Text: say.Unlikely(in, doubts), Choices: []phrase.Choice{{
		Keys:  []string{"yes", "y", "ok", "right", "ja", "stimmt", "si", "sí"},
		Label: in.Text("yes, that is right"), Means: text + sureTail,
	}}}, true, nil
}

func (d *draft) unlikely(ctx context.Context, it phrase.Item) (out []string, err error) {
	in := d.talk.in()
	ahu, _ := d.talk.reg.AHU(it.Place)
	flow := func(m3s, pct *float64) {
		switch design := ahu.DesignFlowM3s; {
		case m3s != nil && design > 0 && (*m3s > mostOfDesign*design || *m3s < leastOfDesign*design):
			out = append(out, say.FarFromDesign(in, ahu.Tag, *m3s, design))
		case m3s == nil && pct != nil && *pct < 100*leastOfDesign:
			out = append(out, say.SlowFan(in, ahu.Tag, *pct))
		}
	}
	switch b := it.Body.(type) {
	case entry.Reading:
		flow(b.FlowM3s, b.FanPct)
	case entry.OverRange:
		flow(b.FlowM3s, b.FanPct)
	case entry.Swap:
		flow(b.FlowM3s, b.FanPct)
		bank, _ := d.talk.reg.Bank(it.Place)
		if n := bank.Count(); b.Count != nil && n > 0 && *b.Count > 2*n {
			out = append(out, say.CountDiffers(in, d.talk.reg.Name(it.Place), n, *b.Count))
		}
		later, r, ok, err := d.contradicted(ctx, it, b)
		if err != nil {
			return nil, err
		}
		if ok {
			out = append(out, say.ReadHighAfter(say.At(d.talk.siteOf(it.Place), d.engine.Now()), d.talk.reg.Name(it.Place), later, r, *b.CleanPa))
		}
		twice, ok, err := d.toldTwice(ctx, it, b)
		if err != nil {
			return nil, err
		}
		if ok {
			out = append(out, say.SwapAgain(say.At(d.talk.siteOf(it.Place), d.engine.Now()), d.talk.reg.Name(it.Place), twice))
		}
	}
	return out, nil
}

// contradicted finds the first reading after a change-out that is told late, when
// it is far above the clean reading given.
func (d *draft) contradicted(ctx context.Context, it phrase.Item, body entry.Swap) (x entry.Entry, r entry.Reading, ok bool, err error) {
	if body.CleanPa == nil || it.CorrectsLast {
		return x, r, false, nil
	}
	readings, err := d.standing(ctx, it.Place, entry.KindReading)
	if err != nil {
		return x, r, false, err
	}
	for _, x = range readings {
		if !x.At.After(it.At) {
			continue
		}
		r, reading := x.Body.(entry.Reading)
		return x, r, reading && !r.Suspect && x.At.Sub(it.At) < soonAfter && r.Pa > farAboveClean**body.CleanPa, nil
	}
	return x, r, false, nil
}

// toldTwice finds the change-out of a bank that was recorded shortly before
// another is told of, with nothing read in between.
func (d *draft) toldTwice(ctx context.Context, it phrase.Item, body entry.Swap) (last entry.Entry, ok bool, err error) {
	swaps, err := d.standing(ctx, it.Place, entry.KindSwap)
	if err != nil || len(swaps) == 0 || it.CorrectsLast {
		return last, false, err
	}
	last = swaps[len(swaps)-1]
	if apart := it.At.Sub(last.At).Abs(); apart > againWithin {
		return last, false, nil
	}
	if _, adds := complete(last.Body, body); adds && d.freshly(last, it) {
		return last, false, nil
	}
	read, err := d.engine.Store.Entries(ctx, ledger.Filter{Place: it.Place, Exact: true, Kinds: []entry.Kind{entry.KindReading}, AfterSeq: last.Seq, Limit: 1})
	return last, len(read) == 0, err
}

// fitting warns of change-outs that differ from the register: in how many filters
// the bank holds, in the class it requires, in the size it takes.
func (t *talk) fitting(entries []entry.Entry) (out []string) {
	in := t.in()
	for _, x := range entries {
		s, ok := bodySaid(x).(entry.Swap)
		bank, known := t.reg.Bank(x.Place)
		if !ok || !known {
			continue
		}
		name := t.reg.Name(x.Place)
		if n := bank.Count(); s.Count != nil && n > 0 && *s.Count != n {
			out = append(out, say.CountDiffers(in, name, n, *s.Count))
		}
		item, known := t.reg.Item(s.Item)
		if s.Item == "" || !known {
			continue
		}
		if bank.MinClass != "" && item.Class != "" {
			if v := resistance.Meets(item.Class, bank.MinClass); v.Comparable && !v.OK {
				out = append(out, say.ClassTooLow(in, item.Code, item.Class, name, bank.MinClass))
			}
		}
		if len(bank.Fronts) > 0 && item.WidthMM > 0 && !fits(item, bank) {
			out = append(out, say.DoesNotFit(in, item.Code, item.WidthMM, item.HeightMM, name, frontsOf(bank)))
		}
	}
	return out
}

// fits reports whether an item has a front size of a bank, either way up.
func fits(item plant.Item, bank plant.Bank) bool {
	return slices.ContainsFunc(bank.Fronts, func(f plant.Front) bool {
		return f.WidthMM == item.WidthMM && f.HeightMM == item.HeightMM || f.WidthMM == item.HeightMM && f.HeightMM == item.WidthMM
	})
}

func frontsOf(bank plant.Bank) string {
	var out []string
	for _, f := range bank.Fronts {
		out = append(out, say.Front(f.WidthMM, f.HeightMM))
	}
	return strings.Join(slices.Compact(out), ", ")
}
