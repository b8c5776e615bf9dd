package bot

import (
	"cmp"
	"context"
	"regexp"
	"slices"
	"strings"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/digest"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// dueAround is how near to its booked start the end of a job is taken for that
// job's, though nobody said that it began.
const dueAround = 12 * time.Hour

// changedTail ends a message about the end of work with which filters were
// changed: "AHU-2 back on, changed: AHU-2 primary", "…, no filters changed".
var changedTail = regexp.MustCompile(`(?is)^(.*\S)\s*[,;]\s*(?:changed:\s*(\S.*?)|(?:nothing|no filters?)(?: was| were)? changed)\s*\.?\s*$`)

// endOfWork reads a message that tells the end of work and which filters were
// changed; ok is false when it is something else.
func (t *talk) endOfWork(text string) (meaning phrase.Meaning, ok bool) {
	m := changedTail.FindStringSubmatch(text)
	if m == nil {
		return meaning, false
	}
	meaning = phrase.Understand(m[1], t.scope)
	places := jobsEnded(meaning)
	if len(places) == 0 {
		return meaning, false
	}
	changed := []plant.BankID{}
	if m[2] != "" {
		for _, name := range strings.Split(m[2], "+") {
			bank, found := t.bankNamed(strings.TrimSpace(name), places)
			if !found {
				return meaning, false
			}
			changed = append(changed, bank)
		}
	}
	t.changed = &changed
	return meaning, true
}

// jobsEnded lists the places where a message says that work ended.
func jobsEnded(meaning phrase.Meaning) (out []plant.BankID) {
	if meaning.Outcome != phrase.Entry {
		return nil
	}
	for _, it := range meaning.Items {
		if _, done := it.Body.(entry.JobDone); done {
			out = append(out, it.Place)
		}
	}
	return out
}

// bankNamed finds a bank of the places by its name, or by its AHU's tag and any word
// for its stage: a button pressed today may bear the words of another language.
func (t *talk) bankNamed(name string, places []plant.BankID) (plant.BankID, bool) {
	for _, p := range places {
		ahu, _ := t.reg.AHU(p)
		for _, b := range t.reg.Banks(p.AHU()) {
			if strings.EqualFold(t.reg.Name(b), name) {
				return b, true
			}
		}
		word, ok := strings.CutPrefix(strings.ToLower(name), strings.ToLower(ahu.Tag)+" ")
		if !ok {
			continue
		}
		if stage, known := phrase.StageOf(word); known {
			if b, found := t.reg.FindBank(p.AHU(), string(stage)); found {
				return b, true
			}
		}
	}
	return "", false
}

// bareDone reads "finished", which names no place, as the end of work at the one
// AHU where several banks were begun; ok is false when it is something else.
func (t *talk) bareDone(meaning phrase.Meaning) (ended phrase.Meaning, text string, ok bool) {
	if !isBareDone(meaning) {
		return meaning, "", false
	}
	var ahu plant.BankID
	n := 0
	for _, j := range t.jobs {
		switch {
		case j.Begun.IsZero():
		case ahu == "" || ahu == j.Bank.AHU():
			ahu = j.Bank.AHU()
			n++
		default:
			return meaning, "", false
		}
	}
	if n < 2 {
		return meaning, "", false
	}
	text = t.reg.Name(ahu) + " back on"
	ended = phrase.Understand(text, t.scope)
	return ended, text, len(jobsEnded(ended)) > 0
}

// doneAlready answers a bare "done" where no job is open: of the crew, when one was
// closed in this shift, and of anybody who speaks to the bot itself.
func (e *Engine) doneAlready(ctx context.Context, t *talk) (p channel.Post, ok bool, err error) {
	site := t.sites[0]
	if len(t.jobs) > 0 || len(t.m.Text) > 60 || !t.crewOf(site.ID) && !t.supervises(site.ID) {
		return p, false, nil
	}
	scope := t.scope
	scope.Booked = t.reg.Banks(plant.BankID(site.ID)) // as if all were open
	if !isBareDone(phrase.Understand(t.m.Text, scope)) {
		return p, false, nil
	}
	var last []entry.Entry
	for _, s := range t.sites {
		done, err := e.Store.Entries(ctx, ledger.Filter{Place: plant.BankID(s.ID), Kinds: []entry.Kind{entry.KindJobDone}, Newest: true, Limit: 10})
		if err != nil {
			return p, false, err
		}
		last = append(last, slices.DeleteFunc(done, func(x entry.Entry) bool { return e.Now().Sub(x.At) > sameShift })...)
	}
	if len(last) == 0 {
		return channel.Post{Text: say.NothingOpen(say.At(site, e.Now()), nil, "", e.Now())}, t.m.Direct || t.m.Mention, nil
	}
	newest := slices.MaxFunc(last, func(a, b entry.Entry) int { return cmp.Compare(a.Seq, b.Seq) })
	var closed []string
	for _, x := range last {
		if x.At.Equal(newest.At) && x.By == newest.By {
			closed = append(closed, t.reg.Name(x.Place))
		}
	}
	return channel.Post{Text: say.NothingOpen(say.At(t.siteOf(newest.Place), e.Now()), closed, newest.By, newest.At)}, true, nil
}

func isBareDone(meaning phrase.Meaning) bool {
	if meaning.Outcome == phrase.Ask {
		c := meaning.Ask.Choices
		return meaning.Ask.Code == phrase.AskJob && len(c) > 0 && strings.HasSuffix(c[0].Means, " job done")
	}
	return len(meaning.About) == 0 && len(meaning.Items) == 1 && len(jobsEnded(meaning)) == 1
}

// whichChanged asks which filters were changed when the end of work does not tell:
// no job was begun or is due about now, nobody booked it, or it covers several
// banks. A change-out that nobody named is not recorded.
func (e *Engine) whichChanged(ctx context.Context, t *talk, meaning phrase.Meaning, origin string) (a phrase.Asking, ask bool, err error) {
	places := jobsEnded(meaning)
	if t.changed != nil || len(places) == 0 {
		return a, false, nil
	}
	d := draft{engine: e, talk: t, items: meaning.Items}
	var unsure, booked []plant.BankID
	reported, begun := false, false
	for _, it := range meaning.Items {
		body, done := it.Body.(entry.JobDone)
		if !done {
			continue
		}
		for _, bank := range d.banksFor(it.Place, entry.KindJobDone) {
			told, err := d.toldOf(ctx, bank)
			if err != nil {
				return a, false, err
			}
			j, open := t.openJob(bank)
			begun = begun || open && !j.Begun.IsZero()
			switch {
			case told, open && body.CleanPa != nil && it.Place == bank:
				reported = true
			case open && t.expected(j, it.At):
				booked = append(booked, bank)
			default:
				unsure = append(unsure, bank)
			}
		}
	}
	switch {
	case reported:
		unsure = nil
	case len(unsure) > 0 && !begun && !t.named(places, origin): // it may be any bank of the AHU
		unsure = nil
		for _, p := range places {
			unsure = append(unsure, t.reg.Banks(p.AHU())...)
		}
		booked = nil
	}
	banks := append(booked, unsure...)
	slices.Sort(banks)
	banks = slices.Compact(banks)
	if len(banks) == 0 || len(unsure) == 0 && len(banks) == 1 {
		return a, false, nil
	}
	return t.askChanged(banks, begun || len(unsure) == 0, origin), true, nil
}

// named reports whether a text itself names places, which else are those booked.
func (t *talk) named(places []plant.BankID, text string) bool {
	m := phrase.Understand(text, phrase.Scope{Register: t.scope.Register, Index: t.scope.Index, HomeSite: t.scope.HomeSite,
		Now: t.scope.Now, By: t.scope.By, Last: t.scope.Last, Sites: t.scope.Sites, In: t.scope.In})
	said := jobsEnded(m)
	return len(said) > 0 && slices.Equal(said, places)
}

// expected reports whether a job is one whose end means that its filters were
// changed: booked, and begun or due about now.
func (t *talk) expected(j digest.Job, at time.Time) bool {
	if !j.Begun.IsZero() {
		return !j.Begun.Equal(j.Start)
	}
	return !j.Start.After(at.Add(dueAround))
}

func (t *talk) openJob(bank plant.BankID) (digest.Job, bool) {
	i := slices.IndexFunc(t.jobs, func(j digest.Job) bool { return j.Bank == bank })
	if i < 0 {
		return digest.Job{}, false
	}
	return t.jobs[i], true
}

// toldOf reports whether the change-out of a bank was reported, by the message
// itself or since the job there began.
func (d *draft) toldOf(ctx context.Context, bank plant.BankID) (bool, error) {
	if d.reportsSwap(bank) {
		return true, nil
	}
	j, open := d.talk.openJob(bank)
	if !open {
		return false, nil
	}
	swaps, err := d.standing(ctx, bank, entry.KindSwap)
	return len(swaps) > 0 && !swaps[len(swaps)-1].At.Before(j.Since), err
}

func (t *talk) askChanged(banks []plant.BankID, begun bool, origin string) phrase.Asking {
	in := t.in()
	var names []string
	a := phrase.Asking{Code: phrase.AskBank}
	for _, b := range banks {
		name := t.reg.Name(b)
		names = append(names, name)
		keys := []string{name}
		if bank, ok := t.reg.Bank(b); ok && !sameStage(t.reg, banks, bank.Stage, b) {
			keys = append(keys, string(bank.Stage))
		}
		a.Choices = append(a.Choices, phrase.Choice{Keys: keys, Label: name, Means: origin + ", changed: " + name})
	}
	if len(banks) == 1 {
		a.Choices[0].Keys = append(a.Choices[0].Keys, "yes", "y", "ja", "si", "sí", "changed")
	} else {
		label := in.Text("all of them")
		if len(banks) == 2 {
			label = in.Text("both")
		}
		a.Choices = append(a.Choices, phrase.Choice{
			Keys:  []string{"both", "all", "beide", "alle", "ambos", "ambas", "todos", "todas"},
			Label: label, Means: origin + ", changed: " + strings.Join(names, " + "),
		})
	}
	a.Choices = append(a.Choices, phrase.Choice{
		Keys:  []string{"none", "neither", "nothing", "no", "keine", "keiner", "nichts", "nein", "ninguno", "ninguna", "nada"},
		Label: in.Text("none"), Means: origin + ", nothing changed",
	})
	a.Text = say.WhichChanged(in, names, begun)
	return a
}

// sameStage reports whether another of banks has a bank's stage too.
func sameStage(reg *plant.Register, banks []plant.BankID, stage plant.Stage, but plant.BankID) bool {
	return slices.ContainsFunc(banks, func(b plant.BankID) bool {
		o, ok := reg.Bank(b)
		return ok && b != but && o.Stage == stage
	})
}

// endedWith records the end of work at a place of which it was said which filters
// were changed: their change-outs, and the end of the jobs that had begun or were
// due. What is booked for later stays booked.
func (d *draft) endedWith(ctx context.Context, it phrase.Item, body entry.JobDone, changed []plant.BankID) error {
	banks := d.banksFor(it.Place, entry.KindJobDone)
	for _, b := range changed {
		if b.AHU() == it.Place.AHU() && !slices.Contains(banks, b) {
			banks = append(banks, b)
		}
	}
	if len(changed) != 1 || it.Place.Whole() && it.Place != changed[0] {
		body.CleanPa = nil
	}
	for _, bank := range banks {
		if slices.ContainsFunc(d.entries, func(x entry.Entry) bool { return x.Place == bank }) {
			continue
		}
		isChanged := slices.Contains(changed, bank)
		j, open := d.talk.openJob(bank)
		if open && (isChanged || !j.Begun.IsZero() || d.talk.expected(j, it.At)) {
			done := body
			if !isChanged {
				done.CleanPa = nil
			}
			d.put(bank, it, done)
		}
		if !isChanged {
			continue
		}
		told, err := d.toldOf(ctx, bank)
		if err != nil {
			return err
		}
		if !told {
			d.openLife(bank, it, entry.Swap{CleanPa: body.CleanPa, FanHz: body.FanHz, Who: d.talk.who})
		}
	}
	return nil
}
