package chart

import (
	"image/color"
	"strings"

	stdfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
)

// Letter sizes in pixels.
const (
	titleSize  = 50
	smallTitle = 42
	labelSize  = 34
	axisSize   = 32
)

type face struct{ font.Face }

func newFace(size vg.Length, bold bool) face {
	f := font.Font{Typeface: "Liberation", Variant: "Sans"}
	if bold {
		f.Weight = stdfont.WeightBold
	}
	return face{font.NewCache(liberation.Collection()).Lookup(f, size)}
}

// fit cuts a line that is wider than room and ends it with an ellipsis.
func (f face) fit(s string, room vg.Length) string {
	if f.Width(s) <= room {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && f.Width(string(r)+"…") > room {
		r = r[:len(r)-1]
	}
	return strings.TrimRight(string(r), " ") + "…"
}

// wrap breaks a text into lines at most room wide; a longer word is cut.
func (f face) wrap(s string, room vg.Length) []string {
	var out []string
	line := ""
	for _, w := range unbroken(s) {
		if longer := strings.TrimSpace(line + " " + w); f.Width(longer) <= room {
			line = longer
			continue
		}
		if line != "" {
			out = append(out, line)
		}
		line = f.fit(w, room)
	}
	return append(out, line)
}

// unbroken are the parts of a text that stay on one line: words, and a figure
// with the short word after it ("15 Mar", "200 Pa").
func unbroken(s string) []string {
	var out []string
	for _, w := range strings.Fields(s) {
		n := len(out)
		if n > 0 && endsInDigit(out[n-1]) && len(w) <= longestUnit {
			out[n-1] += " " + w
			continue
		}
		out = append(out, w)
	}
	return out
}

// longestUnit is the length of a word that a figure is kept with, with its comma.
const longestUnit = 5

func endsInDigit(s string) bool { c := s[len(s)-1]; return c >= '0' && c <= '9' }

// A label is a word to be placed where it hides the least.
type label struct {
	text  string
	face  face
	color color.Color
	// spots are lower left corners to choose from, the best first.
	spots []vg.Point
	// hides is how much the label may hide, in the weights of marks.
	hides int
}

func (l label) box(at vg.Point) vg.Rectangle {
	e := l.face.Extents()
	return vg.Rectangle{
		Min: vg.Point{X: at.X - 4, Y: at.Y - e.Descent},
		Max: vg.Point{X: at.X + l.face.Width(l.text) + 4, Y: at.Y + e.Ascent*0.85},
	}
}

func overlap(a, b vg.Rectangle) bool {
	return a.Min.X < b.Max.X && b.Min.X < a.Max.X && a.Min.Y < b.Max.Y && b.Min.Y < a.Max.Y
}
