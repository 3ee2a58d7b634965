package tooling

import (
	"math"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// catchLean is how far a facet must lean over for a piece to catch on it, as the sine: the draft below
// which the opening proof takes a wall for upright.
var catchLean = math.Sin(opening.DefaultWallDraftDeg * math.Pi / 180)

// catches groups the facets of one side that face against the way its piece leaves.
func catches(p *mouldability.Parting, h Half, piece string, exit r3.Vec) []opening.Catch {
	return catchesOn(p.Mesh, func(f int) bool { return p.Upper[f] == (h == Upper) }, piece, exit)
}

// catchesOn is catches for the facets that are a piece's own.
func catchesOn(m *mesh.Mesh, own func(f int) bool, piece string, exit r3.Vec) (out []opening.Catch) {
	caught := make([]bool, len(m.Tris))
	for f := range m.Tris {
		n := m.Facet(f).Normal()
		l := r3.Norm(n)
		caught[f] = own(f) && l > 0 && r3.Dot(n, exit) < -catchLean*l
	}
	adj := m.Adjacency()
	done := make([]bool, len(caught))
	for f := range caught {
		if !caught[f] || done[f] {
			continue
		}
		done[f] = true
		group := []int32{int32(f)}
		for i := 0; i < len(group); i++ {
			for _, g := range adj[group[i]] {
				if g != mesh.NoFacet && caught[g] && !done[g] {
					done[g] = true
					group = append(group, g)
				}
			}
		}
		out = append(out, opening.Catch{Piece: piece, Exit: exit, Facets: group})
	}
	return out
}
