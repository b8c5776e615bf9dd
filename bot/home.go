package bot

import (
	"context"
	"slices"
	"strings"

	"clogwise/internal/channel"
	"clogwise/internal/digest"
	"clogwise/internal/duelist"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// buttonsFor bounds the banks that get buttons: the first few are what matters.
const buttonsFor = 2

// Page implements channel.FormHandler: what is due at the person's sites, their
// bookings, and the readings that are owed there.
func (e *Engine) Page(ctx context.Context, m channel.Message) (*channel.Page, error) {
	reg, err := e.View.Register(ctx)
	if err != nil {
		return nil, err
	}
	m.Direct = true
	t, err := e.talk(ctx, m)
	if err != nil {
		return nil, err
	}
	if t == nil || len(memberSites(reg, m)) == 0 {
		in := sharedTongue(reg)
		if t != nil {
			in = t.in()
		}
		return &channel.Page{Sections: []channel.Section{{Title: in.Text("Nothing here"), Text: say.NoPage(in)}}}, nil
	}
	t.sites = memberSites(reg, m)
	return e.page(ctx, t)
}

// page is made for the sites of the talk.
func (e *Engine) page(ctx context.Context, t *talk) (*channel.Page, error) {
	p, in := &channel.Page{}, t.in()
	var rounds []plant.BankID
	var due []plant.BankID
	var owed []channel.Section
	for _, s := range t.sites {
		b, err := e.View.Board(ctx, s, e.Now())
		if err != nil {
			return nil, err
		}
		p.Sections = append(p.Sections, channel.Section{Title: in.Text("Due"), Text: say.Due(b, 0)})
		owed = append(owed, channel.Section{Title: in.Text("Readings owed"), Text: say.Owed(b)})
		due = append(due, dueUnbooked(b)...)
		for _, o := range b.Owed {
			if ahu := o.Bank.AHU(); !slices.Contains(rounds, ahu) {
				rounds = append(rounds, ahu)
			}
		}
	}
	mine := slices.DeleteFunc(slices.Clone(t.jobs), func(j digest.Job) bool { return !t.worksOn(j) })
	p.Sections = append(p.Sections, channel.Section{Title: in.Text("My bookings"), Text: say.Bookings(in, mine, t.reg, t.who, e.Now())})
	p.Sections = append(p.Sections, owed...)
	for _, ahu := range rounds[:min(len(rounds), 2*buttonsFor)] {
		p.Choices = append(p.Choices, channel.Choice{Label: in.Text("Round %s", t.reg.Name(ahu)), Action: channel.ActionForm, Value: formID(formRound, ahu)})
	}
	p.Choices = append(p.Choices, e.supervisorChoices(t, due)...)
	return p, nil
}

// worksOn reports whether a job is the person's: in its crew, or booked by them.
func (t *talk) worksOn(j digest.Job) bool {
	if j.By == t.who || isOneOf(j.Crew, t.m) {
		return true
	}
	return slices.ContainsFunc(j.Crew, func(name string) bool { return strings.EqualFold(name, t.who) })
}

// dueUnbooked lists the first banks that are due and have no date yet.
func dueUnbooked(b digest.Board) []plant.BankID {
	var out []plant.BankID
	for _, r := range b.Rows {
		switch r.Condition {
		case duelist.DueSoon, duelist.Due, duelist.Overdue:
			if _, booked, missed := r.BookedOn(b.Now, b.Site.Location()); (!booked || missed) && (r.Deferred == nil || !r.Deferred.After(b.Now)) && len(out) < buttonsFor {
				out = append(out, r.Bank)
			}
		}
	}
	return out
}

// pageAsked answers "home" in words, for channels without a page of their own.
func (e *Engine) pageAsked(ctx context.Context, t *talk) (handled bool, err error) {
	switch strings.ToLower(strings.Trim(strings.TrimSpace(t.m.Text), ".!?")) {
	case "home", "my list", "my day", "my bookings", "my jobs",
		"meine liste", "mein tag", "meine buchungen", "meine termine", "mi lista", "mi día", "mi dia", "mis trabajos", "inicio":
	default:
		return false, nil
	}
	t.sites = slices.DeleteFunc(slices.Clone(t.sites), func(s plant.Site) bool { return !t.crewOf(s.ID) && !t.supervises(s.ID) })
	if len(t.sites) == 0 {
		t.sites = channelSites(t.reg, t.m)
		return true, e.reply(ctx, t, channel.Post{Text: say.NoPage(t.in())})
	}
	p, err := e.page(ctx, t)
	if err != nil {
		return true, err
	}
	var parts []string
	for _, s := range p.Sections {
		parts = append(parts, s.Title+":\n"+s.Text)
	}
	return true, e.reply(ctx, t, channel.Post{Text: strings.Join(parts, "\n\n"), Choices: p.Choices})
}
