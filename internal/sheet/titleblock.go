package sheet

import "gonum.org/v1/gonum/spatial/r2"

// Head is what the title block says. Empty fields are left blank.
type Head struct {
	Title   string // the part or job
	Subject string // what this sheet shows
	Date    string // as the maker wants it; never filled in from the clock, so that sheets repeat
	Note    string // material, version, or whatever belongs with it
	Sheet   string // "1 / 3"
}

const (
	blockWidthMM  = 170 // at most ISO 7200's 180 mm, and what the sheets' frames leave
	blockHeightMM = 24
)

// frame is the room inside the sheet's frame, above the title block.
func (d *Drawing) frame() (x0, y0, x1, y1 float64) {
	return marginLeftMM, marginMM, d.Paper.WidthMM - marginMM, d.Paper.HeightMM - marginMM - blockHeightMM
}

// titleBlock draws the frame and the block at the lower right corner: what it shows on the left,
// how to read it on the right.
func (d *Drawing) titleBlock(h Head, s string) {
	right, bottom := d.Paper.WidthMM-marginMM, d.Paper.HeightMM-marginMM
	d.Polyline(PenFrame, true, rect(marginLeftMM, marginMM, right, bottom)...)
	x, y := right-blockWidthMM, bottom-blockHeightMM
	d.Polyline(PenOutline, true, rect(x, y, right, bottom)...)
	const left = 92.0
	d.Line(PenNarrow, r2.Vec{X: x + left, Y: y}, r2.Vec{X: x + left, Y: bottom})
	text := func(dx, dy, maxW float64, t Text) {
		t.At = r2.Vec{X: x + dx, Y: y + dy}
		d.Text(t.shortened(maxW))
	}
	text(3, 8, left-6, Text{Words: h.Title, HeightMM: 3.5, Bold: true})
	text(3, 14.5, left-6, Text{Words: h.Subject})
	text(3, 20.5, left-6, Text{Words: h.Note, HeightMM: 2})
	cells := [][3]struct{ name, value string }{
		{{"Scale", s}, {"Lengths in", "mm"}, {"Paper", d.Paper.Name}},
		{{"Date", h.Date}, {"Sheet", h.Sheet}, {"Drawn by", "mouldwright"}},
	}
	const cellW, cellH = (blockWidthMM - left) / 3, blockHeightMM / 2.0
	for r, row := range cells {
		for c, cell := range row {
			cx, cy := left+float64(c)*cellW, float64(r)*cellH
			text(cx+2, cy+4, cellW-3, Text{Words: cell.name, HeightMM: 1.8})
			text(cx+2, cy+9.5, cellW-3, Text{Words: cell.value})
			if c > 0 {
				d.Line(PenNarrow, r2.Vec{X: x + cx, Y: y}, r2.Vec{X: x + cx, Y: bottom})
			}
		}
	}
	d.Line(PenNarrow, r2.Vec{X: x + left, Y: y + cellH}, r2.Vec{X: right, Y: y + cellH})
}
