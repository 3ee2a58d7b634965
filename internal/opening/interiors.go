package opening

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// Interiors that overlap at the start break the premise of the proof, so they are looked for: edges
// of each body that pierce the other's facets, middles of facets a little below the surface, and
// facets that were seen to cross in projection give places; a place counts when it lies inside both
// bodies, deeper than half the tolerance in each. Every place reported is a true overlap. Up to
// probeLimit facets of each body all edges are tried, beyond that an even sample, so that the check
// costs less than the proof: a small overlap of two very fine meshes can pass it.
const probeLimit = 20_000

// probe answers whether a point is inside a body.
type probe struct {
	mesh *mesh.Mesh
	tree *geom.BVH
}

func newProbe(m *mesh.Mesh) *probe { return &probe{mesh: m, tree: geom.NewBVH(m.Verts, m.Tris)} }

// skew is a direction in which parts have neither edges nor faces, so that a ray along it all but
// never meets an edge.
var skew = r3.Unit(r3.Vec{X: 0.4142135623, Y: 0.7320508075, Z: 0.5412338921})

// inside says whether p is at least depth below the surface. Facets that the ray leaves through
// count one, facets that it enters through count back, so a fold without thickness counts nothing.
func (b *probe) inside(p r3.Vec, depth float64) bool {
	turns := 0
	b.tree.EachHit(p, skew, 0, math.Inf(1), func(h geom.Hit) bool {
		if r3.Dot(b.mesh.Facet(h.Facet).Normal(), skew) > 0 {
			turns++
		} else {
			turns--
		}
		return true
	})
	if turns <= 0 {
		return false
	}
	_, near := b.tree.NearestWithin(p, depth)
	return !near
}

// overlapPlace is a point inside both bodies, among the places given and those sampled.
func overlapPlace(ctx context.Context, a, b *probe, tolMM float64, workers int, given []r3.Vec) (r3.Vec, bool, error) {
	depth := tolMM / 2
	both := func(p r3.Vec) bool { return a.inside(p, depth) && b.inside(p, depth) }
	for _, p := range given {
		if both(p) {
			return p, true, nil
		}
	}
	for _, pair := range [...][2]*probe{{a, b}, {b, a}} {
		at, ok, err := pair[0].samples(ctx, pair[1], tolMM, workers, both)
		if ok || err != nil {
			return at, ok, err
		}
	}
	return r3.Vec{}, false, nil
}

// samples tries the facets of b against the body o.
func (b *probe) samples(ctx context.Context, o *probe, tolMM float64, workers int, both func(r3.Vec) bool) (r3.Vec, bool, error) {
	n := len(b.mesh.Tris)
	step := max(1, n/probeLimit)
	box := o.mesh.Bounds()
	shares, err := inChunks(ctx, (n+step-1)/step, 256, workers, nil, func(lo, hi int) []r3.Vec {
		for i := lo; i < hi; i++ {
			if at, ok := b.tryFacet(i*step, o, box, tolMM, both); ok {
				return []r3.Vec{at}
			}
		}
		return nil
	})
	if err != nil {
		return r3.Vec{}, false, err
	}
	for _, s := range shares {
		if len(s) > 0 {
			return s[0], true, nil
		}
	}
	return r3.Vec{}, false, nil
}

func (b *probe) tryFacet(i int, o *probe, box r3.Box, tolMM float64, both func(r3.Vec) bool) (r3.Vec, bool) {
	f := b.mesh.Facet(i)
	normal := f.Normal()
	if r3.Norm(normal) == 0 || !facetNear(f, box) {
		return r3.Vec{}, false
	}
	normal = r3.Unit(normal)
	middle := f.Centroid()
	for _, below := range [...]float64{tolMM, 100 * tolMM} {
		if p := r3.Sub(middle, r3.Scale(below, normal)); both(p) {
			return p, true
		}
	}
	for k := range 3 {
		if p, ok := o.pierced(f[k], f[(k+1)%3], middle, normal, tolMM, both); ok {
			return p, true
		}
	}
	return r3.Vec{}, false
}

// facetNear says whether the facet's box meets box.
func facetNear(f r3.Triangle, box r3.Box) bool {
	for _, c := range [...][5]float64{
		{f[0].X, f[1].X, f[2].X, box.Min.X, box.Max.X},
		{f[0].Y, f[1].Y, f[2].Y, box.Min.Y, box.Max.Y},
		{f[0].Z, f[1].Z, f[2].Z, box.Min.Z, box.Max.Z},
	} {
		if max(c[0], c[1], c[2]) < c[3] || min(c[0], c[1], c[2]) > c[4] {
			return false
		}
	}
	return true
}

// maxPiercings bounds the facets tried along one edge.
const maxPiercings = 8

// pierced follows the edge from p to q through the body's facets. Where the edge passes from one side
// of a facet to the other by more than the tolerance, places just before and after, and a little
// inside the edge's own body, are tried.
func (b *probe) pierced(p, q, middle, normal r3.Vec, tolMM float64, both func(r3.Vec) bool) (r3.Vec, bool) {
	edge := r3.Sub(q, p)
	length := r3.Norm(edge)
	if length == 0 {
		return r3.Vec{}, false
	}
	dir := r3.Scale(1/length, edge)
	from := 0.0
	for range maxPiercings {
		hit, ok := b.tree.FirstHit(p, dir, from, length)
		if !ok {
			return r3.Vec{}, false
		}
		from = math.Nextafter(max(hit.T, from), math.Inf(1)) + tolMM/10
		f := b.mesh.Facet(hit.Facet)
		n := r3.Unit(f.Normal())
		before, after := r3.Dot(n, r3.Sub(p, f[0])), r3.Dot(n, r3.Sub(q, f[0]))
		if math.Abs(before) <= tolMM || math.Abs(after) <= tolMM {
			continue
		}
		at := r3.Add(p, r3.Scale(hit.T, dir))
		inward := r3.Unit(r3.Sub(middle, at))
		for _, k := range [...]float64{2 * tolMM, length / 50} {
			base := r3.Add(at, r3.Scale(k, r3.Sub(inward, normal)))
			for _, s := range [...]float64{-2 * k, 2 * k} {
				if c := r3.Add(base, r3.Scale(s, dir)); both(c) {
					return c, true
				}
			}
		}
	}
	return r3.Vec{}, false
}
