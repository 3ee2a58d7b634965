package opening

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

// opposed is how nearly opposite the normals of two walls in contact must be, as a cosine (8°): the
// distance between the facets is checked as well, so this only keeps the projection of one onto the
// other true.
const opposed = 0.99

// zeroDraftArea is the area of the moving body's walls that touch walls of the fixed body within the
// tolerance. A wall leans from the direction by less than the limit.
func zeroDraftArea(ctx context.Context, moving, fixed framed, opt Options) (float64, error) {
	sinLimit := math.Sin(opt.WallDraftDeg * math.Pi / 180)
	mine := moving.walls(sinLimit)
	// A wall that touches may lean a little more for its own rounding.
	theirs := fixed.walls(2 * sinLimit)
	if len(mine) == 0 || len(theirs) == 0 {
		return 0, ctx.Err()
	}
	tris := make([][3]uint32, len(theirs))
	for i, f := range theirs {
		tris[i] = fixed.tris[f]
	}
	tree := geom.NewBVH(fixed.verts, tris)
	shares, err := inChunks(ctx, len(mine), 128, opt.Workers, nil, func(lo, hi int) float64 {
		w := contactWorker{tolMM: opt.ToleranceMM, moving: &moving, fixed: &fixed, theirs: theirs, tree: tree, buf: make([]r2.Vec, geom.ClipBuffer(3, 3))}
		var sum float64
		for _, a := range mine[lo:hi] {
			sum += w.facet(a)
		}
		return sum
	})
	var area float64
	for _, s := range shares {
		area += s
	}
	return area, err
}

// walls lists the facets whose unit normal has |z| below limit.
func (b *framed) walls(limit float64) []int32 {
	var out []int32
	for i := range b.tris {
		c := b.facet(int32(i))
		n := r3.Cross(r3.Sub(c[1], c[0]), r3.Sub(c[2], c[0]))
		if l := r3.Norm(n); l > 0 && math.Abs(n.Z) < limit*l {
			out = append(out, int32(i))
		}
	}
	return out
}

type contactWorker struct {
	tolMM         float64
	moving, fixed *framed
	theirs        []int32
	tree          *geom.BVH

	// The facet at hand: its plane turned level, its corners in that plane, its normal.
	plane   geom.Frame
	o       r3.Vec
	corners [3]r2.Vec
	normal  r3.Vec

	hits            []int
	buf, buf2, buf3 []r2.Vec
	value           []float64
}

// facet is the area of one wall facet that is in contact.
func (w *contactWorker) facet(a int32) float64 {
	c := w.moving.facet(a)
	t := r3.Triangle(c)
	n := t.Normal()
	w.normal = r3.Unit(n)
	w.plane = geom.FrameTo(w.normal)
	w.o = c[0]
	for i := range c {
		w.corners[i] = flat(w.plane.Apply(r3.Sub(c[i], w.o)))
	}
	w.hits = w.hits[:0]
	w.tree.InBox(facetBox(t, w.tolMM), func(i int) { w.hits = append(w.hits, i) })
	// The sum must not depend on the order of the tree.
	slices.Sort(w.hits)
	var sum float64
	for _, i := range w.hits {
		sum += w.contact(a, w.theirs[i])
	}
	return min(sum, r3.Norm(n)/2)
}

// contact is the area of the facet at hand within the tolerance of facet b of the fixed body.
func (w *contactWorker) contact(a, b int32) float64 {
	c := w.fixed.facet(b)
	n := r3.Triangle(c).Normal()
	if r3.Dot(n, w.normal) > -opposed*r3.Norm(n) {
		return 0
	}
	var local [3]r3.Vec
	for i := range c {
		local[i] = w.plane.Apply(r3.Sub(c[i], w.o))
	}
	s := newSheet(local, -1)
	poly := geom.ClipConvex(w.corners[:], s.corners[:], w.buf)
	poly, w.buf2 = w.within(poly, &s, +1, w.buf2)
	poly, w.buf3 = w.within(poly, &s, -1, w.buf3)
	if len(poly) < 3 {
		return 0
	}
	if w.moving.films[a] == nil && w.fixed.films[b] == nil {
		return max(0, geom.PolygonArea(poly))
	}
	var sum float64
	for _, p := range w.moving.films.without(a, poly, filmShare*w.tolMM, w.inPlane) {
		for _, q := range w.fixed.films.without(b, p, filmShare*w.tolMM, w.inPlane) {
			sum += max(0, geom.PolygonArea(q))
		}
	}
	return sum
}

// inPlane takes a place of either body to the plane of the facet at hand.
func (w *contactWorker) inPlane(v r3.Vec) r2.Vec {
	return flat(w.plane.Apply(r3.Sub(w.moving.frame.Apply(v), w.o)))
}

// within keeps the part of poly where the sheet is no more than the tolerance above (side +1) or
// below (−1) the plane.
func (w *contactWorker) within(poly []r2.Vec, s *sheet, side float64, buf []r2.Vec) (kept, grown []r2.Vec) {
	if len(poly) < 3 {
		return nil, buf
	}
	w.value = w.value[:0]
	for _, p := range poly {
		w.value = append(w.value, w.tolMM-side*s.at(p))
	}
	buf = clipAbove(poly, w.value, buf[:0])
	return buf, buf
}
