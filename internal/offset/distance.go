package offset

import (
	"errors"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrMesh is the cause when the mesh has no inside: it is empty, open or inside out.
var ErrMesh = errors.New("offset: the mesh is not a closed surface")

// signed is the signed distance to a closed mesh, positive outside. The sign is that of the vector from
// the nearest point against the pseudonormal there: the facet's normal, the sum of both at an edge, the
// sum weighted by angle at a vertex (Baerentzen and Aanaes, "Signed distance computation using the
// angle weighted pseudonormal", 2005).
type signed struct {
	m    *mesh.Mesh
	tree *geom.BVH
	face []r3.Vec
	edge [][3]r3.Vec // edge k from corner k to corner k+1
	vert []r3.Vec
}

func newSigned(m *mesh.Mesh) (*signed, error) {
	if len(m.Tris) == 0 {
		return nil, fmt.Errorf("%w: it has no facets", ErrMesh)
	}
	s := &signed{m: m, face: make([]r3.Vec, len(m.Tris)), edge: make([][3]r3.Vec, len(m.Tris)), vert: make([]r3.Vec, len(m.Verts))}
	for f, t := range m.Tris {
		tri := m.Facet(f)
		n := tri.Normal()
		if r3.Norm(n) == 0 {
			continue // no area, no say
		}
		s.face[f] = r3.Unit(n)
		for k, v := range t {
			a, b := r3.Sub(tri[(k+1)%3], tri[k]), r3.Sub(tri[(k+2)%3], tri[k])
			s.vert[v] = r3.Add(s.vert[v], r3.Scale(angle(a, b), s.face[f]))
		}
	}
	for f, n := range m.Adjacency() {
		for k, g := range n {
			if g == mesh.NoFacet {
				c := m.Facet(f)[k]
				return nil, fmt.Errorf("%w: it is open or branches at facet %d near x %.3f, y %.3f, z %.3f mm: mend it first", ErrMesh, f, c.X, c.Y, c.Z)
			}
			s.edge[f][k] = r3.Add(s.face[f], s.face[g])
		}
	}
	if !(m.VolumeMM3() > 0) {
		return nil, fmt.Errorf("%w: it is inside out or encloses nothing", ErrMesh)
	}
	s.tree = geom.NewBVH(m.Verts, m.Tris)
	return s, nil
}

// at is the signed distance at p and the nearest point of the mesh.
func (s *signed) at(p r3.Vec) (float64, r3.Vec) {
	h := s.tree.Nearest(p)
	if r3.Dot(r3.Sub(p, h.Point), s.normalAt(h.Facet, h.Point)) < 0 {
		return -h.Distance, h.Point
	}
	return h.Distance, h.Point
}

// onEdge is the share of a facet's height under which a nearest point counts as lying on an edge: far
// above the rounding of the nearest point. To take a point so near to an edge for one on it gives the
// same sign, as the pseudonormal of the edge has a positive part along both facets' normals.
const onEdge = 1e-7

func (s *signed) normalAt(f int, q r3.Vec) r3.Vec {
	t := s.m.Facet(f)
	n := s.face[f]
	var w [3]float64
	sum, low, zeros := 0.0, 0, 0
	for k := range 3 {
		w[k] = r3.Dot(n, r3.Cross(r3.Sub(t[(k+2)%3], t[(k+1)%3]), r3.Sub(q, t[(k+1)%3]))) // twice the area across from corner k
		sum += w[k]
	}
	for k := range 3 {
		if w[k] <= onEdge*sum {
			zeros++
		}
		if w[k] < w[low] {
			low = k
		}
	}
	switch {
	case zeros == 0:
		return n
	case zeros == 1:
		return s.edge[f][(low+1)%3]
	}
	high := 0
	for k := range 3 {
		if w[k] > w[high] {
			high = k
		}
	}
	return s.vert[s.m.Tris[f][high]]
}

// angle between two directions, well conditioned for small and for straight angles.
func angle(a, b r3.Vec) float64 { return math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b)) }
