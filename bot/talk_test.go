package bot_test

import (
	"strings"
	"testing"
	"time"

	"clogwise/internal/channel"
)

func TestAnswers(t *testing.T) {
	t.Parallel()
	recorded := "reading clinic/ahu-3/primary 62 Pa hz=?"
	cases := []struct {
		name   string
		answer func(r *rig, m channel.Message) string
		want   string
		stands []string
	}{
		{"typed", func(r *rig, m channel.Message) string { _, s := r.says(tove, "primary"); return s }, "62 Pa", []string{recorded}},
		{"by number", func(r *rig, m channel.Message) string { _, s := r.says(tove, "1"); return s }, "62 Pa", []string{recorded}},
		{"in the thread", func(r *rig, m channel.Message) string {
			a := r.message(tove, "primary")
			a.Thread = m.ID
			r.hear(a)
			return r.reply(a)
		}, "62 Pa", []string{recorded}},
		{"pressed", func(r *rig, m channel.Message) string { return r.press(tove, m, "primary") }, "62 Pa", []string{recorded}},
		{"pressed twice", func(r *rig, m channel.Message) string {
			r.press(tove, m, "primary")
			return r.press(tove, m, "secondary")
		}, "answered already", []string{recorded}},
		{"typed, then pressed", func(r *rig, m channel.Message) string {
			r.says(tove, "primary")
			return r.press(idris, m, "secondary")
		}, "answered already", []string{recorded}},
		{"pressed, then typed", func(r *rig, m channel.Message) string {
			r.press(tove, m, "primary")
			_, s := r.says(tove, "secondary")
			return "silence" + s
		}, "silence", []string{recorded}},
		{"pressed after a restart", func(r *rig, m channel.Message) string {
			r.restart()
			return r.press(tove, m, "primary")
		}, "62 Pa", []string{recorded}},
		{"pressed by another of the crew", func(r *rig, m channel.Message) string { return r.press(idris, m, "primary") }, "62 Pa", []string{recorded}},
		{"pressed by a stranger", func(r *rig, m channel.Message) string { return r.press(guest, m, "primary") }, "crew", nil},
		{"typed by another", func(r *rig, m channel.Message) string {
			_, s := r.says(idris, "primary")
			return "silence" + s
		}, "silence", nil},
		{"after it expired", func(r *rig, m channel.Message) string {
			r.restart() // as the queue forgets it
			_, s := r.says(tove, "primary")
			return "silence" + s
		}, "silence", nil},
		{"ledger down once", func(r *rig, m channel.Message) string {
			a := r.message(tove, "primary")
			r.store.FailCommits(1)
			if err := r.engine.HandleMessage(r.t.Context(), a); err == nil {
				r.t.Error("no error though nothing was recorded")
			}
			r.hear(a) // the platform sends it again
			return r.reply(a)
		}, "62 Pa", []string{recorded}},
		{"message deleted meanwhile", func(r *rig, m channel.Message) string {
			m.Change, m.Text = channel.Deleted, ""
			r.hear(m)
			_, s := r.says(tove, "primary")
			return "silence" + s
		}, "silence", nil},
		{"message edited instead", func(r *rig, m channel.Message) string {
			_, s := r.edit(m, "AHU-3 pre 62 Pa")
			r.says(tove, "secondary")
			return s
		}, "62 Pa", []string{recorded}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			m, asked := r.says(tove, "AHU-3 62 Pa")
			wantText(t, asked, "Which bank", "Nothing saved")
			wantText(t, c.answer(r, m), c.want)
			r.wantStanding(c.stands...)
		})
	}
}

func TestAnswerKeepsTheTimeOfTheQuestion(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m, _ := r.says(tove, "AHU-3 62 Pa")
	r.now = r.now.Add(40 * time.Minute)
	r.press(tove, m, "primary")
	x, err := r.store.Entry(t.Context(), int64(r.count()))
	must(t, err)
	if !x.At.Equal(m.At) {
		t.Errorf("recorded for %s, typed at %s", x.At, m.At)
	}
}

// maxButton is the chat platform's limit on a button's value, in characters.
const maxButton = 2000

func TestButtonsOfLongMessagesFit(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	text := "AHU-3 62 Pa " + strings.Repeat("by the door ", 120)
	m, _ := r.says(tove, text)
	p, err := r.store.Post(t.Context(), "re:"+m.Key())
	must(t, err)
	if len(p.Post.Choices) == 0 {
		t.Fatalf("no question came of it: %q", p.Post.Text)
	}
	for _, c := range p.Post.Choices {
		if len(c.Value) > maxButton {
			t.Errorf("button of %d characters", len(c.Value))
		}
	}
	wantText(t, r.press(tove, m, p.Post.Choices[0].Label), "Saved as")
}

func TestStaleButtonsSaySo(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	for _, c := range []channel.Choice{
		{Action: "answer", Value: ""}, {Action: "answer", Value: "0@re:nobody"}, {Action: "answer", Value: "x@y"},
		{Action: "steps-read", Value: "junk"}, {Action: "dance", Value: "1"}, {Action: "undo", Value: "test:t:clinic:never"},
		{Action: "confirm", Value: "soon"}, {Action: "import", Value: "file:gone"}, {Action: channel.ActionForm, Value: "book|clinic/gone/primary"},
		{Action: channel.ActionForm, Value: "defer|"}, {Action: channel.ActionForm, Value: "round|clinic/ahu-99"},
	} {
		before := r.count()
		wantText(t, r.pressed(tove, c), "out of date")
		if r.count() != before {
			t.Errorf("%+v recorded something", c)
		}
	}
}

func TestUndo(t *testing.T) {
	t.Parallel()
	const reading = "reading clinic/ahu-1/primary 80 Pa hz=?"
	cases := []struct {
		name  string
		talk  [][2]string
		reply string
		want  []string
	}{
		{"last message", [][2]string{{tove, "AHU-1 pre 80 Pa"}, {tove, "undo"}}, "Taken back", nil},
		{"nothing", [][2]string{{tove, "undo"}}, "Nothing of yours", nil},
		{"not somebody else's", [][2]string{{tove, "AHU-1 pre 80 Pa"}, {idris, "undo"}}, "Nothing of yours", []string{reading}},
		{"by number", [][2]string{{tove, "AHU-1 pre 80 Pa"}, {tove, "AHU-2 pre 90 Pa"}, {tove, "undo #1"}}, "Taken back: #", []string{"reading clinic/ahu-2/primary 90 Pa hz=?"}},
		{"another's by crew", [][2]string{{tove, "AHU-1 pre 80 Pa"}, {idris, "undo #1"}}, "recorded by Tove", []string{reading}},
		{"another's by a supervisor", [][2]string{{tove, "AHU-1 pre 80 Pa"}, {maren, "undo #1"}}, "Taken back", nil},
		{"twice", [][2]string{{tove, "AHU-1 pre 80 Pa"}, {tove, "undo"}, {tove, "undo"}}, "Nothing of yours", nil},
		{"of an undo by number", [][2]string{{tove, "AHU-1 pre 80 Pa"}, {tove, "undo"}, {tove, "undo #2"}}, "Taken back", []string{reading}},
		{"of what is taken back", [][2]string{{tove, "AHU-1 pre 80 Pa"}, {tove, "undo"}, {tove, "undo #1"}}, "was taken back already", nil},
		{"unknown number", [][2]string{{tove, "undo 99999"}}, "No entry #99999", nil},
		{"the register", [][2]string{{maren, "undo 3"}}, "", nil},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			first := r.count()
			var reply string
			for _, l := range c.talk {
				text := l[1]
				if n, ok := strings.CutPrefix(text, "undo #"); ok {
					text = "undo " + itoa(first+int(n[0]-'0'))
				}
				_, reply = r.says(l[0], text)
			}
			wantText(t, reply, c.reply)
			r.wantStanding(c.want...)
			if reg, err := r.view.Register(t.Context()); err != nil || len(reg.Sites()) != 3 {
				t.Errorf("the register changed: %v", err)
			}
		})
	}
}

func itoa(n int) string {
	var b [20]byte
	i := len(b)
	for ; n > 0; n /= 10 {
		i--
		b[i] = byte('0' + n%10)
	}
	return string(b[i:])
}

func TestUndoButton(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m, _ := r.says(tove, "AHU-1 pre 80 Pa")
	wantText(t, r.press(idris, m, "Undo"), "recorded by Tove")
	wantText(t, r.press(tove, m, "Undo"), "Taken back")
	wantText(t, r.press(tove, m, "Undo"), "taken back already")
	r.wantStanding()
}

func TestEdits(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name  string
		first string
		edits []string
		want  []string
	}{
		{"value", "AHU-1 pre 80 Pa", []string{"AHU-1 pre 90 Pa"}, []string{"reading clinic/ahu-1/primary 90 Pa hz=?"}},
		{"there and back and there", "AHU-1 pre 80 Pa", []string{"AHU-1 pre 90 Pa", "AHU-1 pre 80 Pa", "AHU-1 pre 90 Pa"}, []string{"reading clinic/ahu-1/primary 90 Pa hz=?"}},
		{"line added", "AHU-1 pre 80 Pa", []string{"AHU-1 pre 80 Pa\nAHU-1 bag 120 Pa"}, []string{
			"reading clinic/ahu-1/primary 80 Pa hz=?", "reading clinic/ahu-1/secondary 120 Pa hz=?"}},
		{"line taken out", "AHU-1 pre 80 Pa\nAHU-1 bag 120 Pa", []string{"AHU-1 bag 120 Pa"}, []string{"reading clinic/ahu-1/secondary 120 Pa hz=?"}},
		{"line taken out, then another changed", "AHU-1 pre 80 Pa\nAHU-1 bag 120 Pa", []string{"AHU-1 bag 120 Pa", "AHU-1 bag 125 Pa"}, []string{
			"reading clinic/ahu-1/secondary 125 Pa hz=?"}},
		{"other bank", "AHU-1 pre 80 Pa", []string{"AHU-2 pre 80 Pa"}, []string{"reading clinic/ahu-2/primary 80 Pa hz=?"}},
		{"to talk", "AHU-1 pre 80 Pa", []string{"never mind"}, nil},
		{"to talk and back", "AHU-1 pre 80 Pa", []string{"never mind", "AHU-1 pre 80 Pa"}, []string{"reading clinic/ahu-1/primary 80 Pa hz=?"}},
		{"unclear keeps the old", "AHU-1 pre 80 Pa", []string{"AHU-1 80 Pa"}, []string{"reading clinic/ahu-1/primary 80 Pa hz=?"}},
		{"from talk", "hello there", []string{"AHU-1 pre 80 Pa"}, []string{"reading clinic/ahu-1/primary 80 Pa hz=?"}},
		{"time", "AHU-1 pre 80 Pa at 08:00", []string{"AHU-1 pre 80 Pa at 09:00"}, []string{"reading clinic/ahu-1/primary 80 Pa hz=?"}},
		{"completing one's own swap", "AHU-3 bags changed", []string{"AHU-3 bags changed 4 off clean 95 Pa"}, []string{
			"swap clinic/ahu-3/secondary count=4 clean=95 confirmed=true"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			m, _ := r.says(tove, c.first)
			for _, text := range c.edits {
				e, reply := r.edit(m, text)
				n := r.count()
				r.hear(e) // sent to us again
				if r.count() != n {
					t.Errorf("edit %q sent again added entries", text)
				}
				if r.reply(e) != reply {
					t.Errorf("edit %q sent again was answered anew", text)
				}
			}
			r.wantStanding(c.want...)
		})
	}
}

func TestEditMovesATime(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m, _ := r.says(tove, "AHU-1 pre 80 Pa at 08:00")
	r.edit(m, "AHU-1 pre 80 Pa at 09:00")
	a, ok, err := r.view.Assessment(t.Context(), "clinic/ahu-1/primary")
	must(t, err)
	if want := time.Date(2026, 3, 4, 9, 0, 0, 0, time.UTC); !ok || a.Last == nil || !a.Last.At.Equal(want) {
		t.Errorf("last reading %+v, want at %s", a.Last, want)
	}
}

func TestUnclearEditIsAnswered(t *testing.T) {
	t.Parallel()
	for _, how := range []string{"typed", "pressed"} {
		t.Run(how, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			m, _ := r.says(tove, "AHU-1 pre 80 Pa")
			e, reply := r.edit(m, "AHU-1 90 Pa")
			wantText(t, reply, "edit is unclear", "Which bank")
			if how == "typed" {
				r.says(tove, "primary")
			} else {
				r.press(tove, e, "primary")
			}
			r.wantStanding("reading clinic/ahu-1/primary 90 Pa hz=?")
		})
	}
}

func TestUndoAfterAnEditTakesTheMessageBack(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m, _ := r.says(tove, "AHU-1 pre 80 Pa\nAHU-1 bag 120 Pa")
	r.edit(m, "AHU-1 pre 85 Pa")
	r.says(tove, "undo")
	r.wantStanding()
}

func TestDeletionTakesBack(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m, _ := r.says(tove, "AHU-1 pre 80 Pa\nAHU-1 bag 120 Pa")
	r.edit(m, "AHU-1 bag 120 Pa")
	m.Change, m.Text = channel.Deleted, ""
	r.hear(m)
	wantText(t, r.reply(m), "Taken back")
	r.wantStanding()
	n := r.count()
	r.hear(m)
	if r.count() != n {
		t.Error("a second notice of the deletion added entries")
	}
	talk, _ := r.says(tove, "hello")
	talk.Change, talk.Text = channel.Deleted, ""
	r.hear(talk)
	if got := r.reply(talk); got != "" {
		t.Errorf("deleting talk was answered: %q", got)
	}
}

func TestWhoeverAnsweredTheAuthorMayDelete(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m, _ := r.says(tove, "AHU-3 62 Pa")
	r.press(idris, m, "primary")
	m.Change, m.Text = channel.Deleted, ""
	r.hear(m)
	r.wantStanding()
}
