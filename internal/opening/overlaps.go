package opening

import (
	"cmp"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

// thinShare is the width, as a share of the tolerance, below which an overlap is dropped unseen: a
// million such slivers would have to lie side by side to be as wide as the tolerance, and clipping
// at 1 m from the origin is ten thousand times finer than this at the default tolerance.
const thinShare = 1e-6

// overlap is where an up-facing facet of the moving body has a down-facing facet of the fixed body
// above it or touching it, in the frame of travel.
type overlap struct {
	moving, fixed int32
	poly          []r2.Vec
	width         float64
	discLo        float64 // a disc of this radius fits: area over perimeter
	gap           float64 // least travel between the two over the polygon
	at            r3.Vec  // on the fixed facet, where the gap is least
}

// found is what one share of the moving facets meets.
type found struct {
	overlaps []overlap
	inside   []r3.Vec // places where facets cross, so that the bodies may overlap
}

// maxSuspectPlaces bounds, for each share of facets, the places handed to the check of interiors.
const maxSuspectPlaces = 4

type overlapFinder struct {
	moving, fixed framed
	down          []int32 // down-facing facets of fixed; the tree numbers its triangles by this list
	tree          *geom.BVH
	top           float64
	tolMM         float64
}

// findOverlaps gives all overlaps in the order of the moving facet, then the fixed.
func findOverlaps(ctx context.Context, moving, fixed framed, tolMM float64, workers int, progress func(float64)) ([]overlap, []r3.Vec, error) {
	f := overlapFinder{moving: moving, fixed: fixed, tolMM: tolMM, top: math.Inf(-1)}
	up := moving.facing(+1, thinShare*tolMM)
	f.down = fixed.facing(-1, thinShare*tolMM)
	if len(up) == 0 || len(f.down) == 0 {
		return nil, nil, ctx.Err()
	}
	tris := make([][3]uint32, len(f.down))
	for i, d := range f.down {
		tris[i] = fixed.tris[d]
		for _, v := range tris[i] {
			f.top = max(f.top, fixed.verts[v].Z)
		}
	}
	f.tree = geom.NewBVH(fixed.verts, tris)
	shares, err := inChunks(ctx, len(up), 128, workers, progress, func(lo, hi int) found {
		w := overlapWorker{f: &f, ctx: ctx, buf: make([]r2.Vec, geom.ClipBuffer(3, 3))}
		for _, a := range up[lo:hi] {
			w.facet(a)
		}
		return w.out
	})
	if err != nil {
		return nil, nil, err
	}
	var all []overlap
	var inside []r3.Vec
	for _, s := range shares {
		all = append(all, s.overlaps...)
		inside = append(inside, s.inside...)
	}
	return all, inside, nil
}

type overlapWorker struct {
	f           *overlapFinder
	ctx         context.Context
	hits        []int32
	buf, above  []r2.Vec
	gaps, value []float64
	out         found
}

func (w *overlapWorker) facet(a int32) {
	s := newSheet(w.f.moving.facet(a), +1)
	box := s.box()
	// Facets that touch within the tolerance, measured square to them, count as touching.
	box.Min.Z -= w.f.tolMM / max(s.lean, 1e-12)
	box.Max.Z = max(box.Max.Z, w.f.top) + 1
	w.hits = w.hits[:0]
	w.f.tree.InBox(box, func(i int) { w.hits = append(w.hits, w.f.down[i]) })
	slices.Sort(w.hits)
	for i, b := range w.hits {
		if i%4096 == 4095 && w.ctx.Err() != nil {
			return
		}
		w.pair(a, b, &s)
	}
}

func (w *overlapWorker) pair(a, b int32, sa *sheet) {
	sb := newSheet(w.f.fixed.facet(b), -1)
	poly := geom.ClipConvex(sa.corners[:], sb.corners[:], w.buf)
	if len(poly) < 3 || polygonWidth(poly) <= thinShare*w.f.tolMM {
		return
	}
	// The distance square to the steeper-lying of the two decides what touches: rounding moves walls
	// sideways, and a hair sideways is far along a steep wall.
	lean := max(sa.lean, sb.lean)
	w.value = w.value[:0]
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range poly {
		v := (sb.at(p) - sa.at(p)) * lean
		low, high = min(low, v), max(high, v)
		w.value = append(w.value, v+w.f.tolMM)
	}
	if low < -w.f.tolMM {
		if high > w.f.tolMM {
			w.crossing(poly, sa, &sb)
		}
		w.above = clipAbove(poly, w.value, w.above[:0])
		poly = w.above
	}
	if len(poly) < 3 {
		return
	}
	if w.f.moving.films[a] == nil && w.f.fixed.films[b] == nil {
		w.add(a, b, poly, sa, &sb)
		return
	}
	for _, p := range w.f.moving.films.without(a, poly, filmShare*w.f.tolMM, w.f.moving.seen) {
		for _, q := range w.f.fixed.films.without(b, p, filmShare*w.f.tolMM, w.f.fixed.seen) {
			w.add(a, b, q, sa, &sb)
		}
	}
}

func (w *overlapWorker) add(a, b int32, poly []r2.Vec, sa, sb *sheet) {
	width := polygonWidth(poly)
	if width <= thinShare*w.f.tolMM {
		return
	}
	o := overlap{
		moving: a, fixed: b, poly: slices.Clone(poly), width: width,
		discLo: geom.PolygonArea(poly) / polygonPerimeter(poly), gap: math.Inf(1),
	}
	w.gaps = w.gaps[:0]
	for _, p := range poly {
		g := max(0, sb.at(p)-sa.at(p))
		w.gaps = append(w.gaps, g)
		o.gap = min(o.gap, g)
	}
	// Where a side or the whole polygon meets at once, the middle of what meets is the place.
	var sum r2.Vec
	n := 0.0
	for i, p := range poly {
		if w.gaps[i] <= o.gap+thinShare*w.f.tolMM {
			sum, n = r2.Add(sum, p), n+1
		}
	}
	at := r2.Scale(1/n, sum)
	o.at = r3.Vec{X: at.X, Y: at.Y, Z: sb.at(at)}
	w.out.overlaps = append(w.out.overlaps, o)
}

// crossing notes places just beside the line where two facets pass through each other, on the side
// where both bodies have material.
func (w *overlapWorker) crossing(poly []r2.Vec, sa, sb *sheet) {
	if len(w.out.inside) >= maxSuspectPlaces {
		return
	}
	neg := make([]float64, len(poly))
	for i, p := range poly {
		neg[i] = sa.at(p) - sb.at(p)
	}
	part := clipAbove(poly, neg, nil)
	if len(part) < 3 || polygonWidth(part) < w.f.tolMM {
		return
	}
	mid := polygonMiddle(part)
	var line r2.Vec
	n := 0.0
	for _, p := range part {
		if math.Abs(sa.at(p)-sb.at(p)) < w.f.tolMM/100 {
			line, n = r2.Add(line, p), n+1
		}
	}
	if n == 0 {
		return
	}
	line = r2.Scale(1/n, line)
	for _, t := range [...]float64{0.05, 0.5} {
		p := r2.Add(line, r2.Scale(t, r2.Sub(mid, line)))
		w.out.inside = append(w.out.inside, r3.Vec{X: p.X, Y: p.Y, Z: (sa.at(p) + sb.at(p)) / 2})
	}
}

// byGap is the order of contact as the moving body travels.
func byGap(x, y overlap) int {
	return cmp.Or(cmp.Compare(x.gap, y.gap), cmp.Compare(x.moving, y.moving), cmp.Compare(x.fixed, y.fixed))
}
