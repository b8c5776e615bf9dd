// Package outgoing shapes what integrators are told unasked: events about banks
// and orders, and where they go. It is pure.
package outgoing

import (
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/url"
	"slices"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/channel"
	"clogwise/internal/duelist"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// Platform is the outbox's name for what goes to integrators.
const Platform = "webhook"

// Kinds of events, as subscribers name them.
const (
	Due      = "due"
	Overdue  = "overdue"
	Doubtful = "doubtful"
	Swapped  = "swapped"
	OrderBy  = "order-by"
)

// Kinds lists all.
var Kinds = [...]string{Due, Overdue, Doubtful, Swapped, OrderBy}

// Event is one thing to tell, a CloudEvent 1.0 in structured mode. The same
// thing has the same ID whenever and wherever it is found out.
type Event struct {
	SpecVersion string          `json:"specversion"`
	ID          string          `json:"id"`
	Source      string          `json:"source"`
	Type        string          `json:"type"`
	Subject     string          `json:"subject"` // bank, or store and item
	Time        time.Time       `json:"time"`    // when it came to be
	DataType    string          `json:"datacontenttype"`
	Data        json.RawMessage `json:"data"`

	kind, site string
}

const typePrefix = "clogwise.bank."

func event(kind, site, id, subject, typ string, at time.Time, data any) Event {
	raw, err := json.Marshal(data)
	if err != nil { // plain fields only
		raw = []byte("null")
	}
	return Event{
		SpecVersion: "1.0", ID: id, Source: "clogwise/" + site, Type: typ, Subject: subject, Time: at.UTC(),
		DataType: "application/json", Data: raw, kind: kind, site: site,
	}
}

// Bank is what events about a bank say. Pressures are Pa, at design airflow.
type Bank struct {
	Bank      plant.BankID `json:"bank"`
	Name      string       `json:"name"`
	Condition string       `json:"condition"`
	NowPa     float64      `json:"now_pa"`
	LimitPa   float64      `json:"limit_pa"`
	Governing string       `json:"governing,omitempty"`
	Median    *time.Time   `json:"median,omitempty"` // of the date the limit is reached
	P10       *time.Time   `json:"p10,omitempty"`
	P90       *time.Time   `json:"p90,omitempty"`
	Findings  []Finding    `json:"findings,omitempty"`
	Swap      *Swap        `json:"swap,omitempty"`
	UpTo      int64        `json:"up_to"` // newest entry taken into account
}

// Finding is what does not fit, and what to look at.
type Finding struct {
	Code  string    `json:"code"`
	At    time.Time `json:"at"`
	Text  string    `json:"text"`
	Check string    `json:"check"`
}

// Swap is the change-out of a swapped event.
type Swap struct {
	Seq     int64     `json:"seq"`
	At      time.Time `json:"at"`
	Count   *int      `json:"count,omitempty"`
	CleanPa *float64  `json:"clean_pa,omitempty"`
	Who     string    `json:"who,omitempty"`
}

// Recent is how old news may be: what happened before was imported, not done.
const Recent = 7 * 24 * time.Hour

// OfBank lists what an assessment gives cause to tell. A condition is told once
// a filter life, doubt once for each finding, a change-out once.
func OfBank(a assess.Assessment, now time.Time) []Event {
	var out []Event
	add := func(kind, id string, at time.Time, swap *Swap) {
		b := bankOf(a)
		b.Swap = swap
		out = append(out, event(kind, a.Bank.Site(), id, string(a.Bank), typePrefix+kind, at, b))
	}
	life := "start"
	if a.LifeStart != nil {
		life = a.LifeStart.UTC().Format(stamp)
	}
	switch {
	case a.Deferred != nil && now.Before(a.Deferred.Until):
	case a.Condition == duelist.Due:
		add(Due, id(Due, a.Bank, life), now, nil)
	case a.Condition == duelist.Overdue:
		add(Overdue, id(Overdue, a.Bank, life), now, nil)
	}
	for _, f := range a.Findings {
		if f.Open && now.Sub(f.At) <= Recent {
			add(Doubtful, id(Doubtful, a.Bank, f.Code, f.At.UTC().Format(stamp)), f.At, nil)
		}
	}
	if s := a.LastSwap; s != nil && now.Sub(s.At) <= Recent {
		add(Swapped, id(Swapped, a.Bank, fmt.Sprint(s.Seq)), s.At, &Swap{s.Seq, s.At, s.Count, s.CleanPa, s.Who})
	}
	return out
}

const stamp = "20060102T150405Z"

func id(kind string, bank plant.BankID, rest ...string) string {
	return kind + ":" + string(bank) + ":" + strings.Join(rest, ":")
}

func bankOf(a assess.Assessment) Bank {
	b := Bank{
		Bank: a.Bank, Name: a.Name, Condition: string(a.Condition), NowPa: a.NowPa, LimitPa: a.LimitPa, Governing: a.Governing,
		Median: known(a.Dates.Median), P10: known(a.Dates.P10), P90: known(a.Dates.P90), UpTo: a.UpTo,
	}
	for _, f := range a.Findings {
		if f.Open {
			b.Findings = append(b.Findings, Finding{f.Code, f.At, f.Text, f.Check})
		}
	}
	return b
}

func known(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

// OrderAhead is how long before its latest date an order is told.
const OrderAhead = 7 * 24 * time.Hour

// OfOrders lists the orders of a site that must be placed shortly, each once for
// its latest date.
func OfOrders(site string, lines []duelist.Line, now time.Time) []Event {
	var out []Event
	for _, l := range lines {
		if l.Order < 1 || l.LatestOrder.IsZero() || l.LatestOrder.After(now.Add(OrderAhead)) {
			continue
		}
		day := l.LatestOrder.Format("2006-01-02")
		if l.Overdue {
			day = "late:" + now.UTC().Format("2006-01") // told again each month that it is late
		}
		id := strings.Join([]string{OrderBy, site, plant.Slug(l.Item), day}, ":")
		out = append(out, event(OrderBy, site, id, l.Store+"/"+l.Item, "clogwise.order.by", now, l))
	}
	return out
}

// Endpoint is where events go. It is kept among the keys, since it has a secret
// that is made, rotated and revoked as theirs are.
type Endpoint struct {
	ID    string // of its first key; what is sent is kept under it
	Name  string
	URL   string
	Kinds []string // empty: all
	Sites []string // empty: all
	Keys  [][]byte // secrets valid now, the newest first; each signs
}

// Scheme marks keys of endpoints; they open nothing here.
const Scheme = "outgoing"

// Pack puts an endpoint's address and kinds into a key.
func Pack(k ledger.Key, address string, kinds []string) (ledger.Key, error) {
	if err := CheckURL(address); err != nil {
		return k, err
	}
	for _, kind := range kinds {
		if !slices.Contains(Kinds[:], kind) {
			return k, fmt.Errorf("kind %q is not known; use some of %v", kind, Kinds)
		}
	}
	k.Points = append([]string{address}, kinds...)
	return k, nil
}

// CheckURL refuses addresses to which nothing should be sent: events go by
// https, or to this machine.
func CheckURL(address string) error {
	u, err := url.Parse(address)
	switch {
	case err != nil || u.Host == "" || u.User != nil || u.Fragment != "":
		return errors.New("the address is not one to send to; write for example https://bms.example/hooks/clogwise, without a password in it")
	case u.Scheme == "https", u.Scheme == "http" && local(u.Hostname()):
		return nil
	}
	return fmt.Errorf("%s would send events in the clear; use https", u.Scheme)
}

func local(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Endpoints are those of the keys that are valid now.
func Endpoints(keys []ledger.Key, now time.Time) []Endpoint {
	var out []Endpoint
	for _, k := range slices.Backward(keys) { // the newest first
		if k.Scheme != Scheme || len(k.Points) == 0 || k.Revoked != nil && !now.Before(*k.Revoked) || k.Expires != nil && !now.Before(*k.Expires) {
			continue
		}
		first, _, _ := strings.Cut(k.ID, ".")
		i := slices.IndexFunc(out, func(e Endpoint) bool { return e.ID == first })
		if i < 0 {
			out, i = append(out, Endpoint{ID: first, Name: k.Name, URL: k.Points[0], Kinds: k.Points[1:], Sites: k.Sites}), len(out)
		}
		out[i].Keys = append(out[i].Keys, k.Secret)
	}
	slices.Reverse(out)
	return out
}

// Wants reports whether an endpoint has asked for an event.
func (e Endpoint) Wants(x Event) bool {
	return (len(e.Kinds) == 0 || slices.Contains(e.Kinds, x.kind)) && (len(e.Sites) == 0 || slices.Contains(e.Sites, x.site))
}

// Posts puts events into the outbox of the endpoints that want them. A post's
// key is once-only, so that nothing is told twice however often it is found.
func Posts(events []Event, endpoints []Endpoint, now time.Time) ([]ledger.OutboxPost, error) {
	var out []ledger.OutboxPost
	for _, x := range events {
		for _, e := range endpoints {
			if !e.Wants(x) {
				continue
			}
			raw, err := json.Marshal(x)
			if err != nil {
				return nil, err
			}
			out = append(out, ledger.OutboxPost{
				Key: KeyPrefix + e.ID + ":" + x.ID, Site: x.site, State: ledger.PostReady, Created: now,
				Post: channel.Post{To: channel.Address{Platform: Platform, Channel: e.ID}, Text: string(raw)},
			})
		}
	}
	return out, nil
}

// KeyPrefix begins the keys of events in the outbox.
const KeyPrefix = "event:"

// Read takes an event out of a post. A note on a further line, that it may have
// been sent before, is for people: receivers go by the id.
func Read(p channel.Post) (raw []byte, x Event, err error) {
	line, _, _ := strings.Cut(p.Text, "\n")
	err = json.Unmarshal([]byte(line), &x)
	return []byte(line), x, err
}
