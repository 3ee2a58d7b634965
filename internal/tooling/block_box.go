package tooling

import (
	"fmt"
	"math"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

// pouringBox is four walls round a block of silicone, open at both ends. Its bore widens by a draft toward
// one end, by which the block comes out. Both ends stand free of the silicone, so that neither pour runs
// over.
type pouringBox struct {
	out     r3.Vec // unit, along a coordinate axis: the way the block leaves, toward the bore's wide end
	block   r3.Box // the silicone: its ends along out, and its cross-section at the narrow one
	slope   float64
	wallMM  float64
	freeMM  float64 // from each end of the silicone to that of the box
	widthMM r3.Vec  // extra width of the bore at its wide end, on both sides together
}

func newPouringBox(out r3.Vec, block r3.Box, draftDeg, wallMM, freeMM float64) pouringBox {
	b := pouringBox{out: out, block: block, slope: math.Tan(draftDeg * math.Pi / 180), wallMM: wallMM, freeMM: freeMM}
	wide := 2 * b.slope * (b.length() + freeMM)
	b.widthMM = r3.Scale(wide, b.across())
	return b
}

// across is 1 in the two axes of the cross-section, along is 1 in the other.
func (b pouringBox) across() r3.Vec { return r3.Sub(r3.Vec{X: 1, Y: 1, Z: 1}, b.along()) }
func (b pouringBox) along() r3.Vec {
	return r3.Vec{X: math.Abs(b.out.X), Y: math.Abs(b.out.Y), Z: math.Abs(b.out.Z)}
}

// narrow and wide are the silicone's ends, as coordinates along out.
func (b pouringBox) narrow() float64 {
	return min(r3.Dot(b.out, b.block.Min), r3.Dot(b.out, b.block.Max))
}
func (b pouringBox) wide() float64 {
	return max(r3.Dot(b.out, b.block.Min), r3.Dot(b.out, b.block.Max))
}
func (b pouringBox) length() float64 { return b.wide() - b.narrow() }

// outer is the outside of the walls.
func (b pouringBox) outer() r3.Box {
	grow := r3.Add(r3.Add(r3.Scale(0.5, b.widthMM), r3.Scale(b.wallMM, b.across())), r3.Scale(b.freeMM, b.along()))
	return r3.Box{Min: r3.Sub(b.block.Min, grow), Max: r3.Add(b.block.Max, grow)}
}

// bore fills the bore between two coordinates along out, moved outward by outMM on all four sides.
func (b pouringBox) bore(k *solid.Kernel, from, to, outMM float64) (*solid.Solid, error) {
	m := &mesh.Mesh{}
	// u, v and out are right-handed.
	u := r3.Vec{X: 1}
	if b.out.X != 0 {
		u = r3.Vec{Y: 1}
	}
	v := r3.Cross(b.out, u)
	lo, hi := b.block.Min, b.block.Max
	span := func(w r3.Vec, sign float64) float64 { // how far the block reaches along ±w
		return max(sign*r3.Dot(w, lo), sign*r3.Dot(w, hi))
	}
	for _, s := range []float64{from, to} {
		off := b.slope*(s-b.narrow()) + outMM
		for _, c := range [4][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
			p := r3.Scale(s, b.out)
			p = r3.Add(p, r3.Scale(c[0]*(span(u, c[0])+off), u))
			m.Verts = append(m.Verts, r3.Add(p, r3.Scale(c[1]*(span(v, c[1])+off), v)))
		}
	}
	m.Tris = [][3]uint32{{0, 2, 1}, {0, 3, 2}, {4, 5, 6}, {4, 6, 7}}
	for i := range uint32(4) {
		j := (i + 1) % 4
		m.Tris = append(m.Tris, [3]uint32{i, j, j + 4}, [3]uint32{i, j + 4, i + 4})
	}
	s, err := k.FromMesh(m)
	if err != nil {
		return nil, fmt.Errorf("tooling: %s: %w", PouringBox, err)
	}
	return s, nil
}

// room is the silicone's room, before anything stands in it.
func (b pouringBox) room(k *solid.Kernel) (*solid.Solid, error) {
	return b.bore(k, b.narrow(), b.wide(), 0)
}

// through is the whole bore and past both ends.
func (b pouringBox) through(k *solid.Kernel, outMM float64) (*solid.Solid, error) {
	past := b.freeMM + overshootMM
	return b.bore(k, b.narrow()-past, b.wide()+past, outMM)
}

const (
	// The marks that show how far to pour are grooves on the inside of two walls, just outside the
	// silicone's end: the level is their edge.
	markLengthMM, markWidthMM, markDepthMM = 12.0, 1.0, 0.5
)

// marks are the cutters of the height marks at the ends asked for.
func (b pouringBox) marks(k *solid.Kernel, narrow, wide bool) ([]*solid.Solid, error) {
	var out []*solid.Solid
	u := r3.Vec{X: 1}
	if b.out.X != 0 {
		u = r3.Vec{Y: 1}
	}
	v := r3.Cross(b.out, u)
	mid := r3.Scale(0.5, r3.Add(b.block.Min, b.block.Max))
	half := r3.Scale(0.5, b.block.Size())
	for _, end := range []struct {
		asked    bool
		from, to float64
	}{{narrow, b.narrow() - markWidthMM, b.narrow()}, {wide, b.wide(), b.wide() + markWidthMM}} {
		if !end.asked {
			continue
		}
		reach := math.Abs(r3.Dot(u, half)) + b.slope*(max(end.to, b.narrow())-b.narrow()) + markDepthMM
		for _, side := range []float64{-1, 1} {
			c := r3.Add(mid, r3.Scale(side*reach, u))
			c = r3.Add(c, r3.Scale(end.from-r3.Dot(b.out, c), b.out))
			d := r3.Add(c, r3.Add(r3.Scale(end.to-end.from, b.out), r3.Scale(-side*(markDepthMM+overshootMM), u)))
			across := r3.Scale(0.5*min(markLengthMM, math.Abs(r3.Dot(v, half))), v)
			s, err := k.Box(hullBox(r3.Sub(c, across), r3.Add(c, across), r3.Sub(d, across), r3.Add(d, across)))
			if err != nil {
				return nil, fmt.Errorf("tooling: height marks: %w", err)
			}
			out = append(out, s)
		}
	}
	return out, nil
}

// hullBox is the box round some points.
func hullBox(ps ...r3.Vec) r3.Box {
	b := r3.Box{Min: ps[0], Max: ps[0]}
	for _, p := range ps[1:] {
		b.Min = r3.Vec{X: min(b.Min.X, p.X), Y: min(b.Min.Y, p.Y), Z: min(b.Min.Z, p.Z)}
		b.Max = r3.Vec{X: max(b.Max.X, p.X), Y: max(b.Max.Y, p.Y), Z: max(b.Max.Z, p.Z)}
	}
	return b
}

// make is the box itself.
func (b pouringBox) make(k *solid.Kernel, marks []*solid.Solid) (*solid.Solid, error) {
	walls, err := k.Box(b.outer())
	if err != nil {
		return nil, fmt.Errorf("tooling: %s: %w", PouringBox, err)
	}
	hole, err := b.through(k, 0)
	if err != nil {
		return nil, err
	}
	if walls, err = walls.Subtract(append([]*solid.Solid{hole}, marks...)...); err != nil {
		return nil, fmt.Errorf("tooling: %s: %w", PouringBox, err)
	}
	return walls, nil
}

// label letters one wall, half-way along the box.
func (b pouringBox) label(k *solid.Kernel, opt LabelOptions) (*solid.Solid, *Feature, error) {
	if opt.Text == "" {
		return nil, nil, nil
	}
	o := b.outer()
	mid := r3.Scale(0.5, r3.Add(o.Min, o.Max))
	face := LabelFace{Centre: r3.Vec{X: mid.X, Y: o.Min.Y, Z: mid.Z}, Normal: r3.Vec{Y: -1}, WidthMM: o.Size().X, HeightMM: o.Size().Z, BehindMM: b.wallMM}
	if b.out.Y != 0 {
		face = LabelFace{Centre: r3.Vec{X: o.Min.X, Y: mid.Y, Z: mid.Z}, Normal: r3.Vec{X: -1}, WidthMM: o.Size().Y, HeightMM: o.Size().Z, BehindMM: b.wallMM}
	}
	l, err := NewLabel(face, opt)
	if err != nil {
		return nil, nil, fmt.Errorf("tooling: %w", err)
	}
	t, err := l.Tools(k, Upper)
	if err != nil {
		return nil, nil, fmt.Errorf("tooling: %w", err)
	}
	f := l.Feature("L1", Upper)
	f.Piece = PouringBox
	return t[0].Solid, &f, nil
}

// makeBox makes the pouring box with its height marks, at the wide end too where wide says so, and the label,
// nil for none.
func (b *siliconeBlock) makeBox(k *solid.Kernel, opt LabelOptions, wide bool) (box, label *solid.Solid, err error) {
	marks, err := b.box.marks(k, true, wide)
	if err != nil {
		return nil, nil, err
	}
	label, feature, err := b.box.label(k, opt)
	if err != nil {
		return nil, nil, err
	}
	if label != nil {
		marks = append(marks, label)
		b.mould.Features = append(b.mould.Features, *feature)
	}
	box, err = b.box.make(k, marks)
	return box, label, err
}
