package choice

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// turnedBody is a body of revolution about z from a closed profile in r and z, counter-clockwise with
// r to the right and z up, in n segments.
func turnedBody(p []r2.Vec, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	at := map[r3.Vec]uint32{}
	vertex := func(q r2.Vec, k int) uint32 {
		sin, cos := math.Sincos(2 * math.Pi * float64(k%n) / float64(n))
		v := r3.Vec{X: q.X * cos, Y: q.X * sin, Z: q.Y}
		if q.X == 0 {
			v = r3.Vec{Z: q.Y}
		}
		i, ok := at[v]
		if !ok {
			i = uint32(len(m.Verts))
			at[v] = i
			m.Verts = append(m.Verts, v)
		}
		return i
	}
	tri := func(a, b, c uint32) {
		if a != b && b != c && c != a {
			m.Tris = append(m.Tris, [3]uint32{a, b, c})
		}
	}
	for k := range n {
		for i, q := range p {
			o := p[(i+1)%len(p)]
			a, b, c, d := vertex(q, k), vertex(q, k+1), vertex(o, k+1), vertex(o, k)
			tri(a, b, c)
			tri(a, c, d)
		}
	}
	return m
}

// cup stands on its floor. Leans are positive where a wall comes inward towards the rim.
type cup struct {
	radius, wall, floor, height float64
	outerLean, innerLean        float64 // degrees
}

func (c cup) innerRise() float64 { return c.height - c.floor }

// gripMM is how much wider the inside is at the floor than at the rim, on the radius.
func (c cup) gripMM() float64 { return c.innerRise() * tan(c.innerLean) }

func tan(deg float64) float64 { return math.Tan(deg * math.Pi / 180) }

func (c cup) mesh(n int) *mesh.Mesh {
	rim := c.radius - c.height*tan(c.outerLean)
	inner := rim - c.wall
	return turnedBody([]r2.Vec{{}, {X: c.radius}, {X: rim, Y: c.height}, {X: inner, Y: c.height},
		{X: inner + c.gripMM(), Y: c.floor}, {Y: c.floor}}, n)
}
