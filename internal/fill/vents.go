package fill

import (
	"gonum.org/v1/gonum/spatial/r3"
)

// VentSpot is a proposed vent.
type VentSpot struct {
	At        r3.Vec  `json:"at"`         // on the cavity's surface
	PocketMM3 float64 `json:"pocket_mm3"` // air that it lets out
	// LowerMM is how far below the pocket's top it lies, where a show face takes the top.
	LowerMM float64 `json:"lower_mm"`
}

const defaultVentRadiusMM = 1

// proposal is what a direction needs.
type proposal struct {
	vents   []VentSpot
	trapped float64 // with these vents, mm³
	before  float64 // with the given openings alone
}

// propose puts a vent at the top of every pocket worth one that the given openings leave, as high as
// show faces allow, and says what then stays: exactly, by a second pass over the tree with the new
// vents in it.
func (c *Cavity) propose(up r3.Vec, given []r3.Vec, radius float64, fixed bool) proposal {
	p := c.peaks(up, given)
	nodes, before := p.staying()
	out := proposal{trapped: before, before: before}
	if fixed {
		return out
	}
	kids := p.children()
	for _, n := range nodes {
		if k := &p.nodes[n]; k.stays >= c.opt.MinPocketMM3 {
			out.vents = p.need(n, kids, radius, out.vents)
		}
	}
	if len(out.vents) == 0 {
		return out
	}
	all := append([]r3.Vec{}, given...)
	for _, v := range out.vents {
		all = append(all, v.At)
	}
	_, out.trapped = c.peaks(up, all).staying()
	return out
}

// children lists the nodes that join to each node.
func (p *peaks) children() [][]int32 {
	out := make([][]int32, len(p.nodes))
	for n := range p.nodes {
		if q := p.nodes[n].parent; q >= 0 {
			out[q] = append(out[q], int32(n))
		}
	}
	return out
}

// need adds the vents that a part needs: one at each of its high points that keeps enough air when
// the resin reaches the saddle beside it, the highest always. What the lower ones do not let out, the
// highest does: a level top has many corners, and none of them alone holds any air.
func (p *peaks) need(n int32, kids [][]int32, radius float64, out []VentSpot) []VentSpot {
	k := &p.nodes[n]
	mm3 := k.volume
	if k.keeps {
		mm3 = k.stays
	}
	if len(kids[n]) == 0 {
		if at, ok := p.spotFor(n, radius); ok {
			out = append(out, VentSpot{At: at, PocketMM3: mm3, LowerMM: max(0, k.topZ-p.height(at))})
		}
		return out
	}
	before := len(out)
	for _, c := range kids[n] {
		if p.nodes[c].vertex == k.vertex || p.nodes[c].volume >= p.c.opt.MinPocketMM3 {
			out = p.need(c, kids, radius, out)
		}
	}
	own := out[before:]
	if len(own) == 0 {
		return out
	}
	highest := 0
	for i, v := range own {
		mm3 -= v.PocketMM3
		if p.height(v.At) > p.height(own[highest].At) {
			highest = i
		}
	}
	own[highest].PocketMM3 += max(0, mm3)
	return out
}

// spotFor finds the place for a vent of a given radius in a leaf: at its top when no show face is
// within the radius; else just beside it; else at the highest corner of the part that is free.
func (p *peaks) spotFor(n int32, radius float64) (r3.Vec, bool) {
	c, k := p.c, &p.nodes[n]
	if c.showTree == nil {
		return k.top, true
	}
	if _, near := c.showNear(k.top, radius+showReachMM); !near {
		return k.top, true
	}
	best, ok := p.beside(k.vertex, radius)
	// A free corner of the same part, if higher than the place beside the top.
	for v := range p.z {
		if p.nodeOf[v] != n || (ok && p.z[v] <= p.height(best)) || p.z[v] <= k.end {
			continue
		}
		at := c.mesh.Verts[v]
		if _, near := c.showNear(at, radius+showReachMM); near || !p.roofAt(int32(v)) {
			continue
		}
		best, ok = at, true
	}
	return best, ok
}

// beside tries places on the free facets round a corner, just far enough from it.
func (p *peaks) beside(v int32, radius float64) (best r3.Vec, ok bool) {
	c := p.c
	from := c.mesh.Verts[v]
	for _, f := range c.around[c.first[v]:c.first[v+1]] {
		if c.opt.Show[f] || p.slopes[f].area <= 0 {
			continue
		}
		t := c.mesh.Facet(int(f))
		to := r3.Scale(1.0/3, r3.Add(t[0], r3.Add(t[1], t[2])))
		way := r3.Sub(to, from)
		reach := r3.Norm(way)
		for _, far := range [...]float64{1.05, 1.5, 2, 3} {
			if far*radius > reach {
				break
			}
			at := r3.Add(from, r3.Scale(far*radius/reach, way))
			if _, near := c.showNear(at, radius+showReachMM); near {
				continue
			}
			if !ok || p.height(at) > p.height(best) {
				best, ok = at, true
			}
			break
		}
	}
	return best, ok
}

// roofAt says whether a corner has a facet of the ceiling round it.
func (p *peaks) roofAt(v int32) bool {
	for _, f := range p.c.around[p.c.first[v]:p.c.first[v+1]] {
		if p.slopes[f].area > 0 {
			return true
		}
	}
	return false
}
