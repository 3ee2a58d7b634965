package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// leastTongueMM is the least silicone between a cavity and the slit beside it: thinner, it tears when the lip
// is bent (common practice, no source).
const leastTongueMM = 4.0

// layRow stands the cavities in a row across the front, each as the one that was planned, with its own feed.
// Upright slits between them divide the cut into one for each, so that the lips of one open by themselves;
// a slit is straight, so the row is one of the parts' boxes.
func (b *cutBlock) layRow(ctx context.Context) error {
	o, m := b.opt, b.mould
	box := b.one().Mesh.Bounds()
	plan := Outline{{{X: box.Min.X, Y: box.Min.Y}, {X: box.Max.X, Y: box.Min.Y}, {X: box.Max.X, Y: box.Max.Y}, {X: box.Min.X, Y: box.Max.Y}}}
	packs, err := PackCavities(plan, PackOptions{Cavities: o.Cavities, GapMM: o.CavityGapMM, WallMM: o.BlockMM})
	if err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	places := b.rowOf(packs)
	if places == nil {
		return fmt.Errorf("tooling: %d cavities find no row along the front: %w", o.Cavities, ErrCavities)
	}
	b.multiply(places)
	for i := range m.Notes {
		m.Notes[i] = "each cavity: " + m.Notes[i]
	}
	h := b.half
	h.parting, h.low = b.parting, nil
	h.shadow = placedOutline(h.shadow, places)
	h.feed = h.feed.placed(places)
	if b.inCut() {
		h.top, h.topSource = facetsAs(b.parting, Upper)
	} else {
		h.top, h.topSource = openUpward(b.parting)
	}
	b.sizeBox()
	b.trace(b.lips)
	return nil
}

// across is the unit vector along the row: seen against the front's way, from right to left.
func (l *lips) across() r3.Vec { return r3.Cross(r3.Vec{Z: 1}, l.front) }

// rowOf takes the packing that is one row across the front, of cavities that are not turned; what it moves
// them along the front is rounding.
func (b *cutBlock) rowOf(packs []Packing) []CavityPlace {
	w := b.lips.across()
	along := r2.Vec{X: w.X, Y: w.Y}
	for _, p := range packs {
		row := true
		var out []CavityPlace
		for _, c := range p.Places {
			on := r2.Scale(r2.Dot(c.At, along), along)
			row = row && c.Quarters == 0 && r2.Norm(r2.Sub(c.At, on)) < 2*packStepMM
			out = append(out, CavityPlace{At: on})
		}
		if row {
			return out
		}
	}
	return nil
}

// placed is the trough of a cavity in its place in a row, in which none is turned.
func (s *sideChannel) placed(c CavityPlace) *sideChannel {
	out := *s
	out.From = c.Into(s.From)
	out.gate = make([]r2.Vec, len(s.gate))
	for i, v := range s.gate {
		out.gate[i] = c.Into(v)
	}
	return &out
}

// tongue bounds the cut of cavity k, from 0, by the slits beside it; nil where there is one cavity.
func (b *cutBlock) tongue(k int) (out []plane) {
	w := b.lips.across()
	mine := r3.Dot(w, b.middle(k))
	left, right := math.Inf(-1), math.Inf(1)
	for j := range b.mould.Cavities {
		switch at := r3.Dot(w, b.middle(j)); {
		case at < mine:
			left = max(left, (at+mine)/2)
		case at > mine:
			right = min(right, (at+mine)/2)
		}
	}
	if !math.IsInf(left, 0) {
		out = append(out, plane{w, left})
	}
	if !math.IsInf(right, 0) {
		out = append(out, plane{r3.Scale(-1, w), -right})
	}
	return out
}

// middle is that of cavity k's box.
func (b *cutBlock) middle(k int) r3.Vec {
	box := b.one().Mesh.Bounds()
	mid := r3.Scale(0.5, r3.Add(box.Min, box.Max))
	if b.cell == nil {
		return mid
	}
	return b.mould.Cavities[k].into3(mid)
}

// slit is the upright cut on one side of a tongue, from the front to the hinge, through the whole height.
func (b *cutBlock) slit(at plane) *mesh.Mesh {
	l := b.lips
	mid := r3.Scale(at.offset, at.normal)
	p := []r3.Vec{}
	for _, c := range [4][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
		p = append(p, r3.Add(mid, r3.Add(r3.Scale(c[0]*farMM, l.front), r3.Vec{Z: c[1] * farMM})))
	}
	faces := b.box.faces()
	for _, q := range []plane{{l.front, l.hinge}, faces[l.front], faces[r3.Vec{Z: 1}], faces[r3.Vec{Z: -1}]} {
		p = clipTo(p, q)
	}
	m := &mesh.Mesh{Verts: p}
	for i := 2; i < len(p); i++ {
		m.Tris = append(m.Tris, [3]uint32{0, uint32(i) - 1, uint32(i)})
	}
	return m
}

// cutWords are the maker's instructions for the blade.
func (b *cutBlock) cutWords() string {
	c, n := b.set.Cut, b.cavities()
	if n == 1 {
		return fmt.Sprintf("cut from one end and both sides beside it, %.0f mm deep at most, along the line in the drawing; leave %.1f mm uncut at the far end", c.DepthMM, c.HingeMM)
	}
	return fmt.Sprintf("cut from one end, and at the first and the last cavity from the side beside it, %.0f mm deep at most, along the lines in the drawing; leave %.1f mm uncut at the far end. Then slit the block upright between neighbours, %.0f mm deep from the same end, at %s: the lips of each cavity open by themselves",
		c.DepthMM, c.HingeMM, c.SlitMM, b.slitWords())
}

// slitWords lists the places of the slits.
func (b *cutBlock) slitWords() (out string) {
	axis := "x"
	if b.lips.across().X == 0 {
		axis = "y"
	}
	for i := range b.mould.Cavities[1:] {
		p, q := b.middle(i), b.middle(i+1)
		mid := r3.Scale(0.5, r3.Add(p, q))
		at := mid.X
		if axis == "y" {
			at = mid.Y
		}
		if i > 0 {
			out += ", "
		}
		out += fmt.Sprintf("%s %.1f", axis, at)
	}
	return out + " mm"
}
