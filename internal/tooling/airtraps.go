package tooling

import (
	"math"

	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r3"
)

// airTraps counts the places where air stays while silicone is poured onto one side of a master: facets of
// the side that face down and are higher there than all round, and not at the parting line. up is +1 where
// the mould stands with z up, −1 where it stands on its head.
func airTraps(p *mouldability.Parting, h Half, up float64) int {
	n := len(p.Mesh.Verts)
	side, open := make([]bool, n), make([]bool, n)
	for _, l := range p.Loops {
		for _, v := range l.Verts {
			open[v] = true
		}
	}
	root := make([]int32, n) // vertices joined at one height
	for i := range root {
		root[i] = int32(i)
	}
	find := func(v uint32) int32 {
		r := int32(v)
		for root[r] != r {
			root[r] = root[root[r]]
			r = root[r]
		}
		return r
	}
	facets := facetsOf(p.Upper, h)
	edges := func(visit func(a, c uint32)) {
		for _, f := range facets {
			t := p.Mesh.Tris[f]
			for k := range 3 {
				visit(t[k], t[(k+1)%3])
			}
		}
	}
	z := func(v uint32) float64 { return up * p.Mesh.Verts[v].Z }
	edges(func(a, c uint32) {
		side[a], side[c] = true, true
		if math.Abs(z(a)-z(c)) <= heightStepMM {
			x, y := find(a), find(c)
			root[max(x, y)] = min(x, y)
		}
	})
	notTop := make([]bool, n)
	edges(func(a, c uint32) {
		for _, e := range [2][2]uint32{{a, c}, {c, a}} {
			if open[e[0]] || z(e[1]) > z(e[0])+heightStepMM {
				notTop[find(e[0])] = true
			}
		}
	})
	for _, f := range facets { // a peak of the master lies under the silicone
		if nz := p.Mesh.Facet(int(f)).Normal(); up*nz.Z > catchLean*r3.Norm(nz) {
			for _, v := range p.Mesh.Tris[f] {
				notTop[find(v)] = true
			}
		}
	}
	count := 0
	for v := range uint32(n) {
		if side[v] && find(v) == int32(v) && !notTop[v] {
			count++
		}
	}
	return count
}
