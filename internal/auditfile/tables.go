package auditfile

import (
	"math"
	"strings"
	"time"

	"clogwise/internal/chart"
	"clogwise/internal/digest"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Digest is how a site stands, as tables: every bank with its range, reason and
// cost of waiting, visits, orders, what is doubtful and owed, and what was done.
// Pressures are Pa, at design airflow; money is the site's.
func Digest(b digest.Board, reg *plant.Register, s digest.Since) []Table {
	return []Table{Due(b), visits(b, reg), orders(b), doubts(b), owed(b), done(b, reg, s)}
}

// tongue is the language of a site; sheets and their headings are in it.
func tongue(b digest.Board) locale.Locale { return locale.Of(b.Site.Language) }

// Due is every bank of a site, in the order of the due list.
func Due(b digest.Board) Table {
	loc, in := b.Site.Location(), tongue(b)
	t := Table{Name: in.Text("Due"), Head: []string{
		in.Text("bank"), in.Text("name"), in.Text("condition"), in.Text("Pa now"), in.Text("limit Pa"), in.Text("clean Pa"), in.Text("governed by"), in.Text("limit from"),
		in.Text("earliest (1 in 10)"), in.Text("most likely"), in.Text("latest (9 in 10)"), in.Text("cheapest date"), in.Text("booked"), in.Text("put off until"), in.Text("reason"),
		in.Text("cost a day"), in.Text("cost of a week's wait"), in.Text("currency"), in.Text("kWh a day"), in.Text("kgCO2e a day"), in.Text("last read"), in.Text("findings"),
	}}
	for _, r := range b.Rows {
		var booked, deferred any
		if r.Booked != nil {
			booked = minute(*r.Booked, loc)
		}
		if r.Deferred != nil {
			deferred = day(*r.Deferred, loc)
		}
		t.Rows = append(t.Rows, []any{
			string(r.Bank), r.Name, r.Condition.Words(in), round(r.PaNow, 1), round(r.LimitPa, 1), round(r.CleanPa, 1), in.Figures(in.Retell(r.Governing)), in.Retell(r.LimitSource),
			day(r.P10, loc), day(r.Median, loc), day(r.P90, loc), day(r.LeastCost, loc), booked, deferred, r.DeferReason,
			amount(r.PenaltyPerDay), amount(r.WaitWeek), b.Site.Currency, round(r.KWhPerDay, 2), round(r.KgCO2PerDay, 2),
			minute(r.LastRead, loc), strings.Join(r.Findings, "; "),
		})
	}
	return t
}

func amount(m units.Money) any {
	if m.Amount.IsZero() {
		return nil
	}
	return round(m.Amount.InexactFloat64(), 2)
}

func visits(b digest.Board, reg *plant.Register) Table {
	in := tongue(b)
	t := Table{Name: in.Text("Visits"), Head: []string{in.Text("day"), in.Text("banks"), in.Text("AHUs to isolate"), in.Text("person-hours"), in.Text("cost"), in.Text("currency")}}
	for _, v := range b.Plan.Visits {
		var names []string
		for _, j := range v.Jobs {
			names = append(names, reg.Name(j.Bank))
		}
		t.Rows = append(t.Rows, []any{day(v.Day, b.Site.Location()), strings.Join(names, "; "), v.AHUs, round(v.Hours, 1), amount(v.Cost), b.Site.Currency})
	}
	return t
}

func orders(b digest.Board) Table {
	in := tongue(b)
	t := Table{Name: in.Text("Orders"), Head: []string{in.Text("item"), in.Text("order"), in.Text("latest date"), in.Text("need"), in.Text("in store"), in.Text("on order"), in.Text("banks")}}
	for _, l := range b.Orders {
		var banks []string
		for _, id := range l.Banks {
			banks = append(banks, string(id))
		}
		t.Rows = append(t.Rows, []any{l.Item, l.Order, day(l.LatestOrder, b.Site.Location()), l.Need, l.Stock, l.OnOrder, strings.Join(banks, "; ")})
	}
	return t
}

func doubts(b digest.Board) Table {
	in := tongue(b)
	t := Table{Name: in.Text("Doubtful"), Head: []string{in.Text("bank"), in.Text("at"), in.Text("what"), in.Text("check")}}
	for _, d := range b.Doubts {
		t.Rows = append(t.Rows, []any{d.Name, minute(d.At, b.Site.Location()), d.Text, d.Check})
	}
	return t
}

func owed(b digest.Board) Table {
	in := tongue(b)
	t := Table{Name: in.Text("Owed"), Head: []string{in.Text("bank"), in.Text("last read"), in.Text("why")}}
	for _, o := range b.Owed {
		t.Rows = append(t.Rows, []any{o.Name, minute(o.Since, b.Site.Location()), o.Why})
	}
	return t
}

// done says what was done since the last digest, and what the dirt costs.
func done(b digest.Board, reg *plant.Register, s digest.Since) Table {
	loc, in := b.Site.Location(), tongue(b)
	t := Table{Name: in.Text("Done and energy"), Head: []string{in.Text("what"), in.Text("where"), in.Text("at"), in.Text("figure"), in.Text("unit"), in.Text("by")}}
	for _, d := range s.Swaps {
		t.Rows = append(t.Rows, []any{in.Text("change-out"), reg.Name(d.Bank), minute(d.At, loc), nil, nil, d.Who})
	}
	for _, n := range s.Defects {
		t.Rows = append(t.Rows, []any{in.Text("defect: %s", n.Note), reg.Name(n.Place), nil, nil, nil, nil})
	}
	month := digest.MonthBefore(b.Now)
	since := month.In(loc).Format(time.DateOnly)
	wasted, saved := b.SpentSince(month), b.SavedSince(month)
	for _, f := range []struct {
		what   string
		figure any
		unit   string
	}{
		{in.Text("readings since %s", s.From.In(loc).Format(time.DateOnly)), s.Readings, ""},
		{in.Text("dirt costs a day"), amount(b.PerDay), b.Site.Currency},
		{in.Text("dirt costs a day"), round(b.KWhDay, 2), "kWh"},
		{in.Text("dirt costs a day"), round(b.KgDay, 2), "kgCO2e"},
		{in.Text("wasted on dirt since %s, about", since), amount(wasted.Money), b.Site.Currency},
		{in.Text("wasted on dirt since %s, about", since), round(wasted.KWh, 1), "kWh"},
		{in.Text("wasted on dirt since %s, about", since), round(wasted.Kg, 1), "kgCO2e"},
		{in.Text("saved by change-outs since %s, about", since), amount(saved.Money), b.Site.Currency},
		{in.Text("saved by change-outs since %s, about", since), round(saved.KWh, 1), "kWh"},
		{in.Text("saved by change-outs since %s, about", since), round(saved.Kg, 1), "kgCO2e"},
		{in.Text("tariff a kWh"), round(b.Site.Tariff.PerKWh.InexactFloat64(), 4), b.Site.Currency},
		{in.Text("carbon a kWh"), round(b.Site.Carbon.KgPerKWh, 4), "kgCO2e"},
	} {
		t.Rows = append(t.Rows, []any{f.what, b.Site.Name, nil, f.figure, f.unit, nil})
	}
	return t
}

// Chart is what a picture of a bank shows, as tables in a language.
func Chart(c chart.Input, in locale.Locale) []Table {
	loc := c.Loc
	if loc == nil {
		loc = time.UTC
	}
	read := Table{Name: in.Text("Readings"), Head: []string{in.Text("time"), "Pa", "in wc", in.Text("doubtful"), in.Text("over range")}}
	for _, r := range c.Readings {
		read.Rows = append(read.Rows, []any{minute(r.At, loc), math.Round(10*r.Pa) / 10, math.Round(1000*r.Pa/units.PaPerInH2O) / 1000, yes(r.Doubtful, in), yes(r.OverRange, in)})
	}
	ahead := Table{Name: in.Text("Forecast"), Head: []string{in.Text("time"), in.Text("low Pa (1 in 10)"), in.Text("middle Pa"), in.Text("high Pa (9 in 10)")}}
	for _, f := range c.Forecast {
		ahead.Rows = append(ahead.Rows, []any{minute(f.At, loc), round(f.Low, 1), round(f.Mid, 1), round(f.High, 1)})
	}
	swaps := Table{Name: in.Text("Change-outs"), Head: []string{in.Text("time")}}
	for _, s := range c.Swaps {
		swaps.Rows = append(swaps.Rows, []any{minute(s, loc)})
	}
	about := Table{Name: in.Text("About"), Head: []string{in.Text("what"), in.Text("value")}, Rows: [][]any{
		{in.Text("title"), c.Title}, {in.Text("place and filter"), c.Subtitle}, {in.Text("limit Pa"), round(c.LimitPa, 1)}, {in.Text("limit from"), c.LimitNote}, {in.Text("clean Pa"), round(c.CleanPa, 1)},
	}}
	return []Table{read, ahead, swaps, about}
}

func yes(b bool, in locale.Locale) any {
	if b {
		return in.Text("yes")
	}
	return nil
}
