package tooling

import (
	"context"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// Wall is the thinnest place found in a piece, between the cavity and another surface.
type Wall struct {
	ThicknessMM float64 // +Inf when no ray met another surface
	At          r3.Vec  // on the cavity, mould frame
}

// Walls are the thinnest places of a piece of two kinds: Shell between the cavity and the piece's other
// surfaces, which must hold; Rib between two places of the cavity, as the ridge that makes a groove.
// The part asks for a rib however thin it is, so a thin one is named but is no failure of the mould.
type Walls struct {
	Shell, Rib Wall
	Rays       int // how many places were looked at
}

// wallRays bounds the places that thinnestWalls looks at: enough that neighbouring rays on a 100 mm
// cavity are under 1 mm apart, few enough to take a fraction of a second.
const wallRays = 40000

// thinnestWalls shoots a ray into the mould from the middle of the cavity's facets, along the facet's
// normal, and measures how far the material of piece reaches. Rays that leave through the parting
// surface are left out: there the other half takes over. facets lists the facets of the part that the
// piece touches. The answer is exact at the places looked at; between them the wall may be thinner
// by what the facets' spacing allows.
func thinnestWalls(ctx context.Context, piece *mesh.Mesh, surface *Surface, part *mesh.Mesh, facets []int32) (Walls, error) {
	inf := math.Inf(1)
	w := Walls{Shell: Wall{ThicknessMM: inf}, Rib: Wall{ThicknessMM: inf}}
	solid := geom.NewBVH(piece.Verts, piece.Tris)
	seam := geom.NewBVH(surface.Verts, surface.Tris)
	cavity := geom.NewBVH(part.Verts, part.Tris)
	stride := max(1, len(facets)/wallRays)
	for i := 0; i < len(facets); i += stride {
		if i%4096 == 0 && ctx.Err() != nil {
			return w, ctx.Err()
		}
		t := part.Facet(int(facets[i]))
		n := t.Normal()
		if r3.Norm(n) == 0 {
			continue
		}
		n = r3.Unit(n)
		from := t.Centroid()
		hit, ok := solid.FirstHit(from, n, skinMM, inf)
		if !ok {
			continue
		}
		w.Rays++
		if s, cut := seam.FirstHit(from, n, skinMM, hit.T+skinMM); cut && s.T <= hit.T+skinMM {
			continue
		}
		kind := &w.Shell
		if _, back := cavity.FirstHit(from, n, skinMM, hit.T+skinMM); back {
			kind = &w.Rib
		}
		if hit.T < kind.ThicknessMM {
			kind.ThicknessMM, kind.At = hit.T, from
		}
	}
	return w, nil
}

// skinMM is how far from a facet a ray starts, so that it does not meet the facet that it leaves.
const skinMM = 1e-6
