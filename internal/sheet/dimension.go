package sheet

import (
	"strconv"

	"gonum.org/v1/gonum/spatial/r2"
)

// Sizes of a dimension's parts in mm (ISO 129-1 leaves them to the drawer; these suit lettering of
// 2.5 mm).
const (
	arrowMM      = 2.5  // length of an arrowhead
	arrowHalfMM  = 0.45 // half its width
	extensionGap = 1.0  // between the object and an extension line
	extensionEnd = 1.5  // how far an extension line runs past the dimension line
	textLiftMM   = 0.9  // from the dimension line to the text's baseline
)

// mm is a length as drawings print it: at most two decimals, no trailing zeros.
func mm(v float64) string {
	s := strconv.FormatFloat(v, 'f', 2, 64)
	for s[len(s)-1] == '0' {
		s = s[:len(s)-1]
	}
	if s[len(s)-1] == '.' {
		s = s[:len(s)-1]
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// dimension is a linear measure between two places along one axis of the paper.
type dimension struct {
	from, to float64 // along the axis, paper mm, from <= to
	object   float64 // where the extension lines start, across the axis
	line     float64 // where the dimension line runs, across the axis
	upright  bool    // the axis is the paper's y
	words    string
}

// Dimension draws a linear dimension with extension lines, arrowheads and text.
func (d *Drawing) dimension(m dimension) {
	at := func(along, across float64) r2.Vec {
		if m.upright {
			return r2.Vec{X: across, Y: along}
		}
		return r2.Vec{X: along, Y: across}
	}
	away := 1.0
	if m.line < m.object {
		away = -1
	}
	for _, v := range []float64{m.from, m.to} {
		d.Line(PenNarrow, at(v, m.object+away*extensionGap), at(v, m.line+away*extensionEnd))
	}
	t := Text{Words: m.words, Anchor: Middle, Up: m.upright, Clear: true, At: at((m.from+m.to)/2, m.line-textLiftMM)}
	room := m.to - m.from
	if room >= 2*arrowMM+1 { // arrowheads inside
		d.Line(PenNarrow, at(m.from, m.line), at(m.to, m.line))
		d.arrow(at(m.from, m.line), at(m.to, m.line))
		d.arrow(at(m.to, m.line), at(m.from, m.line))
	} else {
		d.Line(PenNarrow, at(m.from-2*arrowMM, m.line), at(m.to+2*arrowMM, m.line))
		d.arrow(at(m.from, m.line), at(m.from-arrowMM, m.line))
		d.arrow(at(m.to, m.line), at(m.to+arrowMM, m.line))
	}
	if t.WidthMM() > room-1 { // beside it, past the far arrow
		t.At, t.Anchor = at(m.to+2*arrowMM+1, m.line+1.25), Start
		if m.upright {
			t.At = at(m.from-2*arrowMM-1, m.line+1.25)
		}
	}
	d.Text(t)
}

// arrow is a filled arrowhead with its tip at tip, its body towards from.
func (d *Drawing) arrow(tip, from r2.Vec) {
	u := r2.Unit(r2.Sub(from, tip))
	n := r2.Vec{X: -u.Y, Y: u.X}
	base := r2.Add(tip, r2.Scale(arrowMM, u))
	d.Fill(black, []r2.Vec{tip, r2.Add(base, r2.Scale(arrowHalfMM, n)), r2.Sub(base, r2.Scale(arrowHalfMM, n))})
}
