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
//
// Edges of several polygons often coincide, and then each might count as covered by the other and
// the boundary be lost. So polygons are grown by amounts that differ, between half of eps and eps:
// edges that coincided are apart by far more than the rounding, and the outermost one stays. In
// doubt within the rounding an edge stays.
const growShare = 1.0 / 250 // eps as a share of the tolerance: 20 nm by default, twice the float32 gap at 100 mm

// golden spreads the growths evenly: the fractional parts of its multiples never bunch up.
const golden = 0.6180339887498949

// roundingShare bounds the error of a clipped edge's place, as a share of the largest coordinate: a
// few dozen roundings of 1.1e-16.
const roundingShare = 1e-14

// edgePiece is a straight piece of the union's boundary with the union on its left.
type edgePiece struct {
	A, B  r2.Vec
	grown float64 // how far its polygon was grown
}

type regionUnion struct {
	eps    float64 // no polygon was grown by more
	doubt  float64 // edges this near may lie either way
	grown  []float64
	planes []halfPlane
	start  []int32 // planes of polygon i are planes[start[i]:start[i+1]]
	boxes  []r2.Box
	tree   *boxTree
	edges  []edgePiece
	near   *boxTree // over edges
}

func newRegionUnion(ctx context.Context, polys [][]r2.Vec, tolMM float64, workers int) (*regionUnion, error) {
	u := &regionUnion{eps: tolMM * growShare, start: make([]int32, 1, len(polys)+1)}
	for i, p := range polys {
		_, part := math.Modf(golden * float64(i))
		grown := u.eps * (1 + part) / 2
		u.planes = grownPlanes(p, grown, u.planes)
		u.start = append(u.start, int32(len(u.planes)))
		u.grown = append(u.grown, grown)
		b := growBox(polygonBox(p), u.eps)
		u.boxes = append(u.boxes, b)
		u.doubt = max(u.doubt, roundingShare*max(-b.Min.X, -b.Min.Y, b.Max.X, b.Max.Y))
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
			if a, b := clipLine(o, dir, lo, hi, u.polyPlanes(j), -u.doubt, -1); a < b {
				w.spans = append(w.spans, span{a, b})
			}
		}
		w.emit(o, dir, lo, hi, u.grown[i])
	}
}

// emit writes the pieces of [lo, hi] that no span covers.
func (w *edgeWalk) emit(o, dir r2.Vec, lo, hi, grown float64) {
	slices.SortFunc(w.spans, func(a, b span) int { return cmp.Compare(a.lo, b.lo) })
	at := lo
	piece := func(a, b float64) {
		if a < b {
			w.out = append(w.out, edgePiece{r2.Add(o, r2.Scale(a, dir)), r2.Add(o, r2.Scale(b, dir)), grown})
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

// dist2 is the squared distance from p to the piece.
func (e *edgePiece) dist2(p r2.Vec) float64 {
	ax, ay := p.X-e.A.X, p.Y-e.A.Y
	ex, ey := e.B.X-e.A.X, e.B.Y-e.A.Y
	t := min(1, max(0, (ax*ex+ay*ey)/(ex*ex+ey*ey)))
	dx, dy := ax-t*ex, ay-t*ey
	return dx*dx + dy*dy
}

// depthAt is the distance from p to the boundary: positive inside, negative outside.
func (u *regionUnion) depthAt(p r2.Vec) float64 {
	d, _ := u.depthAndEdge(p)
	return d
}

func (u *regionUnion) depthAndEdge(p r2.Vec) (depth float64, edge int32) {
	edge, d2 := u.near.nearest(p, math.Inf(1), func(i int32) float64 { return u.edges[i].dist2(p) })
	depth = math.Sqrt(d2)
	if !u.contains(p) {
		depth = -depth
	}
	return depth, edge
}

// deepestIn is an upper bound of the depth over the square round c, given the depth at c and the
// boundary piece nearest to it. The depth grows no faster than one moves. Between two pieces that
// face each other one can say more: the depth is at most the mean of the distances to their lines,
// which along a strip is half its width however long the square.
func (u *regionUnion) deepestIn(c r2.Vec, half, depth float64, edge int32) float64 {
	reach := half * math.Sqrt2
	ub := depth + reach
	if depth < half {
		return ub
	}
	n1, d1, ok := u.edges[edge].over(c, half)
	if !ok {
		return ub
	}
	// A piece farther than this could not better the bound.
	useful := depth + 2*reach
	facing, _ := u.near.nearest(c, useful*useful, func(i int32) float64 {
		e := r2.Sub(u.edges[i].B, u.edges[i].A)
		if n1.X*-e.Y+n1.Y*e.X >= -0.7*math.Hypot(e.X, e.Y) {
			return math.Inf(1)
		}
		return u.edges[i].dist2(c)
	})
	if facing < 0 {
		return ub
	}
	n2, d2, ok := u.edges[facing].over(c, half)
	if !ok {
		return ub
	}
	return min(ub, (d1+d2+half*(math.Abs(n1.X+n2.X)+math.Abs(n1.Y+n2.Y)))/2)
}

// over gives the inward normal of the piece and the distance of c from its line. It says false
// unless the whole square round c lies on the inner side with its feet on the piece, so that the
// distance to the line is the distance to the piece for every point of the square.
func (e *edgePiece) over(c r2.Vec, half float64) (n r2.Vec, d float64, ok bool) {
	v := r2.Sub(e.B, e.A)
	l := r2.Norm(v)
	if l == 0 {
		return n, 0, false
	}
	dir := r2.Scale(1/l, v)
	n = r2.Vec{X: -dir.Y, Y: dir.X}
	spread := half * (math.Abs(n.X) + math.Abs(n.Y)) // of the square along n, and along dir as well
	at := r2.Sub(c, e.A)
	d = r2.Dot(n, at)
	along := r2.Dot(dir, at)
	return n, d, d >= spread && along >= spread && along <= l-spread
}

// areaMM2 is the area of the union before it was grown: Green's theorem over the boundary, less the
// rim.
func (u *regionUnion) areaMM2() float64 {
	if len(u.edges) == 0 {
		return 0
	}
	mid := u.edges[0].A
	var area, rim float64
	for _, e := range u.edges {
		a, b := r2.Sub(e.A, mid), r2.Sub(e.B, mid)
		area += r2.Cross(a, b) / 2
		rim += e.grown * r2.Norm(r2.Sub(b, a))
	}
	return max(0, area-rim)
}
