package sheet

import (
	"errors"
	"fmt"
	"strconv"

	"gonum.org/v1/gonum/spatial/r2"
)

// Outline is a named closed or open line of a plan, in mm.
type Outline struct {
	Name   string
	Loops  [][]r2.Vec
	Open   bool // the loops are lines that do not close
	Hidden bool // lies below what is seen: dashed
}

// Spot is a feature with a centre: a key, bolt, sprue or vent. A WidthMM and HeightMM make it a
// rectangle, else it is a circle of DiameterMM.
type Spot struct {
	Name              string // what it is: "bolt M5", "key"
	Size              string // how it is made: "through 5.5 mm, nut pocket below"; may be empty
	At                r2.Vec
	DiameterMM        float64
	WidthMM, HeightMM float64
}

// PlanOptions are what a plan of the parting surface shows, seen along the opening direction. Block
// must be given.
type PlanOptions struct {
	Paper    Paper
	Head     Head
	Block    []r2.Vec  // the block's outline
	Parting  Outline   // the parting line: drawn wide
	Outlines []Outline // gutter, runner, pry slots
	Spots    []Spot
}

// PlanDrawing draws the parting surface from above with a table of its features, whose places are
// measured from the lower left corner of the block.
func PlanDrawing(opt PlanOptions) (*Drawing, error) {
	if len(opt.Block) < 3 {
		return nil, errors.New("plan drawing: the block has no outline")
	}
	lo, hi := bounds(cutPiece{loops: [][]r2.Vec{opt.Block}})
	d := New(opt.Paper, opt.Head.Title+" - "+opt.Head.Subject)
	v, err := d.place(lo, hi)
	if err != nil {
		return nil, fmt.Errorf("plan drawing: %w", err)
	}
	d.titleBlock(opt.Head, v.scale.String())
	d.Polyline(PenOutline, true, v.onPaper([][]r2.Vec{opt.Block})[0]...)
	cavity := v.onPaper(opt.Parting.Loops)
	if !opt.Parting.Open {
		d.Fill(tint, cavity...)
	}
	d.outline(v, opt.Parting, PenOutline)
	var marks []mark
	if spot, ok := firstPoint(v, opt.Parting); ok {
		marks = append(marks, mark{spot, opt.Parting.Name})
	}
	for _, o := range opt.Outlines {
		pen := PenNarrow
		if o.Hidden {
			pen = PenHidden
		}
		d.outline(v, o, pen)
		if spot, ok := firstPoint(v, o); ok {
			marks = append(marks, mark{spot, o.Name})
		}
	}
	rows := numbered(opt.Spots)
	for i, s := range opt.Spots {
		d.spot(v, s, rows[i].mark)
	}
	a, b := v.at(lo), v.at(hi)
	d.dimension(dimension{from: a.X, to: b.X, object: a.Y, line: a.Y + dimStepMM, words: mm(hi.X - lo.X)})
	d.dimension(dimension{from: b.Y, to: a.Y, object: a.X, line: a.X - dimStepMM, upright: true, words: mm(hi.Y - lo.Y)})
	below := v
	below.top = d.table(v, opt.Spots, rows, lo) + labelStepMM
	d.labels(below, marks)
	d.caption(v, opt.Head.Subject)
	return d, nil
}

func (d *Drawing) outline(v view, o Outline, pen Pen) {
	for _, l := range v.onPaper(o.Loops) {
		d.Polyline(pen, !o.Open, l...)
	}
}

// firstPoint is the rightmost point of an outline, where its leader starts.
func firstPoint(v view, o Outline) (best r2.Vec, ok bool) {
	for _, l := range v.onPaper(o.Loops) {
		for _, p := range l {
			if !ok || p.X > best.X {
				best, ok = p, true
			}
		}
	}
	return best, ok && o.Name != ""
}

// row is a spot's mark in the table: a letter for each kind, a number within it.
type row struct{ mark string }

func numbered(spots []Spot) []row {
	letters, counts := map[string]int{}, map[string]int{}
	out := make([]row, len(spots))
	for i, s := range spots {
		kind := s.Name + "\x00" + s.Size
		if _, ok := letters[kind]; !ok {
			letters[kind] = len(letters)
		}
		counts[kind]++
		out[i] = row{letter(letters[kind]) + strconv.Itoa(counts[kind])}
	}
	return out
}

// letter counts A, B, … Z, AA, AB, …
func letter(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return letter(i/26-1) + letter(i%26)
}

// spot draws a feature with its centre lines and its mark beside it.
func (d *Drawing) spot(v view, s Spot, name string) {
	c, f := v.at(s.At), v.scale.factor()
	w, h := s.DiameterMM*f/2, s.DiameterMM*f/2
	if s.WidthMM > 0 && s.HeightMM > 0 {
		w, h = s.WidthMM*f/2, s.HeightMM*f/2
		d.Polyline(PenOutline, true, rect(c.X-w, c.Y-h, c.X+w, c.Y+h)...)
	} else if w > 0 {
		d.Circle(PenOutline, c, w)
	}
	const past = 1.2 // how far centre lines run past the outline
	d.Line(PenCentre, r2.Vec{X: c.X - w - past, Y: c.Y}, r2.Vec{X: c.X + w + past, Y: c.Y})
	d.Line(PenCentre, r2.Vec{X: c.X, Y: c.Y - h - past}, r2.Vec{X: c.X, Y: c.Y + h + past})
	// The mark stands towards the middle of the block, so that it never runs over the block's edge.
	mid := v.at(r2.Scale(0.5, r2.Add(v.lo, v.hi)))
	t := Text{Words: name, HeightMM: 2, Clear: true, At: r2.Vec{X: c.X + w*0.75 + 1, Y: c.Y - h*0.75 - 1}}
	if c.X > mid.X {
		t.Anchor, t.At.X = End, c.X-w*0.75-1
	}
	if c.Y <= mid.Y {
		t.At.Y = c.Y + h*0.75 + 1 + t.HeightMM
	}
	d.Text(t)
}

// table lists the spots on the right and gives the paper y of its end. Rows that do not fit are
// counted in a last line, never dropped unseen.
func (d *Drawing) table(v view, spots []Spot, rows []row, zero r2.Vec) float64 {
	_, y0, x1, y1 := d.frame()
	x := x1 - labelRoomMM + 2
	const step, wMark, wX, wY = 4.2, 9.0, 14.0, 14.0
	y := y0 + 6
	line := func(cells [4]string, bold bool) {
		for i, dx := range []float64{0, wMark + wX - 2, wMark + wX + wY - 2, wMark + wX + wY + 1} {
			t := Text{Words: cells[i], HeightMM: 1.9, Bold: bold, At: r2.Vec{X: x + dx, Y: y}}
			if i == 1 || i == 2 {
				t.Anchor = End
			}
			d.Text(t.shortened(x1 - 2 - t.At.X + 40*float64(t.Anchor)))
		}
		y += step
	}
	if len(spots) == 0 {
		return y0 + 4
	}
	line([4]string{"", "x mm", "y mm", "what"}, true)
	last := y1 - 30
	for i, s := range spots {
		if y > last && i < len(spots)-1 {
			line([4]string{"", "", "", fmt.Sprintf("and %d more", len(spots)-i)}, false)
			break
		}
		what := s.Name
		if i == 0 || spots[i-1].Size != s.Size || spots[i-1].Name != s.Name {
			if s.Size != "" {
				what += ", " + s.Size
			}
		}
		line([4]string{rows[i].mark, mm(s.At.X - zero.X), mm(s.At.Y - zero.Y), what}, false)
	}
	d.Text(Text{Words: "x, y from the lower left corner", HeightMM: 1.8, At: r2.Vec{X: x, Y: y}})
	return y + 2
}
