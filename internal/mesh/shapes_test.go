package mesh

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// box is an axis-parallel box with 12 outward facets.
func box(lo, hi r3.Vec) *Mesh {
	m := &Mesh{}
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
	m.Tris = [][3]uint32{{0, 2, 3}, {0, 3, 1}, {4, 5, 7}, {4, 7, 6}, {0, 1, 5}, {0, 5, 4},
		{2, 6, 7}, {2, 7, 3}, {0, 4, 6}, {0, 6, 2}, {1, 3, 7}, {1, 7, 5}}
	return m
}

func cube(side float64) *Mesh { return box(r3.Vec{}, r3.Vec{X: side, Y: side, Z: side}) }

// grid is a closed or open patch of quads cut into facets: u and v wrap around where asked.
func grid(nu, nv int, wrapU, wrapV bool, at func(u, v float64) r3.Vec) *Mesh {
	rows, cols := nu+1, nv+1
	if wrapU {
		rows = nu
	}
	if wrapV {
		cols = nv
	}
	m := &Mesh{}
	for i := range rows {
		for j := range cols {
			m.Verts = append(m.Verts, at(float64(i)/float64(nu), float64(j)/float64(nv)))
		}
	}
	id := func(i, j int) uint32 { return uint32(i%rows*cols + j%cols) }
	for i := range nu {
		for j := range nv {
			a, b, c, d := id(i, j), id(i+1, j), id(i+1, j+1), id(i, j+1)
			m.Tris = append(m.Tris, [3]uint32{a, b, c}, [3]uint32{a, c, d})
		}
	}
	return m
}

// torus has its axis along z; R is the radius of the centre circle and r that of the tube.
func torus(R, r float64, nu, nv int) *Mesh {
	return grid(nu, nv, true, true, func(u, v float64) r3.Vec {
		s, c := math.Sincos(2 * math.Pi * u)
		t, d := math.Sincos(2 * math.Pi * v)
		return r3.Vec{X: (R + r*d) * c, Y: (R + r*d) * s, Z: r * t}
	})
}

// sphere has one vertex at each pole.
func sphere(r float64, nu, nv int) *Mesh {
	m := grid(nu, nv, true, false, func(u, v float64) r3.Vec {
		s, c := math.Sincos(2 * math.Pi * u)
		t, d := math.Sincos(math.Pi * (v - 0.5))
		if v == 0 || v == 1 {
			d = 0
		}
		return r3.Vec{X: r * d * c, Y: r * d * s, Z: r * t}
	})
	return Weld(m, 0) // the poles become one vertex each, their flat facets go
}

func move(m *Mesh, d r3.Vec) *Mesh { return m.Map(func(v r3.Vec) r3.Vec { return r3.Add(v, d) }) }

// join puts meshes side by side without sharing vertices.
func join(list ...*Mesh) *Mesh {
	model := &Model{}
	for _, m := range list {
		model.Objects = append(model.Objects, Object{Mesh: m})
	}
	return model.Merge()
}

// soup gives every facet its own vertices, as STL does.
func soup(m *Mesh) *Mesh {
	out := &Mesh{}
	for i := range m.Tris {
		t := m.Facet(i)
		n := uint32(len(out.Verts))
		out.Verts = append(out.Verts, t[:]...)
		out.Tris = append(out.Tris, [3]uint32{n, n + 1, n + 2})
	}
	return out
}
