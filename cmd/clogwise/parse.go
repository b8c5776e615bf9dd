package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
	"clogwise/internal/entry"
	"clogwise/internal/locale"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// parsed is one line of `parse --json`. Its names are stable.
type parsed struct {
	Line    string       `json:"line"`
	Outcome string       `json:"outcome"`
	Items   []parsedItem `json:"items,omitempty"`
	Query   string       `json:"query,omitempty"`
	Places  []string     `json:"places,omitempty"`
	Choices []string     `json:"choices,omitempty"` // whole messages, one per choice
	Code    string       `json:"code,omitempty"`    // of an ask or a refusal
	Reply   string       `json:"reply,omitempty"`
}

type parsedItem struct {
	Kind    entry.Kind `json:"kind"`
	Site    string     `json:"site,omitempty"`
	AHU     string     `json:"ahu,omitempty"`
	Bank    string     `json:"bank,omitempty"`
	Stage   string     `json:"stage,omitempty"`
	Pa      *float64   `json:"pa,omitempty"`
	LowPa   *float64   `json:"low_pa,omitempty"`
	HighPa  *float64   `json:"high_pa,omitempty"`
	FlowM3s *float64   `json:"flow_m3s,omitempty"`
	FanHz   *float64   `json:"fan_hz,omitempty"`
	FanPct  *float64   `json:"fan_pct,omitempty"`
	At      time.Time  `json:"at"`
	Count   *int       `json:"count,omitempty"`
	CleanPa *float64   `json:"clean_pa,omitempty"`
	Item    string     `json:"item,omitempty"`
	Text    string     `json:"text,omitempty"` // reason, note or event
	Until   *time.Time `json:"until,omitempty"`
	Start   *time.Time `json:"start,omitempty"`
	Crew    []string   `json:"crew,omitempty"`
	Seq     int64      `json:"seq,omitempty"` // entry to take back
	Flags   []string   `json:"flags,omitempty"`
}

func (p *program) parseCommand() *cobra.Command {
	var site, as string
	c := &cobra.Command{
		Use:   "parse [LINE…]",
		Short: "Show how lines would be understood; nothing is saved",
		Long:  "Reads lines from the arguments or from standard input and prints what each would mean. Uses the register in --data, or the demo's when there is none.",
		RunE: func(c *cobra.Command, args []string) error {
			now, err := p.clock()
			if err != nil {
				return err
			}
			return p.withRegister(c, func(ctx context.Context, reg *plant.Register, last lastReading) error {
				sites, err := sitesNamed(reg, site)
				if err != nil {
					return err
				}
				return p.parse(reg, sites, last, as, now(), args)
			})
		},
	}
	c.Flags().StringVar(&site, "site", "", "site whose channel the lines are typed into; default: all")
	c.Flags().StringVar(&as, "as", "", "who is typing")
	return c
}

type lastReading func(plant.BankID) (float64, time.Time, bool)

func (p *program) parse(reg *plant.Register, sites []string, last lastReading, as string, now time.Time, args []string) error {
	var lines io.Reader = p.in
	if len(args) > 0 {
		lines = strings.NewReader(strings.Join(args, "\n"))
	}
	in := bufio.NewScanner(lines)
	in.Buffer(nil, 1<<20)
	for in.Scan() {
		line := in.Text()
		if strings.TrimSpace(line) == "" {
			continue
		}
		m := phrase.Understand(strings.ReplaceAll(line, "⏎", "\n"), phrase.Scope{Register: reg, Sites: sites, Now: now, By: as, Last: last})
		if err := p.printParsed(reg, line, m, now); err != nil {
			return err
		}
	}
	return in.Err()
}

func (p *program) printParsed(reg *plant.Register, line string, m phrase.Meaning, now time.Time) error {
	out := parsed{Line: line, Outcome: string(m.Outcome), Code: m.Code, Reply: m.Reply}
	for _, it := range m.Items {
		out.Items = append(out.Items, parsedOf(reg, it))
	}
	if m.Query != nil {
		out.Query = string(m.Query.Kind)
		for _, place := range m.Query.Places {
			out.Places = append(out.Places, string(place))
		}
		if m.Query.Kind == phrase.QueryUndo {
			out.Outcome, out.Items = string(phrase.Entry), retraction(*m.Query, now)
			out.Reply = "Would take back what it names, or the person's last message."
		}
		if m.Query.Kind == phrase.QueryNotChanged {
			out.Reply = "Would ask whether to take back the change-out recorded lately."
		}
		if m.Query.Kind == phrase.QueryConfirm {
			out.Outcome, out.Items = string(phrase.Entry), confirmed(*m.Query, now)
			out.Reply = "Would confirm the change-out, though readings speak against it."
		}
	}
	switch {
	case m.Ask != nil:
		out.Code, out.Reply = m.Ask.Code, say.NothingSaved(locale.Locale{}, m.Ask.Text)
		for _, c := range m.Ask.Choices {
			out.Choices = append(out.Choices, c.Means)
		}
	case m.Outcome == phrase.Entry:
		out.Reply = say.Understood(reg, m.Items, now)
	}
	if p.json {
		return p.printJSON(out)
	}
	fmt.Fprintf(p.out, "> %s\n%s", line, out.Outcome)
	if out.Query != "" {
		fmt.Fprintf(p.out, ": %s %s", out.Query, strings.Join(out.Places, ", "))
	}
	fmt.Fprintln(p.out)
	if out.Reply != "" {
		fmt.Fprintln(p.out, out.Reply)
	}
	for _, c := range out.Choices {
		fmt.Fprintln(p.out, "  or type: "+c)
	}
	return nil
}

func (p *program) printJSON(v any) error {
	enc := json.NewEncoder(p.out)
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// confirmed is a confirmation as the entry that it comes to: an amendment of the
// change-out.
func confirmed(q phrase.Query, now time.Time) []parsedItem {
	o := retraction(q, now)
	o[0].Kind = entry.KindAmend
	return o
}

// retraction is an undo as the entry that it comes to: what it takes back is known
// only to the channel it is typed in.
func retraction(q phrase.Query, now time.Time) []parsedItem {
	o := parsedItem{Kind: entry.KindRetract, Seq: q.Seq, At: now}
	if len(q.Places) > 0 {
		o.Site, o.AHU, o.Bank = q.Places[0].Split()
	}
	return []parsedItem{o}
}

func parsedOf(reg *plant.Register, it phrase.Item) parsedItem {
	site, ahu, bank := it.Place.Split()
	o := parsedItem{Kind: it.Body.Kind(), Site: site, AHU: ahu, Bank: bank, At: it.At, Flags: it.Flags}
	if b, ok := reg.Bank(it.Place); ok {
		o.Stage = string(b.Stage)
	}
	if it.CorrectsLast {
		o.Kind = entry.KindAmend
	}
	switch b := it.Body.(type) {
	case entry.Reading:
		o.Pa, o.FlowM3s, o.FanHz, o.FanPct = &b.Pa, b.FlowM3s, b.FanHz, b.FanPct
		if b.Wet {
			o.Flags = append(o.Flags, "wet")
		}
	case entry.Swap:
		o.Count, o.CleanPa, o.FlowM3s, o.FanHz, o.FanPct, o.Item = b.Count, b.CleanPa, b.FlowM3s, b.FanHz, b.FanPct, b.Item
	case entry.OverRange:
		o.Pa, o.FlowM3s, o.FanHz, o.FanPct = &b.TopPa, b.FlowM3s, b.FanHz, b.FanPct
	case entry.Range:
		o.LowPa, o.HighPa = &b.LowPa, &b.HighPa
	case entry.ZeroCheck:
		o.Pa = &b.OffsetPa
	case entry.Skip:
		o.Text = b.Reason
	case entry.FanOff:
		o.Text = b.Reason
	case entry.Defect:
		o.Text = b.Note
	case entry.Event:
		o.Text, o.Until = b.What, b.Until
	case entry.Booking:
		o.Start, o.Crew = &b.Start, b.Crew
	case entry.JobDone:
		o.CleanPa, o.FanHz = b.CleanPa, b.FanHz
	case entry.Stock:
		o.Item, o.Count = b.Item, &b.Count
	case entry.Order:
		o.Item, o.Count = b.Item, &b.Count
	case entry.Defer:
		o.Text, o.Until = b.Reason, &b.Until
	}
	return o
}

func sitesNamed(reg *plant.Register, name string) ([]string, error) {
	var all, found []string
	for _, s := range reg.Sites() {
		all = append(all, s.ID)
		if isSite(s, name) {
			found = append(found, s.ID)
		}
	}
	switch {
	case name == "":
		return all, nil
	case len(found) == 0:
		return nil, fmt.Errorf("no site %q; there are %s", name, strings.Join(all, ", "))
	}
	return found, nil
}

// withRegister opens the ledger for reading, or falls back on the demo's
// register when there is none.
func (p *program) withRegister(c *cobra.Command, do func(ctx context.Context, reg *plant.Register, last lastReading) error) error {
	cfg, err := p.config(c)
	if err != nil {
		return err
	}
	if !exists(cfg.Ledger) {
		fmt.Fprintf(p.err, "No ledger at %s: lines are read against the demo's register.\n", cfg.Ledger)
		return do(c.Context(), demoRegister(), nil)
	}
	return p.with(c, func(ctx context.Context, a *app.App) error {
		reg, err := a.View.Register(ctx)
		if err != nil {
			return err
		}
		return do(ctx, reg, func(id plant.BankID) (float64, time.Time, bool) {
			s, ok, err := a.View.Assessment(ctx, id)
			if err != nil || !ok || s.Last == nil {
				return 0, time.Time{}, false
			}
			return s.Last.Pa, s.Last.At, true
		})
	})
}
