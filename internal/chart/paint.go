package chart

import (
	"image/color"
	"math"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"

	"clogwise/internal/units"
)

// Colours: told apart by darkness as well as by hue.
var (
	paper    = color.White
	ink      = color.RGBA{0x1d, 0x1d, 0x1f, 0xff}
	grey     = color.RGBA{0x63, 0x63, 0x68, 0xff}
	gridline = color.RGBA{0xe4, 0xe4, 0xe6, 0xff}
	dotted   = color.RGBA{0x12, 0x2c, 0x4a, 0xff} // readings
	fitted   = color.RGBA{0x00, 0x72, 0xb2, 0xff} // curve and median
	banded   = color.RGBA{0xcd, 0xe2, 0xf0, 0xff} // forecast
	limited  = color.RGBA{0xc4, 0x3c, 0x00, 0xff} // limit
	changed  = color.RGBA{0x8a, 0x8a, 0x90, 0xff} // swaps
)

// Margins of the plotted field in pixels.
const (
	marginLeft   = 104
	marginRight  = 112
	marginBottom = 112
	marginTop    = 28
)

type painter struct {
	in          Input
	canvas      *vgimg.Canvas
	x, y        scale // seconds and Pa to pixels
	bold, plain face
	axis        face
	field       vg.Rectangle
	taken       []vg.Rectangle // labels placed
	marks       []mark         // what labels should not hide: dots, and lines every markStep pixels
}

func newPainter(in Input) *painter {
	return &painter{
		in: in,
		// At 72 dots an inch a point is a pixel.
		canvas: vgimg.NewWith(vgimg.UseWH(Width, Height), vgimg.UseDPI(72), vgimg.UseBackgroundColor(paper)),
		bold:   newFace(labelSize, true), plain: newFace(labelSize, false), axis: newFace(axisSize, false),
	}
}

// layout writes the titles and gives the rest of the page to the field.
func (p *painter) layout() {
	top := p.titles()
	p.field = vg.Rectangle{Min: vg.Point{X: marginLeft, Y: marginBottom}, Max: vg.Point{X: Width - marginRight, Y: top - marginTop - 56}}
	from, to := p.in.span()
	p.x = scale{seconds(from), seconds(to), p.field.Min.X, p.field.Max.X}
	p.y = scale{0, p.in.topPa(), p.field.Min.Y, p.field.Max.Y}
}

// paint draws from the back to the front.
func (p *painter) paint() {
	p.layout()
	p.pressures()
	p.band()
	p.dates()
	p.swaps()
	p.levels()
	p.curve()
	p.median()
	p.reach()
	p.readings()
	p.labels()
}

// titles writes the headline and returns the height left below it.
func (p *painter) titles() vg.Length {
	const side, room = 40, Width - 2*40
	f, leading := newFace(titleSize, true), vg.Length(titleSize*1.18)
	lines := f.wrap(p.in.Title, room)
	if len(lines) > 2 {
		f, leading = newFace(smallTitle, true), smallTitle*1.18
		lines = f.wrap(p.in.Title, room)
	}
	if len(lines) > 3 {
		lines = append(lines[:2], f.fit(strings.Join(lines[2:], " "), room))
	}
	y := vg.Length(Height - 24)
	for _, l := range lines {
		y -= leading
		p.write(f, ink, vg.Point{X: side, Y: y + 8}, l)
	}
	if p.in.Subtitle != "" {
		y -= labelSize * 1.35
		p.write(p.plain, grey, vg.Point{X: side, Y: y + 6}, p.plain.fit(p.in.Subtitle, room))
	}
	return y
}

func (p *painter) write(f face, c color.Color, at vg.Point, s string) {
	p.canvas.SetColor(c)
	p.canvas.FillString(f.Face, at, s)
}

// stroke draws a line through points, clipped to the field.
func (p *painter) stroke(c color.Color, width vg.Length, dash []vg.Length, pts ...vg.Point) {
	p.canvas.SetColor(c)
	p.canvas.SetLineWidth(width)
	p.canvas.SetLineDash(dash, 0)
	var path vg.Path
	var pen vg.Point
	for i := 1; i < len(pts); i++ {
		a, b, ok := clip(pts[i-1], pts[i], p.field)
		if !ok {
			continue
		}
		if len(path) == 0 || a != pen {
			path.Move(a)
		}
		path.Line(b)
		pen = b
	}
	if len(path) > 0 {
		p.canvas.Stroke(path)
	}
	p.canvas.SetLineDash(nil, 0)
}

// clip cuts the segment a–b to the rectangle (Liang and Barsky, 1984).
func clip(a, b vg.Point, r vg.Rectangle) (vg.Point, vg.Point, bool) {
	t0, t1 := 0.0, 1.0
	d := b.Sub(a)
	edge := func(step, room vg.Length) bool { // keep the part where t·step ≤ room
		if step == 0 {
			return room >= 0
		}
		t := float64(room / step)
		if step > 0 {
			t1 = math.Min(t1, t)
		} else {
			t0 = math.Max(t0, t)
		}
		return t0 <= t1
	}
	if !edge(-d.X, a.X-r.Min.X) || !edge(d.X, r.Max.X-a.X) || !edge(-d.Y, a.Y-r.Min.Y) || !edge(d.Y, r.Max.Y-a.Y) {
		return a, b, false
	}
	return a.Add(d.Scale(vg.Length(t0))), a.Add(d.Scale(vg.Length(t1))), true
}

func (p *painter) fill(c color.Color, pts ...vg.Point) {
	var path vg.Path
	for i, q := range pts {
		if i == 0 {
			path.Move(q)
		} else {
			path.Line(q)
		}
	}
	path.Close()
	p.canvas.SetColor(c)
	p.canvas.Fill(path)
}

func (p *painter) circle(c color.Color, at vg.Point, r vg.Length) {
	var path vg.Path
	path.Move(vg.Point{X: at.X + r, Y: at.Y})
	path.Arc(at, r, 0, 2*math.Pi)
	path.Close()
	p.canvas.SetColor(c)
	p.canvas.Fill(path)
}

// A mark is a point that labels keep off.
type mark struct {
	at     vg.Point
	reach  vg.Length // how near a label may come
	weight int       // how bad it is to hide it
}

// Weights of marks. A label may cross an upright line: a few of its marks.
const (
	heavy  = 100
	light  = 1
	nought = 0
	fewest = 20              // at most two upright lines
	anyone = math.MaxInt / 2 // the label stands whatever it hides
)

// markStep is the distance of marks along a line.
const markStep = 10

// mind remembers a line, as far as it is in the field, for labels to keep off.
func (p *painter) mind(weight int, pts ...vg.Point) {
	for i := 1; i < len(pts); i++ {
		a, b, ok := clip(pts[i-1], pts[i], p.field)
		if !ok {
			continue
		}
		d := b.Sub(a)
		n := math.Ceil(math.Hypot(float64(d.X), float64(d.Y)) / markStep)
		for k := 0.0; k <= n; k++ {
			p.marks = append(p.marks, mark{a.Add(d.Scale(vg.Length(k / max(n, 1)))), 8, weight})
		}
	}
}

// place puts a label on the first spot of those that hide the least, if that is
// no more than it may hide. It reports whether it stands.
func (p *painter) place(l label) bool {
	best, bestHidden := vg.Point{}, math.MaxInt
	for _, at := range l.spots {
		if h := p.hidden(l.box(at)); h < bestHidden {
			best, bestHidden = at, h
		}
	}
	if bestHidden > l.hides {
		return false
	}
	for _, d := range halo {
		p.write(l.face, paper, best.Add(d), l.text)
	}
	p.write(l.face, l.color, best, l.text)
	p.taken = append(p.taken, l.box(best))
	return true
}

// halo keeps letters readable over lines and bands.
var halo = []vg.Point{{X: 3}, {X: -3}, {Y: 3}, {Y: -3}, {X: 2, Y: 2}, {X: -2, Y: 2}, {X: 2, Y: -2}, {X: -2, Y: -2}}

// gap keeps labels side by side from being read as one: "today 4 Feb".
const gap = 20

const hiddenLabel = 1000 * heavy // worse than any number of marks

func (p *painter) hidden(b vg.Rectangle) int {
	if b.Min.X < p.field.Min.X-8 || b.Max.X > p.field.Max.X+8 || b.Min.Y < p.field.Min.Y || b.Max.Y > p.field.Max.Y+48 {
		return math.MaxInt
	}
	n := 0
	aside := b
	aside.Min.X, aside.Max.X = b.Min.X-gap, b.Max.X+gap
	for _, t := range p.taken {
		if overlap(aside, t) {
			n += hiddenLabel
		}
	}
	for _, m := range p.marks {
		if m.at.X > b.Min.X-m.reach && m.at.X < b.Max.X+m.reach && m.at.Y > b.Min.Y-m.reach && m.at.Y < b.Max.Y+m.reach {
			n += m.weight
		}
	}
	return n
}

func other(h units.Habit) units.Habit {
	if h == units.IP {
		return units.SI
	}
	return units.IP
}
