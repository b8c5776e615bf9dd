package app_test

import (
	"strings"
	"testing"

	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/app"
	"clogwise/internal/config"
)

// ways are the two ways in.
var ways = []struct {
	name  string
	alter func(*config.Config)
}{
	{"socket", nil},
	{"http", func(c *config.Config) { c.Slack.AppToken = "" }},
}

func way(t *testing.T, alter func(*config.Config)) *workspace {
	t.Helper()
	w := connected(t, alter)
	if alter != nil {
		w.SendEventsTo("http://" + w.listen + app.EventsPath)
	}
	return w
}

func has(t *testing.T, got string, words ...string) {
	t.Helper()
	for _, word := range words {
		if !strings.Contains(got, word) {
			t.Errorf("%q lacks %q", got, word)
		}
	}
}

// A round is asked for by command, opens at once, shows faults beside the fields
// and records once, however often it is handed in.
func TestRoundByForm(t *testing.T) {
	t.Parallel()
	for _, in := range ways {
		t.Run(in.name, func(t *testing.T) {
			t.Parallel()
			w := way(t, in.alter)
			w.answer(t, w.Say(room, toveID, "AHU-3 pre 80 Pa"))
			w.Command(room, toveID, "/clogwise", "round AHU-3")
			v, err := w.WaitView(w.ctx, 1)
			if err != nil {
				t.Fatal(err)
			}
			if len(v.Fields) != 3 || v.Title != "Round AHU-3" {
				t.Fatalf("form %+v", v)
			}
			has(t, v.Fields[1].Label+v.Fields[1].Hint, "AHU-3 primary (Pa)", "last 80 Pa", "limit 150 Pa")
			bank := v.Fields[1].Block
			faults, err := w.Submit(w.ctx, v, toveID, map[string]string{bank: "a lot"})
			if err != nil || faults[bank] == "" {
				t.Errorf("faults %v, %v", faults, err)
			}
			for range 2 {
				faults, err = w.Submit(w.ctx, v, toveID, map[string]string{v.Fields[0].Block: "45 Hz", bank: "85", v.Fields[2].Block: "lots & <more>"})
				if err != nil || len(faults) != 1 {
					t.Errorf("a fault in the last field: %v, %v", faults, err)
				}
			}
			for range 2 {
				faults, err = w.Submit(w.ctx, v, toveID, map[string]string{v.Fields[0].Block: "45 Hz", bank: "85"})
				if err != nil || len(faults) != 0 {
					t.Errorf("faults %v, %v", faults, err)
				}
			}
			p, err := w.WaitPost(w.ctx, func(p fakeslack.Post) bool { return strings.Contains(p.Text, "85 Pa") })
			if err != nil || p.Channel != room {
				t.Errorf("answer %+v, %v", p, err)
			}
			if n := w.readings(t); n != 2 {
				t.Errorf("%d readings, want 2", n)
			}
		})
	}
}

// The button under a reply opens the form, and the answer goes into its thread.
func TestRoundByButton(t *testing.T) {
	t.Parallel()
	w := way(t, nil)
	ts := w.Say(room, toveID, "round AHU-3")
	p := w.answer(t, ts)
	if err := w.Press(p, "Fill in", toveID); err != nil {
		t.Fatal(err)
	}
	v, err := w.WaitView(w.ctx, 1)
	if err != nil {
		t.Fatal(err)
	}
	if faults, err := w.Submit(w.ctx, v, toveID, map[string]string{v.Fields[1].Block: "85"}); err != nil || len(faults) > 0 {
		t.Errorf("%v %v", faults, err)
	}
	if _, err := w.WaitPost(w.ctx, func(p fakeslack.Post) bool { return p.Thread == ts && strings.Contains(p.Text, "85 Pa") }); err != nil {
		t.Error(err)
	}
	// Somebody of no crew gets words in place of a form.
	if err := w.Press(p, "Fill in", "U0OTHER1"); err != nil {
		t.Fatal(err)
	}
	if _, err := w.WaitPost(w.ctx, func(p fakeslack.Post) bool { return p.Thread == ts && strings.Contains(p.Text, "crew") }); err != nil || w.Views() != 1 {
		t.Errorf("%d forms, %v", w.Views(), err)
	}
}

// The home tab shows what is due, booked and owed, opens forms, and answers there
// in direct messages.
func TestHomeTab(t *testing.T) {
	t.Parallel()
	for _, in := range ways {
		t.Run(in.name, func(t *testing.T) {
			t.Parallel()
			w := way(t, in.alter)
			w.answer(t, w.Say(room, marenID, "book AHU-2 pre 1 Dec 09:00 with Tove"))
			v, err := w.OpenHome(w.ctx, toveID)
			if err != nil {
				t.Fatal(err)
			}
			has(t, v.Text, "Due\nQuillford Clinic", "My bookings\nAHU-2 primary, Tue 1 Dec 09:00", "Readings owed")
			if err := w.PressHome(v, "Round AHU-1"); err != nil {
				t.Fatal(err)
			}
			f, err := w.WaitView(w.ctx, 1)
			if err != nil {
				t.Fatal(err)
			}
			if faults, err := w.Submit(w.ctx, f, toveID, map[string]string{f.Fields[1].Block: "85"}); err != nil || len(faults) > 0 {
				t.Errorf("%v %v", faults, err)
			}
			if _, err := w.WaitHome(w.ctx, toveID, v.ID); err != nil {
				t.Error(err)
			}
			if _, err := w.WaitPost(w.ctx, func(p fakeslack.Post) bool {
				return p.Channel == "D"+toveID[1:] && strings.Contains(p.Text, "85 Pa")
			}); err != nil {
				t.Error(err)
			}
			other, err := w.OpenHome(w.ctx, "U0OTHER1")
			if err != nil {
				t.Fatal(err)
			}
			has(t, other.Text, "no crew")
		})
	}
}

// Booking by form takes the pickers' day and time.
func TestBookByForm(t *testing.T) {
	t.Parallel()
	w := way(t, nil)
	w.answer(t, w.Say(room, toveID, "AHU-2 pre 140 Pa"))
	w.answer(t, w.Say(room, toveID, "AHU-2 pre 152 Pa"))
	p := w.answer(t, w.Say(room, marenID, "due"))
	if err := w.Press(p, "Book AHU-2 primary", marenID); err != nil {
		t.Fatalf("%v: %q %+v", err, p.Text, p.Buttons)
	}
	v, err := w.WaitView(w.ctx, 1)
	if err != nil {
		t.Fatal(err)
	}
	faults, err := w.Submit(w.ctx, v, marenID, map[string]string{"day": "2026-12-01", "crew": "Tove"})
	if err != nil || len(faults) > 0 {
		t.Errorf("%v %v", faults, err)
	}
	if _, err := w.WaitPost(w.ctx, func(p fakeslack.Post) bool {
		return strings.Contains(p.Text, "booked for Tue 1 Dec 09:00 with Tove")
	}); err != nil {
		t.Error(err)
	}
	// The same form pressed again still opens; the limit of one trigger is the platform's.
	if err := w.Press(p, "Put off AHU-2 primary", toveID); err != nil {
		t.Fatal(err)
	}
	if _, err := w.WaitPost(w.ctx, func(p fakeslack.Post) bool {
		return strings.Contains(p.Text, "Maren can") || strings.Contains(p.Text, "supervisor")
	}); err != nil {
		t.Error(err)
	}
}
