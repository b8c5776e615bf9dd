package app_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/app"
)

const table = "time,ahu,bank,pa\n2026-11-20 09:00,AHU-1,primary,80\n2026-11-21 09:00,AHU-1,primary,82\n"

func workbook(t *testing.T) []byte {
	t.Helper()
	f := excelize.NewFile()
	for i, line := range strings.Split(strings.TrimSpace(table), "\n") {
		for j, cell := range strings.Split(line, ",") {
			at, err := excelize.CoordinatesToCellName(j+1, i+1)
			if err != nil {
				t.Fatal(err)
			}
			if err := f.SetCellStr("Sheet1", at, cell); err != nil {
				t.Fatal(err)
			}
		}
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A table dropped into the channel is fetched, summarised, and recorded when the
// button is pressed; a failed download makes the message come again.
func TestFileDroppedIntoTheChannel(t *testing.T) {
	t.Parallel()
	for _, in := range ways {
		for name, data := range map[string][]byte{"week.csv": []byte(table), "week.xlsx": workbook(t)} {
			t.Run(in.name+" "+name, func(t *testing.T) {
				t.Parallel()
				w := way(t, in.alter)
				w.Fail("download", fakeslack.Fault{Status: 503})
				p := w.answer(t, w.Say(room, toveID, "", w.WithTable(name, data)))
				has(t, p.Text, name+": 2 readings of 1 bank", "Nothing recorded yet")
				for range 2 {
					if err := w.Press(p, "Record 2", toveID); err != nil {
						t.Fatal(err)
					}
				}
				if _, err := w.WaitPost(w.ctx, func(p fakeslack.Post) bool { return strings.Contains(p.Text, "nothing new") }); err != nil {
					t.Error(err)
				}
				if n := w.readings(t); n != 2 {
					t.Errorf("%d readings", n)
				}
				for _, c := range w.Calls("download") {
					if len(c.Form) != 1 {
						t.Errorf("download with %v", c.Form)
					}
				}
			})
		}
	}
}

// In the terminal a path is dropped, and a form is asked for line by line.
func TestTerminalTakesFilesAndForms(t *testing.T) {
	t.Parallel()
	a := filled(t)
	path := filepath.Join(t.TempDir(), "week.csv")
	if err := os.WriteFile(path, []byte(table), 0o600); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	lines := []string{"import " + path, "/press 1", "/press 1", "import nowhere.csv", "round AHU-3", "45 Hz", "lots", "-", "88", "home"}
	err := a.Talk(t.Context(), app.Talk{In: strings.NewReader(strings.Join(lines, "\n")), Out: &out, Channel: "clinic", As: "Tove"})
	if err != nil {
		t.Fatal(err)
	}
	has(t, out.String(), "week.csv: 2 readings of 1 bank, 20 Nov to 21 Nov.", "[1] Record 2", "week.csv: 2 rows recorded", "nothing new",
		"AHU-3 primary (Pa) [last ", "AHU-3 primary: I can't read \"lots\" as a number", "AHU-3 primary: 88 Pa (0.35 in wc) at 45 Hz", "My bookings:")
}
