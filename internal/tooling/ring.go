package tooling

import (
	"context"
	"math"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// layRound lays a first parting surface, mm wide round the part, on which silicone is planned: the block
// that gives the last one its size is not known yet.
func layRound(ctx context.Context, p *mouldability.Parting, part *mesh.Mesh, mm float64) (*Surface, error) {
	b := part.Bounds()
	return newSurface(ctx, p, r2.Box{Min: r2.Vec{X: b.Min.X - mm, Y: b.Min.Y - mm}, Max: r2.Vec{X: b.Max.X + mm, Y: b.Max.Y + mm}})
}

// addRing adds to m a strip of the parting surface, mm wide, along each loop of the line. Strips may
// overlap: they only say where silicone is wanted.
func addRing(m *mesh.Mesh, line [][]r3.Vec, field *HeightField, mm float64) {
	for _, loop := range line {
		out := away(flat(loop), mm)
		n := uint32(len(loop))
		first := uint32(len(m.Verts))
		m.Verts = append(m.Verts, loop...)
		for i, p := range out {
			z, ok := field.At(p)
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
func away(loop []r2.Vec, mm float64) []r2.Vec {
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

// ringSpotsOf are places on the ring round one loop of a shadow, mm from it and no nearer to any other.
func ringSpotsOf(shadow [][]r2.Vec, loop int, mm float64) []r2.Vec {
	var out []r2.Vec
	walk := away(shadow[loop], mm)
	total := 0.0
	for i, p := range walk {
		total += r2.Norm(r2.Sub(walk[(i+1)%len(walk)], p))
	}
	// A corner of the line may fold the walk over itself: places nearer to the line than asked are left out.
	const spots = 240 // every 1.5° of a round part
	step, left := total/spots, 0.0
	for i, p := range walk {
		d := r2.Sub(walk[(i+1)%len(walk)], p)
		l := r2.Norm(d)
		for ; left < l; left += step {
			q := r2.Add(p, r2.Scale(left/l, d))
			if gapToOutline(shape{core: []r2.Vec{q}}, shadow) >= mm*0.98 {
				out = append(out, q)
			}
		}
		left -= l
	}
	return out
}
