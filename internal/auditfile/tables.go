package auditfile

import (
	"math"
	"strings"
	"time"

	"clogwise/internal/chart"
	"clogwise/internal/digest"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Digest is how a site stands, as tables: every bank with its range, reason and
// cost of waiting, visits, orders, what is doubtful and owed, and what was done.
// Pressures are Pa, at design airflow; money is the site's.
func Digest(b digest.Board, reg *plant.Register, s digest.Since) []Table {
	return []Table{Due(b), visits(b, reg), orders(b), doubts(b), owed(b), done(b, reg, s)}
}

// Due is every bank of a site, in the order of the due list.
func Due(b digest.Board) Table {
	loc := b.Site.Location()
	t := Table{Name: "Due", Head: []string{
		"bank", "name", "condition", "Pa now", "limit Pa", "clean Pa", "governed by", "limit from",
		"earliest (1 in 10)", "most likely", "latest (9 in 10)", "cheapest date", "booked", "put off until", "reason",
		"cost a day", "cost of a week's wait", "currency", "kWh a day", "kgCO2e a day", "last read", "findings",
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
			string(r.Bank), r.Name, string(r.Condition), round(r.PaNow, 1), round(r.LimitPa, 1), round(r.CleanPa, 1), r.Governing, r.LimitSource,
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
	t := Table{Name: "Visits", Head: []string{"day", "banks", "AHUs to isolate", "person-hours", "cost", "currency"}}
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
	t := Table{Name: "Orders", Head: []string{"item", "order", "latest date", "need", "in store", "on order", "banks"}}
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
	t := Table{Name: "Doubtful", Head: []string{"bank", "at", "what", "check"}}
	for _, d := range b.Doubts {
		t.Rows = append(t.Rows, []any{d.Name, minute(d.At, b.Site.Location()), d.Text, d.Check})
	}
	return t
}

func owed(b digest.Board) Table {
	t := Table{Name: "Owed", Head: []string{"bank", "last read", "why"}}
	for _, o := range b.Owed {
		t.Rows = append(t.Rows, []any{o.Name, minute(o.Since, b.Site.Location()), o.Why})
	}
	return t
}

// done says what was done since the last digest, and what the dirt costs.
func done(b digest.Board, reg *plant.Register, s digest.Since) Table {
	loc := b.Site.Location()
	t := Table{Name: "Done and energy", Head: []string{"what", "where", "at", "figure", "unit", "by"}}
	for _, d := range s.Swaps {
		t.Rows = append(t.Rows, []any{"change-out", reg.Name(d.Bank), minute(d.At, loc), nil, nil, d.Who})
	}
	for _, n := range s.Defects {
		t.Rows = append(t.Rows, []any{"defect: " + n.Note, reg.Name(n.Place), nil, nil, nil, nil})
	}
	spent := b.SpentSince(s.From)
	for _, f := range []struct {
		what   string
		figure any
		unit   string
	}{
		{"readings since " + s.From.In(loc).Format(time.DateOnly), s.Readings, ""},
		{"dirt costs a day", amount(b.PerDay), b.Site.Currency},
		{"dirt costs a day", round(b.KWhDay, 2), "kWh"},
		{"dirt costs a day", round(b.KgDay, 2), "kgCO2e"},
		{"dirt cost since then, about", amount(spent.Money), b.Site.Currency},
		{"dirt cost since then, about", round(spent.KWh, 1), "kWh"},
		{"tariff a kWh", round(b.Site.Tariff.PerKWh.InexactFloat64(), 4), b.Site.Currency},
		{"carbon a kWh", round(b.Site.Carbon.KgPerKWh, 4), "kgCO2e"},
	} {
		t.Rows = append(t.Rows, []any{f.what, b.Site.Name, nil, f.figure, f.unit, nil})
	}
	return t
}

// Chart is what a picture of a bank shows, as tables.
func Chart(in chart.Input) []Table {
	loc := in.Loc
	if loc == nil {
		loc = time.UTC
	}
	read := Table{Name: "Readings", Head: []string{"time", "Pa", "in wc", "doubtful", "over range"}}
	for _, r := range in.Readings {
		read.Rows = append(read.Rows, []any{minute(r.At, loc), math.Round(10*r.Pa) / 10, math.Round(1000*r.Pa/units.PaPerInH2O) / 1000, yes(r.Doubtful), yes(r.OverRange)})
	}
	ahead := Table{Name: "Forecast", Head: []string{"time", "low Pa (1 in 10)", "middle Pa", "high Pa (9 in 10)"}}
	for _, f := range in.Forecast {
		ahead.Rows = append(ahead.Rows, []any{minute(f.At, loc), round(f.Low, 1), round(f.Mid, 1), round(f.High, 1)})
	}
	swaps := Table{Name: "Change-outs", Head: []string{"time"}}
	for _, s := range in.Swaps {
		swaps.Rows = append(swaps.Rows, []any{minute(s, loc)})
	}
	about := Table{Name: "About", Head: []string{"what", "value"}, Rows: [][]any{
		{"title", in.Title}, {"of", in.Subtitle}, {"limit Pa", round(in.LimitPa, 1)}, {"limit from", in.LimitNote}, {"clean Pa", round(in.CleanPa, 1)},
	}}
	return []Table{read, ahead, swaps, about}
}

func yes(b bool) any {
	if b {
		return "yes"
	}
	return nil
}
