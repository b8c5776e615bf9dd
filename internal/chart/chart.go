// Package chart draws one filter bank's lives as a PNG for a telephone's screen.
//
// The picture carries one message, its title. Everything is labelled where it
// stands, so there is no legend; shapes and darkness tell things apart, so it
// reads in grey and with any colour vision. Fonts are built in and the same
// input gives the same bytes.
package chart

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/png"
	"time"

	"clogwise/internal/units"
)

// Size of every picture in pixels: as wide as a telephone's screen, with the
// smallest letters still about a tenth of a centimetre high on it.
const (
	Width  = 1080
	Height = 1080
)

// ErrInput is returned for input that cannot be drawn.
var ErrInput = errors.New("chart: cannot draw")

// Input is what is known of a bank. Pressures are pascal at design airflow.
// Everything but Title, Loc and Now may be absent.
type Input struct {
	Title    string // the message as a sentence; about 75 letters fit well, 105 at most
	Subtitle string // one line below it: site, filter, last reading
	Habit    units.Habit
	Loc      *time.Location
	Now      time.Time
	From, To time.Time // span drawn; zero = chosen from the data, at most 13 months back and 24 ahead

	Readings []Reading
	Curve    []Point // fitted curve; it is broken at every swap
	Forecast []Band  // ascending in time
	Swaps    []time.Time

	LimitPa   float64 // 0 = none
	LimitNote string  // why this limit, after its figure: "manufacturer"
	CleanPa   float64 // 0 = not known
	Reach     *Reach
	CapAt     time.Time // when age or run hours end the life; zero = no such limit

	Words Words // zero = English
}

// A Reading is a dot: filled, or hollow when it is doubtful. One over range says
// only that the true value is Pa, the gauge's top, or more.
type Reading struct {
	At        time.Time
	Pa        float64
	Doubtful  bool
	OverRange bool
}

// A Point of a curve.
type Point struct {
	At time.Time
	Pa float64
}

// A Band is the forecast at one time: 10 %, 50 % and 90 % points.
type Band struct {
	At             time.Time
	Low, Mid, High float64
}

// Reach is when the limit is reached: most likely, and the range that holds four
// times out of five.
type Reach struct{ P10, Median, P90 time.Time }

// Words are the words printed in the picture, for other languages.
type Words struct {
	Limit, Clean, Today, Changed string
	Doubtful, OverRange          string // OverRange is followed by the gauge's top
	Range                        string // what the band is
	NoReadings                   string
	Cap                          string     // what CapAt is, before its date
	AtDesign                     string     // what the pressures are corrected to
	Date, Month                  string     // time layouts
	Months                       [12]string // what stands for "Jan" in them, January first; empty: English
	Decimal                      string     // sign between the digits of a figure; empty: a point
}

// English words.
func English() Words {
	return Words{
		Limit: "limit", Clean: "clean", Today: "today", Changed: "changed",
		Doubtful: "doubtful", OverRange: "above", Range: "likely range (4 in 5)",
		NoReadings: "no readings yet", Cap: "age cap", AtDesign: "at design airflow",
		Date: "2 Jan", Month: "Jan",
	}
}

// Bank draws one bank and returns the bytes of a PNG of Width × Height pixels.
// Its error wraps ErrInput and names what was wrong.
func Bank(in Input) ([]byte, error) {
	img, err := draw(in)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	if err := png.Encode(&out, img); err != nil {
		return nil, fmt.Errorf("chart: %w", err)
	}
	return out.Bytes(), nil
}

func draw(in Input) (image.Image, error) {
	if in.Words == (Words{}) {
		in.Words = English()
	}
	if err := in.check(); err != nil {
		return nil, err
	}
	p := newPainter(in)
	p.paint()
	return p.canvas.Image(), nil
}
