package mouldability

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// patch is the part of a facet's projection that one other facet covers, with the height of the gap
// between the two.
type patch struct {
	poly   []r2.Vec
	area   float64
	gap    plane
	lo, hi float64 // the gap over poly
	by     int32   // the covering facet
	// sides cut the patch out of the domain: the edges of the covering facet and the line where the
	// gap closes. They are kept since clipping leaves edges too short to have a direction.
	sides [4]side
}

// measure fills in what follows from poly.
func (p *patch) measure() {
	p.area = momentsOf(p.poly).A
	p.lo, p.hi = math.Inf(1), math.Inf(-1)
	for _, v := range p.poly {
		g := p.gap.at(v)
		p.lo, p.hi = min(p.lo, g), max(p.hi, g)
	}
}

// coverer finds the union of patches, cut by which of them is nearest: exactly, with no grid. It halves the
// domain as long as that leaves fewer patches in each half, then takes the patches off the domain, the
// nearest first, until nothing of it is left. What stands far behind is never looked at, so the cost
// does not grow with what is stacked over one spot.
//
// Its memory is the patches, times the halvings on the way to the piece of domain at hand.
type coverer struct {
	store polygons
	list  []patch    // of the halves on the way; a stack
	free  [][]r2.Vec // of the domain, not covered yet
	next  [][]r2.Vec
	seen  [][]r2.Vec // of one patch, with nothing nearer in front
	keep  [][]r2.Vec
	tiny  float64 // mm², less than rounding leaves behind
	// found is called with each convex piece of the union once, and with the facet met first there.
	found func(piece []r2.Vec, m moments, nearest int32)
	// ended says now and then whether to give up; the answer is then incomplete.
	ended func() bool
	steps int
	over  bool
}

const (
	// leafPatches are few enough to be taken off one by one rather than halved.
	leafPatches = 12
	// maxHalvings bounds the halvings in a row: 2²⁴ pieces of domain are more than any facet has patches.
	maxHalvings = 24
	// fewerShare of the patches must be left in a half for halving to have helped, and idleHalvings are
	// tried without: patches that meet in a point, or stand one over the other, are not parted by halving.
	fewerShare, idleHalvings = 0.75, 2
	// stepsALook is how many patches are handled between two looks at whether to give up.
	stepsALook = 256
)

// stopped counts a step and says whether to give up.
func (c *coverer) stopped() bool {
	if c.steps++; c.steps%stepsALook == 0 && c.ended != nil && c.ended() {
		c.over = true
	}
	return c.over
}

// cover takes a convex domain and the patches in it.
func (c *coverer) cover(dom []r2.Vec, ps []patch) { c.halve(dom, ps, 0, 0) }

// halve covers a piece of the domain after so many halvings, the last few of them idle.
func (c *coverer) halve(dom []r2.Vec, ps []patch, depth, idle int) {
	area := momentsOf(dom).A
	if len(ps) == 0 || area <= c.tiny || c.over {
		return
	}
	ps = hideBehind(ps, area)
	if len(ps) <= leafPatches || depth == maxHalvings || idle == idleHalvings {
		c.peel(dom, ps)
		return
	}
	b := boxOf(dom)
	h := side{r2.Vec{X: 1}, -(b.Min.X + b.Max.X) / 2}
	if b.Max.Y-b.Min.Y > b.Max.X-b.Min.X {
		h = side{r2.Vec{Y: 1}, -(b.Min.Y + b.Max.Y) / 2}
	}
	for range 2 {
		mark, from := len(c.store.pts), len(c.list)
		if half := c.store.clip(dom, h); half != nil {
			for _, p := range ps {
				if c.stopped() {
					return
				}
				if p.poly = c.store.clip(p.poly, h); p.poly == nil {
					continue
				}
				if p.measure(); p.area > c.tiny {
					c.list = append(c.list, p)
				}
			}
			in := c.list[from:]
			still := 0
			if float64(len(in)) > fewerShare*float64(len(ps)) {
				still = idle + 1
			}
			c.halve(half, in, depth+1, still)
		}
		c.store.pts, c.list = c.store.pts[:mark], c.list[:from]
		h = h.other()
	}
}

// hideBehind drops the patches that lie wholly behind one that covers the whole domain. It keeps their
// order and may write over ps.
func hideBehind(ps []patch, area float64) []patch {
	near := math.Inf(1)
	for i := range ps {
		if ps[i].area >= area*(1-1e-9) {
			near = min(near, ps[i].hi)
		}
	}
	if math.IsInf(near, 1) {
		return ps
	}
	return slices.DeleteFunc(ps, func(p patch) bool { return p.lo >= near && p.hi > near })
}

// peel takes patches off the domain, by their least gap, until the domain is used up. A patch gets what is
// still free of it and has nothing nearer in front; what is nearer comes later in the order and is left
// free for it.
func (c *coverer) peel(dom []r2.Vec, ps []patch) {
	slices.SortStableFunc(ps, func(a, b patch) int { return cmp.Compare(a.lo, b.lo) })
	c.free = append(c.free[:0], dom)
	for i := range ps {
		if len(c.free) == 0 || c.stopped() {
			return
		}
		c.take(ps, i)
	}
}

// take gives patch i what it gets of the free domain.
func (c *coverer) take(ps []patch, i int) {
	p := &ps[i]
	box := boxOf(p.poly)
	c.next = c.next[:0]
	c.seen = c.seen[:0]
	for _, r := range c.free {
		if b := boxOf(r); b.Min.X >= box.Max.X || b.Max.X <= box.Min.X || b.Min.Y >= box.Max.Y || b.Max.Y <= box.Min.Y {
			c.next = append(c.next, r)
			continue
		}
		c.next, c.seen = c.split(r, p.sides[:], c.next, c.seen)
	}
	for j := i + 1; j < len(ps) && len(c.seen) > 0 && ps[j].lo < p.hi; j++ {
		q := &ps[j]
		nearer := side{r2.Vec{X: p.gap.X - q.gap.X, Y: p.gap.Y - q.gap.Y}, p.gap.C - q.gap.C}
		if nearer == (side{}) { // the same plane: the first one has it
			continue
		}
		c.keep = c.keep[:0]
		for _, r := range c.seen {
			c.keep, c.next = c.split(r, []side{nearer, q.sides[0], q.sides[1], q.sides[2], q.sides[3]}, c.keep, c.next)
		}
		c.seen, c.keep = c.keep, c.seen
	}
	c.free, c.next = c.next, c.free
	for _, r := range c.seen {
		if m := momentsOf(r); m.A > c.tiny {
			c.found(r, m, p.by)
		}
	}
}

// split cuts a convex region by the sides of a convex one: what lies outside goes to out in convex pieces, what
// lies inside to in. Pieces of less than tiny are dropped, and a region that only touches stays whole.
func (c *coverer) split(r []r2.Vec, sides []side, out, in [][]r2.Vec) (outs, ins [][]r2.Vec) {
	mark := len(c.store.pts)
	inner := r
	for k := 0; k < len(sides) && inner != nil; k++ {
		inner = c.store.clip(inner, sides[k])
	}
	if inner == nil || momentsOf(inner).A <= c.tiny { // apart: cutting would only make splinters
		c.store.pts = c.store.pts[:mark]
		return append(out, r), in
	}
	for k := 0; k < len(sides) && r != nil; k++ {
		if off := c.store.clip(r, sides[k].other()); off != nil && momentsOf(off).A > c.tiny {
			out = append(out, off)
		}
		r = c.store.clip(r, sides[k])
	}
	return out, append(in, inner)
}
