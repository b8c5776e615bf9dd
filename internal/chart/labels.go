package chart

import (
	"time"

	"gonum.org/v1/plot/vg"

	"clogwise/internal/units"
)

// labels names everything where it stands, the most important first, because
// later ones give way.
func (p *painter) labels() {
	p.labelLimit()
	p.labelReach()
	p.labelClean()
	p.labelUpright(p.in.Now, p.in.Words.Today, true)
	for i := len(p.in.Swaps) - 1; i >= 0; i-- {
		s := p.in.Swaps[i]
		p.labelUpright(s, p.in.Words.Changed+" "+p.date(s), false)
	}
	p.labelOdd()
	p.labelBand()
	if len(p.in.Readings) == 0 {
		p.labelEmpty()
	}
}

func (p *painter) date(t time.Time) string { return t.In(p.in.Loc).Format(p.in.Words.Date) }

// along are spots at height y from the field's left to its right edge.
func (p *painter) along(l label, y vg.Length) []vg.Point {
	const step = 24
	var out []vg.Point
	for x := p.field.Min.X + 8; x+p.width(l) <= p.field.Max.X; x += step {
		out = append(out, vg.Point{X: x, Y: y})
	}
	return out
}

func (p *painter) width(l label) vg.Length { return l.face.Width(l.text) }

func (p *painter) labelLimit() {
	if p.in.LimitPa <= 0 {
		return
	}
	text := p.in.Words.Limit + " " + units.Pressure(p.in.LimitPa, p.in.Habit)
	if p.in.LimitNote != "" {
		text += ", " + p.in.LimitNote
	}
	l := label{text: text, face: p.bold, color: limited, must: true}
	l.text = l.face.fit(l.text, p.field.Size().X-24)
	y := p.y.at(p.in.LimitPa)
	l.spots = append(p.along(l, y+14), p.along(l, y-36)...)
	p.place(l)
}

func (p *painter) labelReach() {
	r := p.in.Reach
	if r == nil || p.in.LimitPa <= 0 || !p.shown(r.Median) {
		return
	}
	l := label{text: p.date(r.Median), face: p.bold, color: ink, must: true}
	x := p.x.at(seconds(r.Median))
	for _, y := range []vg.Length{p.field.Min.Y + 14, p.field.Min.Y + 58, p.field.Min.Y + 102} {
		for _, left := range []vg.Length{x + 8, x - 8 - p.width(l)} {
			l.spots = append(l.spots, vg.Point{X: left, Y: y})
		}
	}
	p.place(l)
}

func (p *painter) labelClean() {
	if p.in.CleanPa <= 0 {
		return
	}
	l := label{text: p.in.Words.Clean + " " + units.ShortPressure(p.in.CleanPa, p.in.Habit), face: p.plain, color: grey, must: true}
	y := p.y.at(p.in.CleanPa)
	l.spots = append(p.along(l, y-36), p.along(l, y+12)...)
	p.place(l)
}

// labelUpright names an upright line beside its foot.
func (p *painter) labelUpright(t time.Time, text string, must bool) {
	if !p.shown(t) {
		return
	}
	l := label{text: text, face: p.plain, color: grey, must: must}
	x := p.x.at(seconds(t))
	for _, y := range []vg.Length{p.field.Min.Y + 14, p.field.Min.Y + 58, p.field.Min.Y + 102} {
		for _, left := range []vg.Length{x + 10, x - 10 - p.width(l)} {
			l.spots = append(l.spots, vg.Point{X: left, Y: y})
		}
	}
	p.place(l)
}

// labelOdd names the newest doubtful and the newest over-range reading.
func (p *painter) labelOdd() {
	var doubtful, over *Reading
	for i := range p.in.Readings {
		r := &p.in.Readings[i]
		if !p.shown(r.At) {
			continue
		}
		switch {
		case r.OverRange && (over == nil || r.At.After(over.At)):
			over = r
		case r.Doubtful && (doubtful == nil || r.At.After(doubtful.At)):
			doubtful = r
		}
	}
	if doubtful != nil {
		text := p.in.Words.Doubtful
		if doubtful.Pa > p.y.hi {
			text += " " + units.ShortPressure(doubtful.Pa, p.in.Habit)
		}
		p.labelDot(*doubtful, text)
	}
	if over != nil {
		p.labelDot(*over, p.in.Words.OverRange+" "+units.ShortPressure(over.Pa, p.in.Habit))
	}
}

func (p *painter) labelDot(r Reading, text string) {
	l := label{text: text, face: p.plain, color: dotted, must: true}
	x, y, w := p.x.at(seconds(r.At)), p.inField(r.Pa), p.width(label{text: text, face: p.plain})
	for _, up := range []vg.Length{-12, 24, -52, 60, -90} {
		for _, left := range []vg.Length{x + 20, x - 20 - w, x - w/2} {
			l.spots = append(l.spots, vg.Point{X: left, Y: y + up})
		}
	}
	p.place(l)
}

// labelBand says what the band is, where there is room for it.
func (p *painter) labelBand() {
	if len(p.in.Forecast) < 2 {
		return
	}
	l := label{text: p.in.Words.Range, face: p.plain, color: fitted}
	for i := len(p.in.Forecast) - 1; i >= 0; i-- {
		b := p.in.Forecast[i]
		if !p.shown(b.At) {
			continue
		}
		x := min(p.x.at(seconds(b.At)), p.field.Max.X) - p.width(l) - 8
		l.spots = append(l.spots, vg.Point{X: x, Y: p.inField(b.Low) - 40})
	}
	p.place(l)
}

func (p *painter) labelEmpty() {
	l := label{text: p.in.Words.NoReadings, face: p.bold, color: grey, must: true}
	mid := p.field.Min.Add(p.field.Max).Scale(0.5)
	l.spots = []vg.Point{{X: mid.X - p.width(l)/2, Y: mid.Y}}
	p.place(l)
}
