package geom

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// Coverer computes how much of a triangle is covered by a set of convex polygons, counting places
// under several of them once. Exact visibility asks this: the hidden part of a facet is the union of
// what lies before it, projected. A Coverer keeps its memory from one question to the next; it
// serves one goroutine at a time. The zero value is ready.
//
//	var c geom.Coverer
//	for _, facet := range facets {
//		hidden := c.Cover(facet.Projected, occluders(facet))
//		fmt.Println(hidden.Area, hidden.Centroid())
//	}
//
// The method: cut polygons into triangles, walk along every edge, drop the stretches that another
// triangle covers, and sum what is left of the boundary by Green's theorem. Which edges cross, touch
// or coincide is decided by exact predicates, and the point of a crossing is computed once for both
// edges, so the boundary that is summed is always closed: polygons that share edges, or miss each
// other by a rounding, cost no accuracy. The place of a crossing is right to a rounding even where
// two edges are almost parallel, so that several crossings in one spot come in the right order. The
// error is a few roundings of the coordinates, times the triangle's size, for each crossing that is
// left on the boundary.
//
// Time for n polygon corners is n log n plus the number of pairs of triangles whose boxes meet:
// close to n log n when the polygons do not overlap, up to n² when all of them do.
type Coverer struct {
	target   [3]r2.Vec
	box      r2.Box
	tris     [][3]r2.Vec
	index    boxIndex
	found    []int32
	covering []stretch
}

// CoverageOf is Coverer.Cover for a single question.
func CoverageOf(tri r2.Triangle, polys [][]r2.Vec) Moments {
	var c Coverer
	return c.Cover(tri, polys)
}

// Centroid is the centre of area; the origin if there is no area.
func (m Moments) Centroid() r2.Vec {
	if m.Area == 0 {
		return r2.Vec{}
	}
	return r2.Vec{X: m.X / m.Area, Y: m.Y / m.Area}
}

// Cover returns the moments of the part of tri that lies in at least one of the polygons. Polygons
// must be convex; they, and the triangle, may run either way. Those without area cover nothing.
func (c *Coverer) Cover(tri r2.Triangle, polys [][]r2.Vec) Moments {
	if !c.prepare(tri, polys) {
		return Moments{}
	}
	c.index.build(c.tris, c.box)
	o := r2.Vec{X: (tri[0].X + tri[1].X + tri[2].X) / 3, Y: (tri[0].Y + tri[1].Y + tri[2].Y) / 3}
	g := boundary{origin: o}
	for i := range c.tris {
		for k := range 3 {
			c.outline(&g, int32(i), c.tris[i][k], c.tris[i][(k+1)%3])
		}
	}
	for k := range 3 {
		c.rim(&g, c.target[k], c.target[(k+1)%3])
	}
	m := g.sum.moments()
	if m.Area <= 0 {
		return Moments{} // nothing but roundings
	}
	if whole := momentsAbout(c.target[:], o); m.Area >= whole.Area {
		m = whole
	}
	return m.shift(o)
}

// prepare orients everything counter-clockwise, cuts the polygons into triangles and keeps those
// that can overlap the target.
func (c *Coverer) prepare(tri r2.Triangle, polys [][]r2.Vec) bool {
	c.tris = c.tris[:0]
	var ok bool
	if c.target, ok = leftTurning(tri[0], tri[1], tri[2]); !ok {
		return false
	}
	c.box = boxOf(c.target[:])
	for _, p := range polys {
		for i := 2; i < len(p); i++ {
			if t, ok := leftTurning(p[0], p[i-1], p[i]); ok && !c.apart(&t) {
				c.tris = append(c.tris, t)
			}
		}
	}
	return len(c.tris) > 0
}

// leftTurning gives the triangle its counter-clockwise order; false if it has no area.
func leftTurning(a, b, c r2.Vec) ([3]r2.Vec, bool) {
	s := Orient2D(a, b, c)
	if s < 0 {
		b, c = c, b
	}
	return [3]r2.Vec{a, b, c}, s != 0
}

// apart reports that the triangle lies beyond one edge of the target.
func (c *Coverer) apart(t *[3]r2.Vec) bool {
	b := boxOf(t[:])
	if b.Min.X >= c.box.Max.X || b.Max.X <= c.box.Min.X || b.Min.Y >= c.box.Max.Y || b.Max.Y <= c.box.Min.Y {
		return true
	}
	for k, p := range c.target {
		q := c.target[(k+1)%3]
		if Orient2D(p, q, t[0]) <= 0 && Orient2D(p, q, t[1]) <= 0 && Orient2D(p, q, t[2]) <= 0 {
			return true
		}
	}
	return false
}

// outline adds what edge a→b of triangle i contributes to the boundary of the union: the stretches
// inside the target with no triangle on their right.
func (c *Coverer) outline(g *boundary, i int32, a, b r2.Vec) {
	e := edge{a: a, b: b}
	within, ok := e.cut(&c.target, false, false)
	if !ok {
		return
	}
	c.covering = c.covering[:0]
	c.found = c.index.query(edgeBox(a, b), c.found[:0])
	for _, j := range c.found {
		if j == i {
			continue
		}
		// A triangle on the right covers along a common edge. One on the left, with an equal edge,
		// does so if its number is lower: just one of the two edges must be left.
		s, ok := e.cut(&c.tris[j], j < i, true)
		if !ok {
			continue
		}
		if s.lo.t <= within.lo.t && s.hi.t >= within.hi.t {
			return
		}
		c.covering = append(c.covering, s)
	}
	c.sortCovering()
	at := within.lo
	for _, s := range c.covering {
		if s.lo.t >= within.hi.t {
			break
		}
		if s.lo.t > at.t {
			g.add(at.p, s.lo.p)
		}
		if s.hi.t > at.t {
			at = s.hi
		}
	}
	if at.t < within.hi.t {
		g.add(at.p, within.hi.p)
	}
}

// rim adds the stretches of the target's own edge that have a triangle on their left.
func (c *Coverer) rim(g *boundary, a, b r2.Vec) {
	e := edge{a: a, b: b}
	c.covering = c.covering[:0]
	c.found = c.index.query(edgeBox(a, b), c.found[:0])
	for _, j := range c.found {
		if s, ok := e.cut(&c.tris[j], true, false); ok {
			c.covering = append(c.covering, s)
		}
	}
	c.sortCovering()
	for i := 0; i < len(c.covering); {
		s := c.covering[i]
		for i++; i < len(c.covering) && c.covering[i].lo.t <= s.hi.t; i++ {
			if c.covering[i].hi.t > s.hi.t {
				s.hi = c.covering[i].hi
			}
		}
		g.add(s.lo.p, s.hi.p)
	}
}

func (c *Coverer) sortCovering() {
	slices.SortFunc(c.covering, func(x, y stretch) int {
		switch {
		case x.lo.t < y.lo.t:
			return -1
		case x.lo.t > y.lo.t:
			return 1
		case x.hi.t > y.hi.t: // the longer one first, so that the order is settled
			return -1
		case x.hi.t < y.hi.t:
			return 1
		}
		return 0
	})
}

// boundary sums directed pieces of boundary about an origin near them.
type boundary struct {
	origin r2.Vec
	sum    green
}

func (g *boundary) add(p, q r2.Vec) { g.sum.edge(r2.Sub(p, g.origin), r2.Sub(q, g.origin)) }

// edge is a directed edge that is cut into stretches.
type edge struct{ a, b r2.Vec }

// place is a point on an edge, with t from 0 at its start to 1 at its end, rounded. Order along an
// edge goes by t; the boundary is made of the points.
type place struct {
	t float64
	p r2.Vec
}

type stretch struct{ lo, hi place }

func (e *edge) start() place { return place{0, e.a} }
func (e *edge) end() place   { return place{1, e.b} }

func (e *edge) at(p r2.Vec) place {
	d := r2.Sub(e.b, e.a)
	v := r2.Sub(p, e.a)
	t := (float64(v.X*d.X) + float64(v.Y*d.Y)) / (float64(d.X*d.X) + float64(d.Y*d.Y))
	return place{min(max(t, 0), 1), p}
}

// before compares two points on the line of e, exactly.
func (e *edge) before(p, q r2.Vec) bool {
	if e.a.X != e.b.X {
		return (p.X < q.X) == (e.a.X < e.b.X) && p.X != q.X
	}
	return (p.Y < q.Y) == (e.a.Y < e.b.Y) && p.Y != q.Y
}

// cut finds the stretch of e that runs through the inside of a counter-clockwise triangle. Where e
// runs along an edge of the triangle, onLeft says whether that counts for a triangle on the left of
// e, onRight for one on its right. Whether there is a stretch, and which of its ends are ends of e,
// corners or crossings, is exact.
func (e *edge) cut(t *[3]r2.Vec, onLeft, onRight bool) (stretch, bool) {
	s := [3]int{Orient2D(e.a, e.b, t[0]), Orient2D(e.a, e.b, t[1]), Orient2D(e.a, e.b, t[2])}
	left := s[0] > 0 || s[1] > 0 || s[2] > 0
	right := s[0] < 0 || s[1] < 0 || s[2] < 0
	if left && right {
		return e.through(t, s)
	}
	if (left && !onLeft) || (right && !onRight) {
		return stretch{}, false
	}
	for k := range 3 {
		if s[k] == 0 && s[(k+1)%3] == 0 {
			return e.along(t[k], t[(k+1)%3])
		}
	}
	return stretch{}, false
}

// along is the overlap of e with the segment p–q on its line.
func (e *edge) along(p, q r2.Vec) (stretch, bool) {
	if e.before(q, p) {
		p, q = q, p
	}
	if !e.before(p, e.b) || !e.before(e.a, q) {
		return stretch{}, false
	}
	out := stretch{e.start(), e.end()}
	if e.before(e.a, p) {
		out.lo = e.at(p)
	}
	if e.before(q, e.b) {
		out.hi = e.at(q)
	}
	return out, true
}

// through is cut for a triangle with corners on both sides of e, s giving the sides. Its border
// goes from left to right where the line of e enters, and from right to left where it leaves.
func (e *edge) through(t *[3]r2.Vec, s [3]int) (stretch, bool) {
	out := stretch{e.start(), e.end()}
	for k := range 3 {
		p, q := t[k], t[(k+1)%3]
		sp, sq, before := s[k], s[(k+1)%3], s[(k+2)%3]
		switch {
		case sp > 0 && sq < 0: // enters across p→q
			if Orient2D(p, q, e.b) <= 0 {
				return out, false
			}
			if Orient2D(p, q, e.a) < 0 {
				out.lo = e.at(meet(e.a, e.b, p, q))
			}
		case sp < 0 && sq > 0: // leaves across p→q
			if Orient2D(p, q, e.a) <= 0 {
				return out, false
			}
			if Orient2D(p, q, e.b) < 0 {
				out.hi = e.at(meet(e.a, e.b, p, q))
			}
		case sp == 0 && before > 0: // enters at corner p
			if !e.before(p, e.b) {
				return out, false
			}
			if e.before(e.a, p) {
				out.lo = e.at(p)
			}
		case sp == 0: // leaves at corner p
			if !e.before(e.a, p) {
				return out, false
			}
			if e.before(p, e.b) {
				out.hi = e.at(p)
			}
		}
	}
	return out, true
}

// meet is the point where two segments cross properly, the same to the last bit whichever segment is
// named first and whichever way they run.
func meet(a, b, c, d r2.Vec) r2.Vec {
	if less(b, a) {
		a, b = b, a
	}
	if less(d, c) {
		c, d = d, c
	}
	if less(c, a) || (c == a && less(d, b)) {
		a, b, c, d = c, d, a, b
	}
	return crossing(a, b, c, d)
}

func boxOf(p []r2.Vec) r2.Box {
	b := r2.Box{Min: p[0], Max: p[0]}
	for _, v := range p[1:] {
		b.Min = r2.Vec{X: min(b.Min.X, v.X), Y: min(b.Min.Y, v.Y)}
		b.Max = r2.Vec{X: max(b.Max.X, v.X), Y: max(b.Max.Y, v.Y)}
	}
	return b
}

func edgeBox(a, b r2.Vec) r2.Box {
	return r2.Box{
		Min: r2.Vec{X: min(a.X, b.X), Y: min(a.Y, b.Y)},
		Max: r2.Vec{X: max(a.X, b.X), Y: max(a.Y, b.Y)},
	}
}
