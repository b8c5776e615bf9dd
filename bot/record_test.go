package bot_test

import (
	"strings"
	"testing"
	"time"

	"clogwise/bot"
	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
)

func TestReadingIsRecordedOnceAndAnsweredOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m, reply := r.says(tove, "AHU-3 bag 145 Pa 45 Hz")
	wantText(t, reply, "AHU-3 secondary", "145 Pa", "0.58 in wc", "45 Hz", "undo")
	before := r.count()
	r.restart() // the resend may meet another process
	r.hear(m)
	if r.count() != before {
		t.Errorf("a resend added %d entries", r.count()-before)
	}
	posts, err := r.store.Posts(t.Context(), "", 0)
	must(t, err)
	if len(posts) != 1 {
		t.Errorf("%d posts, want the one reply", len(posts))
	}
	r.wantStanding("reading clinic/ahu-3/secondary 145 Pa hz=45")
}

func TestSeveralLinesAreOneReply(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	_, reply := r.says(tove, "AHU-1 pre 80 Pa\nAHU-1 bag 120 Pa\nAHU-2 pre 90 Pa")
	wantText(t, reply, "AHU-1 primary: 80 Pa", "AHU-1 secondary: 120 Pa", "AHU-2 primary: 90 Pa", "undo takes them back")
	_, reply = r.says(tove, "undo")
	wantText(t, reply, "Taken back")
	r.wantStanding()
}

func TestCorrections(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name   string
		before []string
		say    string
		want   []string
	}{
		{"last reading, airflow kept", []string{"AHU-3 bag 145 Pa 45 Hz"}, "correction AHU-3 bag should be 135 Pa", []string{
			"reading clinic/ahu-3/secondary 135 Pa hz=45"}},
		// 0.5 in wc = 124.5 Pa (1 in wc = 249.089 Pa, conventional inch of water).
		{"other unit", []string{"AHU-3 bag 145 Pa 45 Hz"}, "correction AHU-3 bag should be 0.5 in wc", []string{
			"reading clinic/ahu-3/secondary 125 Pa hz=45"}},
		{"the value named, not the last", []string{"AHU-3 bag 145 Pa", "AHU-3 bag 150 Pa"}, "correction AHU-3 bag should be 135 Pa not 145 Pa", []string{
			"reading clinic/ahu-3/secondary 135 Pa hz=?", "reading clinic/ahu-3/secondary 150 Pa hz=?"}},
		{"the exact value before a near one", []string{"AHU-3 bag 150 Pa", "AHU-3 bag 152 Pa", "AHU-3 bag 160 Pa"}, "correction AHU-3 bag 165 not 150", []string{
			"reading clinic/ahu-3/secondary 165 Pa hz=?", "reading clinic/ahu-3/secondary 152 Pa hz=?", "reading clinic/ahu-3/secondary 160 Pa hz=?"}},
		{"the nearest value", []string{"AHU-3 bag 151 Pa", "AHU-3 bag 152 Pa", "AHU-3 bag 160 Pa"}, "correction AHU-3 bag 165 not 150", []string{
			"reading clinic/ahu-3/secondary 165 Pa hz=?", "reading clinic/ahu-3/secondary 152 Pa hz=?", "reading clinic/ahu-3/secondary 160 Pa hz=?"}},
		{"of two alike the last", []string{"AHU-3 bag 150 Pa", "AHU-3 bag 150 Pa", "AHU-3 bag 160 Pa"}, "correction AHU-3 bag 165 not 150", []string{
			"reading clinic/ahu-3/secondary 150 Pa hz=?", "reading clinic/ahu-3/secondary 165 Pa hz=?", "reading clinic/ahu-3/secondary 160 Pa hz=?"}},
		{"none near is asked for", []string{"AHU-3 bag 140 Pa", "AHU-3 bag 160 Pa"}, "correction AHU-3 bag 165 not 150", []string{
			"reading clinic/ahu-3/secondary 140 Pa hz=?", "reading clinic/ahu-3/secondary 160 Pa hz=?"}},
		{"nothing to correct", nil, "correction AHU-3 bag should be 135 Pa", []string{
			"reading clinic/ahu-3/secondary 135 Pa hz=?"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			for _, s := range c.before {
				r.says(tove, s)
			}
			r.says(tove, c.say)
			r.wantStanding(c.want...)
		})
	}
}

// The reply names what was read and when, what it is now, and where the old value
// is kept; and where nothing is near the value named, it asks.
func TestCorrectionIsNamed(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(tove, "AHU-3 bag 150 Pa")
	r.says(tove, "AHU-3 bag 140 Pa 45 Hz")
	r.now = r.now.Add(time.Hour)
	_, reply := r.says(tove, "correction AHU-3 bag 165 not 150")
	wantText(t, reply, "150 Pa (0.60 in wc) of Wed 4 Mar 10:01 corrected to 165 Pa (0.66 in wc)", "keeps the old value")
	m, reply := r.says(tove, "correction AHU-3 bag 145 not 120")
	wantText(t, reply, "No reading of AHU-3 secondary near 120 Pa", "Which one is to be 145 Pa", "Nothing saved yet")
	if reply := r.press(tove, m, "140 Pa of Wed 4 Mar 10:02"); !strings.Contains(reply, "140 Pa (0.56 in wc) of Wed 4 Mar 10:02 corrected to 145 Pa") {
		t.Errorf("pressed: %q", reply)
	}
	r.wantStanding("reading clinic/ahu-3/secondary 165 Pa hz=?", "reading clinic/ahu-3/secondary 145 Pa hz=45")
	m, _ = r.says(tove, "correction AHU-3 bag 150 not 165")
	_, reply = r.edit(m, "correction AHU-3 bag 152 not 165") // 165 as it stood before the message
	wantText(t, reply, "corrected to 152 Pa")
	r.wantStanding("reading clinic/ahu-3/secondary 152 Pa hz=?", "reading clinic/ahu-3/secondary 145 Pa hz=45")
}

func TestSwapIsCompletedLater(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name  string
		later time.Duration
		says  []string
		want  []string
	}{
		{"in two words", 0, []string{"4 off, clean 95 Pa"}, []string{"swap clinic/ahu-3/secondary count=4 clean=95 confirmed=true"}},
		{"one after the other", 0, []string{"4 off", "clean 95"}, []string{"swap clinic/ahu-3/secondary count=4 clean=95 confirmed=true"}},
		{"with the bank's name", 0, []string{"AHU-3 bags 4 off clean 95 Pa"}, []string{"swap clinic/ahu-3/secondary count=4 clean=95 confirmed=true"}},
		{"said again in full", time.Hour, []string{"AHU-3 bags changed, 4 off, clean 95 Pa"}, []string{"swap clinic/ahu-3/secondary count=4 clean=95 confirmed=true"}},
		{"a plain reading is a reading", 0, []string{"AHU-3 bag 97 Pa"}, []string{
			"swap clinic/ahu-3/secondary count=? clean=? confirmed=false", "reading clinic/ahu-3/secondary 97 Pa hz=?"}},
		{"talk is talk", 0, []string{"4 of us for lunch, clean hands"}, []string{"swap clinic/ahu-3/secondary count=? clean=? confirmed=false"}},
		{"after a month it is another change-out", 30 * 24 * time.Hour, []string{"AHU-3 bags changed, 4 off, clean 95 Pa"}, []string{
			"swap clinic/ahu-3/secondary count=? clean=? confirmed=false", "swap clinic/ahu-3/secondary count=4 clean=95 confirmed=true"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			_, reply := r.says(tove, "AHU-3 bags changed")
			wantText(t, reply, "Unconfirmed", "AHU-3 secondary changed, 4 off, clean 64 Pa") // as the register has them
			if strings.Contains(reply, "Hz") {
				t.Errorf("asks for what it does not lack: %q", reply)
			}
			r.now = r.now.Add(c.later)
			for _, s := range c.says {
				_, reply = r.says(tove, s)
			}
			r.wantStanding(c.want...)
			if strings.Contains(c.want[0], "true") && strings.Contains(reply, "Unconfirmed") {
				t.Errorf("still asks: %q", reply)
			}
		})
	}
}

func TestCompletionIsUndoneAlone(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(tove, "AHU-3 bags changed")
	r.says(tove, "4 off, clean 95 Pa")
	r.says(tove, "undo")
	r.wantStanding("swap clinic/ahu-3/secondary count=? clean=? confirmed=false")
}

func TestSecondChangeOutWithOtherFiguresIsNotACompletion(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(tove, "AHU-3 bags changed, 4 off")
	r.says(tove, "AHU-3 bags changed, 3 off, clean 95 Pa")
	r.wantStanding("swap clinic/ahu-3/secondary count=4 clean=? confirmed=false")
	r.says(tove, "yes") // to whether it was changed again
	r.wantStanding("swap clinic/ahu-3/secondary count=4 clean=? confirmed=false", "swap clinic/ahu-3/secondary count=3 clean=95 confirmed=true")
}

func TestRoles(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name, who, say string
		want           string // part of the reply
		saved          int
	}{
		{"crew reads", tove, "AHU-1 pre 80 Pa", "Saved", 1},
		{"supervisor reads", maren, "AHU-1 pre 80 Pa", "Saved", 1},
		{"stranger does not", guest, "AHU-1 pre 80 Pa", "Tove, Idris and Pell", 0},
		{"stranger may ask", guest, "due", "Quillford Clinic", 0},
		{"crew does not count stock", tove, "stock QC-P48 14", "Maren", 0},
		{"supervisor does", maren, "stock QC-P48 14", "Saved", 1},
		{"crew does not book", tove, "book AHU-2 bag 6 Mar 09:00", "Maren", 0},
		{"crew does not put off", tove, "defer AHU-2 bag to 12 Mar: theatre week", "Maren", 0},
		{"supervisor does", maren, "defer AHU-2 bag to 12 Mar: theatre week", "Saved", 1},
		{"crew does not order", tove, "ordered 24 QC-P48", "Maren", 0},
		{"crew may wish", tove, "need 20 QC-P48", "Saved", 1},
	}
	for _, c := range cases {
		t.Run(c.name+": "+c.say, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			before := r.count()
			_, reply := r.says(c.who, c.say)
			wantText(t, reply, c.want)
			if got := r.count() - before; got != c.saved {
				t.Errorf("%d entries, want %d", got, c.saved)
			}
		})
	}
}

func TestWhereTheBotListens(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name, who string
		at        func(*channel.Message)
		answers   bool
	}{
		{"channel of a site", tove, func(*channel.Message) {}, true},
		{"channel with its platform named", tove, func(m *channel.Message) { m.Channel = "clinic" }, true},
		{"channel of no site", tove, func(m *channel.Message) { m.Channel = "canteen" }, false},
		{"called in a channel of no site", tove, func(m *channel.Message) { m.Channel, m.Mention = "canteen", true }, true},
		{"direct message", tove, func(m *channel.Message) { m.Channel, m.Direct = "D1", true }, true},
		{"direct message of a stranger", guest, func(m *channel.Message) { m.Channel, m.Direct = "D1", true }, false},
		{"called by a stranger elsewhere", guest, func(m *channel.Message) { m.Channel, m.Mention = "canteen", true }, false},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			m := r.message(c.who, "AHU-3 bag 145 Pa") // AHU-3 is a tag of the hall too
			c.at(&m)
			r.hear(m)
			got := r.reply(m)
			if c.who == guest {
				wantText(t, got, "no crew")
				r.wantStanding()
				return
			}
			if (got != "") != c.answers {
				t.Errorf("reply %q", got)
			}
			if c.answers {
				r.wantStanding("reading clinic/ahu-3/secondary 145 Pa hz=?")
			}
		})
	}
}

func TestChatterIsNeitherKeptNorAnswered(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	before := r.count()
	const secret = "marmalade"
	for _, s := range []string{"morning all, " + secret + " anyone?", "did you see the match, 2:1 " + secret, "lol"} {
		if _, reply := r.says(tove, s); reply != "" {
			t.Errorf("%q was answered: %q", s, reply)
		}
	}
	posts, err := r.store.Posts(t.Context(), "", 0)
	must(t, err)
	if r.count() != before || len(posts) != 0 {
		t.Errorf("kept %d entries and %d posts", r.count()-before, len(posts))
	}
	m := r.message(tove, "what about "+secret+"?")
	m.Mention = true
	r.hear(m)
	p, err := r.store.Post(t.Context(), bot.ReplyKey(m))
	must(t, err)
	if strings.Contains(p.Post.Text+string(p.Recipe), secret) {
		t.Errorf("talk was kept in a reply: %+v", p)
	}
}

func TestNamesAndLinesStayPlainText(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	const evil = "<!channel> *bold* `x`"
	_, reply := r.says(tove, "AHU-1 skip: "+evil)
	if reply != "" && strings.Contains(reply, "&lt;") {
		t.Errorf("the engine escapes for one platform: %q", reply)
	}
}

func TestSupervisorsAreToldOnce(t *testing.T) {
	t.Parallel()
	cases := []struct{ name, say, text string }{
		{"defect", "AHU-1 belt squealing", "belt squealing"},
		{"over the top", "AHU-1 bag pegged", "gauge at its top"},
		{"another's lock", "how do I take off his lock on AHU-1", "somebody else's lock"},
		{"running fan", "steps for changing AHU-1 with the fan running", "with the fan running"},
		{"shorten", "AHU-1 give me the short version of the steps, skip the rest", "shorten"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			m, reply := r.says(tove, c.say)
			r.hear(m)
			var alerts []ledger.OutboxPost
			posts, err := r.store.Posts(t.Context(), "", 0)
			must(t, err)
			for _, p := range posts {
				if p.Post.To.Channel == maren {
					alerts = append(alerts, p)
				}
			}
			if len(alerts) != 1 {
				t.Fatalf("%d alerts after reply %q", len(alerts), reply)
			}
			wantText(t, alerts[0].Post.Text, c.text, tove)
		})
	}
}

func TestStockIsAnsweredAtOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m := r.message(maren, "stock QC-P48 14")
	must(t, r.engine.HandleMessage(t.Context(), m)) // no worker is needed: it is about no bank
	wantText(t, r.reply(m), "QC-P48 counted: 14", "Saved as #")
}

func TestJobFromBookingToEnd(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	_, reply := r.says(maren, "book AHU-2 bag 4 Mar 14:00 with Tove")
	wantText(t, reply, "booked for Wed 4 Mar 14:00 with Tove")
	r.now = time.Date(2026, 3, 4, 14, 0, 0, 0, time.UTC)
	m, _ := r.says(tove, "on site AHU-2, starting")
	lists := r.inThread(m)
	if len(lists) != 4 { // the reply, and the lists before, during and after
		t.Fatalf("%d posts in the thread: %q", len(lists), lists)
	}
	for i, part := range []string{"job started", "reminder", "reminder", "reminder"} {
		if !strings.Contains(strings.ToLower(lists[i]), part) {
			t.Errorf("post %d: %q", i, lists[i])
		}
	}
	r.now = r.now.Add(time.Hour)
	_, reply = r.says(tove, "AHU-2 back on, clean 92 Pa")
	wantText(t, reply, "job closed", "Unconfirmed until you add how many filters.")
	if strings.Contains(reply, "clean reading") {
		t.Errorf("asks for the clean reading it was given: %q", reply)
	}
	_, reply = r.says(tove, "4 off")
	wantText(t, reply, "4 off")
	var swaps []string
	for _, s := range r.standing() {
		if strings.HasPrefix(s, "swap") {
			swaps = append(swaps, s)
		}
	}
	if len(swaps) != 1 || swaps[0] != "swap clinic/ahu-2/secondary count=4 clean=92 confirmed=true" {
		t.Errorf("change-outs: %q", swaps)
	}
}

// inThread lists the posts in the thread under a message, in order.
func (r *rig) inThread(m channel.Message) []string {
	r.t.Helper()
	posts, err := r.store.Posts(r.t.Context(), "", 0)
	must(r.t, err)
	var out []string
	for _, p := range posts {
		if p.Post.To.Thread == m.ID {
			out = append(out, p.Post.Text)
		}
	}
	return out
}

func TestJobDoneTellsOfItsOwnSwapOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(maren, "book AHU-2 bag 4 Mar 14:00 with Tove")
	r.now = time.Date(2026, 3, 4, 15, 0, 0, 0, time.UTC)
	r.says(tove, "AHU-2 bags changed, 4 off, clean 92 Pa")
	r.says(tove, "AHU-2 back on")
	n := 0
	for _, s := range r.standing() {
		if strings.HasPrefix(s, "swap") {
			n++
		}
	}
	if n != 1 {
		t.Errorf("%d change-outs: %q", n, r.standing())
	}
}

func TestStepsReadIsRecordedOncePerPerson(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.says(maren, "book AHU-2 bag 4 Mar 14:00 with Tove and Idris")
	r.now = time.Date(2026, 3, 4, 14, 0, 0, 0, time.UTC)
	r.says(tove, "on site AHU-2, starting")
	var button channel.Choice
	posts, err := r.store.Posts(t.Context(), "", 0)
	must(t, err)
	for _, p := range posts {
		for _, c := range p.Post.Choices {
			if c.Action == "steps-read" && button.Value == "" {
				button = c
			}
		}
	}
	if button.Value == "" {
		t.Fatal("no list has a button")
	}
	wantText(t, r.pressed(tove, button), "Noted: Tove")
	wantText(t, r.pressed(tove, button), "Already noted: Tove")
	wantText(t, r.pressed(idris, button), "Noted: Idris")
	wantText(t, r.pressed(guest, button), "crew")
	read := 0
	for _, s := range r.standing() {
		if strings.HasPrefix(s, string(entry.KindStepsRead)) {
			read++
		}
	}
	if read != 2 {
		t.Errorf("%d receipts, want one each of two people", read)
	}
}
