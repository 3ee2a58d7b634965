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

// wallRays bounds the places that a gauge looks at: enough that neighbouring rays on a 100 mm
// cavity are under 1 mm apart, few enough to take a fraction of a second.
const wallRays = 40000

// gauge measures the walls of the pieces around one cavity.
type gauge struct {
	part         *mesh.Mesh
	cavity, seam *geom.BVH
	holes        []channel // sprue and vents: they open into the cavity, so the wall to them ends in an edge
}

func newGauge(part *mesh.Mesh, s *Surface, holes []channel) *gauge {
	return &gauge{part: part, cavity: geom.NewBVH(part.Verts, part.Tris), seam: geom.NewBVH(s.Verts, s.Tris), holes: holes}
}

// inHole says whether a place lies on the wall of a sprue or a vent.
func (g *gauge) inHole(p r3.Vec) bool {
	for _, h := range g.holes {
		if h.opensAt(p) {
			return true
		}
	}
	return false
}

// holeSlackMM covers the rounding of a sprue's cut wall.
const holeSlackMM = 1e-3

// thinnest shoots a ray into the mould from the middle of the cavity's facets, along the facet's
// normal, and measures how far the material of piece reaches. Rays that leave through the parting
// surface, or into a sprue or a vent, are left out. facets lists the facets of the part that the
// piece touches. The answer is exact at the places looked at; between them the wall may be thinner
// by what the facets' spacing allows.
func (g *gauge) thinnest(ctx context.Context, piece *mesh.Mesh, facets []int32) (Walls, error) {
	inf := math.Inf(1)
	w := Walls{Shell: Wall{ThicknessMM: inf}, Rib: Wall{ThicknessMM: inf}}
	solid := geom.NewBVH(piece.Verts, piece.Tris)
	stride := max(1, len(facets)/wallRays)
	for i := 0; i < len(facets); i += stride {
		if i%4096 == 0 && ctx.Err() != nil {
			return w, ctx.Err()
		}
		t := g.part.Facet(int(facets[i]))
		n := t.Normal()
		if r3.Norm(n) == 0 {
			continue
		}
		n = r3.Unit(n)
		from := t.Centroid()
		hit, ok := solid.FirstHit(from, n, skinMM, inf)
		// The piece's own face on the cavity lies where the ray starts, to the rounding of the booleans: the ray
		// goes in there, and the wall ends where it comes out.
		for ok && r3.Dot(piece.Facet(hit.Facet).Normal(), n) < 0 && hit.T < sameFaceMM {
			hit, ok = solid.FirstHit(from, n, hit.T+skinMM, inf)
		}
		if !ok {
			continue
		}
		w.Rays++
		if s, cut := g.seam.FirstHit(from, n, skinMM, hit.T+skinMM); cut && s.T <= hit.T+skinMM {
			continue
		}
		if g.inHole(r3.Add(from, r3.Scale(hit.T, n))) {
			continue
		}
		kind := &w.Shell
		if _, back := g.cavity.FirstHit(from, n, skinMM, hit.T+skinMM); back {
			kind = &w.Rib
		}
		if hit.T < kind.ThicknessMM {
			kind.ThicknessMM, kind.At = hit.T, from
		}
	}
	return w, nil
}

// sameFaceMM: two faces that booleans made of one lie no farther apart.
const sameFaceMM = 1e-4

// skinMM is how far from a facet a ray starts, so that it does not meet the facet that it leaves.
const skinMM = 1e-6
