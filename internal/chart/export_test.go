package chart

import "time"

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
