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
// are left in each half, then takes them one by one off what is still free.
type coverer struct {
	store polygons
	free  [][]r2.Vec
	spare [][]r2.Vec
	tiny  float64 // mm², less than rounding leaves behind
	// found is called with each convex piece of the union once, and with the nearest covering facet
	// at its middle.
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
		c.leaf(dom, ps)
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

func (c *coverer) leaf(dom []r2.Vec, ps []patch) {
	c.free = append(c.free[:0], dom)
	for _, p := range ps {
		next := c.spare[:0]
		for _, r := range c.free {
			for k := 0; k < len(p.sides) && r != nil; k++ {
				if out := c.store.clip(r, p.sides[k].other()); out != nil && momentsOf(out).A > c.tiny {
					next = append(next, out)
				}
				r = c.store.clip(r, p.sides[k])
			}
			if r == nil {
				continue
			}
			if m := momentsOf(r); m.A > c.tiny {
				mid := r2.Vec{X: m.X / m.A, Y: m.Y / m.A}
				c.found(r, m, nearest(ps, mid, p.by))
			}
		}
		c.free, c.spare = next, c.free
	}
}

// nearest is the patch with the least gap at v, which lies in the patch of facet by.
func nearest(ps []patch, v r2.Vec, by int32) int32 {
	best, gap := by, math.Inf(1)
	for _, p := range ps {
		if p.by == by {
			gap = min(gap, p.gap.at(v))
		}
	}
	for _, p := range ps {
		if g := p.gap.at(v); g < gap && p.contains(v) {
			best, gap = p.by, g
		}
	}
	return best
}

func (p *patch) contains(v r2.Vec) bool {
	for _, h := range p.sides {
		if h.at(v) < 0 {
			return false
		}
	}
	return true
}
