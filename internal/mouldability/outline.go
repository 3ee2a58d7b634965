package mouldability

import (
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// outline estimates the parting line in mm: the edges where the surface stops facing up, or where
// it starts facing down, whichever is better. Between the two lie walls, where Part may do better
// still; edges between caught facets can't carry the line of two halves and don't count.
func outline(m *mesh.Mesh, adj mesh.Adjacency, facing []Reach, held func(f int32) bool, show []bool) (length, onShow float64) {
	var total, shown [2]float64
	for f := range adj {
		for k, n := range adj[f] {
			if n == mesh.NoFacet || int32(f) > n || held(int32(f)) && held(n) {
				continue
			}
			a, b := facing[f], facing[n]
			cut := [2]bool{(a == Up) != (b == Up), (a == Down) != (b == Down)}
			if !cut[0] && !cut[1] {
				continue
			}
			t := m.Tris[f]
			l := r3.Norm(r3.Sub(m.Verts[t[(k+1)%3]], m.Verts[t[k]]))
			for i := range cut {
				if cut[i] {
					total[i] += l
					if show != nil && show[f] && show[n] {
						shown[i] += l
					}
				}
			}
		}
	}
	if shown[1] < shown[0] || shown[1] == shown[0] && total[1] < total[0] {
		return total[1], shown[1]
	}
	return total[0], shown[0]
}
