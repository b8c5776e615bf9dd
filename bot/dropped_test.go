package bot_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"clogwise/bot"
	"clogwise/internal/channel"
)

const readingsFile = `time,ahu,bank,pa,fan_hz
2026-03-02 09:00,AHU-1,primary,80,45
2026-03-03 09:00,AHU-1,primary,82,45
2026-03-03 09:10,AHU-1,secondary,120,
2026-03-03 09:20,AHU-99,primary,70,
`

// drop is a message with a file.
func (r *rig) drop(user, name, data string) channel.Message {
	m := r.message(user, "")
	m.Files = []channel.Dropped{{Name: name, Size: int64(len(data)), Open: func(context.Context) (io.ReadCloser, error) {
		return io.NopCloser(strings.NewReader(data)), nil
	}}}
	return m
}

// A file is summarised first and recorded when the button is pressed: once,
// after a restart, however often, and taken back as a whole.
func TestFileIsRecordedWhenConfirmed(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m := r.drop(tove, "week.csv", readingsFile)
	r.hear(m)
	wantText(t, r.reply(m), "week.csv: 3 readings of 2 banks, 2 Mar to 3 Mar.", "1 fault; those rows are left out:", "row 5", "AHU-99", "Nothing recorded yet")
	r.wantStanding()
	r.restart()
	wantText(t, r.press(guest, m, "Record 3"), "crew")
	r.wantStanding()
	wantText(t, r.press(tove, m, "Record 3"), "week.csv: 3 rows recorded", "Undo")
	want := []string{"reading clinic/ahu-1/primary 80 Pa hz=45", "reading clinic/ahu-1/primary 82 Pa hz=45", "reading clinic/ahu-1/secondary 120 Pa hz=?"}
	r.wantStanding(want...)
	wantText(t, r.press(tove, m, "Record 3"), "recorded before; nothing new")
	r.wantStanding(want...)

	again := r.drop(idris, "copy of week.csv", readingsFile)
	r.hear(again)
	wantText(t, r.reply(again), "3 of them are recorded already", "Nothing to record")

	made, err := r.store.Entry(t.Context(), int64(r.count()))
	must(t, err)
	if made.By != tove {
		t.Errorf("signed %q", made.By)
	}
	wantText(t, r.pressed(tove, channel.Choice{Action: "undo", Value: made.Source[:strings.LastIndex(made.Source, ":")]}), "Taken back")
	r.wantStanding()
}

// The faults that a summary has no room for come as a file: nobody in a channel
// has a command line.
func TestAllFaultsAreListed(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m := r.drop(tove, "bad.csv", "time,ahu,bank,pa\n"+strings.Repeat("2026-03-02 09:00,AHU-99,primary,80\n", 5)+"2026-03-02 09:00,AHU-1,primary,80\n")
	r.hear(m)
	reply := r.reply(m)
	wantText(t, reply, "5 faults", "… and 2 more: all are in the file with this.")
	post, err := r.store.Post(t.Context(), bot.ReplyKey(m))
	must(t, err)
	if files := post.Post.Files; len(files) != 1 || files[0].Name != "bad-faults.txt" || strings.Count(string(files[0].Data), "AHU-99") != 5 {
		t.Errorf("files %+v", files)
	}
}

func TestFilesThatAreNoneOfOurs(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	for name, m := range map[string]channel.Message{
		"of a guest":         r.drop(guest, "week.csv", readingsFile),
		"another table":      r.drop(tove, "menu.csv", "dish,price\nsoup,4\n"),
		"a picture":          r.drop(tove, "gauge.jpg", "…"),
		"a table of nothing": r.drop(tove, "empty.xlsx", "not a workbook"),
	} {
		r.hear(m)
		if got := r.reply(m); got != "" {
			t.Errorf("%s: %q", name, got)
		}
	}
	m := r.drop(tove, "menu.csv", "dish,price\nsoup,4\n")
	m.Mention = true
	r.hear(m)
	wantText(t, r.reply(m), "no readings in it", "Columns: time")
	m = r.drop(guest, "week.csv", readingsFile)
	m.Mention = true
	r.hear(m)
	wantText(t, r.reply(m), "crew")
}

const foreignFile = `Zeitstempel;Anlage;Filterstufe;Filter-DP (in wc);Wetter
2026-03-03 09:00;AHU-1;primary;0,32;kalt
2026-03-03 09:10;AHU-1;secondary;0,48;
`

// Columns of other names are guessed, in text and workbook alike; the guesses are
// shown, and nothing is recorded before the button under them is pressed.
func TestColumnsOfOtherNamesAreShownAndConfirmed(t *testing.T) {
	t.Parallel()
	for name, data := range map[string]string{"week.csv": foreignFile, "week.xlsx": workbook(t, foreignFile)} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			m := r.drop(tove, name, data)
			r.hear(m)
			wantText(t, r.reply(m), name+": 2 readings of 2 banks", "4 columns have other names and are guessed", "“Zeitstempel” is time (first: 2026-03-03 09:00)",
				"“Anlage” is ahu", "“Filterstufe” is bank", "“Filter-DP (in wc)” is value in inH2O (first: 0", "Wetter", "Nothing recorded yet")
			r.wantStanding()
			wantText(t, r.press(tove, m, "Record 2"), name+": 2 rows recorded")
			// 0.32 and 0.48 in of conventional water at 249.08891 Pa (NIST SP 811).
			r.wantStanding("reading clinic/ahu-1/primary 80 Pa hz=?", "reading clinic/ahu-1/secondary 120 Pa hz=?")
		})
	}
}

// workbook is a table as a workbook of texts.
func workbook(t *testing.T, table string) string {
	t.Helper()
	f := excelize.NewFile()
	for i, line := range strings.Split(strings.TrimSpace(table), "\n") {
		cells := strings.Split(line, ";")
		must(t, f.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &cells))
	}
	var b bytes.Buffer
	must(t, f.Write(&b))
	return b.String()
}

func TestFileBounds(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m := r.drop(tove, "big.csv", readingsFile)
	m.Files[0].Size = 3 << 20
	r.hear(m)
	wantText(t, r.reply(m), "larger than 2 MB", "Nothing recorded")
	m = r.drop(tove, "liar.csv", strings.Repeat("x", 3<<20))
	m.Files[0].Size = 10
	r.hear(m)
	wantText(t, r.reply(m), "larger than 2 MB")
	long := "time,ahu,bank,pa\n" + strings.Repeat("2026-03-02 09:00,AHU-1,primary,80\n", 5001)
	m = r.drop(tove, "long.csv", long)
	r.hear(m)
	wantText(t, r.reply(m), "Too many rows")
	m = r.drop(tove, "gone.csv", "")
	m.Files[0].Open = func(context.Context) (io.ReadCloser, error) { return nil, errors.New("cut") }
	if err := r.engine.HandleMessage(t.Context(), m); err == nil {
		t.Error("a file that was not fetched must come again")
	}
	if _, err := r.store.Post(t.Context(), bot.ReplyKey(m)); err == nil {
		t.Error("answered all the same")
	}
	r.wantStanding()
}

// Rows of sites that the channel does not serve are left out.
func TestFileOfAnotherSite(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m := r.drop(tove, "both.csv", "time,site,ahu,bank,pa\n2026-03-02 09:00,clinic,AHU-1,primary,80\n2026-03-02 09:00,hall,AHU-1,primary,81\n")
	r.hear(m)
	wantText(t, r.reply(m), "1 reading of 1 bank", "1 fault", "hall")
	r.press(tove, m, "Record 1")
	r.wantStanding("reading clinic/ahu-1/primary 80 Pa hz=?")
}
