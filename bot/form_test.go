package bot_test

import (
	"strings"
	"testing"

	"clogwise/internal/channel"
)

// form opens the form that a message asks for.
func (r *rig) form(user, text string) (channel.Message, *channel.Form) {
	r.t.Helper()
	m := r.message(user, text)
	f, err := r.engine.FormFor(r.t.Context(), m)
	must(r.t, err)
	return m, f
}

// submit hands a form in, and returns the faults by field and the reply.
func (r *rig) submit(m channel.Message, form string, values ...string) (map[string]string, string) {
	r.t.Helper()
	m.Text = ""
	v := map[string]string{}
	for i := 0; i+1 < len(values); i += 2 {
		v[values[i]] = values[i+1]
	}
	faults, err := r.engine.SubmitForm(r.t.Context(), channel.Submission{From: m, Form: form, Values: v})
	must(r.t, err)
	r.catchUp()
	return faults, r.reply(m)
}

func TestRoundShowsLastValuesBesideTheFields(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(tove, "AHU-3 pre 85 Pa")
	_, f := r.form(tove, "Round AHU-3")
	if f == nil || len(f.Fields) != 3 {
		t.Fatalf("form %+v", f)
	}
	for i, want := range []struct{ id, label, hint string }{
		{"fan:clinic/ahu-3", "AHU-3 fan or airflow", "45 Hz"},
		{"clinic/ahu-3/primary", "AHU-3 primary (Pa)", "last 85 Pa (0.34 in wc) on 4 Mar; limit 150 Pa"},
		{"clinic/ahu-3/secondary", "AHU-3 secondary (Pa)", "never read"},
	} {
		if got := f.Fields[i]; got.ID != want.id || got.Label != want.label || !strings.Contains(got.Hint, want.hint) || got.Value != "" {
			t.Errorf("field %d: %+v", i, got)
		}
	}
	for _, text := range []string{"round", "round AHU-1, AHU-2"} {
		if _, f := r.form(tove, text); f == nil || len(f.Fields) < 6 {
			t.Errorf("%s: %+v", text, f)
		}
	}
	for _, text := range []string{"round north plant room", "round North", "Runde Technikraum north"} { // of one room, as the register names it
		if _, f := r.form(tove, text); f == nil || f.Title != "Round north plant room" || len(f.Fields) != 7 {
			t.Errorf("%s: %+v", text, f)
		}
	}
	for _, text := range []string{"round AHU-77", "a round of tea", "due", "round attic"} {
		if _, f := r.form(tove, text); f != nil {
			t.Errorf("%s opens %+v", text, f)
		}
	}
	if _, f := r.form(guest, "round AHU-3"); f != nil {
		t.Error("somebody outside the crew gets a form")
	}
}

func TestRoundIsOneMessage(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m, f := r.form(tove, "round AHU-3")
	values := []string{"fan:clinic/ahu-3", "45 Hz", "clinic/ahu-3/primary", "85", "clinic/ahu-3/secondary", "0.45 iwc"}
	for range 2 { // handed in twice, and after a restart
		faults, reply := r.submit(m, f.ID, values...)
		if len(faults) > 0 {
			t.Errorf("faults %v", faults)
		}
		wantText(t, reply, "AHU-3 primary: 85 Pa", "at 45 Hz", "AHU-3 secondary: 112 Pa")
		r.wantStanding("reading clinic/ahu-3/primary 85 Pa hz=45", "reading clinic/ahu-3/secondary 112 Pa hz=45")
		r.restart()
	}
	_, reply := r.says(tove, "undo")
	wantText(t, reply, "Taken back")
	r.wantStanding()
}

func TestRoundShowsFaultsByField(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m, f := r.form(tove, "round AHU-3")
	faults, reply := r.submit(m, f.ID, "fan:clinic/ahu-3", "45", "clinic/ahu-3/primary", "85", "clinic/ahu-3/secondary", "lots")
	if reply != "" || len(faults) != 2 || !strings.Contains(faults["fan:clinic/ahu-3"], "unit") || faults["clinic/ahu-3/secondary"] == "" {
		t.Errorf("faults %v, reply %q", faults, reply)
	}
	faults, _ = r.submit(m, f.ID)
	if len(faults) != 1 || !strings.Contains(faults["clinic/ahu-3/primary"], "at least one") {
		t.Errorf("an empty round: %v", faults)
	}
	faults, _ = r.submit(m, f.ID, "clinic/ahu-3/primary", "AHU-1 primary 85")
	if faults["clinic/ahu-3/primary"] == "" {
		t.Errorf("another bank: %v", faults)
	}
	r.wantStanding()
	faults, reply = r.submit(m, f.ID, "clinic/ahu-3/primary", "fan off", "clinic/ahu-3/secondary", "skip: room locked")
	if len(faults) > 0 {
		t.Errorf("words: %v", faults)
	}
	wantText(t, reply, "fan off", "room locked")
}

func TestRoundForOthersIsRefused(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	_, f := r.form(tove, "round AHU-3")
	faults, reply := r.submit(r.message(guest, ""), f.ID, "clinic/ahu-3/primary", "85")
	if len(faults) > 0 {
		t.Errorf("faults %v", faults)
	}
	wantText(t, reply, "crew")
	r.wantStanding()
}

// A round asked for where no form can be shown comes with a button.
func TestRoundOffered(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m, reply := r.says(tove, "round AHU-3")
	wantText(t, reply, "A round of AHU-3")
	p, err := r.store.Post(t.Context(), "re:"+m.Key())
	must(t, err)
	r.restart()
	press := channel.Press{Platform: m.Platform, Team: m.Team, Channel: m.Channel, ID: "p1", User: tove, UserName: tove,
		Action: p.Post.Choices[0].Action, Value: p.Post.Choices[0].Value, At: r.now}
	f, err := r.engine.OpenForm(t.Context(), press)
	must(t, err)
	if f == nil || f.ID != p.Post.Choices[0].Value {
		t.Errorf("form %+v", f)
	}
	press.User, press.UserName = guest, guest
	if f, err := r.engine.OpenForm(t.Context(), press); f != nil || err != nil {
		t.Errorf("for a guest: %+v, %v", f, err)
	}
	must(t, r.engine.HandlePress(t.Context(), press))
	press.ID, press.User, press.UserName, press.Value = "p2", tove, tove, "round|clinic/ahu-77"
	if f, err := r.engine.OpenForm(t.Context(), press); f != nil || err != nil {
		t.Errorf("for a unit that is gone: %+v, %v", f, err)
	}
	wantText(t, r.pressed(tove, channel.Choice{Action: "form", Value: "round|clinic/ahu-77"}), "out of date")
	wantText(t, r.pressed(guest, channel.Choice{Action: "form", Value: "round|clinic/ahu-3"}), "crew")
}

func TestBookAndPutOffByForm(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	faults, reply := r.submit(r.message(maren, ""), "book|clinic/ahu-2/primary", "day", "2026-03-12", "start", "09:00", "crew", "Tove, Idris")
	if len(faults) > 0 {
		t.Errorf("faults %v", faults)
	}
	wantText(t, reply, "AHU-2 primary: change-out booked for Thu 12 Mar 09:00 with Tove, Idris")
	faults, _ = r.submit(r.message(maren, ""), "book|clinic/ahu-2/primary", "day", "2026-02-31", "start", "09:00")
	if faults["day"] == "" {
		t.Errorf("31 February: %v", faults)
	}
	faults, _ = r.submit(r.message(maren, ""), "defer|clinic/ahu-3/primary", "day", "2026-03-20")
	if faults["reason"] == "" {
		t.Errorf("without a reason: %v", faults)
	}
	faults, reply = r.submit(r.message(maren, ""), "defer|clinic/ahu-3/primary", "day", "2026-03-20", "reason", "theatre list full")
	if len(faults) > 0 {
		t.Errorf("faults %v", faults)
	}
	wantText(t, reply, "AHU-3 primary: put off until 20 Mar: theatre list full")
	_, reply = r.submit(r.message(tove, ""), "book|clinic/ahu-2/primary", "day", "2026-03-13", "start", "09:00")
	wantText(t, reply, "Maren")
}

func TestOwnPage(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(maren, "book AHU-2 pre 12 Mar 09:00 with Tove")
	r.says(maren, "book AHU-3 pre 13 Mar 09:00 with Idris")
	m := r.message(tove, "")
	p, err := r.engine.Page(t.Context(), m)
	must(t, err)
	var titles []string
	text := map[string]string{}
	for _, s := range p.Sections {
		titles = append(titles, s.Title)
		text[s.Title] = s.Text
	}
	if got := strings.Join(titles, ", "); got != "Due, My bookings, Readings owed" {
		t.Errorf("sections %s", got)
	}
	if b := text["My bookings"]; !strings.Contains(b, "AHU-2 primary, Thu 12 Mar 09:00") || strings.Contains(b, "AHU-3") {
		t.Errorf("bookings %q", b)
	}
	wantText(t, text["Readings owed"], "AHU-1")
	if len(p.Choices) == 0 || !strings.HasPrefix(p.Choices[0].Label, "Round ") {
		t.Errorf("choices %+v", p.Choices)
	}
	p, err = r.engine.Page(t.Context(), r.message(guest, ""))
	if err != nil || len(p.Sections) != 1 || !strings.Contains(p.Sections[0].Text, "no crew") {
		t.Errorf("for a guest: %+v, %v", p, err)
	}
	_, reply := r.says(tove, "home")
	wantText(t, reply, "My bookings:\nAHU-2 primary")
	_, reply = r.says(guest, "my day")
	wantText(t, reply, "no crew")
}
