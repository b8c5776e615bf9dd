package chart

import (
	"slices"
	"time"

	"gonum.org/v1/plot/vg"

	"clogwise/internal/units"
)

// labels names everything where it stands, the most important first, because
// later ones give way.
func (p *painter) labels() {
	p.labelLimit()
	p.labelReach()
	p.labelCap()
	p.labelUpright(p.in.Now, label{text: p.in.Words.Today, face: p.plain, color: grey, hides: anyone})
	p.labelOdd()
	p.labelClean()
	p.labelSwaps()
	p.labelBand()
	if len(p.in.Readings) == 0 {
		p.labelEmpty()
	}
}

// date prints a day, with its year where that is ahead.
func (p *painter) date(t time.Time) string {
	t = t.In(p.in.Loc)
	if t.Year() > p.in.Now.In(p.in.Loc).Year() {
		return p.in.Words.date(t, p.in.Words.Date+" 2006")
	}
	return p.in.Words.date(t, p.in.Words.Date)
}

func (l label) width() vg.Length { return l.face.Width(l.text) }

// along are spots at height y from the field's left to its right edge.
func (p *painter) along(l label, y vg.Length) []vg.Point {
	const step = 24
	var out []vg.Point
	for x := p.field.Min.X + 16; x+l.width() <= p.field.Max.X; x += step {
		out = append(out, vg.Point{X: x, Y: y})
	}
	return out
}

// labelLimit names the limit; the reason for it is left out where it would hide
// something.
func (p *painter) labelLimit() {
	if p.in.LimitPa <= 0 {
		return
	}
	y := p.y.at(p.in.LimitPa)
	l := label{text: p.in.Words.Limit + " " + p.in.Words.figures(units.Pressure(p.in.LimitPa, p.in.Habit)), face: p.bold, color: limited, hides: anyone}
	if p.in.LimitNote != "" {
		noted := l
		noted.text, noted.hides = l.text+", "+p.in.LimitNote, fewest
		noted.spots = p.along(noted, y+18)
		if p.place(noted) {
			return
		}
	}
	l.spots = append(p.along(l, y+18), p.along(l, y-40)...)
	p.place(l)
}

func (p *painter) labelReach() {
	r := p.in.Reach
	if r == nil || p.in.LimitPa <= 0 {
		return
	}
	p.labelUpright(r.Median, label{text: p.date(r.Median), face: p.bold, color: ink, hides: anyone})
}

func (p *painter) labelCap() {
	if !p.in.CapAt.IsZero() {
		p.labelUpright(p.in.CapAt, label{text: p.in.Words.Cap + " " + p.date(p.in.CapAt), face: p.bold, color: limited, hides: anyone})
	}
}

func (p *painter) labelClean() {
	if p.in.CleanPa <= 0 {
		return
	}
	l := label{text: p.in.Words.Clean + " " + p.in.Words.figures(units.ShortPressure(p.in.CleanPa, p.in.Habit)), face: p.plain, color: grey, hides: anyone}
	y := p.y.at(p.in.CleanPa)
	l.spots = append(p.along(l, y-40), p.along(l, y+16)...)
	p.place(l)
}

// labelUpright names an upright line beside its foot, right or left of it.
func (p *painter) labelUpright(t time.Time, l label) bool {
	if !p.shown(t) {
		return false
	}
	x := p.x.at(seconds(t))
	for _, up := range []vg.Length{14, 60, 106} {
		l.spots = append(l.spots, vg.Point{X: x + 16, Y: p.field.Min.Y + up}, vg.Point{X: x - 16 - l.width(), Y: p.field.Min.Y + up})
	}
	return p.place(l)
}

// labelSwaps names the change-outs, newest first: in full where there is room,
// else by the date alone with a key above the field, else not at all.
func (p *painter) labelSwaps() {
	short := false
	for _, s := range slices.Backward(p.in.Swaps) {
		l := label{text: p.in.Words.Changed + " " + p.date(s), face: p.plain, color: grey, hides: nought}
		if !p.shown(s) || p.labelUpright(s, l) {
			continue
		}
		short = true
		l.text = p.date(s)
		p.labelUpright(s, l)
	}
	if short {
		p.swapKey()
	}
}

// swapKey explains the swaps' triangles above the field, where no label stands.
func (p *painter) swapKey() {
	l := label{text: p.in.Words.Changed, face: p.axis, color: grey}
	y := p.field.Max.Y + 30
	for _, share := range []vg.Length{0.62, 0.78, 0.42} {
		x := p.field.Min.X + p.field.Size().X*share
		box := l.box(vg.Point{X: x + 22, Y: y})
		box.Min.X -= 34 // the triangle
		if slices.ContainsFunc(p.taken, func(t vg.Rectangle) bool { return overlap(box, t) }) {
			continue
		}
		p.swapMark(x, y+22)
		p.write(l.face, l.color, vg.Point{X: x + 22, Y: y}, l.text)
		return
	}
}

// labelOdd names the newest doubtful and the newest over-range reading, and
// gives the figures of those too high for the picture.
func (p *painter) labelOdd() {
	var doubtful, over bool
	for _, r := range slices.Backward(p.in.Readings) {
		words, value := p.in.Words, p.in.Words.figures(units.ShortPressure(r.Pa, p.in.Habit))
		switch {
		case !p.shown(r.At):
		case r.Pa > p.y.hi && r.Doubtful:
			p.labelDot(r, words.Doubtful+" "+value)
		case r.Pa > p.y.hi:
			p.labelDot(r, value)
		case r.OverRange && !over:
			over = true
			p.labelDot(r, words.OverRange+" "+value)
		case r.Doubtful && !doubtful:
			doubtful = true
			p.labelDot(r, words.Doubtful)
		}
	}
}

func (p *painter) labelDot(r Reading, text string) {
	l := label{text: text, face: p.plain, color: dotted, hides: anyone}
	x, y := p.x.at(seconds(r.At)), p.inField(r.Pa)
	for _, up := range []vg.Length{-12, 32, -58, 70, -98} {
		for _, left := range []vg.Length{x + 30, x - 30 - l.width(), x - l.width()/2, x - 12, x + 12 - l.width()} {
			l.spots = append(l.spots, vg.Point{X: left, Y: y + up})
		}
	}
	p.place(l)
}

// labelBand says what the band is, below it on the right, where there is room.
func (p *painter) labelBand() {
	l := label{text: p.in.Words.Range, face: p.plain, color: fitted, hides: fewest}
	for _, b := range slices.Backward(p.in.Forecast) {
		x, y := p.x.at(seconds(b.At))+12, p.inField(b.Low)
		for _, down := range []vg.Length{44, 84, 124, 164, 204} {
			l.spots = append(l.spots, vg.Point{X: x, Y: y - down})
		}
	}
	p.place(l)
}

func (p *painter) labelEmpty() {
	l := label{text: p.in.Words.NoReadings, face: p.bold, color: grey, hides: anyone}
	mid := p.field.Min.Add(p.field.Max).Scale(0.5)
	for _, up := range []vg.Length{0, -60, -120, -180} {
		l.spots = append(l.spots, vg.Point{X: mid.X - l.width()/2, Y: mid.Y + up}, vg.Point{X: p.field.Max.X - l.width() - 16, Y: mid.Y + up})
	}
	p.place(l)
}
