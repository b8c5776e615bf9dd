package plant

import (
	"fmt"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
	"golang.org/x/text/currency"

	"clogwise/internal/units"
)

func (v *validation) allSites() {
	ids, taken := map[string]bool{}, names{}
	for _, s := range v.c.Sites {
		v.at("site", s.ID)
		if ids[s.ID] {
			v.fault("id", "%q is given to two sites; give every site its own", s.ID)
		}
		ids[s.ID] = true
		v.site(s)
		for _, n := range append([]string{s.ID, s.Name}, s.Aliases...) {
			if other, clash := taken.claim(n, s.ID); clash {
				v.fault("aliases", "%q is a name of site %s too; choose another", n, other)
			}
		}
	}
}

func (v *validation) site(s Site) {
	v.slug(s.ID)
	if strings.TrimSpace(s.Name) == "" {
		v.fault("name", "missing; write what people call the site")
	}
	// LoadLocation takes "" as UTC and "Local" as the machine's zone.
	if _, err := time.LoadLocation(s.Zone); err != nil || s.Zone == "" || s.Zone == "Local" {
		v.fault("zone", "%s; write an IANA time zone such as Europe/London", unknown(s.Zone))
	}
	if _, err := currency.ParseISO(s.Currency); err != nil || s.Currency != strings.ToUpper(s.Currency) {
		v.fault("currency", "%s; write an ISO 4217 code such as EUR", unknown(s.Currency))
	}
	oneOf(v, "units", s.Units, units.SI, units.IP)
	oneOf(v, "jurisdiction", s.Jurisdiction, "US", "UK", "EU", "other")
	v.limitRule(s.LimitRule)
	oneOf(v, "age_rule", s.AgeRule, "", AgeVDI6022, AgeEN13779, AgeCCT105)
	if s.FlowExponent != 0 {
		v.within(span{"flow_exponent", s.FlowExponent, 1, 2, ""})
	}
	if s.LoadingAxis != "" {
		oneOf(v, "loading_axis", s.LoadingAxis, AxisHours, AxisAir)
	}
	v.within(span{"altitude_m", s.AltitudeM, -430, 6000, "m"})
	v.tariff(s.Tariff)
	v.within(span{"carbon.kg_per_kwh", s.Carbon.KgPerKWh, 0, 3, "kg"})
	if s.Carbon.KgPerKWh > 0 && (s.Carbon.Source == "" || s.Carbon.Year == 0) {
		v.fault("carbon", "source or year missing; say where the factor comes from and of which year it is")
	}
	v.schedule("schedule", s.Schedule)
	v.workHours(s.WorkHours)
	if strings.TrimSpace(s.Channel) == "" {
		v.fault("channel", "missing; write the id of the team channel")
	}
	v.people("supervisors", s.Supervisors)
	v.people("crew", s.Crew)
	v.cron("digest_at", s.DigestAt)
	v.cron("reminder_at", s.ReminderAt)
	v.notNegative("visit_cost", s.VisitCost)
	v.notNegative("isolation_cost", s.IsolationCost)
	v.notNegative("labour_rate", s.LabourRate)
	v.within(span{"interest", s.Interest, 0, 0.5, ""})
}

func (v *validation) limitRule(r LimitRule) {
	oneOf(v, "limit_rule", r, "", RuleEN13053y2019, RuleEN13053y2006, RuleTwiceClean, RulePlus50, RulePlus100)
}

func (v *validation) tariff(t Tariff) {
	v.notNegative("tariff.per_kwh", t.PerKWh)
	for i, b := range t.Bands {
		field := fmt.Sprintf("tariff.bands[%d].", i+1)
		v.days(field+"days", b.Days)
		v.clock(field+"from", b.From)
		v.clock(field+"to", b.To)
		v.notNegative(field+"per_kwh", b.PerKWh)
	}
	if t.Source == "" && (len(t.Bands) > 0 || !t.PerKWh.IsZero()) {
		v.fault("tariff.source", "missing; say where the price comes from, such as a bill and its date")
	}
}

func (v *validation) workHours(w WorkHours) {
	if w == (WorkHours{}) {
		return
	}
	v.days("work_hours.days", w.Days)
	v.clock("work_hours.from", w.From)
	v.clock("work_hours.to", w.To)
	from, errFrom := time.Parse("15:04", w.From)
	to, errTo := time.Parse("15:04", w.To)
	if errFrom == nil && errTo == nil && !to.After(from) {
		v.fault("work_hours.to", "%s is not after %s; write the end of the working day", w.To, w.From)
	}
}

func (v *validation) people(field string, list []string) {
	if len(list) == 0 {
		v.fault(field, "nobody is named; list at least one chat name")
	}
	seen := map[string]bool{}
	for _, p := range list {
		key := strings.ToLower(strings.TrimSpace(p))
		if key == "" {
			v.fault(field, "an empty name is in the list; write a chat name or take it out")
		} else if seen[key] {
			v.fault(field, "%q is listed twice; keep one", p)
		}
		seen[key] = true
	}
}

// cron faults a time plan that is not five plain fields. Descriptors and zones
// are refused: plans are in the site's time, and "@every" knows no time of day.
func (v *validation) cron(field, spec string) {
	if spec == "" {
		return
	}
	if strings.ContainsAny(spec, "@=") {
		v.fault(field, "%q is not in five fields in site time; write it as \"0 7 * * MON\"", spec)
		return
	}
	if _, err := cron.ParseStandard(spec); err != nil {
		v.fault(field, "%q is not a time plan (%v); write it as \"0 7 * * MON\"", spec, err)
	}
}
