package chart

import (
	"image/color"
	"slices"
	"strconv"
	"time"

	"gonum.org/v1/plot/vg"

	"clogwise/internal/units"
)

// A unit is how a habit prints the pressure axis.
type unit struct {
	name  string
	pa    float64 // one of it in Pa
	steps int     // decimals at most
}

func unitOf(h units.Habit) unit {
	if h == units.IP {
		return unit{"in wc", units.PaPerInH2O, 2}
	}
	return unit{"Pa", 1, 0}
}

// pressures draws the pressure axes: the site's unit left with grid lines, the
// other unit right.
func (p *painter) pressures() {
	left, right := unitOf(p.in.Habit), unitOf(other(p.in.Habit))
	at, step := ticks(0, p.y.hi/left.pa, 6)
	for _, v := range at {
		y := p.y.at(v * left.pa)
		p.stroke(gridline, 2, nil, vg.Point{X: p.field.Min.X, Y: y}, vg.Point{X: p.field.Max.X, Y: y})
		s := p.in.Words.figures(number(v, step))
		p.write(p.axis, ink, vg.Point{X: p.field.Min.X - 14 - p.axis.Width(s), Y: y - 11}, s)
	}
	at, step = ticks(0, p.y.hi/right.pa, 5)
	for _, v := range at {
		p.write(p.axis, grey, vg.Point{X: p.field.Max.X + 14, Y: p.y.at(v*right.pa) - 11}, p.in.Words.figures(number(v, step)))
	}
	above := p.field.Max.Y + 30
	p.write(p.axis, ink, vg.Point{X: 40, Y: above}, left.name+" "+p.in.Words.AtDesign)
	p.write(p.axis, grey, vg.Point{X: Width - 40 - p.axis.Width(right.name), Y: above}, right.name)
}

// number prints a tick with the decimals its step needs.
func number(v, step float64) string {
	decimals := 0
	for s := step; decimals < 3 && s-float64(int64(s+1e-9)) > 1e-6; s *= 10 {
		decimals++
	}
	return strconv.FormatFloat(v, 'f', decimals, 64)
}

// dates draws the time axis.
func (p *painter) dates() {
	base := p.field.Min.Y
	p.stroke(grey, 3, nil, p.field.Min, vg.Point{X: p.field.Max.X, Y: base})
	from, to := time.Unix(int64(p.x.lo), 0), time.Unix(int64(p.x.hi), 0)
	at, byMonth := dateTicks(from, to, p.in.Loc, 6)
	layout := p.in.Words.Date
	if byMonth {
		layout = p.in.Words.Month
	}
	year := 0
	for _, t := range at {
		x := p.x.at(seconds(t))
		p.canvas.SetColor(grey)
		p.canvas.SetLineWidth(3)
		p.canvas.Stroke(vg.Path{{Type: vg.MoveComp, Pos: vg.Point{X: x, Y: base}}, {Type: vg.LineComp, Pos: vg.Point{X: x, Y: base - 10}}})
		p.centred(p.axis, ink, x, base-44, p.in.Words.date(t, layout))
		if t.Year() != year {
			year = t.Year()
			p.centred(p.axis, grey, x, base-82, strconv.Itoa(year))
		}
	}
}

func (p *painter) centred(f face, c color.Color, x, y vg.Length, s string) {
	w := f.Width(s)
	p.write(f, c, vg.Point{X: min(max(x-w/2, 8), Width-8-w), Y: y}, s)
}

func (p *painter) shown(t time.Time) bool {
	s := seconds(t)
	return s >= p.x.lo && s <= p.x.hi
}

// swaps draws the change-outs, the cap on age and today as upright lines.
func (p *painter) swaps() {
	for _, s := range p.in.Swaps {
		if p.shown(s) {
			x := p.x.at(seconds(s))
			p.upright(changed, x, p.field.Max.Y, nil)
			p.swapMark(x, p.field.Max.Y)
		}
	}
	if !p.in.CapAt.IsZero() && p.shown(p.in.CapAt) {
		x := p.x.at(seconds(p.in.CapAt))
		p.stroke(limited, 5, nil, vg.Point{X: x, Y: p.field.Min.Y}, vg.Point{X: x, Y: p.field.Max.Y})
		p.mind(heavy, vg.Point{X: x, Y: p.field.Min.Y}, vg.Point{X: x, Y: p.field.Max.Y})
	}
	if p.shown(p.in.Now) {
		x := p.x.at(seconds(p.in.Now))
		p.upright(grey, x, p.field.Max.Y, []vg.Length{3, 9})
	}
}

func (p *painter) swapMark(x, y vg.Length) {
	p.fill(changed, vg.Point{X: x - 12, Y: y}, vg.Point{X: x + 12, Y: y}, vg.Point{X: x, Y: y - 20})
}

// upright draws a line from the time axis up to height y.
func (p *painter) upright(c color.Color, x, y vg.Length, dash []vg.Length) {
	foot, head := vg.Point{X: x, Y: p.field.Min.Y}, vg.Point{X: x, Y: y}
	p.stroke(c, 3, dash, foot, head)
	p.mind(light, foot, head)
}

// levels draws the limit and the clean resistance.
func (p *painter) levels() {
	if p.in.CleanPa > 0 {
		y := p.y.at(p.in.CleanPa)
		p.stroke(grey, 3, []vg.Length{14, 10}, vg.Point{X: p.field.Min.X, Y: y}, vg.Point{X: p.field.Max.X, Y: y})
	}
	if p.in.LimitPa > 0 {
		y := p.y.at(p.in.LimitPa)
		p.stroke(limited, 5, nil, vg.Point{X: p.field.Min.X, Y: y}, vg.Point{X: p.field.Max.X, Y: y})
	}
}

// band fills the forecast between its 10 % and 90 % points.
func (p *painter) band() {
	var upper, lower []vg.Point
	for _, b := range p.in.Forecast {
		if !p.shown(b.At) {
			continue
		}
		x := p.x.at(seconds(b.At))
		upper = append(upper, vg.Point{X: x, Y: p.inField(b.High)})
		lower = append(lower, vg.Point{X: x, Y: p.inField(b.Low)})
	}
	if len(upper) < 2 {
		return
	}
	p.mind(heavy, lower...)
	p.mind(heavy, upper...)
	slices.Reverse(lower)
	p.fill(banded, append(upper, lower...)...)
}

func (p *painter) inField(pa float64) vg.Length { return p.y.at(min(max(pa, p.y.lo), p.y.hi)) }

func (p *painter) median() {
	pts := make([]vg.Point, len(p.in.Forecast))
	for i, b := range p.in.Forecast {
		pts[i] = vg.Point{X: p.x.at(seconds(b.At)), Y: p.y.at(b.Mid)}
	}
	p.fittedLine(pts, []vg.Length{16, 10})
}

// curve draws the fitted curve, one piece a life.
func (p *painter) curve() {
	var life []vg.Point
	var last time.Time
	for _, c := range p.in.Curve {
		if len(life) > 0 && p.swapBetween(last, c.At) {
			p.fittedLine(life, nil)
			life = life[:0]
		}
		life = append(life, vg.Point{X: p.x.at(seconds(c.At)), Y: p.y.at(c.Pa)})
		last = c.At
	}
	p.fittedLine(life, nil)
}

func (p *painter) fittedLine(pts []vg.Point, dash []vg.Length) {
	p.stroke(fitted, 5, dash, pts...)
	p.mind(heavy, pts...)
}

func (p *painter) swapBetween(a, b time.Time) bool {
	return slices.ContainsFunc(p.in.Swaps, func(s time.Time) bool { return s.After(a) && !s.After(b) })
}

// reach marks on the limit line when it is reached: a bar over the likely range
// and a diamond at the most likely day.
func (p *painter) reach() {
	r := p.in.Reach
	if r == nil || p.in.LimitPa <= 0 {
		return
	}
	y := p.y.at(p.in.LimitPa)
	a, b := p.x.at(seconds(r.P10)), p.x.at(seconds(r.P90))
	p.stroke(ink, 14, nil, vg.Point{X: a, Y: y}, vg.Point{X: b, Y: y})
	p.mind(heavy, vg.Point{X: a, Y: y}, vg.Point{X: b, Y: y})
	if !p.shown(r.Median) {
		return
	}
	m := p.x.at(seconds(r.Median))
	p.upright(ink, m, y, []vg.Length{4, 6})
	p.diamond(paper, m, y, 23)
	p.diamond(ink, m, y, 18)
	p.mind(heavy, vg.Point{X: m, Y: y - 18}, vg.Point{X: m, Y: y + 18})
}

func (p *painter) diamond(c color.Color, x, y, r vg.Length) {
	p.fill(c, vg.Point{X: x - r, Y: y}, vg.Point{X: x, Y: y + r}, vg.Point{X: x + r, Y: y}, vg.Point{X: x, Y: y - r})
}

// dotRadius shrinks with the number of dots.
func dotRadius(n int) vg.Length {
	switch {
	case n > 400:
		return 4
	case n > 120:
		return 6
	case n > 50:
		return 8
	}
	return 10
}

func (p *painter) readings() {
	r := dotRadius(len(p.in.Readings))
	for _, g := range p.in.Readings {
		if !p.shown(g.At) {
			continue
		}
		at := vg.Point{X: p.x.at(seconds(g.At)), Y: p.inField(g.Pa)}
		p.marks = append(p.marks, mark{at, r + 6, heavy})
		switch {
		case g.OverRange, g.Pa > p.y.hi:
			p.triangle(at, r+4, g.Doubtful)
		case g.Doubtful:
			p.circle(dotted, at, r+1)
			p.circle(paper, at, r-2.5)
		default:
			p.circle(dotted, at, r)
		}
	}
}

// triangle points up: the true value is here or above.
func (p *painter) triangle(at vg.Point, r vg.Length, hollow bool) {
	corner := func(r vg.Length) []vg.Point {
		return []vg.Point{{X: at.X - r, Y: at.Y - r*0.8}, {X: at.X + r, Y: at.Y - r*0.8}, {X: at.X, Y: at.Y + r}}
	}
	p.fill(dotted, corner(r)...)
	if hollow {
		p.fill(paper, corner(r-6)...)
	}
}
