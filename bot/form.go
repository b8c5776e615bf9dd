package bot

import (
	"context"
	"slices"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/channel"
	"clogwise/internal/digest"
	"clogwise/internal/entry"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
	"clogwise/internal/units"
)

var _ channel.FormHandler = (*Engine)(nil)

// Forms, as they stand before the bar of a form's id.
const (
	formRound = "round" // readings of AHUs
	formBook  = "book"  // a change-out of one bank
	formDefer = "defer" // a later date for one bank
)

// mostFields bounds a round: more than people read in one go, and than chat
// platforms show.
const mostFields = 40

// formID names a form about places.
func formID(kind string, places ...plant.BankID) string {
	ids := make([]string, len(places))
	for i, p := range places {
		ids[i] = string(p)
	}
	return kind + "|" + strings.Join(ids, ",")
}

// parseForm is the kind and the places of a form's id; those that are no longer
// in the register, or not spoken of here, are left out.
func (t *talk) parseForm(id string) (kind string, places []plant.BankID) {
	kind, rest, _ := strings.Cut(id, "|")
	for _, p := range strings.Split(rest, ",") {
		place := plant.BankID(p)
		if len(t.reg.Banks(place)) > 0 && slices.Contains(t.scope.Sites, place.Site()) {
			places = append(places, place)
		}
	}
	return kind, places
}

var roundWords = wordSet("round rounds runde rundgang ronda")

// roundAsked reads "round AHU-3" and the like; ok is false for anything else.
func (t *talk) roundAsked(text string) (ahus []plant.BankID, ok bool) {
	first, rest, _ := strings.Cut(strings.TrimSpace(text), " ")
	if !roundWords[strings.ToLower(strings.Trim(first, ".,:!"))] {
		return nil, false
	}
	places := []plant.BankID{}
	if rest = strings.TrimSpace(rest); rest == "" {
		for _, s := range t.sites {
			places = append(places, plant.BankID(s.ID))
		}
	} else if room := t.inRoom(rest); len(room) > 0 {
		return room, true
	} else {
		m := phrase.Understand("how "+rest, t.scope)
		if m.Outcome != phrase.Question || m.Query.Kind != phrase.QueryHow {
			return nil, false
		}
		places = m.Query.Places
	}
	for _, p := range places {
		for _, b := range t.reg.Banks(p) {
			if !slices.Contains(ahus, b.AHU()) {
				ahus = append(ahus, b.AHU())
			}
		}
	}
	return ahus, len(ahus) > 0
}

// roomWords are what a plant room's name may be said with or without.
var roomWords = wordSet("plant room plantroom the in of technikraum technikzentrale lüftungszentrale zentrale sala cuarto técnico técnica máquinas de")

// roomKey is a plant room's name without such words, as it is compared.
func roomKey(name string) string {
	var left []string
	for _, w := range strings.Fields(bare(name)) {
		if !roomWords[w] {
			left = append(left, w)
		}
	}
	return strings.Join(left, " ")
}

// inRoom lists the AHUs that stand in a plant room of the sites spoken of.
func (t *talk) inRoom(name string) (ahus []plant.BankID) {
	key := roomKey(name)
	if key == "" {
		return nil
	}
	for _, s := range t.sites {
		for _, id := range t.reg.AHUs(s.ID) {
			if a, ok := t.reg.AHU(id); ok && a.PlantRoom != "" && roomKey(a.PlantRoom) == key {
				ahus = append(ahus, id)
			}
		}
	}
	return ahus
}

// FormFor implements channel.FormHandler.
func (e *Engine) FormFor(ctx context.Context, m channel.Message) (*channel.Form, error) {
	t, err := e.talk(ctx, m)
	if err != nil || t == nil || m.Change != channel.New {
		return nil, err
	}
	ahus, ok := t.roundAsked(m.Text)
	if !ok || !t.mayRecord(ahus, entry.Reading{}) {
		return nil, nil
	}
	return e.round(ctx, t, ahus)
}

// roundOffered answers "round AHU-3" where no form can be shown at once: with a
// button that opens it. Handled is false when something else was said.
func (e *Engine) roundOffered(ctx context.Context, t *talk) (handled bool, err error) {
	ahus, ok := t.roundAsked(t.m.Text)
	if !ok {
		return false, nil
	}
	if !t.mayRecord(ahus, entry.Reading{}) {
		return true, e.reply(ctx, t, channel.Post{Text: say.NotAllowed(entry.KindReading, t.siteOf(ahus[0]))})
	}
	if n := t.fields(ahus); n > mostFields {
		return true, e.reply(ctx, t, channel.Post{Text: say.TooManyFields(t.in(), n)})
	}
	var names []string
	for _, a := range ahus {
		names = append(names, t.reg.Name(a))
	}
	label := t.in().Text("Fill in")
	return true, e.reply(ctx, t, channel.Post{Text: say.FormOffer(t.in(), names), Choices: []channel.Choice{
		{Label: label, Action: channel.ActionForm, Value: formID(formRound, ahus...), Keys: say.KeysFor(t.in(), label, "fill in")},
	}})
}

func (t *talk) fields(ahus []plant.BankID) int {
	n := 0
	for _, a := range ahus {
		n += 1 + len(t.reg.Banks(a))
	}
	return n
}

// mayRecord reports whether the person may record a body at every place.
func (t *talk) mayRecord(places []plant.BankID, body entry.Body) bool {
	for _, p := range places {
		if _, barred := t.permitted([]phrase.Item{{Place: p, Body: body}}); len(barred) > 0 {
			return false
		}
	}
	return len(places) > 0
}

// OpenForm implements channel.FormHandler.
func (e *Engine) OpenForm(ctx context.Context, p channel.Press) (*channel.Form, error) {
	t, err := e.talk(ctx, pressed(p))
	if err != nil || t == nil {
		return nil, err
	}
	kind, places := t.parseForm(p.Value)
	if len(places) == 0 || !t.mayRecord(places, bodyOf(kind)) {
		return nil, nil
	}
	switch kind {
	case formRound:
		return e.round(ctx, t, places)
	case formBook:
		return t.booking(places[0]), nil
	case formDefer:
		return e.deferral(ctx, t, places[0])
	}
	return nil, nil
}

// bodyOf is what a kind of form records.
func bodyOf(kind string) entry.Body {
	switch kind {
	case formBook:
		return entry.Booking{}
	case formDefer:
		return entry.Defer{}
	}
	return entry.Reading{}
}

// formBarred answers a button whose form cannot be opened: why not.
func (e *Engine) formBarred(ctx context.Context, t *talk, value string) error {
	kind, places := t.parseForm(value)
	if len(places) > 0 && !t.mayRecord(places, bodyOf(kind)) {
		return e.reply(ctx, t, channel.Post{Text: say.NotAllowed(bodyOf(kind).Kind(), t.siteOf(places[0]))})
	}
	return e.hint(ctx, t, say.StaleButton(t.in()))
}

const fanField = "fan:"

// round is the form for the readings of AHUs. The last values stand beside the
// fields, not in them: what is handed in untouched must not become a reading.
func (e *Engine) round(ctx context.Context, t *talk, ahus []plant.BankID) (*channel.Form, error) {
	in := t.in()
	f := &channel.Form{ID: formID(formRound, ahus...), Title: in.Text("Round"), Intro: say.RoundIntro(in), Submit: in.Text("Record"), Cancel: in.Text("Cancel")}
	if len(ahus) == 1 {
		f.Title = in.Text("Round %s", t.reg.Name(ahus[0]))
	} else if a, _ := t.reg.AHU(ahus[0]); a.PlantRoom != "" && !slices.ContainsFunc(ahus, func(id plant.BankID) bool { b, _ := t.reg.AHU(id); return b.PlantRoom != a.PlantRoom }) {
		f.Title = in.Text("Round %s", a.PlantRoom)
	}
	for _, ahu := range ahus {
		f.Fields = append(f.Fields, channel.Field{ID: fanField + string(ahu), Label: in.Text("%s fan or airflow", t.reg.Name(ahu)), Hint: say.SpeedHint(in)})
		for _, id := range t.reg.Banks(ahu) {
			b, _ := t.reg.Bank(id)
			if b.Gauge.Absent {
				continue
			}
			a, ok, err := e.View.Assessment(ctx, id)
			if err != nil {
				return nil, err
			}
			if !ok {
				a = assess.Assessment{}
			}
			site := t.siteOf(id)
			f.Fields = append(f.Fields, channel.Field{
				ID: string(id), Label: t.reg.Name(id) + " (" + string(gaugeUnit(b, site)) + ")",
				Hint: say.LastSeen(a, say.At(site, e.Now())),
			})
		}
	}
	if len(f.Fields) > mostFields {
		return nil, nil
	}
	return f, nil
}

// gaugeUnit is the unit on a bank's gauge, or the habit of the site.
func gaugeUnit(b plant.Bank, s plant.Site) units.PressureUnit {
	switch {
	case b.Gauge.Unit != "":
		return b.Gauge.Unit
	case s.Units == units.IP:
		return units.InH2O
	}
	return units.Pa
}

// booked is the job that a bank is booked for.
func (t *talk) booked(bank plant.BankID) (digest.Job, bool) {
	i := slices.IndexFunc(t.jobs, func(j digest.Job) bool { return j.Bank == bank && !j.Start.IsZero() })
	if i < 0 {
		return digest.Job{}, false
	}
	return t.jobs[i], true
}

// booking is the form for a day and a crew. For a bank that is booked it says so and
// shows what stands: the button may be an old one.
func (t *talk) booking(bank plant.BankID) *channel.Form {
	in := t.in()
	f := &channel.Form{ID: formID(formBook, bank), Title: in.Text("Book a change-out"), Intro: say.BookIntro(in, t.reg.Name(bank)), Submit: in.Text("Book"), Cancel: in.Text("Cancel"),
		Fields: []channel.Field{
			{ID: "day", Label: in.Text("Day"), Hint: "2026-03-12", Kind: channel.FieldDate, Must: true},
			{ID: "start", Label: in.Text("Start"), Hint: "09:00", Value: "09:00", Kind: channel.FieldTime, Must: true},
			{ID: "crew", Label: in.Text("Crew"), Hint: in.Text("names, with commas between")},
		}}
	if j, ok := t.booked(bank); ok {
		at := say.At(t.siteOf(bank), t.scope.Now)
		f.Intro = say.BookedBefore(at, t.reg.Name(bank), j.Start)
		f.Fields[0].Value, f.Fields[1].Value, f.Fields[2].Value = j.Start.In(at.Loc).Format(time.DateOnly), j.Start.In(at.Loc).Format("15:04"), strings.Join(j.Crew, ", ")
	}
	return f
}

// settled answers a form that says what stands already, as an old button's does; done
// is false when it says something new.
func (e *Engine) settled(ctx context.Context, t *talk, kind string, bank plant.BankID, values map[string]string) (done bool, err error) {
	at := say.At(t.siteOf(bank), t.scope.Now)
	text := ""
	switch kind {
	case formBook:
		crew := strings.Join(strings.FieldsFunc(values["crew"], func(r rune) bool { return r == ',' || r == ' ' }), ", ")
		if j, ok := t.booked(bank); ok && j.Start.In(at.Loc).Format("2006-01-02 15:04") == values["day"]+" "+values["start"] && strings.EqualFold(strings.Join(j.Crew, ", "), crew) {
			text = say.BookedAlready(at, t.reg.Name(bank), j.Start)
		}
	case formDefer:
		a, _, err := e.View.Assessment(ctx, bank)
		if err != nil {
			return false, err
		}
		if d := a.Deferred; d != nil && d.Until.In(at.Loc).Format(time.DateOnly) == values["day"] && strings.TrimSpace(values["reason"]) == d.Reason {
			text = say.PutOffAlready(at, t.reg.Name(bank), d.Until)
		}
	}
	if text == "" {
		return false, nil
	}
	return true, e.reply(ctx, t, channel.Post{Text: text})
}

// deferral is the form for a later day and the reason for it.
func (e *Engine) deferral(ctx context.Context, t *talk, bank plant.BankID) (*channel.Form, error) {
	in := t.in()
	f := &channel.Form{ID: formID(formDefer, bank), Title: in.Text("Put off a change-out"), Intro: say.DeferIntro(in, t.reg.Name(bank)), Submit: in.Text("Put off"), Cancel: in.Text("Cancel"),
		Fields: []channel.Field{
			{ID: "day", Label: in.Text("Until"), Hint: "2026-03-12", Kind: channel.FieldDate, Must: true},
			{ID: "reason", Label: in.Text("Reason"), Hint: in.Text("theatre list full"), Must: true},
		}}
	a, _, err := e.View.Assessment(ctx, bank)
	if err != nil {
		return nil, err
	}
	if d, at := a.Deferred, say.At(t.siteOf(bank), t.scope.Now); d != nil && d.Until.After(t.scope.Now) {
		f.Intro = say.PutOffBefore(at, t.reg.Name(bank), d.Until)
		f.Fields[0].Value, f.Fields[1].Value = d.Until.In(at.Loc).Format(time.DateOnly), d.Reason
	}
	return f, nil
}

// SubmitForm implements channel.FormHandler. A form says nothing that could not
// be typed: it is turned into the message a person would have written, and that
// one is recorded under the form's own key.
func (e *Engine) SubmitForm(ctx context.Context, s channel.Submission) (map[string]string, error) {
	t, err := e.talk(ctx, s.From)
	if err != nil || t == nil {
		return nil, err
	}
	if done, err := e.replied(ctx, s.From); err != nil || done {
		return nil, err
	}
	kind, places := t.parseForm(s.Form)
	if len(places) == 0 || !t.mayRecord(places, bodyOf(kind)) {
		return nil, e.formBarred(ctx, t, s.Form)
	}
	if done, err := e.settled(ctx, t, kind, places[0], s.Values); err != nil || done {
		return nil, err
	}
	t.scope.Sites = []string{places[0].Site()} // tags are those of the form's site
	var lines []string
	var faults map[string]string
	switch kind {
	case formRound:
		lines, faults = t.roundLines(places, s.Values)
	case formBook:
		lines, faults = t.bookLine(places[0], s.Values)
	case formDefer:
		lines, faults = t.deferLine(places[0], s.Values)
	default:
		return nil, e.hint(ctx, t, say.StaleButton(t.in()))
	}
	if len(faults) > 0 {
		return faults, nil
	}
	t.m.Text = strings.Join(lines, "\n")
	return nil, e.act(ctx, t, phrase.Understand(t.m.Text, t.scope), t.m)
}

// roundLines are the lines of a round, each understood by itself first so that
// what is unclear is shown beside its field.
func (t *talk) roundLines(ahus []plant.BankID, values map[string]string) (lines []string, faults map[string]string) {
	faults = map[string]string{}
	first := ""
	for _, ahu := range ahus {
		speed := strings.TrimSpace(values[fanField+string(ahu)])
		if speed != "" && strings.Trim(speed, "0123456789.,") == "" {
			faults[fanField+string(ahu)] = say.SpeedUnit(t.in())
			speed = ""
		}
		for _, id := range t.reg.Banks(ahu) {
			if first == "" {
				first = string(id)
			}
			said := strings.Join(strings.Fields(values[string(id)]), " ")
			if said == "" {
				continue
			}
			b, _ := t.reg.Bank(id)
			if strings.Trim(said, "0123456789.,-") == "" {
				said += " " + string(gaugeUnit(b, t.siteOf(id)))
			}
			line := strings.TrimSpace(t.reg.Name(id) + " " + said + " " + speedFor(said, speed))
			if fault := t.unclear(line, func(p plant.BankID) bool { return p == id || p == ahu }); fault != "" {
				faults[string(id)] = fault
			}
			lines = append(lines, line)
		}
	}
	if len(lines) == 0 && len(faults) == 0 {
		faults[first] = say.NothingFilledIn(t.in())
	}
	return lines, faults
}

// speedFor is the fan's speed as far as it belongs to what was said: not beside
// words such as "fan off".
func speedFor(said, speed string) string {
	if strings.ContainsAny(said, "0123456789") {
		return speed
	}
	return ""
}

// unclear is why a line cannot be recorded as it is; empty when it can, and
// speaks of no other place than it should.
func (t *talk) unclear(line string, place func(plant.BankID) bool) string {
	m := phrase.Understand(line, t.scope)
	switch {
	case m.Outcome == phrase.Ask:
		return say.FieldUnclear(t.in(), m.Ask.Text)
	case m.Outcome == phrase.Refused:
		return m.Reply
	case m.Outcome != phrase.Entry || len(m.Items) == 0 || !slices.ContainsFunc(m.Items, func(it phrase.Item) bool { return place(it.Place) }):
		return say.NotALine(t.in(), line)
	case slices.ContainsFunc(m.Items, func(it phrase.Item) bool { return !place(it.Place) }):
		return say.AnotherBank(t.in())
	}
	return ""
}

func (t *talk) bookLine(bank plant.BankID, values map[string]string) ([]string, map[string]string) {
	line := "book " + t.reg.Name(bank) + " " + values["day"] + " " + values["start"]
	if crew := strings.TrimSpace(values["crew"]); crew != "" {
		line += " with " + strings.ReplaceAll(crew, ",", " and ")
	}
	return t.oneLine(line, "day", bank)
}

func (t *talk) deferLine(bank plant.BankID, values map[string]string) ([]string, map[string]string) {
	if strings.TrimSpace(values["reason"]) == "" {
		return nil, map[string]string{"reason": say.ReasonMissing(t.in())}
	}
	return t.oneLine("defer "+t.reg.Name(bank)+" to "+values["day"]+": "+values["reason"], "day", bank)
}

func (t *talk) oneLine(line, field string, bank plant.BankID) ([]string, map[string]string) {
	line = strings.Join(strings.Fields(line), " ")
	if fault := t.unclear(line, func(p plant.BankID) bool { return p == bank }); fault != "" {
		return nil, map[string]string{field: fault}
	}
	return []string{line}, nil
}

// pressed is a press as a message that speaks to the bot, wherever it is. On a
// person's own page there is no channel: what is said there is said directly.
func pressed(p channel.Press) channel.Message {
	m := channel.Message{Platform: p.Platform, Team: p.Team, Channel: p.Channel, Thread: p.Thread, ID: p.ID,
		User: p.User, UserName: p.UserName, Is: p.Is, At: p.At, Mention: true}
	if m.Channel == "" {
		m.Channel, m.Direct = p.User, true
	}
	return m
}

// supervisorChoices are the buttons under a due list, for those who plan: the
// first banks that are due and not booked.
func (e *Engine) supervisorChoices(t *talk, banks []plant.BankID) []channel.Choice {
	var out []channel.Choice
	for _, b := range banks {
		if !t.supervises(b.Site()) {
			continue
		}
		name := t.reg.Name(b)
		out = append(out,
			channel.Choice{Label: t.in().Text("Book %s", name), Action: channel.ActionForm, Value: formID(formBook, b)},
			channel.Choice{Label: t.in().Text("Put off %s", name), Action: channel.ActionForm, Value: formID(formDefer, b)},
		)
	}
	return out
}
