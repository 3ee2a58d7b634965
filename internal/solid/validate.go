package solid

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/mesh"
)

// maxVertices is how many vertex numbers a 32-bit float holds exactly; see stand-ins in frommesh.go.
const maxVertices = 1 << 24

// Validate reports why m is not a body: a *MeshError, or nil. The library would accept some such
// meshes and compute nonsense.
//
// A mesh passes when its coordinates are finite, its indexes in range, each edge is run through as
// often one way as the other (twice two facets may share an edge, as where two bodies touch), and
// its volume is positive. It is not checked for self-intersection, nor each of several shells for
// its own orientation.
func Validate(m *mesh.Mesh) error {
	if m == nil || len(m.Tris) == 0 {
		return &MeshError{ErrEmpty, -1, -1, "it has no facets"}
	}
	if err := checkCount(len(m.Verts)); err != nil {
		return err
	}
	if err := checkNumbers(m); err != nil {
		return err
	}
	if err := checkClosed(m); err != nil {
		return err
	}
	return checkVolume(m)
}

func checkCount(n int) error {
	if n > maxVertices {
		return &MeshError{ErrTooManyVertices, -1, -1, fmt.Sprintf("%d vertices, at most %d can be handled; reduce the mesh", n, maxVertices)}
	}
	return nil
}

func checkNumbers(m *mesh.Mesh) error {
	for i, v := range m.Verts {
		// A difference with itself is 0 for finite numbers alone.
		if v.X-v.X != 0 || v.Y-v.Y != 0 || v.Z-v.Z != 0 {
			return &MeshError{ErrNonFinite, -1, i, fmt.Sprintf("vertex %d is (%g, %g, %g)", i, v.X, v.Y, v.Z)}
		}
	}
	n := uint32(len(m.Verts))
	for f, t := range m.Tris {
		for _, v := range t {
			if v >= n {
				return &MeshError{ErrIndex, f, int(v), fmt.Sprintf("facet %d names vertex %d of %d", f, v, n)}
			}
		}
		for k, v := range t {
			if v == t[(k+1)%3] {
				return &MeshError{ErrDegenerate, f, int(v), fmt.Sprintf("facet %d uses vertex %d twice; weld the mesh and drop such facets", f, v)}
			}
		}
	}
	return nil
}

// edgeUse is one facet's use of an edge, filed under the edge's lower vertex.
type edgeUse struct {
	hi  uint32
	way int32 // facet+1 running up to hi, -(facet+1) running down
}

// checkClosed files edges by counting rather than in a map: this runs on every mesh that comes in.
func checkClosed(m *mesh.Mesh) error {
	start := make([]uint32, len(m.Verts)+1)
	for _, t := range m.Tris {
		for k := range 3 {
			start[min(t[k], t[(k+1)%3])+1]++
		}
	}
	for i := range len(m.Verts) {
		start[i+1] += start[i]
	}
	uses := make([]edgeUse, 3*len(m.Tris))
	next := slices.Clone(start[:len(m.Verts)])
	for f, t := range m.Tris {
		for k := range 3 {
			a, b, way := t[k], t[(k+1)%3], int32(f+1)
			if a > b {
				a, b, way = b, a, -way
			}
			uses[next[a]] = edgeUse{b, way}
			next[a]++
		}
	}
	for lo := range m.Verts {
		if err := checkEdges(m, lo, uses[start[lo]:start[lo+1]]); err != nil {
			return err
		}
	}
	return nil
}

// checkEdges checks the edges whose lower vertex is lo.
func checkEdges(m *mesh.Mesh, lo int, uses []edgeUse) error {
	slices.SortStableFunc(uses, func(a, b edgeUse) int { return cmp.Compare(a.hi, b.hi) })
	for i := 0; i < len(uses); {
		j, up, down := i, 0, 0
		for ; j < len(uses) && uses[j].hi == uses[i].hi; j++ {
			if uses[j].way > 0 {
				up++
			} else {
				down++
			}
		}
		if up != down {
			f := int(max(uses[i].way, -uses[i].way)) - 1
			a, b := m.Verts[lo], m.Verts[uses[i].hi]
			return &MeshError{ErrOpen, f, lo, fmt.Sprintf(
				"the edge between vertices %d and %d, from (%g, %g, %g) to (%g, %g, %g), is run through %d times one way and %d times the other, first by facet %d; close holes and turn facets to face outward",
				lo, uses[i].hi, a.X, a.Y, a.Z, b.X, b.Y, b.Z, up, down, f)}
		}
		i = j
	}
	return nil
}

func checkVolume(m *mesh.Mesh) error {
	switch v := m.VolumeMM3(); {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return &MeshError{ErrTooLarge, -1, -1, "its volume overflows; check the unit"}
	case v < 0:
		return &MeshError{ErrInsideOut, -1, -1, fmt.Sprintf("its facets enclose %g mm³; turn every facet over", v)}
	case v == 0:
		return &MeshError{ErrEmpty, -1, -1, fmt.Sprintf("its %d facets enclose no volume", len(m.Tris))}
	}
	return nil
}
