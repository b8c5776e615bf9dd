package webhook

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"clogwise/bot/webhook/wire"
	"clogwise/internal/assess"
	"clogwise/internal/digest"
	"clogwise/internal/duelist"
	"clogwise/internal/ical"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
)

const (
	calendarAhead = 366 * 24 * time.Hour // of due dates shown
	calendarEvery = time.Hour
	usualJob      = 2 * time.Hour // of a bank without labour hours
)

// calendar is the feed of a site: due dates of its banks and booked change-outs.
// Calendar programs cannot sign and know only Basic authentication, so that a
// bearer key is taken as the password of any user.
func (s *api) calendar(w http.ResponseWriter, r *http.Request) error {
	if _, password, ok := r.BasicAuth(); ok {
		r.Header.Set("Authorization", "Bearer "+password)
	}
	w.Header().Set("WWW-Authenticate", `Basic realm="clogwise"`)
	k, _, err := s.admit(w, r)
	if err != nil {
		return err
	}
	w.Header().Del("WWW-Authenticate")
	reg, err := s.View.Register(r.Context())
	if err != nil {
		return err
	}
	site, ok := reg.Site(r.PathValue("site"))
	if !ok || !coversSite(k, site.ID) {
		return faultf(http.StatusNotFound, "no site %s for this key", wire.Clip(r.PathValue("site")))
	}
	as, err := s.View.Assessments(r.Context(), plant.BankID(site.ID), s.Now())
	if err != nil {
		return err
	}
	jobs, err := s.View.OpenJobs(r.Context())
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/calendar; charset=utf-8")
	w.Header().Set("Content-Disposition", `inline; filename="`+site.ID+`.ics"`)
	if _, err := w.Write([]byte(feed(reg, site, as, jobs, s.Now()).String())); err != nil {
		s.Log.Debug("answer not written", "error", err)
	}
	return nil
}

// feed puts a site's calendar together. A bank with a booking shows that instead
// of its due date.
func feed(reg *plant.Register, site plant.Site, as []assess.Assessment, jobs []digest.Job, now time.Time) ical.Calendar {
	in := locale.Of(site.Language)
	c := ical.Calendar{Name: in.Text("%s: filters", site.Name), Language: in.Tag(), Now: now, Every: calendarEvery}
	of := map[plant.BankID]assess.Assessment{}
	for _, a := range as {
		of[a.Bank] = a
	}
	booked := map[plant.BankID]bool{}
	for _, j := range jobs {
		if j.Bank.Site() == site.ID && !j.Start.IsZero() {
			booked[j.Bank] = true
			c.Events = append(c.Events, bookedEvent(reg, site, j, of[j.Bank]))
		}
	}
	for _, a := range as {
		if e, ok := dueEvent(site, a, now); ok && !booked[a.Bank] {
			c.Events = append(c.Events, e)
		}
	}
	return c
}

func uid(what string, bank plant.BankID, more string) string {
	return what + "-" + strings.ReplaceAll(string(bank), "/", ".") + more + "@clogwise"
}

func bookedEvent(reg *plant.Register, site plant.Site, j digest.Job, a assess.Assessment) ical.Event {
	in, long := locale.Of(site.Language), usualJob
	if n := len(j.Crew); a.LabourHours > 0 {
		long = time.Duration(a.LabourHours / float64(max(1, n)) * float64(time.Hour)).Round(15 * time.Minute)
	}
	notes := []string{in.Text("Booked by %s.", orElse(j.By, in.Text("nobody known")))}
	if len(j.Crew) > 0 {
		notes = append(notes, in.Text("Crew: %s.", strings.Join(j.Crew, ", ")))
	}
	for _, p := range a.Parts {
		notes = append(notes, fmt.Sprintf("%d × %s", p.Count, p.Item))
	}
	notes = append(notes, in.Text("A reminder only: no permit, no procedure. The site's permit system and its written isolation procedure come first."))
	return ical.Event{
		UID: uid("booking", j.Bank, fmt.Sprintf("-%d", j.Seq)), Summary: in.Text("Change filters: %s", reg.Name(j.Bank)), Notes: strings.Join(notes, "\n"),
		Place: site.Name, Start: j.Start, End: j.Start.Add(max(long, 15*time.Minute)), Busy: true, Category: in.Text("booked"),
	}
}

// dueEvent is the day on which a bank most likely reaches its limit, today when
// that has passed, or the day to which it was put off.
func dueEvent(site plant.Site, a assess.Assessment, now time.Time) (ical.Event, bool) {
	day := a.Dates.Median
	if day.IsZero() || day.After(now.Add(calendarAhead)) {
		return ical.Event{}, false
	}
	in := locale.Of(site.Language)
	summary := in.Text("Due: %s", a.Name)
	if day.Before(now) {
		day = now
	}
	if a.Condition == duelist.Overdue {
		summary = in.Text("Overdue: %s", a.Name)
	}
	loc := site.Location()
	notes := []string{in.Text("Reaches its limit between %s and %s (four chances in five).", in.Date(a.Dates.P10.In(loc), "2 Jan 2006"), in.Date(a.Dates.P90.In(loc), "2 Jan 2006"))}
	if a.LimitPa > 0 && a.NowPa > 0 {
		notes = append(notes, in.Text("%s now, limit %s.", in.Pressure(a.NowPa, site.Units), in.Pressure(a.LimitPa, site.Units)))
	}
	if d := a.Deferred; d != nil && now.Before(d.Until) {
		day, summary = d.Until, in.Text("Put off until: %s", a.Name)
		notes = append(notes, in.Text("Put off: %s.", d.Reason))
	}
	return ical.Event{
		UID: uid("due", a.Bank, ""), Summary: summary, Notes: strings.Join(notes, "\n"), Place: site.Name,
		Start: day.In(loc), AllDay: true, Category: a.Condition.Words(in),
	}, true
}
