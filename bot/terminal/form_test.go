package terminal_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"clogwise/bot/terminal"
	"clogwise/internal/channel"
	"clogwise/internal/locale"
)

// formEcho is an echo that has one form.
type formEcho struct {
	*echo
	submitted []channel.Submission
}

func (e *formEcho) FormFor(_ context.Context, m channel.Message) (*channel.Form, error) {
	if !strings.HasPrefix(m.Text, "round") {
		return nil, nil
	}
	return &channel.Form{ID: "r", Title: "Round AHU-3", Intro: "What the gauges show.", Fields: []channel.Field{
		{ID: "fan", Label: "Fan", Hint: "45 Hz"}, {ID: "pre", Label: "Primary (Pa)", Must: true}, {ID: "at", Label: "Start", Value: "09:00"},
	}}, nil
}

func (e *formEcho) OpenForm(ctx context.Context, p channel.Press) (*channel.Form, error) {
	return e.FormFor(ctx, channel.Message{Text: p.Value})
}

func (e *formEcho) SubmitForm(_ context.Context, s channel.Submission) (map[string]string, error) {
	e.submitted = append(e.submitted, s)
	if s.Values["pre"] == "lots" {
		return map[string]string{"pre": "not understood"}, nil
	}
	e.send(s.From, []channel.Post{{Text: "recorded " + s.Values["pre"]}})
	return nil, nil
}

func (e *formEcho) Page(context.Context, channel.Message) (*channel.Page, error) {
	return &channel.Page{}, nil
}

func formTalk(t *testing.T, lines ...string) (string, *formEcho) {
	t.Helper()
	e := &formEcho{echo: &echo{}}
	var out safeBuffer
	e.term = &terminal.Channel{In: strings.NewReader(strings.Join(lines, "\n") + "\n"), Out: &out, As: "Tove", Channel: "clinic", Now: fixed}
	if err := e.term.Run(t.Context(), e); err != nil {
		t.Fatal(err)
	}
	e.out.Wait()
	return out.String(), e
}

func TestFormIsAskedLineByLine(t *testing.T) {
	t.Parallel()
	out, e := formTalk(t, "round AHU-3", "45 Hz", "", "lots", "-", "85", "due")
	for _, want := range []string{
		"Round AHU-3. What the gauges show.\n", "Fan [45 Hz]:\n> 45 Hz\n", "This one is needed.\nPrimary (Pa):\n> lots\n",
		"Start (Enter: 09:00):\n> -\n", "Primary (Pa): not understood\nPrimary (Pa):\n> 85\n", "recorded 85", "heard due",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("lacks %q:\n%s", want, out)
		}
	}
	if len(e.submitted) != 2 || e.submitted[0].From.ID != e.submitted[1].From.ID {
		t.Fatalf("handed in %+v", e.submitted)
	}
	if v := e.submitted[1].Values; v["fan"] != "45 Hz" || v["pre"] != "85" || v["at"] != "09:00" {
		t.Errorf("values %v", v)
	}
}

func TestFormIsLeft(t *testing.T) {
	t.Parallel()
	out, e := formTalk(t, "round AHU-3", "/cancel", "due")
	if len(e.submitted) != 0 || !strings.Contains(out, "nothing was recorded") || !strings.Contains(out, "heard due") {
		t.Error(out)
	}
}

func fixed() time.Time { return time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC) }

// The terminal's own words are in the language of the channel typed into.
func TestTerminalSpeaksTheLanguageOfTheChannel(t *testing.T) {
	t.Parallel()
	e := &formEcho{echo: &echo{}}
	var out safeBuffer
	e.term = &terminal.Channel{In: strings.NewReader("round AHU-3\n\n\n/cancel\n/as Jette\n/press 7\n/channel hall\n/help\n"), Out: &out, As: "Tove", Channel: "clinic",
		Channels: []string{"clinic", "hall"}, Now: fixed,
		Tongue: func(_ context.Context, channel string) locale.Locale {
			return locale.Of(map[string]string{"clinic": "de", "hall": "es"}[channel])
		}}
	if err := e.term.Run(t.Context(), e); err != nil {
		t.Fatal(err)
	}
	e.out.Wait()
	for _, want := range []string{
		"Eingabetaste oder - lässt eine Zeile leer; /cancel verlässt das Formular.", "Diese Angabe ist nötig.", "Formular verlassen; nichts wurde eingetragen.",
		"Du bist jetzt Jette.", "Keine Taste 7.", "Ahora estás en hall.", "Aquí: /as NOMBRE",
	} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("lacks %q:\n%s", want, out.String())
		}
	}
}
