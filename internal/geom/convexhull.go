package geom

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// ConvexHull returns the corners of the convex hull, counter-clockwise from the one with the least x
// (then least y). Points on an edge of the hull, and repeated ones, are left out, exactly. Points
// on one line give its two ends; equal points give one. The input is not changed.
//
// It is the monotone chain of Andrew (1979), n log n.
func ConvexHull(pts []r2.Vec) []r2.Vec {
	p := slices.Clone(pts)
	slices.SortFunc(p, func(a, b r2.Vec) int {
		if less(a, b) {
			return -1
		}
		if less(b, a) {
			return 1
		}
		return 0
	})
	p = slices.Compact(p)
	if len(p) < 3 {
		return p
	}
	hull := make([]r2.Vec, 0, len(p)+1)
	for _, q := range p { // lower chain
		hull = append(keepLeft(hull, q, 0), q)
	}
	low := len(hull) - 1
	for i := len(p) - 2; i >= 0; i-- { // upper chain
		hull = append(keepLeft(hull, p[i], low), p[i])
	}
	return hull[:len(hull)-1]
}

// keepLeft drops corners from the end of the chain that begins at base until the step to q turns
// left.
func keepLeft(chain []r2.Vec, q r2.Vec, base int) []r2.Vec {
	for n := len(chain); n >= base+2 && Orient2D(chain[n-2], chain[n-1], q) <= 0; n-- {
		chain = chain[:n-1]
	}
	return chain
}
