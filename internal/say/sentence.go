package say

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/doubt"
	"clogwise/internal/entry"
	"clogwise/internal/locale"
)

// sentence says what one entry records.
func (in SavedInput) sentence(x entry.Entry) string {
	v := in.voice(x.Place)
	switch b := x.Body.(type) {
	case entry.Reading:
		return in.readingSentence(x, b)
	case entry.Amend:
		return in.amendedSentence(x, b)
	case entry.Swap:
		return swapSentence(b, x.At, v) + in.speaksAgainst(x)
	case entry.ZeroCheck:
		if b.OffsetPa == 0 {
			return v.In.Text("gauge zero checked, good.")
		}
		return v.In.Text("gauge zero is off by %s.", v.pressure(b.OffsetPa))
	case entry.OverRange:
		return v.In.Text("at or past the gauge's top, %s. Urgent: read it again with a larger gauge.", v.pressure(b.TopPa))
	case entry.Range:
		return v.In.Text("unstable, %s to %s. Kept, not trended. Fan hunting, wind or tube? Read again when steady.", v.pressure(b.LowPa), v.pressure(b.HighPa))
	case entry.Skip:
		return v.In.Text("no reading: %s. It does not count as one.", b.Reason)
	case entry.FanOff:
		return v.In.Text("fan off, nothing to read. It does not count as a reading.")
	case entry.Defect:
		if b.Fixed {
			return v.In.Text("fault put right: %s. Earlier readings that fit the fault are marked suspect.", b.Note)
		}
		return v.In.Text("note for the supervisor: %s.", b.Note)
	case entry.Event:
		return eventSentence(b, v)
	case entry.Booking:
		return bookingSentence(b, slices.Contains(in.NoSteps, x.Place), v)
	case entry.JobStart:
		if slices.Contains(in.StepsOut, x.Place) {
			return v.In.Text("job started, too; the steps sent for %s hold for it as well and are not sent again.", in.Register.Name(x.Place.AHU()))
		}
		return v.In.Text("job started; steps below are a reminder, not a permit.")
	case entry.JobDone:
		if b.CleanPa != nil {
			return v.In.Text("job closed, clean %s.", v.pressure(*b.CleanPa))
		}
		return v.In.Text("job closed.")
	case entry.Stock:
		return v.In.Text("stock of %s counted: %d.", b.Item, b.Count)
	case entry.Order:
		return orderSentence(b, v.In)
	case entry.Defer:
		if !b.Until.After(x.At) {
			return v.In.Text("deferral taken back; the date is the forecast's again.")
		}
		return v.In.Text("put off until %s: %s. The limit stays as it is.", v.day(b.Until), b.Reason)
	case entry.StepsRead:
		return v.In.Text("noted that you have read the steps (%s).", occasion(b.When, v.In))
	}
	return ""
}

// amendedSentence says what an earlier entry says from now on.
func (in SavedInput) amendedSentence(x entry.Entry, b entry.Amend) string {
	v := in.voice(x.Place)
	switch to := b.Body.(type) {
	case entry.Reading:
		return in.correctedSentence(x, b.Target, to)
	case entry.Swap:
		if to.Sure {
			return v.In.Text("change-out of %s confirmed (#%d); the new filters count from then.", v.moment(x.At), b.Target)
		}
	}
	amended := x
	amended.Body, amended.Kind = b.Body, b.Body.Kind()
	return v.In.Text("corrected: %s", in.sentence(amended))
}

func eventSentence(b entry.Event, v Setting) string {
	if b.Until != nil {
		return v.In.Text("%s noted until %s. Filters may load faster: two readings a week would tell.", b.What, v.day(*b.Until))
	}
	return v.In.Text("%s noted. Filters may load faster: two readings a week would tell.", b.What)
}

func bookingSentence(b entry.Booking, noSteps bool, v Setting) string {
	if b.Cancelled {
		return v.In.Text("booking cancelled.")
	}
	s := v.In.Text("change-out booked for %s.", v.moment(b.Start))
	if len(b.Crew) > 0 {
		s = v.In.Text("change-out booked for %s with %s.", v.moment(b.Start), strings.Join(b.Crew, ", "))
	}
	if noSteps {
		return s + " " + v.In.Text("Specialists only: no steps go out, the supervisors were told.")
	}
	return s + " " + v.In.Text("Steps go out the working day before and before start.")
}

func orderSentence(b entry.Order, in locale.Locale) string {
	switch {
	case b.Received:
		return in.Text("%d of %s received.", b.Count, b.Item)
	case b.Requested:
		return in.Text("order asked for: %s. It stands in the order list (type `orders`) until it is ordered.", orderWords(b, in))
	}
	return in.Text("order noted: %s.", orderWords(b, in))
}

func orderWords(b entry.Order, in locale.Locale) string {
	if b.Item == "" {
		return in.Text("%d filters", b.Count)
	}
	if b.Count == 0 {
		return b.Item
	}
	return fmt.Sprintf("%d × %s", b.Count, b.Item)
}

func swapSentence(b entry.Swap, at time.Time, v Setting) string {
	s := v.In.Text("filters changed %s", v.moment(at))
	if b.Count != nil {
		s += v.In.Text(", %d off", *b.Count)
	}
	if b.Item != "" {
		s += v.In.Text(", now %s", b.Item)
	}
	if b.BeforePa != nil {
		s += v.In.Text(", before %s", v.pressure(*b.BeforePa))
	}
	if b.CleanPa != nil {
		s += v.In.Text(", clean %s", v.pressure(*b.CleanPa))
	}
	return s + "."
}

// readingSentence echoes a reading in both unit systems, with what it amounts
// to at design airflow when that differs.
func (in SavedInput) readingSentence(x entry.Entry, r entry.Reading) string {
	v := in.voice(x.Place)
	s := v.pressure(r.Pa)
	if r.FanHz != nil {
		s += v.In.Text(" at %s Hz", v.In.Figures(number(*r.FanHz)))
	}
	if r.FanPct != nil {
		s += v.In.Text(" at %s %% fan speed", v.In.Figures(number(*r.FanPct)))
	}
	if r.FlowM3s != nil {
		s += v.In.Text(" at %s", v.In.Flow(*r.FlowM3s, v.Units))
	}
	a := in.Assessments[x.Place]
	own := a.Last != nil && a.Last.Seq == x.Seq
	if own && math.Abs(a.Last.DesignPa-r.Pa) >= 1 {
		s += v.In.Text("; %s at design airflow", v.short(a.Last.DesignPa))
	}
	if in.Now.Sub(x.At) > 90*time.Minute {
		s += v.In.Text(", read %s", v.moment(x.At))
	}
	s += "."
	if r.Wet {
		s += " " + v.In.Text("Wet: kept out of the trend.")
	}
	if r.Assumed && r.Unit != "" {
		s += " " + v.In.Text("Unit not given: taken as %s.", r.Unit)
	}
	if own && strings.HasPrefix(a.Last.Basis, airflowNotGiven) {
		s += " " + v.In.Text("Airflow not given.")
	}
	if !x.Place.Whole() {
		return s
	}
	for _, f := range a.Findings {
		if f.Seq == x.Seq {
			return s + " " + v.In.Text("Does not fit: %s", f.Text+" "+f.Check)
		}
	}
	return s
}

// airflowNotGiven begins the basis of a reading without its airflow.
const airflowNotGiven = "airflow not given"

// correctedSentence names what was read and when, and what it is now.
func (in SavedInput) correctedSentence(x entry.Entry, target int64, now entry.Reading) string {
	v := in.voice(x.Place)
	for _, o := range in.Old {
		if was, ok := o.Body.(entry.Reading); ok && o.Seq == target {
			return v.In.Text("%s of %s corrected to %s; #%d keeps the old value.", v.pressure(was.Pa), v.moment(o.At), v.pressure(now.Pa), target)
		}
	}
	return v.In.Text("corrected to %s; #%d keeps the old value.", v.pressure(now.Pa), target)
}

// speaksAgainst is what readings say against a change-out, with what to type.
func (in SavedInput) speaksAgainst(x entry.Entry) string {
	a, ok := in.Assessments[x.Place]
	if !ok || a.DoubtedSwap == nil || a.DoubtedSwap.Seq != x.Seq {
		return ""
	}
	return " " + doubted(a)
}

// doubted is the finding that puts a change-out in doubt.
func doubted(a assess.Assessment) string {
	for _, f := range a.Findings {
		if f.Code == string(doubt.SwapNoDrop) && f.Open {
			return f.Text + " " + f.Check
		}
	}
	return ""
}

func number(x float64) string {
	return strings.TrimSuffix(strings.TrimSuffix(fmt.Sprintf("%.2f", x), "0"), ".0")
}

func bodyWords(b entry.Body, v Setting) string {
	if r, ok := b.(entry.Reading); ok {
		return v.short(r.Pa)
	}
	return kindName(b.Kind(), v.In)
}

// kindName names what an entry is, in a word or two.
func kindName(k entry.Kind, in locale.Locale) string {
	switch k {
	case entry.KindReading:
		return in.Text("reading")
	case entry.KindSwap:
		return in.Text("change-out")
	case entry.KindZeroCheck:
		return in.Text("zero check")
	case entry.KindOverRange:
		return in.Text("over range")
	case entry.KindRange:
		return in.Text("range")
	case entry.KindSkip:
		return in.Text("skip")
	case entry.KindFanOff:
		return in.Text("fan off")
	case entry.KindDefect:
		return in.Text("defect")
	case entry.KindAmend:
		return in.Text("correction")
	case entry.KindEvent:
		return in.Text("event")
	case entry.KindBooking:
		return in.Text("booking")
	case entry.KindJobStart:
		return in.Text("job start")
	case entry.KindJobDone:
		return in.Text("job done")
	case entry.KindStock:
		return in.Text("stock")
	case entry.KindOrder:
		return in.Text("order")
	case entry.KindDefer:
		return in.Text("defer")
	case entry.KindStepsSent:
		return in.Text("steps sent")
	case entry.KindStepsRead:
		return in.Text("steps read")
	case entry.KindRegister:
		return in.Text("register")
	case entry.KindRunDay:
		return in.Text("run hours of a day")
	}
	return strings.ReplaceAll(string(k), "-", " ")
}
