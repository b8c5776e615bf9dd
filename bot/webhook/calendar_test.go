package webhook_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"clogwise/bot/webhook"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

func (b *bundle) commit(place string, at time.Time, body entry.Body) int64 {
	b.Helper()
	res, err := b.store.Commit(context.Background(), ledger.Batch{Entries: []entry.Entry{{
		Source: fmt.Sprint("test:", place, at, body.Kind()), Kind: body.Kind(), Place: plant.BankID(place), At: at, Received: at, By: "Maren", Body: body,
	}}})
	if err != nil {
		b.Fatal(err)
	}
	return res[0].Seq
}

// The feed shows what is due and, instead, what is booked; a program asks for it
// with the key as password.
func TestCalendar(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Bearer, []string{"north"}, nil)
	clean := 80.0
	b.commit("north/ahu-1/secondary", noon.AddDate(0, -6, 0), entry.Swap{CleanPa: &clean, Sure: true})
	for i := range 6 {
		b.commit("north/ahu-1/secondary", noon.AddDate(0, i-6, 1), entry.Reading{Pa: 82 + 10*float64(i)})
	}
	if _, err := b.server.View.Recompute(t.Context(), "north/ahu-1/secondary", noon); err != nil {
		t.Fatal(err)
	}
	get := func(password, site string) (reply, string) {
		r, err := http.NewRequest(http.MethodGet, b.url+"/v1/sites/"+site+"/calendar.ics", nil)
		if err != nil {
			t.Fatal(err)
		}
		if password != "" {
			r.SetBasicAuth("anybody", password)
		}
		got := b.send(r)
		return got, strings.ReplaceAll(got.raw, "\r\n ", "")
	}
	got, text := get(s.secret, "north")
	if got.code != 200 || got.header.Get("Content-Type") != "text/calendar; charset=utf-8" ||
		!strings.Contains(text, "\r\nUID:due-north.ahu-1.secondary@clogwise\r\n") || !strings.Contains(text, "SUMMARY:Due: AHU-1 secondary") ||
		!strings.Contains(text, "limit 200 Pa (0.80 in wc)") || strings.Contains(text, "booking") {
		t.Fatalf("%d %s", got.code, text)
	}
	startAt := time.Date(2026, 3, 9, 8, 0, 0, 0, time.UTC)
	seq := b.commit("north/ahu-1/secondary", noon, entry.Booking{Start: startAt, Crew: []string{"Tove", "Kim"}})
	_, text = get(s.secret, "north")
	for _, want := range []string{
		fmt.Sprintf("UID:booking-north.ahu-1.secondary-%d@clogwise", seq), "DTSTART:20260309T080000Z", "DTEND:20260309T100000Z", `Crew: Tove\, Kim.`, "A reminder only",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%s\ndoes not say %q", text, want)
		}
	}
	if strings.Contains(text, "due-north") {
		t.Error("a booked bank still shows its due date")
	}
	for name, x := range map[string][2]string{"no key": {"", "north"}, "wrong key": {"cw_nobody", "north"}} {
		if got, _ := get(x[0], x[1]); got.code != 401 || !strings.HasPrefix(got.header.Get("WWW-Authenticate"), "Basic ") {
			t.Errorf("%s: %d %v", name, got.code, got.header)
		}
	}
	for _, site := range []string{"south", "nonesuch"} {
		if got, _ := get(s.secret, site); got.code != 404 {
			t.Errorf("%s: %d %s", site, got.code, got.raw)
		}
	}
}

// A site's calendar is in its language: what banks are called, when, and the caution.
func TestCalendarSpeaksTheLanguageOfTheSite(t *testing.T) {
	t.Parallel()
	b := start(t)
	site := portfolio().Sites[slices.IndexFunc(portfolio().Sites, func(s plant.Site) bool { return s.ID == "north" })]
	site.Language = "de"
	raw, err := json.Marshal(site)
	if err != nil {
		t.Fatal(err)
	}
	b.commit("north", noon, entry.RegisterEdit{Object: "site", ID: "north", Value: raw})
	b.commit("north/ahu-1/secondary", noon, entry.Booking{Start: noon.AddDate(0, 0, 5), Crew: []string{"Tove"}})
	r, err := http.NewRequest(http.MethodGet, b.url+"/v1/sites/north/calendar.ics", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.SetBasicAuth("anybody", b.sender(webhook.Bearer, []string{"north"}, nil).secret)
	text := strings.ReplaceAll(b.send(r).raw, "\r\n ", "")
	for _, want := range []string{"//DE", "SUMMARY:Filter wechseln: AHU-1 Feinfilter", "Team: Tove.", "Nur eine Erinnerung: kein Erlaubnisschein", "CATEGORIES:gebucht"} {
		if !strings.Contains(text, want) {
			t.Errorf("%s\ndoes not say %q", text, want)
		}
	}
}
