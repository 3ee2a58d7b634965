package mouldability

import (
	"context"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// minimumCut labels the wall facets so that the parting line costs least, with every other facet
// held by the half it faces. It returns the two extreme minimum solutions: low, in which the lower
// half takes all it can, and high, in which the upper half does.
func minimumCut(ctx context.Context, m *mesh.Mesh, adj mesh.Adjacency, source []int32, opt PartOptions) (low, high []bool, err error) {
	node := make([]int32, len(m.Tris)) // flow node of a wall facet, else -1
	low, high = make([]bool, len(m.Tris)), make([]bool, len(m.Tris))
	const up, down = 0, 1 // terminals
	n := int32(2)
	for f := range m.Tris {
		t := m.Facet(f)
		if isWall(t) {
			node[f] = n
			n++
			continue
		}
		node[f] = -1
		low[f] = projected(t) > 0
		high[f] = low[f]
	}
	g := newFlow(int(n))
	terminal := func(f int32) int32 {
		if node[f] >= 0 {
			return node[f]
		}
		if low[f] {
			return up
		}
		return down
	}
	var way *geom.BVH // built when the first wall needs it
	for f, t := range m.Tris {
		if node[f] < 0 {
			continue
		}
		if way == nil {
			way = geom.NewBVH(m.Verts, m.Tris)
		}
		tri := m.Facet(f)
		switch under, over := standsOver(way, tri); {
		case under && !over:
			g.arc(up, node[f], certain, 0)
		case over && !under:
			g.arc(node[f], down, certain, 0)
		}
		switch c := quantum(mislabelCost(tri)); {
		case projected(tri) > 0:
			g.arc(up, node[f], c, 0)
		default:
			g.arc(node[f], down, c, 0)
		}
		for k, o := range adj[f] {
			if o == mesh.NoFacet || (node[o] >= 0 && o < int32(f)) {
				continue // each pair of walls once
			}
			a, b := m.Verts[t[k]], m.Verts[t[(k+1)%3]]
			c := quantum(opt.edgeCost(a, b, opt.on(source[f]) && opt.on(source[o])))
			g.arc(node[f], terminal(o), c, c)
		}
	}
	if err := g.saturate(ctx, up, down); err != nil {
		return nil, nil, err
	}
	fromUp, toDown := g.reachable(up, false), g.reachable(down, true)
	for f := range m.Tris {
		if node[f] >= 0 {
			low[f] = fromUp[node[f]]
			high[f] = !toDown[node[f]]
		}
	}
	return low, high, nil
}

// certain outweighs any line on a part that a bench can hold: a kilometre.
const certain = int64(1e12)

// beforeWallMM is how far before a wall its mould material is looked at: past the rounding of the wall,
// and well inside any gap that material could fill.
const beforeWallMM = 0.01

// standsOver says whether the part lies under, and over, the mould material just before a wall. Material
// with the part under it can only leave upward, so such a wall is the upper half's, though giving it
// away would cost nothing; the other way round it is the lower half's.
func standsOver(way *geom.BVH, t r3.Triangle) (under, over bool) {
	n := t.Normal()
	n.Z = 0
	if r3.Norm(n) == 0 {
		return false, false
	}
	n = r3.Scale(beforeWallMM, r3.Unit(n))
	c := t.Centroid()
	for _, p := range []r3.Vec{c, middle(c, t[0]), middle(c, t[1]), middle(c, t[2])} {
		p = r3.Add(p, n)
		under = under || way.AnyHit(p, r3.Vec{Z: -1}, 0, math.Inf(1))
		over = over || way.AnyHit(p, r3.Vec{Z: 1}, 0, math.Inf(1))
	}
	return under, over
}

func middle(a, b r3.Vec) r3.Vec { return r3.Scale(0.5, r3.Add(a, b)) }

// quantum turns mm of cost into whole nanometres: integer capacities make the flow exact, and so
// the same on every machine.
func quantum(mm float64) int64 { return int64(math.Round(math.Min(mm, 1e9) * 1e6)) }

// flow is a network for Dinic's maximum-flow method (1970): arcs are stored in pairs, each the
// reverse of the other.
type flow struct {
	head  []int32 // first arc of a node, -1 for none
	next  []int32
	to    []int32
	rest  []int64 // capacity left
	level []int32
	cur   []int32
	queue []int32
}

func newFlow(n int) *flow {
	g := &flow{head: make([]int32, n), level: make([]int32, n), cur: make([]int32, n)}
	for i := range g.head {
		g.head[i] = -1
	}
	return g
}

func (g *flow) arc(a, b int32, there, back int64) {
	g.to = append(g.to, b, a)
	g.rest = append(g.rest, there, back)
	g.next = append(g.next, g.head[a], g.head[b])
	g.head[a], g.head[b] = int32(len(g.to)-2), int32(len(g.to)-1)
}

// saturate pushes the maximum flow from s to t.
func (g *flow) saturate(ctx context.Context, s, t int32) error {
	for g.layer(s, t) {
		if err := ctx.Err(); err != nil {
			return err
		}
		copy(g.cur, g.head)
		g.block(s, t)
	}
	return nil
}

// layer numbers the nodes by their distance from s over arcs with capacity left.
func (g *flow) layer(s, t int32) bool {
	for i := range g.level {
		g.level[i] = -1
	}
	g.level[s] = 0
	g.queue = append(g.queue[:0], s)
	for i := 0; i < len(g.queue); i++ {
		v := g.queue[i]
		for a := g.head[v]; a >= 0; a = g.next[a] {
			if w := g.to[a]; g.rest[a] > 0 && g.level[w] < 0 {
				g.level[w] = g.level[v] + 1
				g.queue = append(g.queue, w)
			}
		}
	}
	return g.level[t] >= 0
}

// block saturates every shortest path, depth first, with the path kept on an explicit stack: a long
// wall makes paths far deeper than a goroutine's recursion should go.
func (g *flow) block(s, t int32) {
	var path []int32 // arcs
	for v := s; ; {
		if v == t {
			least, at := int64(math.MaxInt64), 0
			for i, a := range path {
				if g.rest[a] < least {
					least, at = g.rest[a], i
				}
			}
			for _, a := range path {
				g.rest[a] -= least
				g.rest[a^1] += least
			}
			path = path[:at]
			v = s
			if at > 0 {
				v = g.to[path[at-1]]
			}
			continue
		}
		a := g.cur[v]
		for a >= 0 && (g.rest[a] <= 0 || g.level[g.to[a]] != g.level[v]+1) {
			a = g.next[a]
		}
		g.cur[v] = a
		if a >= 0 {
			path = append(path, a)
			v = g.to[a]
			continue
		}
		if v == s {
			return
		}
		g.level[v] = -1 // dead end
		last := path[len(path)-1]
		path = path[:len(path)-1]
		v = g.to[last^1]
	}
}

// reachable marks the nodes that s reaches over arcs with capacity left, or, when backward, the
// nodes that reach s.
func (g *flow) reachable(s int32, backward bool) []bool {
	seen := make([]bool, len(g.head))
	seen[s] = true
	queue := []int32{s}
	for i := 0; i < len(queue); i++ {
		for a := g.head[queue[i]]; a >= 0; a = g.next[a] {
			through := a
			if backward {
				through = a ^ 1
			}
			if w := g.to[a]; g.rest[through] > 0 && !seen[w] {
				seen[w] = true
				queue = append(queue, w)
			}
		}
	}
	return seen
}
