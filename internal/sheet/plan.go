package sheet

import (
	"errors"
	"fmt"

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
	Mark              string // "B1", as other documents call it; "" numbers it by its kind
	Name              string // what it is: "bolt", "key"
	Size              string // how it is made, a sentence at most; may be empty
	At                r2.Vec
	DiameterMM        float64
	WidthMM, HeightMM float64
}

// Cut is where a section is taken, seen from above: its ends on the block's edge and its letter.
type Cut struct {
	Letter   string
	From, To r2.Vec
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
	Cuts     []Cut // where the sections of other sheets run
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
	spots := marked(opt.Spots)
	for _, s := range spots {
		d.spot(v, s, spots)
	}
	for _, c := range opt.Cuts {
		d.cutMark(v, c)
	}
	a, b := v.at(lo), v.at(hi)
	step := dimStepMM
	if len(opt.Cuts) > 0 {
		step += cutMarkMM
	}
	d.dimension(dimension{from: a.X, to: b.X, object: a.Y, line: a.Y + step, words: mm(hi.X - lo.X)})
	d.dimension(dimension{from: b.Y, to: a.Y, object: a.X, line: a.X - step, upright: true, words: mm(hi.Y - lo.Y)})
	end := d.table(spots, lo)
	_, _, right, _ := d.frame()
	if room := d.tableX() - 2 - v.labelX; room >= leastLabelMM {
		right = d.tableX() - 2 // labels stand between the view and the table
	} else {
		v.top = end + labelStepMM
	}
	d.labels(v, marks, right)
	d.caption(v, opt.Head.Subject)
	return d, nil
}

// cutMarkMM is the room that the ends of a cut take outside the block.
const cutMarkMM = 4.0

// cutMark draws both ends of a cutting plane: a wide stroke just outside the block, with its letter.
func (d *Drawing) cutMark(v view, c Cut) {
	const gap, length = 1.2, cutMarkMM - 1
	a, b := v.at(c.From), v.at(c.To)
	if a == b {
		return
	}
	u := r2.Unit(r2.Sub(b, a))
	for _, end := range []struct{ at, out r2.Vec }{{a, r2.Scale(-1, u)}, {b, u}} {
		from := r2.Add(end.at, r2.Scale(gap, end.out))
		to := r2.Add(from, r2.Scale(length, end.out))
		d.Line(PenOutline, from, to)
		// Beside the stroke: above a level one, right of an upright one.
		t := Text{Words: c.Letter, HeightMM: 2.2, Bold: true, Anchor: Middle, Clear: true, At: r2.Vec{X: (from.X + to.X) / 2, Y: from.Y - 0.8}}
		if u.X*u.X < u.Y*u.Y {
			t.Anchor, t.At = Start, r2.Vec{X: from.X + 0.9, Y: (from.Y+to.Y)/2 + 1.1}
		}
		d.Text(t)
	}
}

// leastLabelMM is the narrowest room that a short label fits.
const leastLabelMM = 22

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

// spot draws a feature with its centre lines and its mark beside it; all are those of the plan.
func (d *Drawing) spot(v view, s Spot, all []Spot) {
	c, f := v.at(s.At), v.scale.factor()
	w, h := s.DiameterMM*f/2, s.DiameterMM*f/2
	if w == 0 && s.WidthMM == 0 { // only its place is known
		w, h = 0.8, 0.8
	}
	if s.WidthMM > 0 && s.HeightMM > 0 {
		w, h = s.WidthMM*f/2, s.HeightMM*f/2
		d.Polyline(PenOutline, true, rect(c.X-w, c.Y-h, c.X+w, c.Y+h)...)
	} else if s.DiameterMM > 0 {
		d.Circle(PenOutline, c, w)
	}
	const past = 1.2 // how far centre lines run past the outline
	d.Line(PenCentre, r2.Vec{X: c.X - w - past, Y: c.Y}, r2.Vec{X: c.X + w + past, Y: c.Y})
	d.Line(PenCentre, r2.Vec{X: c.X, Y: c.Y - h - past}, r2.Vec{X: c.X, Y: c.Y + h + past})
	d.Text(d.markPlace(v, s, c, w, h, all))
}

// markPlace puts a spot's mark beside it: towards the middle of the block, so that it never runs over
// the block's edge, or at another corner where there another mark or feature would be in its way.
func (d *Drawing) markPlace(v view, s Spot, c r2.Vec, w, h float64, all []Spot) Text {
	mid := v.at(r2.Scale(0.5, r2.Add(v.lo, v.hi)))
	right, up := c.X <= mid.X, c.Y > mid.Y
	var first Text
	for i, corner := range [][2]bool{{right, up}, {right, !up}, {!right, up}, {!right, !up}} {
		t := Text{Words: s.Mark, HeightMM: 2, Clear: true, At: r2.Vec{X: c.X + w*0.75 + 1, Y: c.Y + h*0.75 + 3}}
		if !corner[0] {
			t.Anchor, t.At.X = End, c.X-w*0.75-1
		}
		if corner[1] {
			t.At.Y = c.Y - h*0.75 - 1
		}
		if i == 0 {
			first = t
		}
		if d.isFree(v, t, s, all) {
			return t
		}
	}
	return first
}

// isFree says whether a mark stands on the block and clear of the texts so far and of other spots.
func (d *Drawing) isFree(v view, t Text, own Spot, all []Spot) bool {
	lo, hi := bounds(cutPiece{loops: [][]r2.Vec{t.box(0.3)}})
	meets := func(lo2, hi2 r2.Vec) bool { return lo.X < hi2.X && lo2.X < hi.X && lo.Y < hi2.Y && lo2.Y < hi.Y }
	if a, b := v.at(v.lo), v.at(v.hi); lo.X < a.X || hi.X > b.X || lo.Y < b.Y || hi.Y > a.Y {
		return false
	}
	for _, it := range d.items {
		if o, ok := it.(Text); ok && meets(bounds(cutPiece{loops: [][]r2.Vec{o.box(0)}})) {
			return false
		}
	}
	f := v.scale.factor()
	for _, o := range all {
		w, h := max(o.DiameterMM, o.WidthMM)*f/2, max(o.DiameterMM, o.HeightMM)*f/2
		c := v.at(o.At)
		if o != own && meets(r2.Vec{X: c.X - w, Y: c.Y - h}, r2.Vec{X: c.X + w, Y: c.Y + h}) {
			return false
		}
	}
	return true
}
