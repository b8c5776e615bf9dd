package bot

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/phrase"
	"clogwise/internal/say"
)

// correction amends the reading that a message puts right: the last one, or the
// one that showed the value named as wrong. Airflow that the correction leaves
// out stays as it was said.
func (d *draft) correction(ctx context.Context, it phrase.Item, body entry.Reading) error {
	readings, err := d.standing(ctx, it.Place, entry.KindReading)
	if err != nil {
		return err
	}
	target, ok := readingMeant(readings, it.Was)
	if it.Was == nil {
		target, ok = d.lastSaid(readings, it)
	}
	if !ok {
		d.notes = append(d.notes, say.NothingToCorrect(d.talk.in()))
		d.put(it.Place, it, body)
		return nil
	}
	if old, ok := target.Body.(entry.Reading); ok {
		if body.FlowM3s == nil && body.FanHz == nil && body.FanPct == nil {
			body.FlowM3s, body.FanHz, body.FanPct = old.FlowM3s, old.FanHz, old.FanPct
		}
		body.Wet = body.Wet || old.Wet
	}
	d.amend(target, it, body)
	return nil
}

// lastSaid finds, among readings by time, the one that a correction without an old
// value is of: what the speaker said last, if that was lately or the correction names
// no place of its own, else the newest.
func (d *draft) lastSaid(readings []entry.Entry, it phrase.Item) (target entry.Entry, ok bool) {
	for _, x := range readings {
		lately := slices.Contains(it.Flags, "here") || d.engine.Now().Sub(x.Received) < againWithin
		if x.By == d.talk.who && lately && x.Seq > target.Seq {
			target, ok = x, true
		}
	}
	if ok {
		return target, true
	}
	return readingMeant(readings, nil)
}

// readingMeant finds, among readings by time, the one that a correction is of: the
// last where no old value is named, else the one nearest to it, of several the
// last; none where no reading is near.
func readingMeant(readings []entry.Entry, was *float64) (target entry.Entry, ok bool) {
	if len(readings) == 0 {
		return target, false
	}
	if was == nil {
		return readings[len(readings)-1], true
	}
	least := nearby(*was)
	for _, x := range slices.Backward(readings) {
		r, reading := x.Body.(entry.Reading)
		if off := math.Abs(r.Pa - *was); reading && off < least {
			target, least, ok = x, off, true
		}
	}
	return target, ok
}

// correctedWithin is how old the reading that a correction is of may be without a
// question: people put right what they wrote of late.
const correctedWithin = 30 * 24 * time.Hour

// nearby is how far a value that was typed in another unit may be off by
// rounding, Pa.
func nearby(pa float64) float64 { return max(1.5, 0.02*pa) }

// whichReading asks which reading is meant when none is near the value that a
// correction names as wrong. Own is what the message recorded before an edit.
func (e *Engine) whichReading(ctx context.Context, t *talk, meaning phrase.Meaning, own []entry.Entry) (a phrase.Asking, ask bool, err error) {
	d := draft{engine: e, talk: t, own: own}
	for _, it := range meaning.Items {
		body, reading := it.Body.(entry.Reading)
		if !reading || !it.CorrectsLast || it.Was == nil {
			continue
		}
		readings, err := d.standing(ctx, it.Place, entry.KindReading)
		if err != nil {
			return a, false, err
		}
		old, found := readingMeant(readings, it.Was)
		if len(readings) == 0 || found && (t.sure || e.Now().Sub(old.At) < correctedWithin) {
			continue
		}
		if found { // of long ago, which is seldom meant
			readings = append(slices.Clone(readings), old)
		}
		a = phrase.Asking{Code: "which-reading", Text: say.WhichReading(say.At(t.siteOf(it.Place), e.Now()), t.reg.Name(it.Place), *it.Was, body.Pa)}
		if len(meaning.Items) == 1 { // a choice stands for the whole message
			a.Choices = t.lastReadings(readings, it, body)
		}
		return a, true, nil
	}
	return a, false, nil
}

// lastReadings offers the newest readings of different values for correction.
func (t *talk) lastReadings(readings []entry.Entry, it phrase.Item, to entry.Reading) (out []phrase.Choice) {
	const most = 3
	at := say.At(t.siteOf(it.Place), t.scope.Now)
	seen := map[string]bool{}
	for _, x := range slices.Backward(readings) {
		r, ok := x.Body.(entry.Reading)
		old := plain(r.Pa)
		if !ok || seen[old] || len(out) == most {
			continue
		}
		seen[old] = true
		means := fmt.Sprintf("correction %s should be %s Pa not %s Pa", t.reg.Name(it.Place), plain(to.Pa), old)
		if to.FanHz != nil {
			means += " at " + plain(*to.FanHz) + " Hz"
		}
		out = append(out, phrase.Choice{
			Keys: []string{strconv.Itoa(len(out) + 1), old}, Label: say.ReadingOf(at, x, r), Means: means + sureTail,
		})
	}
	return out
}

// plain is a figure as people type it.
func plain(x float64) string { return strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64) }
