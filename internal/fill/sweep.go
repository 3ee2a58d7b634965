package fill

import (
	"context"
	"fmt"
	"math"
)

// sweep runs a quasi-static fill over columns, from event to event.
//
// A pool is a body of resin with one level: it holds one basin, or several that have run together.
// Resin enters at the pour points, falls to the lowest place it can reach, and lifts the pool there.
// A pool's level meets, in turn,
//
//   - the floor of a run that belongs to its basin: the surface widens;
//   - the ceiling of a run: the run is full, the surface narrows, and the air beside it may have lost
//     its way out (sweep_air.go);
//   - a vent's mouth, which closes;
//   - the brim: if the pools across the saddle stand at the brim too they become one, else the pool
//     runs over into the lowest place beyond and its own level stays.
//
// Air that is cut off stays where and as it is: its runs are frozen, and the resin no longer rises in
// them. Volumes are exact sums over the columns, so resin + trapped + vented air = cavity at any time.
type sweep struct {
	*columns
	b     *basins
	area  float64 // of a column, mm²
	pools []pool
	pool  []int32 // of each basin node: the pool it has become part of; −1 none yet
	wet   []bool  // run has a pool's resin at its floor
	state []runState
	level []float64 // of runs that are full or frozen: the resin's height in them

	air    *air
	vents  []int32 // run of each vent
	ventZ  []float64
	ventAt map[int32][]int // vents of a run

	pours  []int32 // run of each pour point
	active []int32
	poured float64
	filled float64        // resin inside, mm³; equals poured but for rounding
	record func(s *sweep) // called after every step
	stride float64        // most that is poured in one step, mm³; 0 for no bound
	marks  []float64      // poured volumes at which snap is called, rising
	snap   func(s *sweep)
}

type runState uint8

const (
	open   runState = iota
	full            // resin up to the ceiling
	frozen          // its air is cut off
)

// pool is one body of resin.
type pool struct {
	node    int32 // top basin node it holds
	level   float64
	wetOpen int        // runs whose surface rises
	next    int        // in the node's enters
	rims    queue[rim] // heights still to come
	joined  int32      // pool it has become part of; −1
	spill   int32      // run it pours onto; −1 while it rises
	blocked bool       // can take no more
	rate    float64
	began   float64 // poured when it began
}

// rim is a height at which something happens in a pool.
type rim struct {
	z    float64
	run  int32
	vent int32 // −1: the run's ceiling
}

func (r rim) Before(o rim) bool {
	if r.z != o.z {
		return r.z < o.z
	}
	if r.vent != o.vent {
		return r.vent > o.vent // a vent at the ceiling closes before the run is full
	}
	return r.run < o.run
}

func newSweep(c *columns, pours, vents []int32, ventZ []float64) *sweep {
	n := len(c.lo)
	s := &sweep{columns: c, b: findBasins(c), area: c.pitch * c.pitch, wet: make([]bool, n), state: make([]runState, n),
		level: make([]float64, n), pours: pours, vents: vents, ventZ: ventZ, ventAt: map[int32][]int{}}
	s.pool = make([]int32, len(s.b.nodes))
	for i := range s.pool {
		s.pool[i] = -1
	}
	for i, r := range vents {
		s.ventAt[r] = append(s.ventAt[r], i)
	}
	s.air = newAir(s)
	return s
}

// poolOf is the pool that holds a basin node, or −1.
func (s *sweep) poolOf(node int32) int32 {
	p := s.pool[node]
	if p < 0 {
		return -1
	}
	for s.pools[p].joined >= 0 {
		p = s.pools[p].joined
	}
	s.pool[node] = p
	return p
}

// surface is the resin's height in a run: its floor when dry.
func (s *sweep) surface(r int32) float64 {
	if s.state[r] != open {
		return s.level[r]
	}
	if !s.wet[r] {
		return s.lo[r]
	}
	return s.pools[s.poolOf(s.b.nodeOf[r])].level
}

// beyond follows what is poured onto a run to the pool that takes it, −1 if none can.
func (s *sweep) beyond(run int32) int32 {
	leaf := s.b.nodeOf[s.b.lowest[run]]
	p := s.poolOf(leaf)
	if p < 0 {
		if s.state[s.b.lowest[run]] == frozen {
			return -1
		}
		p = s.begin(leaf)
	}
	for !s.pools[p].blocked && s.pools[p].spill >= 0 {
		q := s.beyond(s.pools[p].spill)
		if q < 0 || q == p {
			// What lies beyond takes nothing: the pool rises past its brim.
			s.climb(p)
			if r := s.poolOf(leaf); r != p {
				p = r
			}
			continue
		}
		return q
	}
	if s.pools[p].blocked {
		return -1
	}
	return p
}

func (s *sweep) begin(node int32) int32 {
	p := int32(len(s.pools))
	s.pools = append(s.pools, pool{node: node, level: s.b.nodes[node].birth, joined: -1, spill: -1, began: s.poured})
	s.pool[node] = p
	return p
}

// run pours until nothing can take more. It reports how the share done through progress.
func (s *sweep) run(ctx context.Context, progress func(float64)) error {
	total := s.volume()
	for step := 0; ; step++ {
		if step&255 == 0 {
			if err := ctx.Err(); err != nil {
				return fmt.Errorf("fill the cavity: %w", err)
			}
			if progress != nil && step&0xfff == 0 {
				progress(min(1, s.filled/total))
			}
		}
		active := s.share()
		if len(active) == 0 {
			break
		}
		s.advance(active)
	}
	for len(s.marks) > 0 {
		s.snap(s)
		s.marks = s.marks[1:]
	}
	return nil
}

// share splits the pour over the pools that take it; all pour points run equally fast.
func (s *sweep) share() []int32 {
	s.active = s.active[:0]
	for _, run := range s.pours {
		s.beyond(run) // may join pools; after this every pour point has settled
	}
	for _, run := range s.pours {
		p := s.beyond(run)
		if p < 0 {
			continue
		}
		if s.pools[p].rate == 0 {
			s.active = append(s.active, p)
		}
		s.pools[p].rate++
	}
	return s.active
}

// advance pours until the first event in any active pool, and deals with it.
func (s *sweep) advance(active []int32) {
	least, at := math.Inf(1), int32(-1)
	for _, p := range active {
		z := s.nextEvent(p)
		v := max(0, z-s.pools[p].level) * s.area * float64(s.pools[p].wetOpen) / s.pools[p].rate
		if v < least {
			least, at = v, p
		}
	}
	rates := 0.0
	for _, p := range active {
		rates += s.pools[p].rate
	}
	switch {
	case len(s.marks) > 0 && s.poured+least*rates >= s.marks[0]:
		s.lift(active, max(0, s.marks[0]-s.poured)/rates, -1)
		s.snap(s)
		s.marks = s.marks[1:]
	case s.stride > 0 && least*rates > s.stride:
		s.lift(active, s.stride/rates, -1)
	default:
		s.lift(active, least, at)
		s.event(at)
	}
	s.relax(active)
	if s.record != nil {
		s.record(s)
	}
}

func (s *sweep) relax(active []int32) {
	for _, p := range active {
		s.pools[p].rate = 0
	}
}

// lift raises the active pools by what v mm³ a unit of rate brings; pool at lands on its event.
func (s *sweep) lift(active []int32, v float64, at int32) {
	for _, p := range active {
		q := &s.pools[p]
		in := v * q.rate
		if p == at {
			q.level = max(q.level, s.nextEvent(p))
		} else if q.wetOpen > 0 {
			q.level += in / (s.area * float64(q.wetOpen))
		}
		s.poured += in
		s.filled += in
	}
}

// nextEvent is the height of a pool's next event; its own level when nothing is left to rise in.
func (s *sweep) nextEvent(p int32) float64 {
	q, n := &s.pools[p], &s.b.nodes[s.pools[p].node]
	if q.wetOpen == 0 {
		return q.level
	}
	z := math.Inf(1)
	if n.parent >= 0 {
		z = n.brim
	}
	if q.next < len(n.enters) {
		z = min(z, s.lo[n.enters[q.next]])
	}
	if len(q.rims) > 0 {
		z = min(z, q.rims[0].z)
	}
	return z
}

// event deals with what pool p has reached. Ceilings come before floors at the same height, and the
// brim last.
func (s *sweep) event(p int32) {
	q := &s.pools[p]
	n := &s.b.nodes[q.node]
	if len(q.rims) > 0 && q.rims[0].z <= q.level {
		s.rim(p, q.rims.pop())
		return
	}
	if q.next < len(n.enters) && s.lo[n.enters[q.next]] <= q.level {
		r := n.enters[q.next]
		q.next++
		s.enter(q, r)
		return
	}
	if n.parent >= 0 && n.brim <= q.level {
		s.brim(p)
		return
	}
	if q.wetOpen == 0 {
		q.blocked = true // what is left to rise in is cut off by air
	}
}

// enter wets a run.
func (s *sweep) enter(q *pool, r int32) {
	if s.state[r] != open {
		return
	}
	s.wet[r] = true
	q.wetOpen++
	q.rims.push(rim{s.hi[r], r, -1})
	for _, v := range s.ventAt[r] {
		q.rims.push(rim{max(s.ventZ[v], q.level), r, int32(v)})
	}
}

// rim deals with a ceiling or a vent.
func (s *sweep) rim(p int32, e rim) {
	if e.vent >= 0 {
		s.air.closeVent(e.vent)
		return
	}
	if s.state[e.run] != open {
		return
	}
	s.state[e.run], s.level[e.run] = full, s.hi[e.run]
	s.pools[p].wetOpen--
	s.air.lose(e.run)
}

// brim deals with a pool that has reached the saddle of its basin.
func (s *sweep) brim(p int32) {
	q := &s.pools[p]
	n := &s.b.nodes[q.node]
	if s.state[n.saddle] == open {
		if over := s.over(p, n); over >= 0 {
			q.spill = over
			return
		}
	}
	s.climb(p)
}

// over gives the run beyond the saddle onto which pool p runs over, −1 when all that lies beyond
// stands at the brim or takes nothing.
func (s *sweep) over(p int32, n *basin) int32 {
	best := int32(-1)
	s.near(n.saddle, func(r int32) {
		if s.lo[r] > n.brim || s.state[r] == frozen || !s.below(s.b.nodeOf[r], n.parent) || s.inside(s.b.nodeOf[r], s.pools[p].node) {
			return
		}
		other := s.poolOf(s.childUnder(s.b.nodeOf[r], n.parent))
		if other < 0 {
			other = s.poolOf(s.b.nodeOf[s.b.lowest[r]])
		}
		if other == p || (other >= 0 && (s.pools[other].blocked || s.atBrim(other, n.parent))) {
			return
		}
		if best < 0 || s.lo[r] < s.lo[best] {
			best = r
		}
	})
	return best
}

// atBrim says whether a pool fills a whole child of node parent.
func (s *sweep) atBrim(p, parent int32) bool {
	q := &s.pools[p]
	n := &s.b.nodes[q.node]
	return q.node == parent || (n.parent == parent && q.level >= n.brim)
}

// below says whether node n is a strict descendant of top.
func (s *sweep) below(n, top int32) bool { return n != top && s.inside(n, top) }

// inside says whether node n is top or one of its descendants: parents have higher numbers.
func (s *sweep) inside(n, top int32) bool {
	for n >= 0 && n < top {
		n = s.b.nodes[n].parent
	}
	return n == top
}

// childUnder is the child of top whose subtree holds n.
func (s *sweep) childUnder(n, top int32) int32 {
	for s.b.nodes[n].parent != top {
		n = s.b.nodes[n].parent
	}
	return n
}

// climb makes pool p the pool of its parent basin, with the pools of that basin's other children which
// fill them. A child that is still filling cannot be reached from here (its air is cut off); it stays
// on its own.
func (s *sweep) climb(p int32) {
	q := s.pools[p]
	parent := s.b.nodes[q.node].parent
	if s.poolOf(parent) >= 0 {
		s.pools[p].blocked = true // the rest of the basin has filled without it
		return
	}
	m := s.begin(parent)
	merged := &s.pools[m]
	merged.level, merged.began = max(q.level, s.b.nodes[q.node].brim), q.began
	for _, child := range s.b.nodes[parent].kids {
		i := s.poolOf(child)
		if i < 0 {
			continue
		}
		o := &s.pools[i]
		o.joined = m
		merged.wetOpen += o.wetOpen
		merged.began = min(merged.began, o.began)
		if len(o.rims) > len(merged.rims) {
			o.rims, merged.rims = merged.rims, o.rims
		}
		for _, e := range o.rims {
			merged.rims.push(e)
		}
		o.rims = nil
	}
}
