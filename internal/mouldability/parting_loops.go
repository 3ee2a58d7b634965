package mouldability

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"mouldwright/internal/mesh"
)

// traceLoops follows the edges between upper and lower facets. Where the line touches itself at a
// vertex, it turns so that it stays on the rim of the same fan of upper facets.
func traceLoops(m *mesh.Mesh, adj mesh.Adjacency, upper []bool) ([]Loop, error) {
	border := func(f, k int) bool { g := adj[f][k]; return upper[f] && g != mesh.NoFacet && !upper[g] }
	done := make([]bool, 3*len(m.Tris))
	var loops []Loop
	for f := range m.Tris {
		for k := range 3 {
			if done[3*f+k] || !border(f, k) {
				continue
			}
			var l Loop
			for g, c := f, k; !done[3*g+c]; {
				done[3*g+c] = true
				l.Verts = append(l.Verts, m.Tris[g][c])
				// Swing about the far end of the edge through upper facets to the next border edge.
				c = (c + 1) % 3
				for steps := 0; !border(g, c); steps++ {
					n := adj[g][c]
					if n == mesh.NoFacet || steps > len(m.Tris) {
						return nil, fmt.Errorf("mouldability: the mesh is open at vertex %d; close it before parting", m.Tris[g][c])
					}
					g, c = int(n), slices.Index(m.Tris[n][:], m.Tris[g][c])
				}
			}
			l.AreaMM2 = projectedArea(m, l.Verts)
			loops = append(loops, l)
		}
	}
	slices.SortStableFunc(loops, func(a, b Loop) int {
		return cmp.Or(cmp.Compare(math.Abs(b.AreaMM2), math.Abs(a.AreaMM2)), cmp.Compare(a.Verts[0], b.Verts[0]))
	})
	return loops, nil
}

func projectedArea(m *mesh.Mesh, loop []uint32) (a float64) {
	o := m.Verts[loop[0]]
	for i, v := range loop {
		p, q := m.Verts[v], m.Verts[loop[(i+1)%len(loop)]]
		a += (p.X-o.X)*(q.Y-o.Y) - (q.X-o.X)*(p.Y-o.Y)
	}
	return a / 2
}

func sortedKeys[V any](m map[int64]V) []int64 { return slices.Sorted(maps.Keys(m)) }
