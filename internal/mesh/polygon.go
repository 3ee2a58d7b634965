package mesh

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

// ErrPolygon is the error of a polygon that crosses itself, so that no cut into facets is right.
var ErrPolygon = errors.New("polygon crosses or touches itself")

// CutPolygon cuts the polygon with the given corners of verts into facets that run the same way
// round, using no other corners. A triangle stays as it is; a convex polygon becomes a fan from its
// first corner; any other is cut ear by ear, as seen along its normal. Cost grows with the square of
// the corners.
func CutPolygon(verts []r3.Vec, corners []uint32, out [][3]uint32) ([][3]uint32, error) {
	if len(corners) == 3 {
		return append(out, [3]uint32(corners)), nil
	}
	flat := project(verts, corners)
	if isConvex(flat) {
		for i := 2; i < len(corners); i++ {
			out = append(out, [3]uint32{corners[0], corners[i-1], corners[i]})
		}
		return out, nil
	}
	return cutEars(flat, corners, out)
}

// project drops the coordinate in which the polygon's normal (Newell's sum) is longest, keeping
// counter-clockwise what is counter-clockwise about that normal. Dropping a coordinate is exact.
func project(verts []r3.Vec, corners []uint32) []r2.Vec {
	var n r3.Vec
	o := verts[corners[0]]
	for i := range corners {
		a, b := r3.Sub(verts[corners[i]], o), r3.Sub(verts[corners[(i+1)%len(corners)]], o)
		n = r3.Add(n, r3.Cross(a, b))
	}
	axis, along := 0, n.X
	if math.Abs(n.Y) > math.Abs(along) {
		axis, along = 1, n.Y
	}
	if math.Abs(n.Z) > math.Abs(along) {
		axis, along = 2, n.Z
	}
	flat := make([]r2.Vec, len(corners))
	for i, c := range corners {
		flat[i] = drop(axis, verts[c])
		if along < 0 {
			flat[i].X, flat[i].Y = flat[i].Y, flat[i].X
		}
	}
	return flat
}

// isConvex says that every corner turns left or goes straight on, and that the polygon goes round
// only once: its direction changes its half-plane twice.
func isConvex(p []r2.Vec) bool {
	changes := 0
	up := func(i int) bool {
		a, b := p[i], p[(i+1)%len(p)]
		return b.Y > a.Y || b.Y == a.Y && b.X > a.X
	}
	left := false
	for i := range p {
		j, k := (i+1)%len(p), (i+2)%len(p)
		switch geom.Orient2D(p[i], p[j], p[k]) {
		case -1:
			return false
		case 0:
			// Straight on, or back: a corner that turns back is a spike.
			if r2.Dot(r2.Sub(p[j], p[i]), r2.Sub(p[k], p[j])) <= 0 {
				return false
			}
		case 1:
			left = true
		}
		if up(i) != up(j) {
			changes++
		}
	}
	// A fan from a corner whose neighbours are in line with it would start with a flat facet, which
	// ear cutting avoids.
	return left && changes == 2 && geom.Orient2D(p[0], p[1], p[2]) > 0 && geom.Orient2D(p[0], p[len(p)-2], p[len(p)-1]) > 0
}

// cutEars takes off corners one by one: one that turns left and whose facet holds no other corner.
// If only flat ones are left to take, they are taken, so that the result always has two facets fewer
// than corners and no edge of the polygon is lost.
func cutEars(p []r2.Vec, corners []uint32, out [][3]uint32) ([][3]uint32, error) {
	left := make([]int, len(p))
	for i := range left {
		left[i] = i
	}
	for len(left) > 3 {
		ear := findEar(p, left)
		if ear < 0 {
			return out, ErrPolygon
		}
		n := len(left)
		out = append(out, [3]uint32{corners[left[(ear+n-1)%n]], corners[left[ear]], corners[left[(ear+1)%n]]})
		left = append(left[:ear], left[ear+1:]...)
	}
	if geom.Orient2D(p[left[0]], p[left[1]], p[left[2]]) < 0 {
		return out, ErrPolygon
	}
	return append(out, [3]uint32{corners[left[0]], corners[left[1]], corners[left[2]]}), nil
}

func findEar(p []r2.Vec, left []int) int {
	n := len(left)
	flat := -1
	for i := range left {
		a, b, c := p[left[(i+n-1)%n]], p[left[i]], p[left[(i+1)%n]]
		switch geom.Orient2D(a, b, c) {
		case 1:
			if isEar(p, left, i, a, b, c) {
				return i
			}
		case 0:
			if flat < 0 {
				flat = i
			}
		}
	}
	return flat
}

func isEar(p []r2.Vec, left []int, i int, a, b, c r2.Vec) bool {
	n := len(left)
	for j := range left {
		if j == i || j == (i+1)%n || j == (i+n-1)%n {
			continue
		}
		q := p[left[j]]
		if q == a || q == b || q == c {
			continue // a corner that the polygon passes twice
		}
		if geom.Orient2D(a, b, q) >= 0 && geom.Orient2D(b, c, q) >= 0 && geom.Orient2D(c, a, q) >= 0 {
			return false
		}
	}
	return true
}
