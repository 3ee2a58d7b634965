package tooling

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Outline is a set of closed loops in plan: outer loops counter-clockwise, holes clockwise.
type Outline [][]r2.Vec

// Contains says whether p lies inside, by the winding number; on the border it may say either.
func (o Outline) Contains(p r2.Vec) bool {
	w := 0
	for _, loop := range o {
		for i, a := range loop {
			b := loop[(i+1)%len(loop)]
			side := r2.Cross(r2.Sub(b, a), r2.Sub(p, a))
			switch {
			case a.Y <= p.Y && b.Y > p.Y && side > 0:
				w++
			case a.Y > p.Y && b.Y <= p.Y && side < 0:
				w--
			}
		}
	}
	return w != 0
}

// AreaMM2 is the area inside.
func (o Outline) AreaMM2() float64 {
	a := 0.0
	for _, loop := range o {
		a += loopArea(loop)
	}
	return a
}

// Bounds is the smallest box around all loops; ok is false when there is no point.
func (o Outline) Bounds() (b r2.Box, ok bool) {
	inf := math.Inf(1)
	b = r2.Box{Min: r2.Vec{X: inf, Y: inf}, Max: r2.Vec{X: -inf, Y: -inf}}
	for _, loop := range o {
		for _, p := range loop {
			b.Min = r2.Vec{X: min(b.Min.X, p.X), Y: min(b.Min.Y, p.Y)}
			b.Max = r2.Vec{X: max(b.Max.X, p.X), Y: max(b.Max.Y, p.Y)}
			ok = true
		}
	}
	return b, ok
}

// Outer keeps the outer loops: the outline with its holes filled.
func (o Outline) Outer() Outline {
	var out Outline
	for _, loop := range o {
		if loopArea(loop) > 0 {
			out = append(out, loop)
		}
	}
	return out
}

// loopArea is the signed area of a loop, positive when counter-clockwise.
func loopArea(loop []r2.Vec) float64 {
	if len(loop) == 0 {
		return 0
	}
	a, o := 0.0, loop[0]
	for i, p := range loop {
		q := loop[(i+1)%len(loop)]
		a += r2.Cross(r2.Sub(p, o), r2.Sub(q, o))
	}
	return a / 2
}

// shape is what a feature takes in plan: a convex core (a point, or a polygon) grown by a radius.
type shape struct {
	core   []r2.Vec
	radius float64
}

func disc(c r2.Vec, r float64) shape { return shape{[]r2.Vec{c}, r} }

// strip is the rectangle that starts at the middle of one short side, at from, and runs along dir (a
// unit vector) for length.
func strip(from, dir r2.Vec, length, width float64) []r2.Vec {
	side := r2.Scale(width/2, r2.Vec{X: -dir.Y, Y: dir.X})
	to := r2.Add(from, r2.Scale(length, dir))
	return []r2.Vec{r2.Sub(from, side), r2.Sub(to, side), r2.Add(to, side), r2.Add(from, side)}
}

// gap is the clear distance between two shapes; negative or zero when they meet (for two discs, how far
// they run into each other).
func gap(a, b shape) float64 {
	return loopDistance(a.core, b.core) - a.radius - b.radius
}

// gapToOutline is the clear distance from a shape to an outline; not positive when they meet.
func gapToOutline(s shape, o Outline) float64 {
	if len(o) == 0 {
		return math.Inf(1)
	}
	if o.Contains(s.core[0]) {
		return -s.radius
	}
	d := math.Inf(1)
	for _, loop := range o {
		for i := range loop {
			d = min(d, loopDistance(s.core, []r2.Vec{loop[i], loop[(i+1)%len(loop)]}))
		}
	}
	return d - s.radius
}

// loopDistance is the distance between two convex cores (points, segments or counter-clockwise
// polygons); zero when they meet.
func loopDistance(a, b []r2.Vec) float64 {
	if (len(a) > 2 && Outline{a}.Contains(b[0])) || (len(b) > 2 && Outline{b}.Contains(a[0])) {
		return 0
	}
	d := math.Inf(1)
	for i := range a {
		p, q := a[i], a[(i+1)%len(a)]
		for j := range b {
			d = min(d, segmentDistance(p, q, b[j], b[(j+1)%len(b)]))
		}
	}
	return d
}

// segmentDistance is the distance between segments pq and uv, either of which may be a point.
func segmentDistance(p, q, u, v r2.Vec) float64 {
	pq, uv := r2.Sub(q, p), r2.Sub(v, u)
	s1, s2 := r2.Cross(pq, r2.Sub(u, p)), r2.Cross(pq, r2.Sub(v, p))
	s3, s4 := r2.Cross(uv, r2.Sub(p, u)), r2.Cross(uv, r2.Sub(q, u))
	if s1*s2 < 0 && s3*s4 < 0 {
		return 0
	}
	return min(pointSegment(p, u, v), pointSegment(q, u, v), pointSegment(u, p, q), pointSegment(v, p, q))
}

func pointSegment(p, a, b r2.Vec) float64 {
	ab := r2.Sub(b, a)
	t := 0.0
	if n := r2.Norm2(ab); n > 0 {
		t = max(0, min(1, r2.Dot(r2.Sub(p, a), ab)/n))
	}
	return r2.Norm(r2.Sub(p, r2.Add(a, r2.Scale(t, ab))))
}
