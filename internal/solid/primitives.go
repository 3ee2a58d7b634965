package solid

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// boxTris are the facets of a box whose corner i has the upper x, y, z where bit 0, 1, 2 of i is set.
var boxTris = [][3]uint32{
	{0, 2, 1}, {1, 2, 3}, {4, 5, 6}, {5, 7, 6}, {0, 1, 4}, {1, 5, 4},
	{2, 6, 3}, {3, 6, 7}, {0, 4, 2}, {2, 4, 6}, {1, 3, 5}, {3, 7, 5},
}

// Box makes a box with corners exactly at b's.
func (k *Kernel) Box(b r3.Box) (*Solid, error) {
	if !finite(b.Min, b.Max) || b.Min.X >= b.Max.X || b.Min.Y >= b.Max.Y || b.Min.Z >= b.Max.Z {
		return nil, badArgument("box from %v to %v", b.Min, b.Max)
	}
	return k.FromMesh(boxMesh(b))
}

func boxMesh(b r3.Box) *mesh.Mesh {
	m := &mesh.Mesh{Tris: boxTris}
	for i := range 8 {
		v := b.Min
		if i&1 != 0 {
			v.X = b.Max.X
		}
		if i&2 != 0 {
			v.Y = b.Max.Y
		}
		if i&4 != 0 {
			v.Z = b.Max.Z
		}
		m.Verts = append(m.Verts, v)
	}
	return m
}

// minSegments is the least number of segments that gives a circle an area.
const minSegments = 3

// Cylinder makes a prism over a regular polygon with corners on the circle of radius r; see Frustum.
func (k *Kernel) Cylinder(bottom, axis r3.Vec, r float64, segments int) (*Solid, error) {
	return k.Frustum(bottom, axis, r, r, segments)
}

// Frustum makes a truncated cone from a circle of radius r0 (mm) about bottom to one of radius r1
// about bottom+axis: the axis carries the height. One radius may be 0. Corners of the polygons lie on
// the circles, the first in the direction of +x for an axis along z; so the flats lie inside by
// r·(1−cos(π/segments)), which a clearance hole must allow for.
func (k *Kernel) Frustum(bottom, axis r3.Vec, r0, r1 float64, segments int) (*Solid, error) {
	if !finite(bottom, axis) || axis == (r3.Vec{}) || segments < minSegments ||
		!(r0 >= 0 && r1 >= 0 && r0+r1 > 0) || math.IsInf(r0+r1, 0) {
		return nil, badArgument("cone from %v along %v with radii %g, %g and %d segments", bottom, axis, r0, r1, segments)
	}
	return k.FromMesh(frustumMesh(bottom, axis, r0, r1, segments))
}

func frustumMesh(bottom, axis r3.Vec, r0, r1 float64, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	u, v := perpendicular(axis)
	ring := func(c r3.Vec, r float64) (at func(i int) uint32) {
		first := uint32(len(m.Verts))
		if r == 0 {
			m.Verts = append(m.Verts, c)
			return func(int) uint32 { return first }
		}
		for i := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			m.Verts = append(m.Verts, r3.Add(c, r3.Add(r3.Scale(r*cos, u), r3.Scale(r*sin, v))))
		}
		return func(i int) uint32 { return first + uint32(i%n) }
	}
	lo, hi := ring(bottom, r0), ring(r3.Add(bottom, axis), r1)
	add := func(a, b, c uint32) {
		if a != b && b != c && c != a { // at an apex a side is one facet, and there is no cap
			m.Tris = append(m.Tris, [3]uint32{a, b, c})
		}
	}
	for i := range n {
		add(lo(i), lo(i+1), hi(i+1))
		add(lo(i), hi(i+1), hi(i))
		if i >= 2 {
			add(lo(0), lo(i), lo(i-1))
			add(hi(0), hi(i-1), hi(i))
		}
	}
	return m
}

// perpendicular returns unit vectors that make a right-handed frame u, v, axis. For an axis along
// +z they are exactly x and y, and for other coordinate axes exact too.
func perpendicular(axis r3.Vec) (u, v r3.Vec) {
	a := r3.Unit(axis)
	switch ax, ay, az := math.Abs(a.X), math.Abs(a.Y), math.Abs(a.Z); {
	case ax <= ay && ax <= az || ax <= az && ay <= az: // nearer to z or to the yz plane
		u = r3.Unit(r3.Sub(r3.Vec{X: 1}, r3.Scale(a.X, a)))
	case ay <= az:
		u = r3.Unit(r3.Sub(r3.Vec{Y: 1}, r3.Scale(a.Y, a)))
	default:
		u = r3.Unit(r3.Sub(r3.Vec{Z: 1}, r3.Scale(a.Z, a)))
	}
	return u, r3.Cross(a, u)
}

// Sphere makes a ball of facets with vertices on the sphere of radius r about c: the triangles of an
// octahedron, each divided evenly, with `segments` of them (rounded up to a multiple of 4) around.
func (k *Kernel) Sphere(c r3.Vec, r float64, segments int) (*Solid, error) {
	const most = 4096 // 2·4096² facets are at the limit of memory
	if !finite(c) || !(r > 0) || math.IsInf(r, 0) || segments < minSegments || segments > most {
		return nil, badArgument("sphere of radius %g about %v with %d segments (3 to %d)", r, c, segments, most)
	}
	s, err := k.build("sphere", func(h *host) (address, error) {
		return h.function("_Sphere", r, segments).(address), nil
	})
	if err != nil || c == (r3.Vec{}) {
		return s, err
	}
	defer s.Free()
	return s.Translate(c)
}
