package mouldability

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// patch is the part of a facet's projection that one other facet covers, with the height of the gap
// between the two.
type patch struct {
	poly []r2.Vec
	area float64
	gap  plane
	by   int32 // the covering facet
	// sides cut the patch out of the domain: the edges of the covering facet and the line where the
	// gap closes. They are kept since clipping leaves edges too short to have a direction.
	sides [4]side
}

// coverer finds the union of patches: exactly, with no grid. It halves the domain until few patches
// are left in each half, then takes off each what nearer ones hide.
type coverer struct {
	store polygons
	free  [][]r2.Vec
	spare [][]r2.Vec
	tiny  float64 // mm², less than rounding leaves behind
	// found is called with each convex piece of the union once, and with the facet met first there.
	found func(piece []r2.Vec, m moments, nearest int32)
}

const (
	leafPatches = 8  // below this, taking patches off one by one beats halving
	maxHalvings = 40 // patches that share a point can't be parted by halving
)

func (c *coverer) cover(dom []r2.Vec, ps []patch, depth int) {
	if len(ps) == 0 {
		return
	}
	area := momentsOf(dom).A
	if area <= c.tiny {
		return
	}
	ps = hideBehind(ps, area)
	if len(ps) <= leafPatches || depth == maxHalvings {
		c.leaf(ps)
		return
	}
	b := boxOf(dom)
	h := side{r2.Vec{X: 1}, -(b.Min.X + b.Max.X) / 2}
	if b.Max.Y-b.Min.Y > b.Max.X-b.Min.X {
		h = side{r2.Vec{Y: 1}, -(b.Min.Y + b.Max.Y) / 2}
	}
	for range 2 {
		if half := c.store.clip(dom, h); half != nil {
			var in []patch
			for _, p := range ps {
				if p.poly = c.store.clip(p.poly, h); p.poly != nil {
					if p.area = momentsOf(p.poly).A; p.area > c.tiny {
						in = append(in, p)
					}
				}
			}
			c.cover(half, in, depth+1)
		}
		h = h.other()
	}
}

// hideBehind drops the patches that lie wholly behind one that covers the whole domain.
func hideBehind(ps []patch, area float64) []patch {
	near := math.Inf(1)
	for _, p := range ps {
		if p.area >= area*(1-1e-9) {
			_, hi := gapRange(p)
			near = min(near, hi)
		}
	}
	if math.IsInf(near, 1) {
		return ps
	}
	kept := ps[:0:0]
	for _, p := range ps {
		lo, hi := gapRange(p)
		if lo < near || hi <= near {
			kept = append(kept, p)
		}
	}
	return kept
}

func gapRange(p patch) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range p.poly {
		g := p.gap.at(v)
		lo, hi = min(lo, g), max(hi, g)
	}
	return lo, hi
}

// leaf takes off each patch what nearer patches hide of it. What is left of all of them is the lower
// envelope: the union, cut by which facet is met first.
func (c *coverer) leaf(ps []patch) {
	for i := range ps {
		p := &ps[i]
		c.free = append(c.free[:0], p.poly)
		for j := range ps {
			if i == j || len(c.free) == 0 {
				continue
			}
			q := &ps[j]
			nearer := side{r2.Vec{X: p.gap.X - q.gap.X, Y: p.gap.Y - q.gap.Y}, p.gap.C - q.gap.C}
			if nearer == (side{}) && i < j { // the same plane: the first one has it
				continue
			}
			c.takeOff([5]side{q.sides[0], q.sides[1], q.sides[2], q.sides[3], nearer})
		}
		for _, r := range c.free {
			if m := momentsOf(r); m.A > c.tiny {
				c.found(r, m, p.by)
			}
		}
	}
}

// takeOff removes the convex region within all sides from what is free.
func (c *coverer) takeOff(sides [5]side) {
	next := c.spare[:0]
	for _, r := range c.free {
		mark := len(c.store.pts)
		in := r
		for k := 0; k < len(sides) && in != nil; k++ {
			in = c.store.clip(in, sides[k])
		}
		if in == nil || momentsOf(in).A <= c.tiny { // apart: cutting would only make splinters
			c.store.pts = c.store.pts[:mark]
			next = append(next, r)
			continue
		}
		for k := 0; k < len(sides) && r != nil; k++ {
			if out := c.store.clip(r, sides[k].other()); out != nil && momentsOf(out).A > c.tiny {
				next = append(next, out)
			}
			r = c.store.clip(r, sides[k])
		}
	}
	c.free, c.spare = next, c.free
}
