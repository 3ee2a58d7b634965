package geom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// BVH answers repeated questions about one set of triangles: what does a ray hit first, which
// triangle is nearest to a point, which ones meet a box. It is a tree of bounding boxes, never
// changes once built, and any number of goroutines may query it at once; queries do not allocate.
//
//	tree := geom.NewBVH(m.Verts, m.Tris)
//	if hit, ok := tree.FirstHit(eye, dir, 0, math.Inf(1)); ok {
//		fmt.Println("facet", hit.Facet, "at", r3.Add(eye, r3.Scale(hit.T, dir)))
//	}
//
// The tree keeps its own copy of the corners (about 110 bytes a triangle in all). Triangles with a
// coordinate that is not finite, or beyond ±1e38, are left out and never found.
//
// Among facets at the same t or distance, the lowest is reported.
type BVH struct {
	nodes []bvhNode     // depth first; the two children of a node are neighbours
	tris  []r3.Triangle // in leaf order
	facet []int32       // facet[i] is the caller's number of tris[i]
}

// bvhNode is half a cache line, so that both children come with one. Its box is rounded outward to
// float32: a looser box costs a little time, never a hit.
type bvhNode struct {
	lo, hi [3]float32
	first  int32 // leaf: first triangle; inner: first child, the other one follows
	count  int32 // leaf: number of triangles; inner: 0
}

// maxDepth bounds the stack of a query. The build halves by number below splitDepth, which adds at
// most 31 levels for 2^31 triangles.
const (
	splitDepth = 60
	maxDepth   = splitDepth + 32
)

// Len is the number of triangles in the tree.
func (b *BVH) Len() int { return len(b.tris) }

// InBox calls visit for every facet whose own bounding box meets box, touching included, in an order
// that depends on the input only. Such a facet need not itself meet the box: the caller tests what
// it needs.
func (b *BVH) InBox(box r3.Box, visit func(facet int)) {
	b.InBoxWhile(box, func(facet int) bool { visit(facet); return true })
}

// InBoxWhile is InBox that ends as soon as visit returns false.
func (b *BVH) InBoxWhile(box r3.Box, visit func(facet int) bool) {
	if len(b.nodes) == 0 {
		return
	}
	var stack [maxDepth]int32
	sp := 1 // stack[0] is the root
	for sp > 0 {
		sp--
		n := &b.nodes[stack[sp]]
		if !n.meets(&box) {
			continue
		}
		if n.count == 0 {
			stack[sp], stack[sp+1] = n.first+1, n.first
			sp += 2
			continue
		}
		for i := n.first; i < n.first+n.count; i++ {
			if triangleMeets(&b.tris[i], &box) && !visit(int(b.facet[i])) {
				return
			}
		}
	}
}

func (n *bvhNode) meets(b *r3.Box) bool {
	return float64(n.lo[0]) <= b.Max.X && float64(n.hi[0]) >= b.Min.X &&
		float64(n.lo[1]) <= b.Max.Y && float64(n.hi[1]) >= b.Min.Y &&
		float64(n.lo[2]) <= b.Max.Z && float64(n.hi[2]) >= b.Min.Z
}

// triangleMeets compares the triangle's bounding box with b.
func triangleMeets(t *r3.Triangle, b *r3.Box) bool {
	return min(t[0].X, t[1].X, t[2].X) <= b.Max.X && max(t[0].X, t[1].X, t[2].X) >= b.Min.X &&
		min(t[0].Y, t[1].Y, t[2].Y) <= b.Max.Y && max(t[0].Y, t[1].Y, t[2].Y) >= b.Min.Y &&
		min(t[0].Z, t[1].Z, t[2].Z) <= b.Max.Z && max(t[0].Z, t[1].Z, t[2].Z) >= b.Min.Z
}

// NearestHit is the answer of Nearest.
type NearestHit struct {
	Facet    int     // −1 if there are no triangles
	Point    r3.Vec  // the point of the facet that is nearest
	Distance float64 // to Point; +Inf if there are no triangles
}

// Nearest finds the point of all triangles that is nearest to p, to within a few roundings of the
// distance and of the facet's coordinates seen from p.
func (b *BVH) Nearest(p r3.Vec) NearestHit {
	h, _ := b.NearestWithin(p, math.Inf(1))
	return h
}

// NearestWithin is Nearest among points not farther from p than limit; it is the faster the smaller
// the limit, and says false if there is none.
func (b *BVH) NearestWithin(p r3.Vec, limit float64) (NearestHit, bool) {
	best := NearestHit{Facet: -1, Distance: math.Inf(1)}
	if len(b.nodes) == 0 || !(limit >= 0) {
		return best, false
	}
	type entry struct {
		node int32
		d2   float64
	}
	best2 := float64(limit * limit)
	var stack [maxDepth]entry
	stack[0].d2 = b.nodes[0].dist2(p)
	for sp := 1; sp > 0; {
		sp--
		e := stack[sp]
		if !(e.d2 <= best2) {
			continue
		}
		n := &b.nodes[e.node]
		if n.count == 0 {
			l := entry{n.first, b.nodes[n.first].dist2(p)}
			r := entry{n.first + 1, b.nodes[n.first+1].dist2(p)}
			if l.d2 < r.d2 {
				l, r = r, l
			}
			stack[sp], stack[sp+1] = l, r // the nearer one is taken first
			sp += 2
			continue
		}
		for i := n.first; i < n.first+n.count; i++ {
			q := NearestOnTriangle(p, &b.tris[i])
			d := r3.Sub(q, p)
			d2 := dot(d, d)
			f := int(b.facet[i])
			if d2 < best2 || (d2 == best2 && (best.Facet < 0 || f < best.Facet)) {
				best2 = d2
				best.Facet, best.Point = f, q
			}
		}
	}
	if best.Facet < 0 {
		return best, false
	}
	best.Distance = math.Sqrt(best2)
	return best, true
}

// boxSlack keeps a box that ties with the best point up to rounding: the squared distance to a box
// and to a point inside it are both rounded about four times.
const boxSlack = 1 - 16*unitRoundoff

func (n *bvhNode) dist2(p r3.Vec) float64 {
	dx := max(float64(n.lo[0])-p.X, p.X-float64(n.hi[0]), 0)
	dy := max(float64(n.lo[1])-p.Y, p.Y-float64(n.hi[1]), 0)
	dz := max(float64(n.lo[2])-p.Z, p.Z-float64(n.hi[2]), 0)
	return (float64(dx*dx) + float64(dy*dy) + float64(dz*dz)) * boxSlack
}

// NearestOnTriangle is the foot of the perpendicular if that lies inside, and otherwise the nearest
// point of the three edges. It works for triangles without area.
func NearestOnTriangle(p r3.Vec, t *r3.Triangle) r3.Vec {
	a, b, c := r3.Sub(t[0], p), r3.Sub(t[1], p), r3.Sub(t[2], p)
	n := cross(r3.Sub(b, a), r3.Sub(c, a))
	// n·(a×b) is twice the signed area of the foot against edge ab, times |n|.
	u, v, w := dot(n, cross(b, c)), dot(n, cross(c, a)), dot(n, cross(a, b))
	if s := u + v + w; u >= 0 && v >= 0 && w >= 0 && s > 0 {
		q := r3.Vec{
			X: (float64(u*a.X) + float64(v*b.X) + float64(w*c.X)) / s,
			Y: (float64(u*a.Y) + float64(v*b.Y) + float64(w*c.Y)) / s,
			Z: (float64(u*a.Z) + float64(v*b.Z) + float64(w*c.Z)) / s,
		}
		return r3.Add(p, q)
	}
	best := nearestOnSegment(a, b)
	for _, q := range [2]r3.Vec{nearestOnSegment(b, c), nearestOnSegment(c, a)} {
		if dot(q, q) < dot(best, best) {
			best = q
		}
	}
	return r3.Add(p, best)
}

// nearestOnSegment is the point of segment a–b nearest to the origin.
func nearestOnSegment(a, b r3.Vec) r3.Vec {
	d := r3.Sub(b, a)
	t := -dot(a, d)
	l := dot(d, d)
	if !(t > 0) || l == 0 {
		return a
	}
	if t >= l {
		return b
	}
	t /= l
	return r3.Vec{X: a.X + float64(t*d.X), Y: a.Y + float64(t*d.Y), Z: a.Z + float64(t*d.Z)}
}
