package bot

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/channel"
	"clogwise/internal/chart"
	"clogwise/internal/digest"
	"clogwise/internal/energy"
	"clogwise/internal/ledger"
	"clogwise/internal/locale"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// answer answers a question from the projections.
func (e *Engine) answer(ctx context.Context, t *talk, q phrase.Query) error {
	p, err := e.answerPost(ctx, t, q)
	if err != nil {
		return err
	}
	if len(q.Places) > 0 {
		e.nowHere(ctx, t.m, q.Places[0])
	}
	if q.Kind != phrase.QuerySteps {
		return e.reply(ctx, t, p)
	}
	return e.commit(ctx, ledger.Batch{Posts: append(e.stopAlerts(t, q), e.ready(t, ReplyKey(t.m), p))})
}

func (e *Engine) answerPost(ctx context.Context, t *talk, q phrase.Query) (channel.Post, error) {
	switch q.Kind {
	case phrase.QueryHelp:
		return channel.Post{Text: t.own(phrase.Help(t.in()) + "\n" + say.HelpAtOnce(t.in()))}, nil
	case phrase.QueryHow, phrase.QueryCost, phrase.QueryWhy, phrase.QueryChart:
		return e.aboutBanks(ctx, t, q)
	case phrase.QueryDue:
		if p, ok, err := e.dueOf(ctx, t, q); ok || err != nil {
			return p, err
		}
	case phrase.QuerySteps:
		return e.steps(t, q), nil
	case phrase.QueryCompare:
		return e.compare(ctx, t, q)
	case phrase.QueryStatus:
		counts, err := e.Store.Counts(ctx)
		if err != nil {
			return channel.Post{}, err
		}
		lags, err := e.Store.Lagging(ctx, 1000)
		return channel.Post{Text: say.Status(t.in(), counts, len(lags))}, err
	}
	var parts []string
	var choices []channel.Choice
	for _, s := range e.sitesAsked(t, q) {
		b, err := e.View.Board(ctx, s, e.Now())
		if err != nil {
			return channel.Post{}, err
		}
		b = onlyPlaces(b, q.Places)
		switch q.Kind {
		case phrase.QueryDue:
			parts = append(parts, say.Due(b, q.Within))
			choices = append(choices, e.supervisorChoices(t, dueUnbooked(b))...)
		case phrase.QueryOwed:
			parts = append(parts, say.Owed(b))
		case phrase.QueryStock:
			parts = append(parts, say.Stock(b, q.Items))
		case phrase.QueryOrders:
			parts = append(parts, say.Orders(b, t.reg))
		case phrase.QueryVisits:
			parts = append(parts, say.Visits(b, t.reg))
		case phrase.QueryDigest:
			since, err := e.View.Since(ctx, s, time.Time{}, e.Now())
			if err != nil {
				return channel.Post{}, err
			}
			parts = append(parts, digest.Weekly(b, t.reg, since))
		default:
			return channel.Post{Text: t.own(say.NotUnderstood(t.in()))}, nil
		}
	}
	return channel.Post{Text: strings.Join(parts, "\n\n"), Choices: choices}, nil
}

// dueOf answers when banks or whole AHUs are due, each with its date and range; ok is
// false when sites are asked about, or what is due within some time.
func (e *Engine) dueOf(ctx context.Context, t *talk, q phrase.Query) (p channel.Post, ok bool, err error) {
	if len(q.Places) == 0 || q.Within > 0 || slices.ContainsFunc(q.Places, func(id plant.BankID) bool { return string(id) == id.Site() }) {
		return p, false, nil
	}
	if p, err = e.aboutBanks(ctx, t, phrase.Query{Kind: phrase.QueryHow, Places: q.Places}); err != nil {
		return p, false, err
	}
	for _, s := range e.sitesAsked(t, q) {
		b, err := e.View.Board(ctx, s, e.Now())
		if err != nil {
			return p, false, err
		}
		p.Choices = append(p.Choices, e.supervisorChoices(t, dueUnbooked(onlyPlaces(b, q.Places)))...)
	}
	return p, true, nil
}

func (e *Engine) sitesAsked(t *talk, q phrase.Query) []plant.Site {
	if len(q.Places) == 0 {
		return t.sites
	}
	var out []plant.Site
	seen := map[string]bool{}
	for _, p := range q.Places {
		if s, ok := t.reg.Site(p.Site()); ok && !seen[s.ID] {
			seen[s.ID] = true
			out = append(out, s)
		}
	}
	return out
}

// onlyPlaces narrows the rows of a board to the places asked about.
func onlyPlaces(b digest.Board, places []plant.BankID) digest.Board {
	if len(places) == 0 {
		return b
	}
	rows := b.Rows[:0:0]
	for _, r := range b.Rows {
		for _, p := range places {
			if r.Bank == p || strings.HasPrefix(string(r.Bank), string(p)+"/") {
				rows = append(rows, r)
				break
			}
		}
	}
	b.Rows = rows
	return b
}

// exampleOf is a question about a bank as people type it.
func exampleOf(in locale.Locale, kind phrase.QueryKind) string {
	switch kind {
	case phrase.QueryChart:
		return in.Text("`chart AHU-3 bag`")
	case phrase.QueryCost:
		return in.Text("`cost AHU-3 bag`")
	case phrase.QueryWhy:
		return in.Text("`why AHU-3 bag`")
	}
	return in.Text("`how is AHU-3 bag`")
}

// aboutBanks answers questions about banks or whole AHUs.
func (e *Engine) aboutBanks(ctx context.Context, t *talk, q phrase.Query) (channel.Post, error) {
	banks := t.banksAsked(q)
	if len(banks) == 0 {
		return channel.Post{Text: t.own(t.in().Text("Which AHU or bank? Write for example: %s", exampleOf(t.in(), q.Kind)))}, nil
	}
	if q.Kind == phrase.QueryChart || q.Kind == phrase.QueryWhy {
		const most = 4
		if len(banks) > most {
			return channel.Post{Text: t.in().Text("That is %d banks; name one AHU or bank.", len(banks))}, nil
		}
	}
	var as []assess.Assessment
	for _, id := range banks {
		a, ok, err := e.View.Assessment(ctx, id)
		if err != nil {
			return channel.Post{}, err
		}
		if !ok { // the workers have not come to it yet
			if a, err = e.View.Assess(ctx, id, e.Now()); err != nil {
				return channel.Post{}, err
			}
		}
		as = append(as, a.AsOf(e.Now()))
	}
	switch q.Kind {
	case phrase.QueryCost:
		firm, err := e.firmness(ctx, as)
		return channel.Post{Text: say.Cost(t.in(), as, firm, t.reg, e.Now())}, err
	case phrase.QueryWhy:
		var parts []string
		for _, a := range as {
			firm, err := e.View.Firmness(ctx, a.Bank, e.Now())
			if err != nil {
				return channel.Post{}, err
			}
			beside, err := e.View.Assessments(ctx, a.Bank.AHU(), e.Now())
			if err != nil {
				return channel.Post{}, err
			}
			neglect, _ := digest.NeglectOf(a.Bank, t.reg, beside)
			parts = append(parts, say.Why(a, firm, neglect, t.reg, e.Now()))
		}
		return channel.Post{Text: strings.Join(parts, "\n\n")}, nil
	case phrase.QueryChart:
		return e.charts(ctx, t, as)
	}
	return channel.Post{Text: say.How(t.in(), as, t.reg, e.Now())}, nil
}

// mostFirm is the number of banks up to which a question about money says what
// other prices would change.
const mostFirm = 4

func (e *Engine) firmness(ctx context.Context, as []assess.Assessment) (map[plant.BankID][]energy.Sensitivity, error) {
	if len(as) > mostFirm {
		return nil, nil
	}
	out := map[plant.BankID][]energy.Sensitivity{}
	for _, a := range as {
		rows, err := e.View.Firmness(ctx, a.Bank, e.Now())
		if err != nil {
			return nil, err
		}
		out[a.Bank] = rows
	}
	return out, nil
}

func (t *talk) banksAsked(q phrase.Query) []plant.BankID {
	places := q.Places
	if len(places) == 0 && t.scope.Here != "" {
		places = []plant.BankID{t.scope.Here}
	}
	var out []plant.BankID
	for _, p := range places {
		out = append(out, t.reg.Banks(p)...)
	}
	if len(places) == 0 && q.Kind == phrase.QueryCost {
		for _, s := range t.sites {
			out = append(out, t.reg.Banks(plant.BankID(s.ID))...)
		}
	}
	return out
}

func (e *Engine) charts(ctx context.Context, t *talk, as []assess.Assessment) (channel.Post, error) {
	var p channel.Post
	var names []string
	for _, a := range as {
		in, err := e.View.Picture(ctx, a.Bank, e.Now())
		if err != nil {
			return p, err
		}
		png, err := chart.Bank(in)
		if err != nil {
			return p, fmt.Errorf("chart of %s: %w", a.Bank, err)
		}
		p.Files = append(p.Files, channel.File{Name: strings.ReplaceAll(string(a.Bank), "/", "-") + ".png", Title: in.Title, Data: png})
		names = append(names, in.Title)
	}
	if len(p.Files) == 0 {
		return channel.Post{Text: t.in().Text("Nothing to draw yet: no reading has been recorded.")}, nil
	}
	p.Text = strings.Join(names, ".\n") + "."
	return p, nil
}
