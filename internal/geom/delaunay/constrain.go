package delaunay

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"mouldwright/internal/geom"
)

// mark says what lies on an edge: the lowest segment, or None, and how many.
type mark struct{ seg, count int32 }

var free = mark{seg: None}

func (m mark) with(seg int32) mark {
	if m.count == 0 || seg < m.seg {
		m.seg = seg
	}
	m.count++
	return m
}

// constrainAll makes edges of the segments, one after another.
func (b *builder) constrainAll(ctx context.Context, segs [][2]int) error {
	b.marks = make([][3]mark, len(b.tris))
	b.at = make([]int32, len(b.pts))
	for i := range b.tris {
		b.marks[i] = [3]mark{free, free, free}
		for _, v := range b.tris[i].v {
			if v != ghost {
				b.at[v] = int32(i)
			}
		}
	}
	b.cav.outer = make(map[[2]int32]half)
	b.cav.inner = make(map[[2]int32]edgeRef)
	for i, s := range segs {
		if i%checkEvery == 0 && ctx.Err() != nil {
			return fmt.Errorf("delaunay: stopped at segment %d of %d: %w", i, len(segs), ctx.Err())
		}
		for from, to := int32(s[0]), int32(s[1]); from != to; {
			next, err := b.advance(from, to, int32(i))
			if err != nil {
				return err
			}
			from = next
		}
	}
	return nil
}

// edgeRef is edge k of triangle t.
type edgeRef struct {
	t int32
	k int
}

// advance makes an edge from one end of a segment to the first point on it, marks it, and returns
// that point.
func (b *builder) advance(from, to, seg int32) (int32, error) {
	next, e, err := b.look(from, to)
	if err != nil {
		return 0, err
	}
	if next == None {
		if next, err = b.open(from, to, seg, e); err != nil {
			return 0, err
		}
		if e, err = b.refill(from, next); err != nil {
			return 0, err
		}
	}
	b.mark(e, seg)
	if len(b.cav.tris) > 0 {
		b.restore()
	}
	return next, nil
}

func (b *builder) mark(e edgeRef, seg int32) {
	o := b.tris[e.t].adj[e.k]
	j := b.corner(o, b.tris[e.t].v[(e.k+1)%3])
	b.marks[e.t][e.k] = b.marks[e.t][e.k].with(seg)
	b.marks[o][j] = b.marks[o][j].with(seg)
}

var errFan = errors.New("delaunay: no triangle in the direction of a segment: please report this input")

// look turns around vertex from until it faces to. It finds either an edge that runs along the
// segment, and the point at its end; or, with None, the edge opposite to from that the segment
// crosses first.
func (b *builder) look(from, to int32) (int32, edgeRef, error) {
	b.cav.tris = b.cav.tris[:0]
	start := b.at[from]
	t := start
	for {
		tr := &b.tris[t]
		k := b.corner(t, from)
		x, y := tr.v[(k+1)%3], tr.v[(k+2)%3]
		if x == to {
			return x, edgeRef{t, k}, nil
		}
		if x != ghost {
			s := b.orient(from, to, x)
			if s == 0 && b.ahead(from, to, x) {
				return x, edgeRef{t, k}, nil
			}
			if s < 0 && y != ghost && b.orient(from, to, y) > 0 {
				return None, edgeRef{t, (k + 1) % 3}, nil
			}
		}
		if t = tr.adj[(k+2)%3]; t == start {
			return None, edgeRef{}, errFan
		}
	}
}

// ahead reports whether x, on the line from a to b, lies on b's side of a.
func (b *builder) ahead(a, c, x int32) bool {
	p, q, r := b.pts[a], b.pts[c], b.pts[x]
	if p.X != q.X {
		return (q.X > p.X) == (r.X > p.X) && r.X != p.X
	}
	return (q.Y > p.Y) == (r.Y > p.Y) && r.Y != p.Y
}

// cavity is the gap that a segment tears: the triangles that it crosses, the two chains of vertices
// on its sides, and what lies beyond each edge of the gap. Vertices that jut into the gap can make
// both directions of an edge part of its rim.
type cavity struct {
	tris        []int32
	left, right []int32 // both from the segment's start to its end
	outer       map[[2]int32]half
	inner       map[[2]int32]edgeRef
	scan        []int32
	made        []int32
}

// half is the far side of a rim edge.
type half struct {
	across int32
	mark   mark
}

func (b *builder) rim(t int32, k int) {
	tr := &b.tris[t]
	b.cav.outer[[2]int32{tr.v[k], tr.v[(k+1)%3]}] = half{tr.adj[k], b.marks[t][k]}
}

// open collects the cavity of the segment from its start to the first point on it, which it returns.
// Each crossed edge runs from the right side to the left.
func (b *builder) open(from, to, seg int32, e edgeRef) (int32, error) {
	c := &b.cav
	clear(c.outer)
	tr := &b.tris[e.t]
	c.right = append(c.right[:0], from, tr.v[e.k])
	c.left = append(c.left[:0], from, tr.v[(e.k+1)%3])
	c.tris = append(c.tris, e.t)
	b.rim(e.t, (e.k+1)%3)
	b.rim(e.t, (e.k+2)%3)
	for {
		if m := b.marks[e.t][e.k]; m.count > 0 {
			return 0, &CrossingError{int(min(m.seg, seg)), int(max(m.seg, seg))}
		}
		o := b.tris[e.t].adj[e.k]
		k := b.corner(o, b.tris[e.t].v[(e.k+1)%3]) // the crossed edge, seen from o: left to right
		apex := b.tris[o].v[(k+2)%3]
		c.tris = append(c.tris, o)
		switch s := b.orient(from, to, apex); {
		case s == 0:
			b.rim(o, (k+1)%3)
			b.rim(o, (k+2)%3)
			c.left, c.right = append(c.left, apex), append(c.right, apex)
			return apex, nil
		case s > 0:
			b.rim(o, (k+2)%3)
			c.left = append(c.left, apex)
			e = edgeRef{o, (k + 1) % 3}
		default:
			b.rim(o, (k+1)%3)
			c.right = append(c.right, apex)
			e = edgeRef{o, (k + 2) % 3}
		}
	}
}

var errRefill = errors.New("delaunay: the gap along a segment cannot be filled: please report this input")

// refill triangulates both sides of the cavity, in the slots of the triangles that it replaces, and
// returns the edge along the segment.
func (b *builder) refill(from, to int32) (edgeRef, error) {
	c := &b.cav
	c.made = append(c.made[:0], c.tris...)
	slices.Reverse(c.left)
	if !b.fill(c.right) || !b.fill(c.left) || len(c.made) != 0 {
		return edgeRef{}, errRefill
	}
	clear(c.inner)
	for _, t := range c.tris {
		for k, v := range b.tris[t].v {
			c.inner[[2]int32{v, b.tris[t].v[(k+1)%3]}] = edgeRef{t, k}
			b.at[v] = t
		}
	}
	for _, t := range c.tris {
		tr := &b.tris[t]
		for k, v := range tr.v {
			w := tr.v[(k+1)%3]
			out, rim := c.outer[[2]int32{v, w}]
			b.marks[t][k] = free
			if rim {
				b.marks[t][k] = out.mark
			}
			if in, ok := c.inner[[2]int32{w, v}]; ok {
				tr.adj[k] = in.t
			} else if rim {
				tr.adj[k] = out.across
				b.relink(t, k)
			} else {
				return edgeRef{}, errRefill
			}
		}
	}
	return c.inner[[2]int32{from, to}], nil
}

// fill triangulates the region on the left of a chain, closed by the segment from its last vertex to
// its first. Every vertex sees the segment (along the edge that was crossed), in the order of the
// chain; for such a polygon, cutting off each convex corner as the chain is walked gives a
// triangulation (Toussaint and Avis, "On a convex hull algorithm for polygons and its application
// to triangulation problems", 1982).
func (b *builder) fill(chain []int32) bool {
	c := &b.cav
	s := c.scan[:0]
	for _, v := range chain {
		for len(s) >= 2 && b.orient(s[len(s)-2], s[len(s)-1], v) > 0 {
			if len(c.made) == 0 {
				return false
			}
			t := c.made[len(c.made)-1]
			c.made = c.made[:len(c.made)-1]
			b.tris[t].v = [3]int32{s[len(s)-2], s[len(s)-1], v}
			s = s[:len(s)-1]
		}
		s = append(s, v)
	}
	c.scan = s
	return len(s) == 2
}

// restore flips edges in and around the cavity until all that are free are locally Delaunay again
// (Lawson 1977).
func (b *builder) restore() {
	b.stack = append(b.stack[:0], b.cav.tris...)
	for len(b.stack) > 0 {
		t := b.stack[len(b.stack)-1]
		b.stack = b.stack[:len(b.stack)-1]
		for k := range 3 {
			if b.illegal(t, k) {
				b.turn(t, k)
				o := b.tris[t].adj[0]
				b.flip(t)
				b.stack = append(b.stack, t, o)
				break
			}
		}
	}
}

func (b *builder) illegal(t int32, k int) bool {
	tr := &b.tris[t]
	o := tr.adj[k]
	if b.marks[t][k].count > 0 || tr.ghost() >= 0 || b.tris[o].ghost() >= 0 {
		return false
	}
	x := b.tris[o].v[(b.corner(o, tr.v[(k+1)%3])+2)%3]
	return geom.InCircle(b.pts[tr.v[0]], b.pts[tr.v[1]], b.pts[tr.v[2]], b.pts[x]) > 0
}

// turn renumbers the corners of t so that edge k becomes edge 0.
func (b *builder) turn(t int32, k int) {
	o, m := b.tris[t], b.marks[t]
	for i := range 3 {
		j := (i + k) % 3
		b.tris[t].v[i], b.tris[t].adj[i], b.marks[t][i] = o.v[j], o.adj[j], m[j]
	}
}
