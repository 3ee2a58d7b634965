package fill

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// The tree of peaks.
//
// Let X(h) be the part of the cavity above height h. As h falls, parts of X(h) appear at high points
// and join at saddles; the record of that is a tree. Two facts make it exact and cheap:
//
//   - Parts appear and join only at corners of the mesh, since the height has no critical point inside
//     a solid and none inside a flat facet. Equal heights are told apart by the corner's number, as if
//     one were a hair higher, so every corner is an event of its own.
//   - Two corners that an edge joins are in one part from the lower one's height down. That catches
//     every joining along the surface. What it misses is an island: a piece of mould standing up in
//     the cavity, whose surface starts at its own top. The space straight above that top belongs to
//     the same part: so a ray goes up from it to the ceiling, and the corner is joined to the highest
//     corner of the facet hit. Along the ray and up the facet the height only grows.
//
// That these suffice: lift a path inside X(h) straight up to the ceiling. It jumps only where it
// passes the rim of an overhang, and the top of that overhang leads by rising steps to an island's
// top or back to the ceiling; so the two sides are joined by what happens above.
//
// A vent is one more event. When the resin reaches its mouth it no longer lets air out, so the part
// it opens to keeps what is then above.

// peakNode is a part of X(h) between the height where it begins (a high point, or a saddle where
// others joined) and the height where it ends (a saddle where it joins others).
type peakNode struct {
	top    r3.Vec // highest point, in the cavity's coordinates
	topZ   float64
	vertex int32   // of top
	end    float64 // height of the saddle where it ends; of the lowest corner for a root
	volume float64 // above end
	parent int32   // −1 for a root
	saddle r3.Vec  // where it ends
	kids   int32
	// stays is the air that stays for good: at the first vent's mouth, or where an unvented part meets
	// a vented one. keeps says that this node is such an end; vented says that a vent opens to it.
	stays  float64
	staysZ float64 // height of what stays it lies above
	keeps  bool
	vented bool
	closed bool
}

// peaks is the tree for one direction, with what is needed to ask on.
type peaks struct {
	c      *Cavity
	up     r3.Vec
	z      []float64 // height of each vertex over the cavity's centre
	nodes  []peakNode
	nodeOf []int32 // of each vertex: the node that was current when the corner was reached
	slopes []slope
	next   []int32 // facet lists
	part   []int32 // union-find over vertices
	node   []int32 // current node of a part, at its representative
	sum    []tally // of a part, at its representative
}

// ventEvent is a vent's mouth in the tree: it opens to the part that holds vertex roof.
type ventEvent struct {
	z    float64
	roof int32
}

// peaks builds the tree of the cavity for the direction up, with vents at the given points.
func (c *Cavity) peaks(up r3.Vec, vents []r3.Vec) *peaks {
	p := &peaks{c: c, up: r3.Unit(up)}
	p.measure()
	order := p.order()
	events := p.ventEvents(vents)
	for _, v := range order {
		for len(events) > 0 && events[0].z > p.z[v] {
			p.vent(events[0])
			events = events[1:]
		}
		p.reach(v)
	}
	for _, e := range events {
		p.vent(e)
	}
	p.finish(order)
	return p
}

func (p *peaks) measure() {
	c := p.c
	n := len(c.mesh.Verts)
	p.z = make([]float64, n)
	for i, v := range c.mesh.Verts {
		p.z[i] = p.height(v)
	}
	p.slopes = make([]slope, len(c.mesh.Tris))
	for f, t := range c.mesh.Tris {
		a, b, d := p.z[t[0]], p.z[t[1]], p.z[t[2]]
		if a < b {
			a, b = b, a
		}
		if b < d {
			b, d = d, b
		}
		if a < b {
			a, b = b, a
		}
		p.slopes[f] = slope{a, b, d, r3.Dot(c.normal(f), p.up) / 2}
	}
	p.next = make([]int32, len(c.mesh.Tris))
	p.part = make([]int32, n)
	p.node = make([]int32, n)
	p.sum = make([]tally, n)
	p.nodeOf = make([]int32, n)
	for i := range p.part {
		p.part[i] = unreached
		p.nodeOf[i] = -1
	}
}

const unreached int32 = -1

// height of a point over the cavity's centre.
func (p *peaks) height(v r3.Vec) float64 { return r3.Dot(r3.Sub(v, p.c.centre), p.up) }

// order lists the corners that facets use, from the top down.
func (p *peaks) order() []int32 {
	type key struct {
		z float64
		v int32
	}
	keys := make([]key, 0, len(p.z))
	for v := range p.z {
		if p.c.first[v] < p.c.first[v+1] {
			keys = append(keys, key{p.z[v], int32(v)})
		}
	}
	slices.SortFunc(keys, func(a, b key) int {
		if a.z != b.z {
			return cmp.Compare(b.z, a.z)
		}
		return cmp.Compare(a.v, b.v)
	})
	out := make([]int32, len(keys))
	for i, k := range keys {
		out[i] = k.v
	}
	return out
}

// higher is the order in which corners are reached.
func (p *peaks) higher(a, b int32) bool {
	return p.z[a] > p.z[b] || (p.z[a] == p.z[b] && a < b)
}

func (p *peaks) find(v int32) int32 {
	for p.part[v] != v {
		p.part[v] = p.part[p.part[v]]
		v = p.part[v]
	}
	return v
}

// reach takes the next corner down.
func (p *peaks) reach(v int32) {
	c := p.c
	p.part[v], p.sum[v] = v, tally{head: -1, tail: -1}
	p.node[v] = -1
	highest := true
	for _, f := range c.around[c.first[v]:c.first[v+1]] {
		for _, u := range c.mesh.Tris[f] {
			if u := int32(u); u != v && p.higher(u, v) {
				highest = false
				p.join(u, v)
			}
		}
	}
	if highest {
		if roof, under := p.ceilingOver(v); under {
			p.join(roof, v)
		} else {
			p.begin(v)
		}
	}
	root := p.find(v)
	p.nodeOf[v] = p.node[root]
	for _, f := range c.around[c.first[v]:c.first[v+1]] {
		if p.topOf(int(f)) == v {
			p.add(&p.sum[root], f)
		}
	}
}

// begin makes a high point.
func (p *peaks) begin(v int32) {
	p.node[v] = int32(len(p.nodes))
	p.nodes = append(p.nodes, peakNode{top: p.c.mesh.Verts[v], topZ: p.z[v], vertex: v, parent: -1})
}

// add gives a part the facet whose top has been reached.
func (p *peaks) add(s *tally, f int32) {
	p.next[f] = -1
	if s.head < 0 {
		s.head = f
	} else {
		p.next[s.tail] = f
	}
	s.tail = f
}

// join puts u's part and v's together at the height of v.
func (p *peaks) join(u, v int32) {
	a, b := p.find(u), p.find(v)
	if a == b {
		return
	}
	if p.node[b] < 0 { // v was bare until now
		p.part[b] = a
		p.merge(a, b)
		return
	}
	h := p.z[v]
	na, nb := p.close(a, h, v), p.close(b, h, v)
	n := int32(len(p.nodes))
	hi := &p.nodes[na]
	if p.nodes[nb].topZ > hi.topZ || (p.nodes[nb].topZ == hi.topZ && p.nodes[nb].vertex < hi.vertex) {
		hi = &p.nodes[nb]
	}
	both := p.nodes[na].vented || p.nodes[nb].vented
	node := peakNode{top: hi.top, topZ: hi.topZ, vertex: hi.vertex, parent: -1, kids: 2, vented: both}
	if both {
		p.keep(na)
		p.keep(nb)
	}
	p.nodes = append(p.nodes, node)
	p.nodes[na].parent, p.nodes[nb].parent = n, n
	// The lower number leads, so that the tree does not depend on the order of edges.
	if b < a {
		a, b = b, a
	}
	p.part[b] = a
	p.merge(a, b)
	p.node[a] = n
}

// keep records that an unvented part is cut off for good where it ends.
func (p *peaks) keep(n int32) {
	if node := &p.nodes[n]; !node.vented {
		node.keeps, node.stays, node.staysZ = true, node.volume, node.end
	}
}

// close ends a part's node at height h.
func (p *peaks) close(root int32, h float64, at int32) int32 {
	n := p.node[root]
	p.nodes[n].end, p.nodes[n].saddle, p.nodes[n].closed = h, p.c.mesh.Verts[at], true
	p.nodes[n].volume = p.above(&p.sum[root], h)
	return n
}

func (p *peaks) merge(a, b int32) {
	s, t := &p.sum[a], &p.sum[b]
	s.area += t.area
	s.moment += t.moment
	if t.head >= 0 {
		if s.head < 0 {
			s.head = t.head
		} else {
			p.next[s.tail] = t.head
		}
		s.tail = t.tail
	}
}

// above is the volume of a part above h, which must not be above an earlier h asked for. Facets that
// have come to lie wholly above are folded into the sums.
func (p *peaks) above(s *tally, h float64) float64 {
	v := 0.0
	prev := int32(-1)
	for f := s.head; f >= 0; f = p.next[f] {
		sl := &p.slopes[f]
		if sl.low < h {
			v += sl.above(h)
			prev = f
			continue
		}
		s.area += sl.area
		s.moment += sl.area * (sl.top + sl.mid + sl.low) / 3
		if prev < 0 {
			s.head = p.next[f]
		} else {
			p.next[prev] = p.next[f]
		}
		if s.tail == f {
			s.tail = prev
		}
	}
	return max(0, v+s.moment-h*s.area)
}

// ceilingOver says whether v, higher than its neighbours, is the top of an island rather than a high
// point of the cavity, and gives the highest corner of the ceiling facet straight above.
func (p *peaks) ceilingOver(v int32) (roof int32, island bool) {
	c := p.c
	sum, size := 0.0, 0.0
	for _, f := range c.around[c.first[v]:c.first[v+1]] {
		sum += p.slopes[f].area
		size += math.Abs(p.slopes[f].area)
	}
	// A fan of facets that falls away on all sides and faces up bounds space below it. Only where
	// the fan folds over itself is the sign in doubt; the ray then decides.
	if sum > fanShare*size {
		return 0, false
	}
	origin := c.mesh.Verts[v]
	least := islandGap * c.sizeMM
	hit, ok := c.tree.FirstHit(origin, p.up, least, math.Inf(1))
	if !ok || p.slopes[hit.Facet].area <= 0 {
		return 0, false
	}
	roof = p.topOf(hit.Facet)
	if p.part[roof] == unreached {
		return 0, false // rounding: the ceiling touches the island
	}
	return roof, true
}

const (
	// fanShare: below this share of its facets' areas, a fan's signed area is in doubt.
	fanShare = 1e-6
	// islandGap, as a share of the cavity's size, is where the ray starts above the island's top, so
	// that it does not meet the top's own facets.
	islandGap = 1e-9
)

// ventEvents finds the ceiling over each vent, from the top down.
func (p *peaks) ventEvents(vents []r3.Vec) []ventEvent {
	var out []ventEvent
	for _, v := range vents {
		roof := p.roofOver(v)
		out = append(out, ventEvent{min(p.height(v), p.z[roof]), roof})
	}
	slices.SortStableFunc(out, func(a, b ventEvent) int { return cmp.Compare(b.z, a.z) })
	return out
}

// roofOver gives a corner, not below the point, of the part that the point is in: the top of the
// ceiling facet above it, or of the facet that it lies on.
func (p *peaks) roofOver(v r3.Vec) int32 {
	c := p.c
	f := -1
	if near := c.tree.Nearest(v); near.Distance > onSurface*c.sizeMM {
		if hit, ok := c.tree.FirstHit(v, p.up, 0, math.Inf(1)); ok {
			f = hit.Facet
		}
	} else {
		f = near.Facet
		if p.slopes[f].area <= 0 { // on a floor: what is above counts
			if hit, ok := c.tree.FirstHit(v, p.up, 4*onSurface*c.sizeMM, math.Inf(1)); ok && p.slopes[hit.Facet].area > 0 {
				f = hit.Facet
			}
		}
	}
	if f < 0 {
		f = c.tree.Nearest(v).Facet
	}
	return p.topOf(f)
}

// topOf is the highest corner of a facet.
func (p *peaks) topOf(f int) int32 {
	t := p.c.mesh.Tris[f]
	best := int32(t[0])
	for _, u := range t[1:] {
		if p.higher(int32(u), best) {
			best = int32(u)
		}
	}
	return best
}

// onSurface, as a share of the cavity's size: closer to a facet than this, a point lies on it.
const onSurface = 1e-9

// vent takes the height at which a vent's mouth is reached.
func (p *peaks) vent(e ventEvent) {
	root := p.find(e.roof)
	n := &p.nodes[p.node[root]]
	if !n.vented {
		n.keeps, n.stays, n.staysZ, n.vented = true, p.above(&p.sum[root], e.z), e.z, true
	}
}

// finish closes the roots at their lowest corners.
func (p *peaks) finish(order []int32) {
	for i := len(order) - 1; i >= 0; i-- {
		root := p.find(order[i])
		if n := p.node[root]; !p.nodes[n].closed {
			p.close(root, p.z[order[i]], order[i])
			p.keep(n)
		}
	}
}

// roots lists the nodes that are whole spaces.
func (p *peaks) roots() (out []int32) {
	for n := range p.nodes {
		if p.nodes[n].parent < 0 {
			out = append(out, int32(n))
		}
	}
	return out
}

// rootOf gives the root of the space that a corner bounds.
func (p *peaks) rootOf(v int32) int32 {
	n := p.nodeOf[v]
	for p.nodes[n].parent >= 0 {
		n = p.nodes[n].parent
	}
	return n
}

// staying lists the nodes that keep air for good, and how much that is together.
func (p *peaks) staying() (nodes []int32, mm3 float64) {
	for n := range p.nodes {
		if node := &p.nodes[n]; node.keeps && node.stays > 0 {
			nodes = append(nodes, int32(n))
			mm3 += node.stays
		}
	}
	return nodes, mm3
}
