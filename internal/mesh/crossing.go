package mesh

import (
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

// contact is how two triangles meet beyond the vertices they share.
type contact uint8

const (
	apart   contact = iota
	touches         // in points or lines where neither goes through the other, or back to back
	crosses         // one goes through the other, or they cover each other facing the same way
)

// meet tells how triangles a and b meet, exactly: every decision is the sign of an orientation.
// Neither may be flat. shared are the corners they have in common by vertex number: pairs of corner
// of a, corner of b.
//
// Triangles cross when each has corners strictly on both sides of the other's plane and the
// segments that they cut from the line of both planes overlap in more than a point.
func meet(a, b *r3.Triangle, shared [][2]int) contact {
	var onA, onB [3]int // sides of b's corners about plane a, and of a's about plane b
	for k := range 3 {
		onA[k] = side(a, b[k], shared, 1, k)
	}
	if sameSide(onA) {
		return apart
	}
	if onA == [3]int{} {
		return meetInPlane(a, b, len(shared))
	}
	for k := range 3 {
		onB[k] = side(b, a[k], shared, 0, k)
	}
	if sameSide(onB) {
		return apart
	}
	switch len(shared) {
	case 0:
		return meetApart(a, b, onA, onB)
	case 1:
		return meetAtVertex(a, b, onA, onB, shared[0])
	}
	return apart // planes that differ and share an edge meet nowhere else
}

// side is the side of v about the plane of t; a shared corner is on it without computing.
func side(t *r3.Triangle, v r3.Vec, shared [][2]int, which, corner int) int {
	for _, s := range shared {
		if s[which] == corner {
			return 0
		}
	}
	return geom.Orient3D(t[0], t[1], t[2], v)
}

func sameSide(s [3]int) bool {
	return s[0] != 0 && s[0] == s[1] && s[1] == s[2]
}

func straddles(s [3]int) bool { return min(s[0], s[1], s[2]) < 0 && max(s[0], s[1], s[2]) > 0 }

// meetApart handles triangles in different planes without a common vertex.
func meetApart(a, b *r3.Triangle, onA, onB [3]int) contact {
	if !straddles(onA) {
		return touchIf(cutTouches(b, onA, a))
	}
	if !straddles(onB) {
		return touchIf(cutTouches(a, onB, b))
	}
	// Each triangle cuts a segment out of the line of both planes. The ends of one are placed about
	// the other triangle, and with that about its segment.
	insideA, borderA := placeEnds(b, onA, a)
	insideB, borderB := placeEnds(a, onB, b)
	switch {
	case insideA || insideB || borderA == 2 || borderB == 2:
		return crosses
	case borderA+borderB > 0:
		return touches
	}
	return apart
}

func touchIf(yes bool) contact {
	if yes {
		return touches
	}
	return apart
}

// placeEnds finds the two points in which the border of t passes the plane of o, t straddling it,
// and says whether one lies strictly inside o and how many lie on its border.
func placeEnds(t *r3.Triangle, sides [3]int, o *r3.Triangle) (inside bool, border int) {
	for k := range 3 {
		l := (k + 1) % 3
		var p int
		switch {
		case sides[k] == 0:
			p = pointIn(t[k], o)
		case sides[k]*sides[l] < 0:
			p = lineIn(t[k], t[l], o)
		default:
			continue
		}
		inside = inside || p > 0
		if p == 0 {
			border++
		}
	}
	return inside, border
}

// lineIn places the point where segment p–q passes through the plane of o: +1 inside o, 0 on its
// border, −1 outside. p and q lie strictly on different sides.
func lineIn(p, q r3.Vec, o *r3.Triangle) int {
	return allAlike(geom.Orient3D(p, q, o[0], o[1]), geom.Orient3D(p, q, o[1], o[2]), geom.Orient3D(p, q, o[2], o[0]))
}

// pointIn places a point of the plane of o likewise.
func pointIn(p r3.Vec, o *r3.Triangle) int {
	x := facingAxis(o)
	return allAlike(orientAlong(x, o[0], o[1], p), orientAlong(x, o[1], o[2], p), orientAlong(x, o[2], o[0], p))
}

func allAlike(a, b, c int) int {
	switch {
	case a == b && b == c && a != 0:
		return 1
	case min(a, b, c) < 0 && max(a, b, c) > 0:
		return -1
	}
	return 0
}

// facingAxis is a coordinate that can be dropped without flattening t.
func facingAxis(t *r3.Triangle) int {
	for x := range 2 {
		if orientAlong(x, t[0], t[1], t[2]) != 0 {
			return x
		}
	}
	return 2
}

// cutTouches says whether what t has in the plane of o, a corner or an edge, meets o. t lies on one
// side of that plane.
func cutTouches(t *r3.Triangle, sides [3]int, o *r3.Triangle) bool {
	var in []r3.Vec
	var buf [2]r3.Vec
	in = buf[:0]
	for k := range 3 {
		if sides[k] == 0 {
			in = append(in, t[k])
		}
	}
	if len(in) == 1 {
		return pointIn(in[0], o) >= 0
	}
	return !gapBetween(facingAxis(o), o[:], in)
}

// gapBetween says whether two convex polygons or segments of one plane are strictly apart. Their
// Minkowski difference has only edges parallel to theirs, so if they are apart, then along the
// normal of one of those.
func gapBetween(axis int, a, b []r3.Vec) bool {
	return gapAlongEdges(axis, a, b) || gapAlongEdges(axis, b, a)
}

func gapAlongEdges(axis int, a, b []r3.Vec) bool {
	for k := range a {
		p, q := a[k], a[(k+1)%len(a)]
		var low, high bool // sides of line pq that a reaches, the line itself left out
		for _, v := range a {
			s := orientAlong(axis, p, q, v)
			low, high = low || s < 0, high || s > 0
		}
		lowB, highB, onB := false, false, false
		for _, v := range b {
			s := orientAlong(axis, p, q, v)
			lowB, highB, onB = lowB || s < 0, highB || s > 0, onB || s == 0
		}
		if !onB && (!low && lowB && !highB || !high && highB && !lowB) {
			return true
		}
	}
	return false
}

// meetInPlane handles triangles of one plane.
func meetInPlane(a, b *r3.Triangle, shared int) contact {
	x := facingAxis(a)
	if overlapInPlane(x, a, b) {
		if orientAlong(x, a[0], a[1], a[2]) == orientAlong(x, b[0], b[1], b[2]) {
			return crosses
		}
		return touches
	}
	if shared > 0 {
		return apart
	}
	return touchIf(!gapBetween(x, a[:], b[:]))
}

// overlapInPlane says whether the triangles share an area: no edge of either has the other wholly on
// its outer side.
func overlapInPlane(x int, a, b *r3.Triangle) bool {
	return !hasSeparatingEdge(x, a, b) && !hasSeparatingEdge(x, b, a)
}

func hasSeparatingEdge(x int, a, b *r3.Triangle) bool {
	facing := orientAlong(x, a[0], a[1], a[2])
	for k := range 3 {
		p, q := a[k], a[(k+1)%3]
		if facing*orientAlong(x, p, q, b[0]) <= 0 && facing*orientAlong(x, p, q, b[1]) <= 0 && facing*orientAlong(x, p, q, b[2]) <= 0 {
			return true
		}
	}
	return false
}

// meetAtVertex handles triangles in different planes with one common vertex. Both cut a segment from
// the line of the planes that starts there, so they meet elsewhere if the end of one lies in the other.
func meetAtVertex(a, b *r3.Triangle, onA, onB [3]int, shared [2]int) contact {
	endA := farEnd(a, onB, shared[0], b)
	endB := farEnd(b, onA, shared[1], a)
	if !endA && !endB {
		return apart
	}
	if straddles(onA) && straddles(onB) {
		return crosses
	}
	return touches
}

// farEnd says whether the edge of t across from corner v, or a corner of it, meets triangle o in the
// plane of o.
func farEnd(t *r3.Triangle, sides [3]int, v int, o *r3.Triangle) bool {
	p, q := (v+1)%3, (v+2)%3
	switch {
	case sides[p]*sides[q] < 0:
		return lineIn(t[p], t[q], o) >= 0
	case sides[p] == 0:
		return pointIn(t[p], o) >= 0
	case sides[q] == 0:
		return pointIn(t[q], o) >= 0
	}
	return false
}
