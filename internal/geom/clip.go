package geom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// ClipConvex returns the part of the convex polygon subject that lies inside the convex polygon
// clip (Sutherland and Hodgman 1974). Both run counter-clockwise. The result is counter-clockwise,
// shares buf's memory, and is empty if the two do not overlap; polygons that only touch give a
// result without area (a segment or a point), or nothing.
//
// The result never allocates if cap(buf) ≥ ClipBuffer(len(subject), len(clip)). Sides are decided
// exactly; a new corner, on an edge of both, is rounded.
func ClipConvex(subject, clip, buf []r2.Vec) []r2.Vec {
	if len(subject) == 0 || len(clip) < 3 {
		return buf[:0]
	}
	half := len(subject) + len(clip)
	if cap(buf) < 2*half {
		buf = make([]r2.Vec, 2*half)
	}
	buf = buf[:2*half]
	in, out := buf[:0:half], buf[half:half:2*half]
	in = append(in, subject...)
	edges := 0
	for i, a := range clip {
		b := clip[(i+1)%len(clip)]
		if a == b {
			continue
		}
		edges++
		in, out = clipHalf(in, a, b, out[:0]), in
		if len(in) == 0 {
			break
		}
	}
	if edges == 0 {
		return in[:0] // clip is a single point
	}
	return in
}

// ClipBuffer is the capacity that ClipConvex needs for polygons of n and m corners.
func ClipBuffer(n, m int) int { return 2 * (n + m) }

// clipHalf appends the part of the polygon left of the line a→b to out.
func clipHalf(poly []r2.Vec, a, b r2.Vec, out []r2.Vec) []r2.Vec {
	p := poly[len(poly)-1]
	sp := Orient2D(a, b, p)
	for _, q := range poly {
		sq := Orient2D(a, b, q)
		if sp*sq < 0 {
			if len(out) == cap(out) {
				break // more crossings than a convex polygon has: the input was not convex
			}
			out = append(out, crossing(p, q, a, b))
		}
		if sq >= 0 && len(out) < cap(out) {
			out = append(out, q)
		}
		p, sp = q, sq
	}
	return out
}

// crossing is the point where segment p–q meets the line a–b, for p and q strictly on different
// sides of it. Swapping p and q, or a and b, gives the same bits, so that neighbours which share
// an edge get the same corner. The point lies in the box of p and q. It is right to a few roundings
// of the coordinates along p–q too, however small the angle.
func crossing(p, q, a, b r2.Vec) r2.Vec {
	if less(q, p) {
		p, q = q, p
	}
	if less(b, a) {
		a, b = b, a
	}
	dp := math.Abs(turn(a, b, p))
	dq := math.Abs(turn(a, b, q))
	t := 0.5 // distances that underflow: the whole segment lies within rounding of the line
	if s := dp + dq; s > 0 {
		t = dp / s
	}
	return between(p, q, t)
}

// between is p + t(q−p) held inside the box of p and q, measured from the nearer end.
func between(p, q r2.Vec, t float64) r2.Vec {
	if t > 0.5 {
		p, q, t = q, p, 1-t
	}
	return r2.Vec{X: lerp(p.X, q.X, t), Y: lerp(p.Y, q.Y, t)}
}

func lerp(a, b, t float64) float64 {
	x := a + float64(t*(b-a))
	return min(max(x, min(a, b)), max(a, b))
}

func less(a, b r2.Vec) bool { return a.X < b.X || (a.X == b.X && a.Y < b.Y) }

func cross2(a, b r2.Vec) float64 { return float64(a.X*b.Y) - float64(a.Y*b.X) }

// PolygonArea is the signed area of a simple polygon, positive if it runs counter-clockwise. Terms
// are taken about the first corner, so a small polygon far from the origin keeps its precision.
func PolygonArea(poly []r2.Vec) float64 {
	var twice float64
	for i := 2; i < len(poly); i++ {
		twice += cross2(r2.Sub(poly[i-1], poly[0]), r2.Sub(poly[i], poly[0]))
	}
	return twice / 2
}
