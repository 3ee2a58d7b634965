package opening

import (
	"cmp"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// The union of many convex polygons, kept as their half-planes and the pieces of their edges that
// lie on its boundary.
//
// Polygons that should share an edge come from separate clips and may be apart by rounding, or by
// the rounding of a file where three facets meet without a common vertex. A hairline gap would cut
// a wide overlap into narrow ones and let a lock pass, so every polygon is first grown by eps. What
// is measured on the union is then too large by at most eps on each side, plus the gaps it closed.
const (
	growShare = 1.0 / 500 // eps as a share of the tolerance: 10 nm by default, above float32 noise at 100 mm after halving
	snapShare = 1.0 / 100 // edges nearer than this share of eps count as coincident
)

// edgePiece is a straight piece of the union's boundary with the union on its left.
type edgePiece struct{ A, B r2.Vec }

type regionUnion struct {
	eps    float64
	planes []halfPlane
	start  []int32 // planes of polygon i are planes[start[i]:start[i+1]]
	boxes  []r2.Box
	tree   *boxTree
	edges  []edgePiece
	near   *boxTree // over edges
}

func newRegionUnion(ctx context.Context, polys [][]r2.Vec, tolMM float64, workers int) (*regionUnion, error) {
	u := &regionUnion{eps: tolMM * growShare, start: make([]int32, 1, len(polys)+1)}
	for _, p := range polys {
		u.planes = grownPlanes(p, u.eps, u.planes)
		u.start = append(u.start, int32(len(u.planes)))
		u.boxes = append(u.boxes, growBox(polygonBox(p), u.eps))
	}
	u.tree = newBoxTree(u.boxes)
	chunks, err := inChunks(ctx, len(polys), 256, workers, nil, func(lo, hi int) []edgePiece {
		var w edgeWalk
		for i := lo; i < hi; i++ {
			w.polygon(u, int32(i))
		}
		return w.out
	})
	if err != nil {
		return nil, err
	}
	u.edges = slices.Concat(chunks...)
	boxes := make([]r2.Box, len(u.edges))
	for i, e := range u.edges {
		boxes[i] = polygonBox([]r2.Vec{e.A, e.B})
	}
	u.near = newBoxTree(boxes)
	return u, nil
}

func (u *regionUnion) polyPlanes(i int32) []halfPlane { return u.planes[u.start[i]:u.start[i+1]] }

// edgeWalk cuts the edges of one polygon after the other by the polygons around.
type edgeWalk struct {
	spans []span
	near  []int32
	out   []edgePiece
}

type span struct{ lo, hi float64 }

func (w *edgeWalk) polygon(u *regionUnion, i int32) {
	own := u.polyPlanes(i)
	w.near = w.near[:0]
	u.tree.visit(u.boxes[i], func(j int32) bool {
		if j != i {
			w.near = append(w.near, j)
		}
		return true
	})
	snap := u.eps * snapShare
	for k, h := range own {
		o := r2.Scale(h.C, h.N)
		dir := r2.Vec{X: -h.N.Y, Y: h.N.X}
		// The line is taken from the middle of the polygon's box, to keep digits.
		mid := r2.Scale(0.5, r2.Add(u.boxes[i].Min, u.boxes[i].Max))
		o = r2.Add(o, r2.Scale(r2.Dot(dir, r2.Sub(mid, o)), dir))
		lo, hi := clipLine(o, dir, math.Inf(-1), math.Inf(1), own, 0, k)
		if !(lo < hi) {
			continue
		}
		w.spans = w.spans[:0]
		for _, j := range w.near {
			// Of two edges that coincide the polygon of the lower number keeps its own.
			shift := -snap
			if j < i {
				shift = snap
			}
			if a, b := clipLine(o, dir, lo, hi, u.polyPlanes(j), shift, -1); a < b {
				w.spans = append(w.spans, span{a, b})
			}
		}
		w.emit(o, dir, lo, hi)
	}
}

// emit writes the pieces of [lo, hi] that no span covers.
func (w *edgeWalk) emit(o, dir r2.Vec, lo, hi float64) {
	slices.SortFunc(w.spans, func(a, b span) int { return cmp.Compare(a.lo, b.lo) })
	at := lo
	piece := func(a, b float64) {
		if a < b {
			w.out = append(w.out, edgePiece{r2.Add(o, r2.Scale(a, dir)), r2.Add(o, r2.Scale(b, dir))})
		}
	}
	for _, s := range w.spans {
		piece(at, min(s.lo, hi))
		at = max(at, s.hi)
	}
	piece(at, hi)
}

// contains says whether p is in the union.
func (u *regionUnion) contains(p r2.Vec) bool {
	in := false
	u.tree.visit(r2.Box{Min: p, Max: p}, func(i int32) bool {
		for _, h := range u.polyPlanes(i) {
			if r2.Dot(h.N, p) > h.C {
				return true
			}
		}
		in = true
		return false
	})
	return in
}

// depthAt is the distance from p to the boundary: positive inside, negative outside.
func (u *regionUnion) depthAt(p r2.Vec) float64 {
	d := math.Sqrt(u.near.nearest(p, func(i int32) float64 {
		e := &u.edges[i]
		ax, ay := p.X-e.A.X, p.Y-e.A.Y
		ex, ey := e.B.X-e.A.X, e.B.Y-e.A.Y
		t := min(1, max(0, (ax*ex+ay*ey)/(ex*ex+ey*ey)))
		dx, dy := ax-t*ex, ay-t*ey
		return dx*dx + dy*dy
	}))
	if !u.contains(p) {
		return -d
	}
	return d
}

// areaMM2 is the area of the union before it was grown: Green's theorem over the boundary, less the
// rim of eps.
func (u *regionUnion) areaMM2() float64 {
	if len(u.edges) == 0 {
		return 0
	}
	mid := u.edges[0].A
	var area, length float64
	for _, e := range u.edges {
		a, b := r2.Sub(e.A, mid), r2.Sub(e.B, mid)
		area += r2.Cross(a, b) / 2
		length += r2.Norm(r2.Sub(b, a))
	}
	return max(0, area-u.eps*length)
}
