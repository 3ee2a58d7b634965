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
func catches(p *mouldability.Parting, h Half, piece string, exit r3.Vec) (out []opening.Catch) {
	caught := make([]bool, len(p.Upper))
	for f, up := range p.Upper {
		n := p.Mesh.Facet(f).Normal()
		l := r3.Norm(n)
		caught[f] = up == (h == Upper) && l > 0 && r3.Dot(n, exit) < -catchLean*l
	}
	adj := p.Mesh.Adjacency()
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
