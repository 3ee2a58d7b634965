package sheet

import (
	"image/color"

	"gonum.org/v1/gonum/spatial/r2"
)

// Pen is a kind of line. Widths are the line group 0.5 of ISO 128-2 (wide 0.5, narrow 0.25), dashes
// its proportions: dashed 12d on, 3d off; long-dashed dotted 24d, 3d, dot, 3d (from memory).
type Pen struct {
	WidthMM float64
	DashMM  []float64 // on, off, …; nil for a continuous line
	Colour  color.RGBA
}

var (
	black = color.RGBA{0, 0, 0, 255}
	grey  = color.RGBA{90, 90, 90, 255}
	white = color.RGBA{255, 255, 255, 255}
)

// The pens of a drawing, by what they draw.
var (
	PenOutline = Pen{WidthMM: 0.5, Colour: black}                                          // cut and visible edges
	PenNarrow  = Pen{WidthMM: 0.25, Colour: black}                                         // dimensions, leaders
	PenHatch   = Pen{WidthMM: 0.18, Colour: grey}                                          // hatching
	PenHidden  = Pen{WidthMM: 0.25, DashMM: []float64{3, 0.75}, Colour: black}             // hidden edges
	PenCentre  = Pen{WidthMM: 0.25, DashMM: []float64{6, 0.75, 0.25, 0.75}, Colour: black} // centre lines
	PenFrame   = Pen{WidthMM: 0.7, Colour: black}                                          // the sheet's frame
)

// Anchor is which end of a text stands at its point.
type Anchor int

// A text starts, is centred or ends at its point.
const (
	Start Anchor = iota
	Middle
	End
)

// Text is one line of lettering; At is on its baseline.
type Text struct {
	At       r2.Vec
	Words    string
	HeightMM float64 // of capital letters (ISO 3098: 2.5, 3.5, 5, 7); 0 means 2.5
	Anchor   Anchor
	Bold     bool
	Up       bool // reads from bottom to top, as a vertical dimension does
	Clear    bool // blanks the paper behind it, so that it can stand on hatching
}

// Drawing is one sheet: strokes, filled areas and texts in the order they are drawn.
type Drawing struct {
	Paper Paper
	Title string
	items []item
}

// item is one of stroke, fill and Text.
type item any

type stroke struct {
	pen    Pen
	pts    []r2.Vec
	closed bool
}

// fill is an even-odd filled area.
type fill struct {
	loops  [][]r2.Vec
	colour color.RGBA
}

// New is an empty sheet with its title as the file's title.
func New(p Paper, title string) *Drawing {
	if p == (Paper{}) {
		p = A4
	}
	return &Drawing{Paper: p, Title: drawable(title)}
}

// Line draws from a to b.
func (d *Drawing) Line(pen Pen, a, b r2.Vec) { d.Polyline(pen, false, a, b) }

// Polyline draws through the points, and back to the first if closed.
func (d *Drawing) Polyline(pen Pen, closed bool, pts ...r2.Vec) {
	if len(pts) > 1 {
		d.items = append(d.items, stroke{pen, pts, closed})
	}
}

// Fill fills what lies inside an odd number of the loops.
func (d *Drawing) Fill(c color.RGBA, loops ...[]r2.Vec) {
	if len(loops) > 0 {
		d.items = append(d.items, fill{loops, c})
	}
}

// clearMM is the blank margin around a text that clears what is behind it.
const clearMM = 0.6

// Text puts down one line of lettering.
func (d *Drawing) Text(t Text) {
	t.Words = drawable(t.Words)
	if t.Words == "" {
		return
	}
	if t.Clear {
		d.Fill(white, t.box(clearMM))
	}
	d.items = append(d.items, t)
}

// box is the rectangle around a text with a margin.
func (t Text) box(margin float64) []r2.Vec {
	w := t.WidthMM()
	x0 := -float64(t.Anchor) / 2 * w
	lo, hi := r2.Vec{X: x0 - margin, Y: -t.capMM() - margin}, r2.Vec{X: x0 + w + margin, Y: margin}
	out := []r2.Vec{lo, {X: hi.X, Y: lo.Y}, hi, {X: lo.X, Y: hi.Y}}
	for i, p := range out {
		if t.Up {
			p = r2.Vec{X: p.Y, Y: -p.X}
		}
		out[i] = r2.Add(t.At, p)
	}
	return out
}

// Circle draws a circle as a closed polyline whose sagitta stays below what a printer shows.
func (d *Drawing) Circle(pen Pen, c r2.Vec, radius float64) {
	d.Polyline(pen, true, circle(c, radius)...)
}

// Dot is a filled spot, the end of a leader inside an area.
func (d *Drawing) Dot(c r2.Vec, radius float64) { d.Fill(black, circle(c, radius)) }

func rect(x0, y0, x1, y1 float64) []r2.Vec {
	return []r2.Vec{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}
