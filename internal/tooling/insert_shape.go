package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/mesh"
	"mouldwright/internal/offset"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// overSurfaceMM is how far over the highest parting surface the insert's outer face runs on, so that the
// surface cuts it clean.
const overSurfaceMM = 0.5

// shape finds the insert's outer face: the underside of what lies within the insert's thickness of its
// facets and of a ring of the parting surface, swept upward with draft.
func (b *insertMould) shape(ctx context.Context) error {
	src := &mesh.Mesh{Verts: b.parting.Mesh.Verts}
	for f, t := range b.parting.Mesh.Tris {
		if !b.parting.Upper[f] {
			src.Tris = append(src.Tris, t)
		}
	}
	src = compact(src)
	b.addRing(src)
	src = src.Map(b.grown)
	top := math.Inf(-1)
	for _, v := range b.surface.Verts[len(b.parting.Mesh.Verts):] {
		top = max(top, b.grown(v).Z)
	}
	top = max(top, b.grown(r3.Vec{Z: b.parting.MaxZ}).Z)
	s, err := offset.Under(ctx, src, offset.UnderOptions{ThicknessMM: b.opt.InsertMM, TopMM: top + overSurfaceMM, DraftDeg: b.opt.DraftDeg,
		ErrorMM: b.opt.ErrorMM, Workers: b.opt.Workers, Progress: func(d float64) { b.opt.tell("shaping the insert", 0.1+0.25*d) }})
	if err != nil {
		return fmt.Errorf("tooling: insert: %w", err)
	}
	b.sheet = s
	b.hollow = s.Mesh().Bounds()
	return nil
}

// addRing adds a strip of the parting surface along each loop of the line, as wide as the silicone must
// back the casting cap. Strips may overlap: they only say where silicone is wanted.
func (b *insertMould) addRing(m *mesh.Mesh) {
	for _, loop := range b.mould.Line {
		out := b.away(flat(loop), b.opt.ringMM())
		n := uint32(len(loop))
		first := uint32(len(m.Verts))
		m.Verts = append(m.Verts, loop...)
		for i, p := range out {
			z, ok := b.field.At(p)
			if !ok {
				z = loop[i].Z // over the part or in another loop: the strip's end only has to be near
			}
			m.Verts = append(m.Verts, r3.Vec{X: p.X, Y: p.Y, Z: z})
		}
		for i := range n {
			j := (i + 1) % n
			m.Tris = append(m.Tris, [3]uint32{first + i, first + n + i, first + n + j}, [3]uint32{first + i, first + n + j, first + j})
		}
	}
}

// away moves each corner of a loop to the right of the loop by mm, along the bisector of its sides: out
// of an outer loop, into a hole. Sharp corners are cut short at twice the distance.
func (b *insertMould) away(loop []r2.Vec, mm float64) []r2.Vec {
	n := len(loop)
	out := make([]r2.Vec, n)
	right := func(i int) r2.Vec {
		d := r2.Sub(loop[(i+1)%n], loop[i])
		if l := r2.Norm(d); l > 0 {
			return r2.Vec{X: d.Y / l, Y: -d.X / l}
		}
		return r2.Vec{}
	}
	for i := range loop {
		u := r2.Add(right((i+n-1)%n), right(i))
		if l := r2.Norm2(u); l > 0 {
			// |u| is 2·cos of half the corner's turn; the side moves by mm when the corner moves mm/cos.
			out[i] = r2.Add(loop[i], r2.Scale(mm*min(2/l, 2/math.Sqrt(l)), u))
		} else {
			out[i] = loop[i]
		}
	}
	return out
}

// InsertThickness is how thick the silicone is, measured from places on the facets that it makes to the
// nearest place of its outer face.
type InsertThickness struct {
	AskedMM float64
	LeastMM float64
	LeastAt r3.Vec
	MostMM  float64
	MostAt  r3.Vec
	// FreePct is the share of the inner face behind which the thickness asked can be had: the exact outer
	// face lies straight behind it. FreeOffMM is the most that the thickness is off there.
	FreePct, FreeOffMM float64
	FreeOffAt          r3.Vec
	OuterErrorMM       float64 // how far the outer face strays from its exact shape
	Places             int
}

// thicknessTolMM is how far the insert's thickness may be off where the shape allows it at all.
const thicknessTolMM = 0.05
