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

const (
	// facetsPerCell is how many facets a surface of one cell's area leaves after merging. Measured at
	// 2.5 on a waved torus of a million facets; it is only where the search for the cell starts.
	facetsPerCell = 2.5
	// thinSlack keeps the next try on the right side of the limit, and the search moving.
	thinSlack = 1.03
	// thinTries bounds the search; each coarser try grows the cell by thinSlack at least.
	thinTries = 60
)

// thinned merges vertices that share a cell of a grid, and drops the facets that this closes, until at
// most limit are left.
func thinned(m *mesh.Mesh, limit int) *view {
	if len(m.Tris) <= limit {
		return &view{mesh: m}
	}
	b := m.Bounds()
	size := b.Size()
	largest := math.Max(size.X, math.Max(size.Y, size.Z))
	cell := math.Sqrt(facetsPerCell * m.AreaMM2() / float64(limit))
	// A grid finer than this would not fit its key, nor help; an area of nothing would give no cell.
	cell = math.Max(cell, largest/(1<<20))
	v := clustered(m, b.Min, cell)
	for range thinTries {
		if len(v.mesh.Tris) <= limit {
			return v
		}
		cell *= thinSlack * math.Sqrt(float64(len(v.mesh.Tris))/float64(limit))
		v = clustered(m, b.Min, cell)
	}
	return v
}

func clustered(m *mesh.Mesh, origin r3.Vec, cell float64) *view {
	index := make(map[uint64]uint32, len(m.Verts)/4)
	of := make([]uint32, len(m.Verts))
	v := &view{mesh: &mesh.Mesh{}, cellMM: cell}
	for i, p := range m.Verts {
		q := r3.Scale(1/cell, r3.Sub(p, origin))
		key := uint64(max(q.X, 0))<<42 | uint64(max(q.Y, 0))<<21 | uint64(max(q.Z, 0))
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

// positions are places relative to origin, so that float32 keeps them apart.
func positions(places []r3.Vec, origin r3.Vec) []float32 {
	out := make([]float32, 0, 3*len(places))
	for _, v := range places {
		q := r3.Sub(v, origin)
		out = append(out, float32(q.X), float32(q.Y), float32(q.Z))
	}
	return out
}

// addMesh packs the positions and the corners.
func addMesh(p *pack, prefix string, m *mesh.Mesh, origin r3.Vec) {
	idx := make([]uint32, 0, 3*len(m.Tris))
	for _, t := range m.Tris {
		idx = append(idx, t[0], t[1], t[2])
	}
	add(p, prefix+"positions", positions(m.Verts, origin))
	add(p, prefix+"corners", idx)
}
