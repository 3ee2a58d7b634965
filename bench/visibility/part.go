// Package visibility holds the parts on which the direction search is measured, and measures it. The
// compare program beside it asks Embree the same question on the same mesh.
package visibility

import (
	"math"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// LumpyRing is a closed ring 110 mm across with lumps on it, of about n facets of about the same
// size. From nearly every side some of it hides behind the rest: a twentieth to a third of it.
func LumpyRing(n int) *mesh.Mesh {
	k := int(math.Sqrt(float64(n) / 2))
	m := &mesh.Mesh{}
	for i := range k {
		u := 2 * math.Pi * float64(i) / float64(k)
		su, cu := math.Sincos(u)
		for j := range k {
			v := 2 * math.Pi * float64(j) / float64(k)
			sv, cv := math.Sincos(v)
			r := 14 + 2.5*math.Sin(5*u)*math.Cos(4*v)
			m.Verts = append(m.Verts, r3.Vec{X: (40 + r*cv) * cu, Y: (40 + r*cv) * su, Z: r * sv})
			a, b := uint32(i*k+j), uint32((i+1)%k*k+j)
			c, d := uint32((i+1)%k*k+(j+1)%k), uint32(i*k+(j+1)%k)
			m.Tris = append(m.Tris, [3]uint32{a, b, c}, [3]uint32{a, c, d})
		}
	}
	return m
}

// Pebble is a closed ellipsoid 90 mm long with ripples that leave its parting line uneven, of about n
// facets. It parts along z without undercuts, so a mould can be built of it.
func Pebble(n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	rings := max(4, int(math.Sqrt(float64(n)/8)))
	segs := 4 * rings
	at := func(i, j int) r3.Vec {
		th, ph := math.Pi*float64(i)/float64(rings), 2*math.Pi*float64(j)/float64(segs)
		st, ct := math.Sincos(th)
		return r3.Vec{X: 45 * st * math.Cos(ph), Y: 32 * st * math.Sin(ph), Z: 14*ct + 2*math.Sin(3*ph)*math.Pow(st, 4)}
	}
	m.Verts = append(m.Verts, at(0, 0))
	for i := 1; i < rings; i++ {
		for j := range segs {
			m.Verts = append(m.Verts, at(i, j))
		}
	}
	m.Verts = append(m.Verts, at(rings, 0))
	id := func(i, j int) uint32 { return uint32(1 + (i-1)*segs + j%segs) }
	last := uint32(len(m.Verts) - 1)
	for j := range segs {
		m.Tris = append(m.Tris, [3]uint32{0, id(1, j), id(1, j+1)})
		for i := 1; i < rings-1; i++ {
			m.Tris = append(m.Tris, [3]uint32{id(i, j), id(i+1, j), id(i+1, j+1)}, [3]uint32{id(i, j), id(i+1, j+1), id(i, j+1)})
		}
		m.Tris = append(m.Tris, [3]uint32{last, id(rings-1, j+1), id(rings-1, j)})
	}
	return m
}

// Parts are the parts by name.
var Parts = map[string]func(facets int) *mesh.Mesh{"ring": LumpyRing, "pebble": Pebble}

// Directions are n directions spread over the hemisphere z > 0 by a spherical Fibonacci lattice.
func Directions(n int) []r3.Vec {
	golden := math.Pi * (3 - math.Sqrt(5))
	out := make([]r3.Vec, n)
	for i := range out {
		z := (float64(i) + 0.5) / float64(n)
		r := math.Sqrt(1 - z*z)
		s, c := math.Sincos(golden * float64(i))
		out[i] = r3.Vec{X: r * c, Y: r * s, Z: z}
	}
	return out
}
