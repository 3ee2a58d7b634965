package delaunay

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// hilbertBits is the depth of the curve: 2^32 cells in all, far more than points.
const hilbertBits = 16

// hilbertOrder numbers the points along a Hilbert curve over their box, so that each point lies near
// the one before it and the walk to it is short. Points in one cell keep their order.
func hilbertOrder(pts []r2.Vec) []int32 {
	lo, hi := pts[0], pts[0]
	for _, p := range pts {
		lo = r2.Vec{X: min(lo.X, p.X), Y: min(lo.Y, p.Y)}
		hi = r2.Vec{X: max(hi.X, p.X), Y: max(hi.Y, p.Y)}
	}
	side := max(hi.X-lo.X, hi.Y-lo.Y)
	scale := 0.0
	if side > 0 {
		scale = (1 << hilbertBits) / side
	}
	cell := func(x float64) uint32 { return uint32(min(max(x*scale, 0), 1<<hilbertBits-1)) }
	keys := make([]uint64, len(pts))
	for i, p := range pts {
		keys[i] = uint64(hilbert(cell(p.X-lo.X), cell(p.Y-lo.Y)))<<32 | uint64(uint32(i))
	}
	slices.Sort(keys)
	order := make([]int32, len(pts))
	for i, k := range keys {
		order[i] = int32(uint32(k))
	}
	return order
}

// hilbert is the place of a cell along the curve.
func hilbert(x, y uint32) uint32 {
	var d uint32
	for bit := uint32(1) << (hilbertBits - 1); bit > 0; bit >>= 1 {
		right, up := x&bit != 0, y&bit != 0
		switch { // quadrants in the order of the curve: lower left, upper left, upper right, lower right
		case right && up:
			d += 2 * bit * bit
		case up:
			d += bit * bit
		case right:
			d += 3 * bit * bit
		}
		if !up { // the lower quadrants hold the curve mirrored about a diagonal
			if right {
				x, y = ^x, ^y
			}
			x, y = y, x
		}
	}
	return d
}
