package sheet

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Piece is a named solid to be cut.
type Piece struct {
	Name string
	Mesh *mesh.Mesh
}

// Label names a place with a leader. Only labels within NearMM of the plane are drawn.
type Label struct {
	Words string
	At    r3.Vec
}

// SectionOptions are what a section drawing shows beside the pieces; the zero value is an A4 sheet
// with the pieces alone.
type SectionOptions struct {
	Paper  Paper
	Head   Head
	Part   *mesh.Mesh // the casting, shown as the cavity; nil for none
	Hollow string     // what the part's cut is called; "" is "cavity"
	Labels []Label
	NearMM float64 // how far from the plane a label's place may lie; 0 means 0.5 mm
}

// tint fills the cavity: sky blue of the Okabe–Ito palette, lightened so that print stays readable.
var tint = color.RGBA{214, 237, 250, 255}

// cutPiece is a piece's loops in mm on the plane, and then on paper.
type cutPiece struct {
	name  string
	loops [][]r2.Vec
	paper [][]r2.Vec
}

// SectionDrawing cuts the pieces by the plane and draws the cut faces, each hatched its own way,
// with overall dimensions, the cavity and labels. What lies behind the plane is not drawn. It
// fails when the plane misses every piece, or with an *OpenError wrapped with the piece's name.
func SectionDrawing(ctx context.Context, pieces []Piece, p Plane, opt SectionOptions) (*Drawing, error) {
	cuts, err := cutAll(ctx, pieces, p)
	if err != nil {
		return nil, err
	}
	var cavity cutPiece
	if opt.Part != nil {
		if cavity.loops, err = Section(ctx, opt.Part, p); err != nil {
			return nil, fmt.Errorf("section of the part: %w", err)
		}
		cavity.name = cmp.Or(opt.Hollow, "cavity")
	}
	if len(cuts) == 0 {
		return nil, errors.New("section drawing: the plane misses every piece; move it into the mould")
	}
	d := New(opt.Paper, opt.Head.Title+" - "+opt.Head.Subject)
	lo, hi := bounds(cuts...)
	v, err := d.place(lo, hi)
	if err != nil {
		return nil, fmt.Errorf("section drawing: %w", err)
	}
	d.titleBlock(opt.Head, v.scale.String())
	marks := d.drawCuts(v, cuts, &cavity)
	near := opt.NearMM
	if near == 0 {
		near = 0.5
	}
	for _, l := range opt.Labels {
		if math.Abs(r3.Dot(p.normal(), r3.Sub(l.At, p.Origin))) <= near {
			marks = addMark(marks, mark{v.at(p.flat(l.At)), l.Words})
		}
	}
	d.sectionDimensions(v, cuts, cavity)
	_, _, right, _ := d.frame()
	d.labels(v, marks, right)
	d.caption(v, opt.Head.Subject)
	return d, nil
}

// drawCuts draws the cavity's tint and the cut faces, and gives a mark inside each.
func (d *Drawing) drawCuts(v view, cuts []cutPiece, cavity *cutPiece) []mark {
	cavity.paper = v.onPaper(cavity.loops)
	d.Fill(tint, cavity.paper...)
	var marks []mark
	for i := range cuts {
		c := &cuts[i]
		c.paper = v.onPaper(c.loops)
		d.hatch(c.paper, hatchings[i%len(hatchings)])
		for _, l := range c.paper {
			d.Polyline(PenOutline, true, l...)
		}
		if spot, ok := spotInside(c.paper); ok {
			marks = append(marks, mark{spot, c.name})
		}
	}
	if spot, ok := spotInside(cavity.paper); ok {
		marks = append(marks, mark{spot, cavity.name})
	}
	return marks
}

// addMark adds a mark, or where one with the same words stands already keeps the nearer to the
// labels: equal features, as the bolts on both sides, need one label.
func addMark(marks []mark, m mark) []mark {
	for i, o := range marks {
		if o.words == m.words {
			if m.spot.X > o.spot.X {
				marks[i] = m
			}
			return marks
		}
	}
	return append(marks, m)
}

func cutAll(ctx context.Context, pieces []Piece, p Plane) ([]cutPiece, error) {
	var cuts []cutPiece
	for _, piece := range pieces {
		loops, err := Section(ctx, piece.Mesh, p)
		if err != nil {
			return nil, fmt.Errorf("section of %s: %w", piece.Name, err)
		}
		if len(loops) > 0 {
			cuts = append(cuts, cutPiece{name: piece.Name, loops: loops})
		}
	}
	return cuts, nil
}

func bounds(cuts ...cutPiece) (lo, hi r2.Vec) {
	lo = r2.Vec{X: math.Inf(1), Y: math.Inf(1)}
	hi = r2.Scale(-1, lo)
	for _, c := range cuts {
		for _, l := range c.loops {
			for _, p := range l {
				lo = r2.Vec{X: min(lo.X, p.X), Y: min(lo.Y, p.Y)}
				hi = r2.Vec{X: max(hi.X, p.X), Y: max(hi.Y, p.Y)}
			}
		}
	}
	return lo, hi
}

// sectionDimensions draws the overall width below, the pieces' heights and the overall height on
// the left, and the cavity's width above and height on the right.
func (d *Drawing) sectionDimensions(v view, cuts []cutPiece, cavity cutPiece) {
	a, b := v.at(v.lo), v.at(v.hi) // a is lower left, b is upper right on paper
	d.dimension(dimension{from: a.X, to: b.X, object: a.Y, line: a.Y + 2*dimStepMM, words: mm(v.hi.X - v.lo.X)})
	d.dimension(dimension{from: b.Y, to: a.Y, object: a.X, line: a.X - 2*dimStepMM, upright: true, words: mm(v.hi.Y - v.lo.Y)})
	if len(cavity.loops) == 0 {
		return
	}
	lo, hi := bounds(cavity)
	c, e := v.at(lo), v.at(hi)
	d.dimension(dimension{from: c.X, to: e.X, object: b.Y, line: b.Y - dimStepMM, words: mm(hi.X - lo.X)})
	d.dimension(dimension{from: e.Y, to: c.Y, object: a.X, line: a.X - dimStepMM, upright: true, words: mm(hi.Y - lo.Y)})
	d.dimension(dimension{from: a.X, to: c.X, object: a.Y, line: a.Y + dimStepMM, words: mm(lo.X - v.lo.X)})
}
