package bot_test

import (
	"strings"
	"testing"
)

// Wednesday 4 March 2026, 10:13 by then; the bags of AHU-3 reach 200 Pa in April,
// and crews work Monday to Friday.
func TestPlansAreHeldAgainstWhatIsKnown(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name   string
		before []string
		say    string
		want   []string // parts of the reply
		not    string
	}{
		{"in good time", nil, "book AHU-3 bag 20 May 09:00 with Tove", nil, "Mind"},
		{"weekend", nil, "book AHU-3 bag 16 May 09:00 with Tove", []string{"No crew works at Quillford Clinic on Sat 16 May"}, ""},
		{"holiday", nil, "book AHU-3 bag 25 Dec 09:00 with Tove", []string{"Fri 25 Dec is a day off at Quillford Clinic"}, ""},
		{"late", nil, "book AHU-3 bag 30 Oct 09:00", []string{"By then it is past 200 Pa, 9 to 1: likely"}, ""},
		{"a stranger", nil, "book AHU-3 bag 20 May 09:00 with Tove and Zed", []string{"Zed is not in the crew of Quillford Clinic: Tove, Idris and Pell"}, ""},
		{"names as the register has them", nil, "book AHU-3 bag 20 May 09:00 with tove", []string{"with Tove."}, "Mind"},
		{"booked before", []string{"book AHU-3 bag 20 May 09:00"}, "book AHU-3 bag 21 May 09:00", []string{"takes the place of its booking for Wed 20 May 09:00"}, ""},
		{"booked elsewhere", []string{"book AHU-1 bag 20 May 09:00 with Tove"}, "book AHU-3 bag 20 May 09:30 with Tove", []string{"Tove is booked for AHU-1 secondary, Wed 20 May 09:00, too"}, ""},
		{"put off before", []string{"defer AHU-3 bag to 28 May: theatre week"}, "book AHU-3 bag 21 May 09:00", []string{"put off until 28 May (theatre week); the booking is before"}, ""},
		{"put off though booked", []string{"book AHU-3 bag 20 May 09:00"}, "defer AHU-3 bag to 28 May: theatre week",
			[]string{"stays booked for Wed 20 May 09:00", "book AHU-3 secondary 28 May 09:00", "cancel booking AHU-3 secondary"}, ""},
		{"put off too long", nil, "defer AHU-3 bag to 30 Oct: theatre week", []string{"By then it is past 200 Pa"}, ""},
		{"most of a year off", nil, "defer AHU-3 bag to 1 May: theatre week", []string{"until 1 May 2027?", "Nothing saved yet"}, "put off until"},
		{"with its year", nil, "defer AHU-3 bag to 1 May 2027: theatre week", []string{"put off until 1 May 2027", "By then it is past 200 Pa"}, ""},
		{"no steps for specialists' plant", nil, "book EF-9 pre 20 May 09:00 with Tove", []string{"Specialists only: no steps go out"}, "Steps go out"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			r.aged() // to 16 May 2026
			r.now = r.now.AddDate(0, 0, -3)
			for _, s := range c.before {
				r.says(maren, s)
			}
			_, reply := r.says(maren, c.say)
			wantText(t, reply, c.want...)
			if c.not != "" && strings.Contains(reply, c.not) {
				t.Errorf("reply %q has %q", reply, c.not)
			}
			if n := strings.Count(reply, "\n"); n > 4 {
				t.Errorf("%d lines: %q", n+1, reply)
			}
		})
	}
}

func TestDeferralsYearIsAskedFor(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m, _ := r.says(maren, "defer AHU-3 bag to 1 Feb: theatre week")
	if reply := r.press(maren, m, "1 Feb 2027"); !strings.Contains(reply, "put off until 1 Feb 2027") {
		t.Errorf("%q", reply)
	}
}

// A booked change-out stays among the visits when it is put off, and is said to.
func TestVisitsKeepWhatIsBookedAndPutOff(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.aged()
	r.says(maren, "book AHU-3 bag 20 May 09:00")
	r.says(maren, "defer AHU-3 bag to 1 Dec: theatre week")
	_, reply := r.says(maren, "visits")
	wantText(t, reply, "Wed 20 May: AHU-3 secondary (booked", "though put off to 1 Dec")
	_, reply = r.says(maren, "due")
	wantText(t, reply, "Quillford Clinic")
}

// What somebody asked for stands in the order list and the digest until it is
// ordered, as the reply promises.
func TestWishesStandInTheOrderList(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	_, reply := r.says(tove, "need 20 QC-P48")
	wantText(t, reply, "20 × QC-P48", "type orders")
	seq := number(t, reply)
	for _, ask := range []string{"orders", "digest"} {
		_, reply = r.says(maren, ask)
		wantText(t, reply, "20 × QC-P48", "Tove", seq)
	}
	r.says(maren, "ordered 20 QC-P48")
	for _, ask := range []string{"orders", "digest"} {
		if _, reply = r.says(maren, ask); strings.Contains(reply, "Tove, 4 Mar") {
			t.Errorf("%s after it was ordered: %q", ask, reply)
		}
	}
	r.says(tove, "need 20 QC-P48")
	r.says(tove, "undo")
	if _, reply = r.says(maren, "orders"); strings.Contains(reply, "Tove") {
		t.Errorf("taken back: %q", reply)
	}
}
