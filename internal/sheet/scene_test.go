package sheet

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// lathe turns a closed profile (x = radius > 0, y = height, counter-clockwise) about z into a
// closed ring of n segments; its first meridian lies in the xz plane.
func lathe(profile []r2.Vec, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	k := uint32(len(profile))
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		for _, p := range profile {
			m.Verts = append(m.Verts, r3.Vec{X: p.X * c, Y: p.X * s, Z: p.Y})
		}
	}
	for i := range uint32(n) {
		j := (i + 1) % uint32(n)
		for a := range k {
			b := (a + 1) % k
			// Counter-clockwise profile, turned counter-clockwise: this order faces outward.
			m.Tris = append(m.Tris, [3]uint32{i*k + a, j*k + a, j*k + b}, [3]uint32{i*k + a, j*k + b, i*k + b})
		}
	}
	return m
}

func box(lo, hi r3.Vec) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range 8 {
		v := lo
		if i&1 != 0 {
			v.X = hi.X
		}
		if i&2 != 0 {
			v.Y = hi.Y
		}
		if i&4 != 0 {
			v.Z = hi.Z
		}
		m.Verts = append(m.Verts, v)
	}
	for _, q := range [][4]uint32{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		m.Tris = append(m.Tris, [3]uint32{q[0], q[1], q[2]}, [3]uint32{q[0], q[2], q[3]})
	}
	return m
}

// ringMould is a mould of a ring of trapezoidal section: the casting and the two halves, of bore
// 2 mm, split at z = 0.
func ringMould(n int) (part, lower, upper *mesh.Mesh) {
	part = lathe([]r2.Vec{{X: 20, Y: 0}, {X: 21, Y: -9}, {X: 31, Y: -9}, {X: 32, Y: 0}, {X: 30, Y: 5}, {X: 22, Y: 5}}, n)
	lower = lathe([]r2.Vec{{X: 2, Y: -17}, {X: 42, Y: -17}, {X: 42, Y: 0}, {X: 32, Y: 0}, {X: 31, Y: -9}, {X: 21, Y: -9}, {X: 20, Y: 0}, {X: 2, Y: 0}}, n)
	upper = lathe([]r2.Vec{{X: 2, Y: 0}, {X: 20, Y: 0}, {X: 22, Y: 5}, {X: 30, Y: 5}, {X: 32, Y: 0}, {X: 42, Y: 0}, {X: 42, Y: 13}, {X: 2, Y: 13}}, n)
	return part, lower, upper
}

// upright is the plane y = 0 seen from −y: x to the right, z up.
var upright = Plane{U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}}

func polygonAreaMM2(p []r2.Vec) float64 {
	var s float64
	for i := range p {
		s += r2.Cross(p[i], p[(i+1)%len(p)])
	}
	return s / 2
}
