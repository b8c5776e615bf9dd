package chart

import (
	"time"

	"gonum.org/v1/plot/vg"
)

// Draw is the picture before it is encoded.
var Draw = draw

// Pixel tells the tests where a time and a pressure lie in the picture, counted
// from its upper left corner.
func Pixel(in Input, t time.Time, pa float64) (x, y int) {
	if in.Words == (Words{}) {
		in.Words = English()
	}
	p := newPainter(in)
	p.layout()
	return int(p.x.at(seconds(t))), Height - int(p.inField(pa))
}

// Labels are the boxes of the labels in the field, as they were placed.
func Labels(in Input) []vg.Rectangle {
	if in.Words == (Words{}) {
		in.Words = English()
	}
	p := newPainter(in)
	p.paint()
	return p.taken
}
