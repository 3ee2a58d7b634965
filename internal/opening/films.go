package opening

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// A film is a place where a body has facets of both directions and nothing between. Booleans leave
// films where a cut runs along a face that is there already, such as a mould block split at the
// plane that a part stands on. A film is no material, but its facets face each other's way and would
// stop whatever comes along. So films are found, once for a body, and taken out of overlaps and
// contacts. The two sides need not be cut into the same facets.

// filmShare is the thickness up to which a place is film, as a share of the tolerance: 50 nm by
// default, above the rounding of booleans and far below any material.
const filmShare = 0.01

// films holds, for each facet that is film in part or whole, the convex polygons that are. Their
// corners are in body coordinates and run as the facet's own.
type films map[int32][][]r3.Vec

func findFilms(ctx context.Context, m *mesh.Mesh, tree *geom.BVH, thickMM float64, workers int) (films, error) {
	type filmed struct {
		facet int32
		polys [][]r3.Vec
	}
	shares, err := inChunks(ctx, len(m.Tris), 512, workers, nil, func(lo, hi int) []filmed {
		w := filmWorker{m: m, tree: tree, thickMM: thickMM, buf: make([]r2.Vec, geom.ClipBuffer(3, 3))}
		var out []filmed
		for i := lo; i < hi; i++ {
			if polys := w.facet(i); polys != nil {
				out = append(out, filmed{int32(i), polys})
			}
		}
		return out
	})
	if err != nil {
		return nil, err
	}
	var out films
	for _, s := range shares {
		for _, f := range s {
			if out == nil {
				out = make(films)
			}
			out[f.facet] = f.polys
		}
	}
	return out, nil
}

type filmWorker struct {
	m       *mesh.Mesh
	tree    *geom.BVH
	thickMM float64
	buf     []r2.Vec
	hits    []int
}

func (w *filmWorker) facet(i int) [][]r3.Vec {
	f := w.m.Facet(i)
	normal := f.Normal()
	if r3.Norm(normal) == 0 {
		return nil
	}
	normal = r3.Unit(normal)
	w.hits = w.hits[:0]
	w.tree.InBox(facetBox(f, w.thickMM), func(j int) {
		n := w.m.Facet(j).Normal()
		if r3.Dot(n, normal) < -0.999*r3.Norm(n) {
			w.hits = append(w.hits, j)
		}
	})
	if len(w.hits) == 0 {
		return nil
	}
	slices.Sort(w.hits)
	plane := geom.FrameTo(normal)
	local := func(t r3.Triangle) (p [3]r3.Vec) {
		for k := range t {
			p[k] = plane.Apply(r3.Sub(t[k], f[0]))
		}
		return p
	}
	own := newSheet(local(f), +1)
	var out [][]r3.Vec
	for _, j := range w.hits {
		other := newSheet(local(w.m.Facet(j)), -1)
		poly := geom.ClipConvex(own.corners[:], other.corners[:], w.buf)
		if len(poly) < 3 || polygonWidth(poly) < w.thickMM || !w.level(poly, &other) {
			continue
		}
		film := make([]r3.Vec, len(poly))
		for k, p := range poly {
			film[k] = r3.Add(f[0], plane.Inverse(r3.Vec{X: p.X, Y: p.Y}))
		}
		out = append(out, film)
	}
	return out
}

// level says whether the sheet lies in the plane z = 0 over all of poly.
func (w *filmWorker) level(poly []r2.Vec, s *sheet) bool {
	for _, p := range poly {
		if math.Abs(s.at(p)) > w.thickMM {
			return false
		}
	}
	return true
}

func facetBox(f r3.Triangle, by float64) r3.Box {
	g := r3.Vec{X: by, Y: by, Z: by}
	return r3.Box{
		Min: r3.Sub(r3.Vec{X: min(f[0].X, f[1].X, f[2].X), Y: min(f[0].Y, f[1].Y, f[2].Y), Z: min(f[0].Z, f[1].Z, f[2].Z)}, g),
		Max: r3.Add(r3.Vec{X: max(f[0].X, f[1].X, f[2].X), Y: max(f[0].Y, f[1].Y, f[2].Y), Z: max(f[0].Z, f[1].Z, f[2].Z)}, g),
	}
}

// without gives the parts of the convex polygon poly that are not film of the facet; to takes a place
// of the body to the plane of poly. With no film it is poly itself. Films are grown by growMM, so that
// no hairline is left between two of them.
func (fs films) without(facet int32, poly []r2.Vec, growMM float64, to func(r3.Vec) r2.Vec) [][]r2.Vec {
	parts := [][]r2.Vec{poly}
	for _, film := range fs[facet] {
		hole := make([]r2.Vec, len(film))
		for i, v := range film {
			hole[i] = to(v)
		}
		if geom.PolygonArea(hole) < 0 {
			slices.Reverse(hole)
		}
		planes := grownPlanes(hole, growMM, nil)
		var next [][]r2.Vec
		for _, p := range parts {
			next = subtractConvex(p, planes, next)
		}
		parts = next
	}
	return parts
}

// subtractConvex appends convex polygons that make up p without the hole in which all the half-planes
// meet: what lies outside the first, then of the rest what lies outside the second, and so on.
func subtractConvex(p []r2.Vec, hole []halfPlane, out [][]r2.Vec) [][]r2.Vec {
	value := make([]float64, 0, len(p)+len(hole))
	var kept [][]r2.Vec
	rest := p
	for _, h := range hole {
		value = value[:0]
		for _, q := range rest {
			value = append(value, r2.Dot(h.N, q)-h.C)
		}
		if outside := clipAbove(rest, value, nil); len(outside) >= 3 && geom.PolygonArea(outside) > 0 {
			kept = append(kept, outside)
		}
		for k := range value {
			value[k] = -value[k]
		}
		if rest = clipAbove(rest, value, nil); len(rest) < 3 {
			return append(out, p) // the hole misses p
		}
	}
	return append(out, kept...)
}
