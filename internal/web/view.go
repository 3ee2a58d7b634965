package web

import (
	"math"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// viewFacets is how many facets a browser is given at most; more are thinned for the view alone.
const viewFacets = 200_000

// view is a mesh as the browser draws it. Facet i shows facet source[i] of the mesh it came from; nil
// means that they are the same.
type view struct {
	mesh   *mesh.Mesh
	source []int32
	cellMM float64 // details smaller than this are merged; 0 when nothing is
}

// thinned merges vertices that share a cell of a grid, and drops the facets that this closes. The
// finest grid is taken that leaves at most limit facets.
func thinned(m *mesh.Mesh, limit int) *view {
	if len(m.Tris) <= limit {
		return &view{mesh: m}
	}
	b := m.Bounds()
	size := b.Size()
	largest := math.Max(size.X, math.Max(size.Y, size.Z))
	// A surface crosses about n² cells of an n³ grid, so 8 to 2048 cells a side span all that is of use.
	fine, coarse := 2048.0, 8.0
	best := clustered(m, b.Min, largest/coarse)
	for coarse*1.06 < fine {
		n := math.Sqrt(coarse * fine)
		if v := clustered(m, b.Min, largest/n); len(v.mesh.Tris) <= limit {
			best, coarse = v, n
		} else {
			fine = n
		}
	}
	return best
}

func clustered(m *mesh.Mesh, origin r3.Vec, cell float64) *view {
	index := make(map[[3]int32]uint32)
	of := make([]uint32, len(m.Verts))
	v := &view{mesh: &mesh.Mesh{}, cellMM: cell}
	for i, p := range m.Verts {
		q := r3.Scale(1/cell, r3.Sub(p, origin))
		key := [3]int32{int32(math.Floor(q.X)), int32(math.Floor(q.Y)), int32(math.Floor(q.Z))}
		at, ok := index[key]
		if !ok {
			at = uint32(len(v.mesh.Verts))
			index[key] = at
			v.mesh.Verts = append(v.mesh.Verts, p) // a vertex of the part, so the view lies on its surface
		}
		of[i] = at
	}
	for f, t := range m.Tris {
		u := [3]uint32{of[t[0]], of[t[1]], of[t[2]]}
		if u[0] != u[1] && u[1] != u[2] && u[2] != u[0] {
			v.mesh.Tris = append(v.mesh.Tris, u)
			v.source = append(v.source, int32(f))
		}
	}
	return v
}

// facet is the facet of the whole mesh that facet i of the view shows.
func (v *view) facet(i int) int {
	if v.source == nil {
		return i
	}
	return int(v.source[i])
}

// addMesh packs the positions, relative to origin so that float32 keeps them apart, and the corners.
func addMesh(p *pack, prefix string, m *mesh.Mesh, origin r3.Vec) {
	pos := make([]float32, 0, 3*len(m.Verts))
	for _, v := range m.Verts {
		q := r3.Sub(v, origin)
		pos = append(pos, float32(q.X), float32(q.Y), float32(q.Z))
	}
	idx := make([]uint32, 0, 3*len(m.Tris))
	for _, t := range m.Tris {
		idx = append(idx, t[0], t[1], t[2])
	}
	add(p, prefix+"positions", pos)
	add(p, prefix+"corners", idx)
}
