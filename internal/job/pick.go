package job

import (
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r3"
)

// pickReach is how far off the surface a picked point may lie, as a share of the part's size: enough for
// a point written with few digits, too little to take another face for it when the part was changed.
const pickReach = 0.01

// PickError says that a picked point does not lie on the part.
type PickError struct {
	At            []float64
	OffMM, MostMM float64
}

func (e *PickError) Error() string {
	return fmt.Sprintf("the point [%g, %g, %g] lies %.3g mm off the part's surface, more than the %.2g mm allowed; pick the face again, or take the rule out", e.At[0], e.At[1], e.At[2], e.OffMM, e.MostMM)
}

// PickedFace marks the facets of a pick; *PickError when its point lies off the part.
func PickedFace(m *mesh.Mesh, p Pick) ([]bool, error) {
	if len(p.At) != 3 {
		return nil, fmt.Errorf("a point has three numbers, not %d", len(p.At))
	}
	f, off := facetAt(m, vec([3]float64(p.At)))
	if most := pickReach * r3.Norm(m.Bounds().Size()); f < 0 || !(off <= most) {
		return nil, &PickError{p.At, off, most}
	}
	seed := make([]bool, len(m.Tris))
	seed[f] = true
	return mouldability.GrowSmooth(m, seed, p.GrowDeg)
}

// facetAt is the facet nearest to a point, and how far it is; −1 for a mesh without facets. A tree over the
// whole part would take far longer than the one question.
func facetAt(m *mesh.Mesh, at r3.Vec) (facet int, mm float64) {
	limit := math.Inf(1) // the nearest facet is no farther than the nearest corner of any
	for _, t := range m.Tris {
		for _, v := range t {
			limit = math.Min(limit, r3.Norm2(r3.Sub(m.Verts[v], at)))
		}
	}
	limit = math.Sqrt(limit) * (1 + 1e-9) // rounding must not leave out that corner's own facets
	var near [][3]uint32
	var which []int
	for f, t := range m.Tris {
		if boxWithin(m.Verts[t[0]], m.Verts[t[1]], m.Verts[t[2]], at, limit) {
			near, which = append(near, t), append(which, f)
		}
	}
	if len(near) == 0 {
		return -1, math.Inf(1)
	}
	hit := geom.NewBVH(m.Verts, near).Nearest(at)
	return which[hit.Facet], hit.Distance
}

// boxWithin says whether the box round a triangle comes within a distance of a point on every axis.
func boxWithin(a, b, c, at r3.Vec, mm float64) bool {
	return min(a.X, b.X, c.X)-mm <= at.X && at.X <= max(a.X, b.X, c.X)+mm &&
		min(a.Y, b.Y, c.Y)-mm <= at.Y && at.Y <= max(a.Y, b.Y, c.Y)+mm &&
		min(a.Z, b.Z, c.Z)-mm <= at.Z && at.Z <= max(a.Z, b.Z, c.Z)+mm
}
