package delaunay

import (
	"context"
	"errors"
	"fmt"

	"gonum.org/v1/gonum/spatial/r2"

	"mouldwright/internal/geom"
)

// ghost is the vertex at infinity. Each hull edge has a ghost triangle beyond it, so that every edge
// has two triangles and a point outside the hull lies in a triangle like any other.
const ghost int32 = -1

// tri is a triangle of the working triangulation: corners counter-clockwise, and the triangle across
// each edge; edge k runs from corner k to corner k+1.
type tri struct{ v, adj [3]int32 }

// ghost is the corner at infinity, or −1.
func (t *tri) ghost() int {
	for k, v := range t.v {
		if v == ghost {
			return k
		}
	}
	return -1
}

// builder is a triangulation in the making.
type builder struct {
	pts   []r2.Vec
	tris  []tri
	last  int32   // where the next walk starts
	stack []int32 // triangles still to be checked

	// Only once all points are in, for the segments:
	marks [][3]mark // of each edge
	at    []int32   // a triangle at each vertex
	cav   cavity
}

func newBuilder(pts []r2.Vec) *builder {
	return &builder{pts: pts, tris: make([]tri, 0, 2*len(pts))}
}

func (b *builder) orient(i, j, k int32) int {
	return geom.Orient2D(b.pts[i], b.pts[j], b.pts[k])
}

// insertAll triangulates the points without the segments.
func (b *builder) insertAll(ctx context.Context) error {
	order := hilbertOrder(b.pts)
	if err := b.start(order); err != nil {
		return err
	}
	first := b.tris[0].v
	for i, p := range order {
		if i%checkEvery == 0 && ctx.Err() != nil {
			return fmt.Errorf("delaunay: stopped at point %d of %d: %w", i, len(order), ctx.Err())
		}
		if p == first[0] || p == first[1] || p == first[2] {
			continue
		}
		if err := b.insert(p); err != nil {
			return err
		}
	}
	return nil
}

// start makes the first triangle, out of the first points in the order that allow one.
func (b *builder) start(order []int32) error {
	u, v := order[0], order[1]
	if b.pts[u] == b.pts[v] {
		return duplicate(u, v)
	}
	for _, w := range order[2:] {
		s := b.orient(u, v, w)
		if s == 0 {
			continue
		}
		if s < 0 {
			u, v = v, u
		}
		b.tris = append(b.tris,
			tri{v: [3]int32{u, v, w}, adj: [3]int32{1, 2, 3}},
			tri{v: [3]int32{v, u, ghost}, adj: [3]int32{0, 3, 2}},
			tri{v: [3]int32{w, v, ghost}, adj: [3]int32{0, 1, 3}},
			tri{v: [3]int32{u, w, ghost}, adj: [3]int32{0, 2, 1}})
		return nil
	}
	return fmt.Errorf("delaunay: %d points: %w", len(b.pts), ErrFlat)
}

func duplicate(i, j int32) error {
	return &DuplicateError{int(min(i, j)), int(max(i, j))}
}

func (b *builder) insert(p int32) error {
	t, on, err := b.locate(p)
	if err != nil {
		return err
	}
	if on < 0 {
		b.splitInside(t, p)
	} else {
		b.splitEdge(t, on, p)
	}
	for len(b.stack) > 0 {
		t := b.stack[len(b.stack)-1]
		b.stack = b.stack[:len(b.stack)-1]
		if o := b.tris[t].adj[0]; b.inCircle(o, p) {
			b.flip(t)
			b.stack = append(b.stack, t, o)
		}
	}
	b.last = int32(len(b.tris) - 1)
	return nil
}

var errWalk = errors.New("delaunay: a walk through the triangulation does not end: please report this input")

// locate walks to the triangle that holds p, from the last one made. It returns the edge that p lies
// on, or −1 if p lies strictly inside, or strictly beyond the hull edge of a ghost triangle. The
// walk ends because the triangulation is Delaunay (each step goes up in power distance to p).
func (b *builder) locate(p int32) (t int32, on int, err error) {
	t = b.last
	if g := b.tris[t].ghost(); g >= 0 {
		t = b.tris[t].adj[(g+1)%3]
	}
	from := None
walk:
	for range 2 * cap(b.tris) {
		tr := &b.tris[t]
		if tr.ghost() >= 0 {
			return t, -1, nil
		}
		on = -1
		zeros := 0
		for k := range 3 {
			if tr.adj[k] == from {
				continue // p was found on this side of it
			}
			s := b.orient(tr.v[k], tr.v[(k+1)%3], p)
			if s < 0 {
				from, t = t, tr.adj[k]
				continue walk
			}
			if s == 0 {
				on = k
				zeros++
			}
		}
		if zeros > 1 {
			for _, v := range tr.v {
				if b.pts[v] == b.pts[p] {
					return 0, 0, duplicate(v, p)
				}
			}
		}
		return t, on, nil
	}
	return 0, 0, errWalk
}

// inCircle reports whether p lies strictly inside the circle of triangle o; the circle of a ghost is
// the open half plane beyond its hull edge.
func (b *builder) inCircle(o, p int32) bool {
	t := &b.tris[o]
	if g := t.ghost(); g >= 0 {
		return b.orient(t.v[(g+1)%3], t.v[(g+2)%3], p) > 0
	}
	return geom.InCircle(b.pts[t.v[0]], b.pts[t.v[1]], b.pts[t.v[2]], b.pts[p]) > 0
}

// New triangles around an inserted point p have p at corner 2, so that edge 0 is the one to check.

func (b *builder) splitInside(t, p int32) {
	old := b.tris[t]
	n1 := int32(len(b.tris))
	n2 := n1 + 1
	u, v, w := old.v[0], old.v[1], old.v[2]
	b.tris[t] = tri{v: [3]int32{u, v, p}, adj: [3]int32{old.adj[0], n1, n2}}
	b.tris = append(b.tris,
		tri{v: [3]int32{v, w, p}, adj: [3]int32{old.adj[1], n2, t}},
		tri{v: [3]int32{w, u, p}, adj: [3]int32{old.adj[2], t, n1}})
	b.relink(n1, 0)
	b.relink(n2, 0)
	b.stack = append(b.stack, t, n1, n2)
}

func (b *builder) splitEdge(t int32, k int, p int32) {
	old := b.tris[t]
	u, v, w := old.v[k], old.v[(k+1)%3], old.v[(k+2)%3]
	o := old.adj[k]
	opp := b.tris[o]
	j := b.corner(o, v)
	x := opp.v[(j+2)%3]
	n1 := int32(len(b.tris))
	n2 := n1 + 1
	b.tris[t] = tri{v: [3]int32{v, w, p}, adj: [3]int32{old.adj[(k+1)%3], n1, n2}}
	b.tris[o] = tri{v: [3]int32{u, x, p}, adj: [3]int32{opp.adj[(j+1)%3], n2, n1}}
	b.tris = append(b.tris,
		tri{v: [3]int32{w, u, p}, adj: [3]int32{old.adj[(k+2)%3], o, t}},
		tri{v: [3]int32{x, v, p}, adj: [3]int32{opp.adj[(j+2)%3], t, o}})
	b.relink(n1, 0)
	b.relink(n2, 0)
	b.stack = append(b.stack, t, n1, o, n2)
}

// corner is the corner of t at vertex v, which must be there.
func (b *builder) corner(t, v int32) int {
	tv := &b.tris[t].v
	if tv[0] == v {
		return 0
	}
	if tv[1] == v {
		return 1
	}
	return 2
}

// relink tells the triangle across edge k of t that t is its neighbour.
func (b *builder) relink(t int32, k int) {
	o := b.tris[t].adj[k]
	b.tris[o].adj[b.corner(o, b.tris[t].v[(k+1)%3])] = t
}

// flip replaces edge 0 of t, u→v with p at corner 2 and x opposite, by x–p: t becomes (u, x, p) and
// its neighbour o becomes (x, v, p).
func (b *builder) flip(t int32) {
	old := b.tris[t]
	o := old.adj[0]
	opp := b.tris[o]
	u, v, p := old.v[0], old.v[1], old.v[2]
	j := b.corner(o, v)
	x := opp.v[(j+2)%3]
	b.tris[t] = tri{v: [3]int32{u, x, p}, adj: [3]int32{opp.adj[(j+1)%3], o, old.adj[2]}}
	b.tris[o] = tri{v: [3]int32{x, v, p}, adj: [3]int32{opp.adj[(j+2)%3], old.adj[1], t}}
	b.relink(t, 0)
	b.relink(o, 1)
	if b.marks != nil {
		mt, mo := b.marks[t], b.marks[o]
		b.marks[t] = [3]mark{mo[(j+1)%3], free, mt[2]}
		b.marks[o] = [3]mark{mo[(j+2)%3], mt[1], free}
		b.at[u], b.at[x], b.at[p], b.at[v] = t, t, t, o
	}
}
