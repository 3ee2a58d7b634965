package job

import (
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// facingCos: walls within 30° of parallel bound a section between them.
	facingCos = 0.866
	// skinMM keeps a ray from meeting the facet that it starts on.
	skinMM = 1e-6
	// thinSharePct of the surface thinner than the material's least section is worth a warning; less is an
	// edge or a corner.
	thinSharePct = 2
)

// throughWalls measures a body straight through, from the middle of each facet to a facing wall: the least
// thickness with its place, and the area of the facets that see less than below. ok is false where no
// two walls face each other.
func throughWalls(m *mesh.Mesh, below float64) (leastMM float64, at r3.Vec, thinMM2 float64, ok bool) {
	tree := geom.NewBVH(m.Verts, m.Tris)
	leastMM = math.Inf(1)
	for i := range m.Tris {
		t := m.Facet(i)
		n := t.Normal()
		if r3.Norm(n) == 0 {
			continue
		}
		n = r3.Unit(n)
		c := t.Centroid()
		hit, found := tree.FirstHit(c, r3.Scale(-1, n), skinMM, math.Inf(1))
		if !found || r3.Dot(r3.Unit(m.Facet(hit.Facet).Normal()), n) > -facingCos {
			continue
		}
		ok = true
		if hit.T < below {
			thinMM2 += geom.Area(t)
		}
		if hit.T < leastMM {
			leastMM, at = hit.T, c
		}
	}
	return leastMM, at, thinMM2, ok
}

// thinWords says when the part has sections so thin that its material cures slowly in them; "" when not.
func (s *trying) thinWords() string {
	limit := s.material.LeastMM
	if limit == 0 {
		return ""
	}
	least, at, area, ok := throughWalls(s.part.mesh, limit)
	share := 100 * area / s.part.report.AreaMM2
	if !ok || share < thinSharePct {
		return ""
	}
	return fmt.Sprintf("Thin sections: %.0f %% of the part's surface is on walls thinner than the %g mm that %s asks for, the thinnest %.2f mm at x %.1f, y %.1f, z %.1f mm of the part. They make little heat, cure slowly and stay soft at first: leave it longer in the mould, or warm it.",
		share, limit, s.material.ID, least, at.X, at.Y, at.Z)
}
