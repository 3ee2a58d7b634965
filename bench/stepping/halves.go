package main

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

// wallMM is the wall of the blocks round a specimen.
const wallMM = 4.0

// overTheCatchMM are the heights of the split over the lowest place that looks up along the way out: under
// it the casting leaves the lower half, over it something catches.
var overTheCatchMM = []float64{0, -0.2, 0.2, 2, 0, -1, 0.05}

// halves cuts specimens from blocks, splits the blocks flat, and asks whether the casting leaves the lower
// half, or the upper half the casting. Every third way out leans from the normal of the split until a wall
// is on the point of catching, and a little less or more.
func halves(k *solid.Kernel, m *maker, count int) (out []pair, err error) {
	for len(out) < count {
		s, n := m.take(), len(out)
		d := m.direction()
		low, high := span(s.Mesh, d)
		over := overTheCatchMM[n%len(overTheCatchMM)]
		at := lowestCatch(s.Mesh, d) + over
		if n%3 == 1 {
			at = low + (0.3+0.4*m.rnd.Float64())*(high-low)
		}
		if at < low+leastDepthMM {
			continue
		}
		upper, lower, err := splitBlock(k, s.Mesh, d, at)
		if err != nil {
			return nil, err
		}
		p := pair{Kind: "flat split", Name: s.Name, Moving: s.Mesh, Fixed: lower, D: d, Barely: math.Abs(over) < 0.3}
		switch n % 3 {
		case 1:
			p.Moving, p.Fixed, p.Barely = upper, s.Mesh, false
		case 2:
			p.D, p.Barely = m.onThePoint(s.Mesh, d, at, []float64{-1, -0.3, 0.3, 1}[n/3%4])
		}
		out = append(out, p)
	}
	return out, nil
}

// leastDepthMM is the least depth of a casting in a lower half worth asking about.
const leastDepthMM = 0.5

// lowestCatch is the height along d of the lowest place of a facet that looks up.
func lowestCatch(body *mesh.Mesh, d r3.Vec) float64 {
	at := math.Inf(1)
	for f := range body.Tris {
		if t := body.Facet(f); r3.Dot(t.Normal(), d) > 0 {
			at = min(at, r3.Dot(t[0], d), r3.Dot(t[1], d), r3.Dot(t[2], d))
		}
	}
	return at
}

// splitBlock is the block round a body, less the body, split square to d.
func splitBlock(k *solid.Kernel, body *mesh.Mesh, d r3.Vec, at float64) (upper, lower *mesh.Mesh, err error) {
	b := body.Bounds()
	wall := r3.Vec{X: wallMM, Y: wallMM, Z: wallMM}
	block, err := k.Box(r3.Box{Min: r3.Sub(b.Min, wall), Max: r3.Add(b.Max, wall)})
	if err != nil {
		return nil, nil, err
	}
	part, err := k.FromMesh(body)
	if err != nil {
		return nil, nil, err
	}
	if block, err = block.Subtract(part); err != nil {
		return nil, nil, err
	}
	return splitMeshes(block, d, at)
}

func splitMeshes(s *solid.Solid, d r3.Vec, at float64) (above, below *mesh.Mesh, err error) {
	a, b, err := s.SplitByPlane(d, at)
	if err != nil {
		return nil, nil, err
	}
	if above, err = a.Mesh(); err != nil {
		return nil, nil, err
	}
	below, err = b.Mesh()
	return above, below, err
}

// onThePoint leans d until the first of the facets under the split turns upward, and past it by some
// degrees, or short of it. Where one looks up already, d is only leaned by that.
func (m *maker) onThePoint(body *mesh.Mesh, d r3.Vec, at, pastDeg float64) (way r3.Vec, barely bool) {
	side := m.sideways(d)
	var under []r3.Vec
	for f := range body.Tris {
		t := body.Facet(f)
		if min(r3.Dot(t[0], d), r3.Dot(t[1], d), r3.Dot(t[2], d)) < at && geom.Area(t) > 0 {
			under = append(under, r3.Unit(t.Normal()))
		}
	}
	catches := func(deg float64) bool {
		w := leaned(d, side, deg)
		for _, n := range under {
			if r3.Dot(n, w) > 0 {
				return true
			}
		}
		return false
	}
	if catches(0) {
		return leaned(d, side, pastDeg), false
	}
	lo, hi := 0.0, 90.0
	for hi-lo > 1e-9 {
		if mid := (lo + hi) / 2; catches(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return leaned(d, side, lo+pastDeg), true
}
