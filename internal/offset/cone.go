package offset

import (
	"math"
	"slices"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// swept answers how far a point is from a surface swept upward: from the union of upright cones, open
// upward, with an apex at every point of the surface. The sum of a surface with a ball of radius t and
// such a cone, the shape of a skin of thickness t that lifts out upward with the cone's half angle as
// draft, is the set of points nearer than t.
//
// A point x is as far from the upward cone over p as p is from the downward cone under x. In the plane
// through x's axis and p, with p at depth D under x and distance ρ from the axis, that is
//
//	√(ρ² + D²)        where ρ·sin δ + D·cos δ ≤ 0: the apex is nearest
//	ρ·cos δ − D·sin δ otherwise, and 0 where that is negative: inside
//
// a convex function of p. So over a triangle it is least at the foot of the perpendicular from x, or
// where the axis passes through, or on a side; and on a side at an end, at the foot of the perpendicular,
// or where the second form is stationary, which is the root of a quadratic equation.
type swept struct {
	sin, cos, tan float64
	nodes         []sweptNode
	tris          []r3.Triangle
}

type sweptNode struct {
	box         r3.Box
	first, tris int32 // a leaf's triangles; an inner node has tris 0 and its children at first and first+1
}

const leafTris = 4

func newSwept(m *mesh.Mesh, draftRad float64) *swept {
	s := &swept{}
	s.sin, s.cos = math.Sincos(draftRad)
	s.tan = s.sin / s.cos
	for f := range m.Tris {
		s.tris = append(s.tris, m.Facet(f))
	}
	s.nodes = append(s.nodes, sweptNode{})
	s.build(0, 0, len(s.tris))
	return s
}

func (s *swept) build(node, lo, hi int) {
	box := triBox(s.tris[lo])
	mids := r3.Box{Min: s.tris[lo].Centroid(), Max: s.tris[lo].Centroid()}
	for _, t := range s.tris[lo+1 : hi] {
		b, c := triBox(t), t.Centroid()
		box = joinBox(box, b)
		mids = joinBox(mids, r3.Box{Min: c, Max: c})
	}
	s.nodes[node] = sweptNode{box: box, first: int32(lo), tris: int32(hi - lo)}
	if hi-lo <= leafTris {
		return
	}
	size := mids.Size()
	axis := func(v r3.Vec) float64 { return v.X }
	if size.Y >= size.X && size.Y >= size.Z {
		axis = func(v r3.Vec) float64 { return v.Y }
	} else if size.Z > size.X {
		axis = func(v r3.Vec) float64 { return v.Z }
	}
	slices.SortStableFunc(s.tris[lo:hi], func(a, b r3.Triangle) int {
		switch x, y := axis(a.Centroid()), axis(b.Centroid()); {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	mid := (lo + hi) / 2
	first := len(s.nodes)
	s.nodes = append(s.nodes, sweptNode{}, sweptNode{})
	s.nodes[node].first, s.nodes[node].tris = int32(first), 0
	s.build(first, lo, mid)
	s.build(first+1, mid, hi)
}

func triBox(t r3.Triangle) r3.Box {
	return joinBox(r3.Box{Min: t[0], Max: t[0]}, joinBox(r3.Box{Min: t[1], Max: t[1]}, r3.Box{Min: t[2], Max: t[2]}))
}

func joinBox(a, b r3.Box) r3.Box {
	return r3.Box{
		Min: r3.Vec{X: min(a.Min.X, b.Min.X), Y: min(a.Min.Y, b.Min.Y), Z: min(a.Min.Z, b.Min.Z)},
		Max: r3.Vec{X: max(a.Max.X, b.Max.X), Y: max(a.Max.Y, b.Max.Y), Z: max(a.Max.Z, b.Max.Z)},
	}
}

// toCone is the distance of a point at radius rho and depth d from the downward cone.
func (s *swept) toCone(rho, d float64) float64 {
	if rho*s.sin+d*s.cos <= 0 {
		return math.Sqrt(rho*rho + d*d)
	}
	return max(0, rho*s.cos-d*s.sin)
}

// toPoint is that for p seen from x.
func (s *swept) toPoint(v r3.Vec) float64 { return s.toCone(math.Sqrt(v.X*v.X+v.Y*v.Y), -v.Z) }

// at is the distance from p to the swept surface.
func (s *swept) at(p r3.Vec) float64 {
	type entry struct {
		node  int32
		bound float64
	}
	var stack [128]entry
	stack[0] = entry{0, s.toBox(p, &s.nodes[0].box)}
	best := math.Inf(1)
	for sp := 1; sp > 0; {
		sp--
		e := stack[sp]
		if e.bound >= best {
			continue
		}
		n := &s.nodes[e.node]
		if n.tris == 0 {
			l := entry{n.first, s.toBox(p, &s.nodes[n.first].box)}
			r := entry{n.first + 1, s.toBox(p, &s.nodes[n.first+1].box)}
			if l.bound < r.bound {
				l, r = r, l
			}
			stack[sp], stack[sp+1] = l, r
			sp += 2
			continue
		}
		for i := n.first; i < n.first+n.tris; i++ {
			best = min(best, s.toTriangle(p, &s.tris[i]))
		}
	}
	return best
}

// toBox bounds the distance to anything in a box: the distance grows with the radius and falls with the
// depth, so the least radius and the greatest depth together give it.
func (s *swept) toBox(p r3.Vec, b *r3.Box) float64 {
	dx := max(b.Min.X-p.X, p.X-b.Max.X, 0)
	dy := max(b.Min.Y-p.Y, p.Y-b.Max.Y, 0)
	return s.toCone(math.Sqrt(dx*dx+dy*dy), p.Z-b.Min.Z)
}

func (s *swept) toTriangle(p r3.Vec, t *r3.Triangle) float64 {
	a, b, c := r3.Sub(t[0], p), r3.Sub(t[1], p), r3.Sub(t[2], p)
	best := min(s.toSegment(a, b), s.toSegment(b, c), s.toSegment(c, a))
	n := r3.Cross(r3.Sub(b, a), r3.Sub(c, a))
	// The foot of the perpendicular from p.
	if u, v, w := r3.Dot(n, r3.Cross(b, c)), r3.Dot(n, r3.Cross(c, a)), r3.Dot(n, r3.Cross(a, b)); u >= 0 && v >= 0 && w >= 0 && u+v+w > 0 {
		best = min(best, s.toPoint(r3.Scale(r3.Dot(n, a)/r3.Dot(n, n), n)))
	}
	// The axis: is the origin inside the triangle in plan, and is the triangle below there?
	u, v, w := b.X*c.Y-b.Y*c.X, c.X*a.Y-c.Y*a.X, a.X*b.Y-a.Y*b.X
	if u >= 0 && v >= 0 && w >= 0 || u <= 0 && v <= 0 && w <= 0 {
		if sum := u + v + w; sum != 0 && (u*a.Z+v*b.Z+w*c.Z)/sum <= 0 {
			return 0
		}
	}
	return best
}

// toSegment is the least over the segment a–b, seen from the cone's apex.
func (s *swept) toSegment(a, b r3.Vec) float64 {
	best := min(s.toPoint(a), s.toPoint(b))
	d := r3.Sub(b, a)
	try := func(t float64) {
		if t > 0 && t < 1 {
			best = min(best, s.toPoint(r3.Add(a, r3.Scale(t, d))))
		}
	}
	if l := r3.Dot(d, d); l > 0 {
		try(-r3.Dot(a, d) / l)
	}
	flat := d.X*d.X + d.Y*d.Y
	if k := -d.Z * s.tan; flat > k*k {
		lead := (a.X*d.X + a.Y*d.Y) / flat
		rest := max(0, a.X*a.X+a.Y*a.Y-lead*lead*flat) // square of the segment's line's distance from the axis
		try(math.Copysign(math.Sqrt(rest*k*k/(flat*(flat-k*k))), k) - lead)
	}
	return best
}
